from __future__ import annotations

import json

import numpy as np
import pytest

from fieldctl.drill.plan import Burial, Scene, Signal
from fieldctl.errors import BadInput
from fieldctl.keying import Keying
from fieldctl.rehearsal import as_lines, beside_recorded, preview
from fieldctl.rehearsal.preview import recorded_times
from fieldctl.rehearsal.rehearse import rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS, skill_of

THREE = [(20, 30, 1.0, 20, 0), (45, 12, 1.8, 100, 77), (65, 38, 1.4, 45, 60)]


@pytest.fixture(scope="module")
def drill(tools):
    burials = [Burial("A"), Burial("B", level=40), Burial("C", Signal("never"))]
    return tools.staffed(burials, THREE)


@pytest.fixture(scope="module")
def rehearsed(drill):
    return preview(*drill, runs=200, seed=4)


def test_figures_are_those_of_the_rehearsal(drill, rehearsed):
    tally = rehearse(scene_of(*drill), SKILLS["trained"], runs=200, seed=4)
    for k, burial in enumerate(rehearsed.burials):
        times = burial.rehearsed
        assert (times.p10_s, times.p50_s, times.p90_s) == tuple(tally.time_to(s)[k] for s in (0.1, 0.5, 0.9))
        assert times.share == tally.share()[k]
        assert times.count == 200
    a = rehearsed.burial("A").rehearsed
    assert a.p10_s < a.p50_s < a.p90_s < rehearsed.limit_s
    with pytest.raises(KeyError):
        rehearsed.burial("D")


def test_who_is_not_found_by_enough_has_no_percentile(drill):
    short = preview(*(*drill[:1], type(drill[1])("s", "S", 200.0, drill[1].burials), drill[2]), runs=200)
    burial = short.burial("B").rehearsed
    assert burial.share < 0.9
    assert burial.p90_s is None
    assert "90 % not within the limit" in "\n".join(as_lines(short))


def test_it_is_said_to_be_an_estimate(rehearsed):
    assert rehearsed.said.startswith("An estimate by 1 simulated searcher (trained) in 200 rehearsals")
    assert "promises nothing" in rehearsed.said
    assert any("our own assumptions" in text for text in rehearsed.assumptions)
    assert rehearsed.said in as_lines(rehearsed)[0]


def test_the_same_wishes_give_the_same_preview_with_workers_too(drill, rehearsed):
    assert preview(*drill, runs=200, seed=4) == rehearsed
    assert preview(*drill, runs=1600, seed=4, workers=2) == preview(*drill, runs=1600, seed=4)
    assert preview(*drill, runs=200, seed=5) != rehearsed


def test_json_has_a_schema_and_nothing_that_json_cannot_hold(rehearsed):
    plain = rehearsed.as_json()
    assert plain["schema"] == 1
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert [b["name"] for b in plain["burials"]] == ["A", "B", "C"]
    assert set(plain["burials"][0]) == {
        "name", "target", "depth_m", "rehearsed", "share_by_line", "hard", "recorded", "recorded_count",
        "left_out",
    }  # fmt: skip


def kinds(burial):
    return [reason.kind for reason in burial.hard]


def test_what_makes_it_hard_is_said(rehearsed):
    assert kinds(rehearsed.burial("A")) == []
    assert {"weak", "depth", "tilt", "order"} <= set(kinds(rehearsed.burial("B")))
    assert kinds(rehearsed.burial("C")) == ["no-signal"]
    assert all(reason.text.endswith(".") for b in rehearsed.burials for reason in b.hard)


def test_every_kind_of_hardness_is_named_when_it_is_there(tools):
    burials = [
        Burial("A", keying=Keying(1000, 300)),
        Burial("B", Signal("after-find", after="A"), keying=Keying(1000, 300), drop_on_s=5.0, drop_off_s=5.0),
        Burial("C", Signal("delay", delay_s=90.0)),
        Burial("D", Signal("never")),
    ]
    where = [(20, 20, 1.0, 20, 0), (24, 22, 1.0, 0, 0), (70, 45, 1.0, 0, 0), (60, 40, 2.6, 0, 0)]
    p = preview(*tools.staffed(burials, where), runs=200)
    assert {"order", "drops", "overlap"} <= set(kinds(p.burial("B")))
    said = " ".join(reason.text for reason in p.burial("B").hard)
    assert "only when A is found" in said
    assert "there for 5 s, away for 5 s" in said
    assert "1 min 30 s after the start" in " ".join(r.text for r in p.burial("C").hard)
    assert kinds(p.burial("D")) == ["no-signal", "depth"]
    assert "misses it" in p.burial("D").hard[1].text
    far = preview(*tools.staffed([Burial("A")], [(75, 45, 1.0, 0, 0)], scene=Scene(last_seen_m=(0.0, 0.0))), runs=100)
    assert kinds(far.burial("A")) == ["distance"]
    assert far.burial("A").hard[0].text.startswith("It lies 87 m from where they set out")


