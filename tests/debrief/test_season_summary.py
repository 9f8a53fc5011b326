"""A summary is made of entries alone, in any order; what it leaves out says why; versions are compared honestly."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from exercise_kit import Made
from hypothesis import given, settings
from hypothesis import strategies as st
from season_kit import PLAN, SEQUENCE, WALL, build, entries, on_file, started, summary

from fieldctl.cli.debrief import debrief
from fieldctl.debrief import summary_kept
from fieldctl.debrief.summary import VERSION, from_body, summarise, to_body
from fieldctl.debrief.summary_kept import made, read_summaries, then_and_now
from fieldctl.debrief.then_said import then_said
from fieldctl.debrief.words import in_words
from fieldctl.debrief.words import said as sentence
from fieldctl.drill.plan import Burial, Drill
from fieldctl.events import Fact, StrikeRecorded
from fieldctl.ledger.beside import Kept
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify
from fieldctl.site.new import templates
from fieldctl.units import HostTime, PersonId, TargetId


def worked(make: Made) -> list[Fact]:
    """A is found at 100 s, C at 250 s, B by nobody; the time is up at 600 s."""
    return [
        started(make),
        make.on("A", 1, 1), make.on("B", 1, 2), make.on("C", 1, 3),
        make.split("signal", 40, "A"), make.strike("A", 100), make.call("A", 104),
        make.strike("C", 250), make.split("tools ready", 260),
        make.off("A", 600, 1, "stopped"), make.off("B", 600, 2, "stopped"), make.off("C", 600, 3, "stopped"),
        make.ended("time-up", 600),
    ]  # fmt: skip


def test_each_burial_has_its_own_time() -> None:
    row = summary(worked(Made(PLAN)))
    a, b, c = row.burials
    assert (a.found_s, a.own_s, a.order, a.others, a.near_m) == (100, 99, 1, 2, 9)
    assert (c.found_s, c.own_s, c.order, c.others, c.near_m) == (250, 150, 2, 2, 51)
    assert (b.found_s, b.own_s, b.order, b.left_out) == (None, 350, 3, "")  # looked for from 250 s to the end
    assert (a.call_s, a.hit_s, dict(a.splits)) == (104, 100, {"signal": 40})
    assert (a.depth_m, b.depth_m, a.tilt_deg) == (0.6, 1.5, 90)
    assert (row.state, row.ended_s, row.day, row.covers) == ("time-up", 600, "2026-01-10", 13)
    assert from_body(to_body(row)) == row


@given(st.permutations(range(15)))
@settings(max_examples=40, deadline=None)
def test_the_same_entries_in_any_order_of_arrival_make_the_same_summary(order: list[int]) -> None:
    """Facts and corrections: whatever order they reached the ledger in, no number differs."""
    make = Made(PLAN)
    facts = worked(make)
    hit = facts[5]
    facts.append(make.correct("void", f"{hit.target}-3-{hit.number}", nth=1))  # type: ignore[attr-defined]
    facts.append(make.correct("add-hit", "A", 120.0, nth=2))
    straight = summary(facts)
    assert straight.burials[0].found_s == 120
    shuffled = [facts[n] for n in order]
    assert summary(shuffled) == straight


LEFT_OUT = {
    "goes-on": lambda m: [started(m), m.on("A", 1, 1), m.strike("A", 50)],
    "never-sent": lambda m: [started(m), m.on("A", 1, 1), m.ended("stopped", 100)],
    "found-unsent": lambda m: [started(m), m.strike("B", 50), m.ended("stopped", 100)],
    "found-early": lambda m: [started(m), m.on("B", 60, 1), m.strike("B", 50), m.ended("stopped", 100)],
    "signal-away": lambda m: [
        started(m), m.on("B", 1, 1), m.off("B", 20, 1, "rebooted"), m.on("B", 26, 2), m.strike("B", 50),
        m.ended("complete", 60),
    ],
}  # fmt: skip


@pytest.mark.parametrize("why", LEFT_OUT)
def test_what_is_in_no_curve_says_why(why: str) -> None:
    plan = PLAN if why == "never-sent" else replace(PLAN, burials=(Burial("B"), Burial("A")))
    row = summary(LEFT_OUT[why](Made(plan)))
    burial = next(b for b in row.burials if b.burial == ("B" if why != "goes-on" else "A"))
    assert (burial.left_out, burial.own_s) == (why, None)


def test_a_short_gap_is_the_searchers_own_time_and_a_gap_after_the_find_is_nobodys() -> None:
    make = Made(Drill("one", "", 600, (Burial("A"),)))
    short = [
        started(make), make.on("A", 1, 1), make.off("A", 20, 1, "gone"), make.on("A", 24, 2), make.strike("A", 50),
        make.off("A", 60, 2, "gone"), make.on("A", 90, 3), make.ended("complete", 100),
    ]  # fmt: skip
    (a,) = summary(short).burials
    assert (a.left_out, a.own_s, a.away_s) == ("", 49, 4)


def test_the_second_of_a_sequence_is_timed_from_its_signal() -> None:
    make = Made(SEQUENCE)
    facts = [started(make), make.on("A", 1, 1), make.strike("A", 100), make.on("B", 103, 2), make.strike("B", 200)]
    a, b = summary([*facts, make.ended("complete", 201)]).burials
    assert (a.own_s, b.own_s, b.order, b.on_s) == (99, 97, 2, 103)


def test_an_exercise_that_was_cut_off_ends_where_it_was_last_known() -> None:
    make = Made(PLAN)
    facts = [started(make), make.on("A", 1, 1), make.interrupted(make.at(80), make.at(200))]
    row = summary(facts)
    assert (row.state, row.ended_s, row.burials[0].own_s) == ("interrupted", 80, 79)
    nowhere = [started(make), make.on("A", 1, 1), make.interrupted(HostTime("other", 5), HostTime("boot-z", 9))]
    row = summary(nowhere)
    assert (row.ended_s, row.burials[0].left_out) == (None, "no-end")


def test_what_cannot_be_read_says_why_and_the_others_stand(tmp_path: Path) -> None:
    make, other = Made(PLAN), Made(PLAN, "x2")
    for facts, why in (
        ([make.strike("A", 5)], "no start"),
        ([started(make), started(make)], "2 starts"),
        ([started(make, plan={"name": "odd"})], "its plan cannot be read"),
        ([started(make, picks={})], "its plan cannot be read"),
    ):
        with pytest.raises(ValueError, match=why):
            summarise(entries(facts))
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        on_file(ledger, [make.strike("A", 5), *worked(other)])
        for _ in range(2):  # kept as unreadable as well: nobody looks twice
            found = read_summaries(ledger)
            assert [row.exercise for row in found.rows] == ["x2"]
            assert [(row.exercise, row.why[:18]) for row in found.unreadable] == [("x1", "its entries hold n")]
            ledger.put_summaries(found.made)
        assert found.made == []


# ---- kept beside the ledger ---------------------------------------------------------------------------------


def test_missing_stale_spoilt_or_thrown_away_they_are_made_again(tmp_path: Path) -> None:
    make = Made(PLAN)
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        assert read_summaries(ledger).rows == []
        on_file(ledger, worked(make)[:6])
        first = read_summaries(ledger)
        assert [kept.covers for kept in first.made] == [6]
        ledger.put_summaries(first.made)
        assert read_summaries(ledger).made == []
        on_file(ledger, worked(make)[6:])
        stale = read_summaries(ledger)
        assert [kept.covers for kept in stale.made] == [13]
        assert stale.rows[0].ended_s == 600
        for body in ("no json", "[]", "{}", '{"burials":[{"x":1}]}'):
            ledger.throw_away_summaries()
            ledger.put_summaries([Kept("x1", VERSION, 13, body)])
            assert read_summaries(ledger).rows == stale.rows
        ledger.throw_away_summaries()
        assert read_summaries(ledger).rows == stale.rows
    with Reader.read(tmp_path / "l.db") as reader:
        assert read_summaries(reader).rows == stale.rows


def test_many_are_read_in_one_go_and_come_out_as_one_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build(tmp_path / "l.db", 60, seed=3)
    with Reader.read(tmp_path / "l.db") as reader:
        assert verify(reader).ok
        one_by_one = read_summaries(reader)
        monkeypatch.setattr(summary_kept, "FEW", 10)
        assert read_summaries(reader) == one_by_one
        assert len(one_by_one.rows) == 60
        assert [row.exercise for row in one_by_one.rows] == [f"x{n + 1}" for n in range(60)]
        assert len(read_summaries(reader, most=7).rows) == 7


def test_they_stand_in_the_order_in_which_they_were_started_whatever_the_wall_said(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        for name, wall in (("x9", "2026-01-10T09:00:00Z"), ("x10", None), ("x11", "2025-01-01T00:00:00Z")):
            on_file(ledger, [f for f in worked(Made(PLAN, name)) if not isinstance(f, StrikeRecorded)], wall)
        found = read_summaries(ledger)
        ledger.put_summaries(found.made)
        assert [row.exercise for row in found.rows] == ["x9", "x10", "x11"]
        assert read_summaries(ledger).rows == found.rows


def older(body: str, **changes: object) -> str:
    row = json.loads(body)
    row["burials"][0].update(changes)
    return json.dumps(row)


def test_an_old_exercise_says_whether_its_result_would_now_differ_and_why(tmp_path: Path) -> None:
    make = Made(PLAN)
    facts = worked(make)
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        assert then_and_now(ledger, "x1") == []
        on_file(ledger, facts)
        ended = list(ledger.entries(exercise="x1"))
        now = made("x1", ended)
        # an earlier version counted half a second otherwise, and called the finder by one name
        ledger.put_summaries([Kept("x1", "0.0.9+1", 13, older(now.body, found_s=100.5, searcher="Tove"))])
        ledger.put_summaries([now])
        first, same = then_and_now(ledger, "x1")
        assert first.by_version == (
            ("A", "found_s", 100.5, 100.0),
            ("A", "searcher", "Tove", "Mira + Tove"),
        )
        assert (first.by_entries, first.since, first.differs) == ((), (), True)
        assert not same.differs

        hit = facts[5]
        voided = make.correct("void", f"{hit.target}-3-{hit.number}")  # type: ignore[attr-defined]
        on_file(ledger, [voided])
        first, same = then_and_now(ledger, "x1")
        assert same.by_version == ()
        assert ("A", "found_s", 100.0, None) in same.by_entries
        assert same.since == (("void", voided.about, voided.by, "seen from the side"),)
        said = [in_words(each) for each in then_said([first, same], {PersonId("p-mira"): "Mira"})]
        assert said[0].startswith(
            "Version 0.0.9+1 said otherwise of the same entries: A seconds to the find: 100.5 then"
        )
        assert any("was voided by Mira: “seen from the side”" in sentence for sentence in said)
        assert "Since then 1 entry changed it: A seconds to the find: 100.0 then, nothing now" in " ".join(said)


def test_what_an_old_version_left_that_nobody_can_read_is_named_and_not_guessed(tmp_path: Path) -> None:
    make = Made(PLAN)
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        on_file(ledger, worked(make))
        ledger.put_summaries([Kept("x1", "0.0.1", 13, "spoilt"), Kept("x1", "0.0.2", 0, "{}")])
        (only,) = then_and_now(ledger, "x1")
        assert only.version == "0.0.1"
        assert ("", "unreadable", "what was kept cannot be read", None) in only.by_version
        assert in_words(then_said([only], {})[0]).startswith("Version 0.0.1 said otherwise")


def test_the_wall_is_a_label_and_no_clock() -> None:
    make = Made(PLAN)
    assert summary(worked(make), wall=None).day is None
    assert replace(summary(worked(make), wall=None), wall=WALL) == summary(worked(make))


def test_the_debrief_of_an_old_exercise_says_so_beside_every_way_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    larch = TargetId("5ee00001")
    make = Made(replace(PLAN, burials=(Burial("A"),)))
    facts: list[Fact] = [
        started(make, picks={"A": larch}),
        replace(make.on("A", 1, 1), target=larch),
        replace(make.strike("A", 100), target=larch),
        make.ended("complete", 101),
    ]
    (tmp_path / "site.toml").write_text(dict(templates())["site.toml"])
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True) as ledger:
        on_file(ledger, facts)
        now = made("x1", list(ledger.entries(exercise="x1")))
        ledger.put_summaries([now])
        debrief("x1", site=tmp_path)
        assert "said otherwise" not in capsys.readouterr().err
        ledger.put_summaries([Kept("x1", "0.0.9+1", 4, older(now.body, found_s=99.0))])
    debrief("x1", site=tmp_path, json=True)
    out, err = capsys.readouterr()
    assert json.loads(out)["exercise"] == "x1"
    otherwise = "Version 0.0.9+1 said otherwise of the same entries: A seconds to the find: 99.0 then, 100.0 now."
    assert err.splitlines() == [otherwise, in_words(sentence("because.2"))]
    assert json.loads(out)["then"] == err.splitlines()
    debrief("x1", site=tmp_path, csv=True)
    assert otherwise in capsys.readouterr().out.replace('"', "")
    debrief("x1", site=tmp_path, html=tmp_path / "x1.html")
    assert otherwise in (tmp_path / "x1.html").read_text()
    capsys.readouterr()
    debrief("x1", site=tmp_path, audience="group")
    assert "said otherwise" not in capsys.readouterr().err