def test_a_signal_some_time_after_a_find_is_not_found_before(tools):
    burials = [Burial("A"), Burial("B", Signal("after-find", after="A", delay_s=300.0))]
    where = [(20, 20, 1.0, 20, 0), (45, 22, 1.0, 0, 0)]
    drill = tools.staffed(burials, where)
    tally = rehearse(scene_of(*drill), SKILLS["trained"], runs=200, seed=4)
    a, b = (np.flatnonzero(row) for row in tally.by_second)
    assert b[0] > a[0] + 300
    assert tally.time_to(0.5)[1] > tally.time_to(0.5)[0] + 300
    said = " ".join(reason.text for reason in preview(*drill, runs=100).burial("B").hard)
    assert "only 5 min 00 s after A is found" in said
    for delay_s, lasts_s, why in ((890.0, 60.0, None), (0.0, 20.0, "ends 20 s after it began")):
        late = [burials[0], Burial("B", Signal("after-find", after="A", delay_s=delay_s), sends_at_most_s=lasts_s)]
        shown = preview(*tools.staffed(late, where), runs=100).burial("B")
        assert shown.rehearsed.share < 0.1
        assert why is None or why in " ".join(reason.text for reason in shown.hard)


def test_who_is_hardly_found_is_never_without_a_reason(tools):
    far = preview(*tools.staffed([Burial("A")], [(150, 25, 1.0, 0, 0)]), runs=50).burial("A")
    assert kinds(far) == ["outside"]
    assert "70 m outside the outline" in far.hard[0].text
    unheard = preview(*tools.staffed([Burial("A", sends_at_most_s=15.0)], [(20, 20, 1.0, 0, 0)]), runs=50).burial("A")
    assert unheard.rehearsed.share == 0.0
    assert "ends" in kinds(unheard)
    late = preview(*tools.staffed([Burial("A", Signal("delay", delay_s=900.0))], [(20, 20, 1.0, 0, 0)]), runs=50)
    assert "limit" in kinds(late.burial("A"))
    short = preview(*tools.staffed([Burial("A")], [(20, 20, 1.0, 0, 0)], limit_s=60.0), runs=50).burial("A")
    assert "The limit of 1 min 00 s" in " ".join(reason.text for reason in short.hard)
    quiet = preview(*tools.staffed([Burial("A", Signal("never"))], [(83, 25, 1.0, 0, 0)]), runs=50).burial("A")
    assert "outside" in kinds(quiet)
    near = preview(*tools.staffed([Burial("A")], [(83, 25, 1.0, 0, 0)]), runs=50).burial("A")
    assert "outside" not in kinds(near)


def test_depths_of_today_are_rehearsed_and_said(tools):
    site, drill, picks = tools.staffed([Burial("A"), Burial("B")], [(20, 20, 1.0, 0, 0), (45, 22, 1.0, 0, 0)])
    deep = preview(site, drill, picks, runs=50, depths_m={picks.targets["A"]: 2.8})
    assert deep.burial("A").depth_m == 2.8
    assert deep.burial("A").rehearsed.share == 0.0
    assert "misses it" in " ".join(as_lines(deep))
    assert any("those of today" in row for row in deep.assumptions)
    assert any(a.burial == "B" and "cannot be said" in a.what for a in deep.assumed)
    old = preview(site, drill, picks, runs=50)
    assert old.burial("A").depth_m == 1.0
    lines = as_lines(old)
    assert all(any(row in line for line in lines) for row in old.assumptions)
    assert any("day of the survey" in line for line in lines)


def test_own_times_stand_beside_it_once_there_are_ten(rehearsed):
    nine = [100.0 + 10 * i for i in range(9)]
    beside = beside_recorded(rehearsed, {"A": nine})
    assert beside.burial("A").recorded is None
    assert beside.burial("A").recorded_count == 9
    beside = beside_recorded(rehearsed, {"A": [*nine, None]})
    own = beside.burial("A").recorded
    assert (own.p10_s, own.p50_s, own.p90_s) == (100.0, 140.0, 180.0)
    assert own.share == 0.9
    assert own.count == 10
    assert beside.burial("A").rehearsed == rehearsed.burial("A").rehearsed
    assert beside.burial("B").recorded_count == 0
    assert "recorded here, 10 times" in "\n".join(as_lines(beside))
    assert beside.as_json()["burials"][0]["recorded"]["count"] == 10
    assert recorded_times([*nine, None, None]).p90_s is None
    assert recorded_times([None] * 12).p10_s is None


def test_times_that_cannot_be_are_refused(rehearsed):
    with pytest.raises(BadInput, match="'Z'"):
        beside_recorded(rehearsed, {"Z": [1.0]})
    for wrong in (-1.0, float("nan")):
        with pytest.raises(BadInput, match="burial A"):
            beside_recorded(rehearsed, {"A": [wrong]})


def test_bad_wishes_are_refused_before_any_work(drill):
    with pytest.raises(BadInput, match="'expert'") as bad:
        preview(*drill, skill="expert", runs=1)
    assert "novice, trained, practised" in bad.value.expected
    with pytest.raises(BadInput, match="runs = 0"):
        preview(*drill, runs=0)
    assert skill_of("novice") is SKILLS["novice"]


def test_practice_is_ordered_in_every_number():
    """More practice is never slower, clumsier or more careless: what the names promise."""
    better = {"walk_m_per_s", "follow_m_per_s", "fine_m_per_s", "notices_signal", "leaves_marked"}
    novice, trained, practised = SKILLS.values()
    for field in novice.__slots__:
        if field == "name":
            continue
        row = [getattr(s, field) for s in (novice, trained, practised)]
        assert row == sorted(row, reverse=field not in better), field
        assert len(set(row)) == 3
