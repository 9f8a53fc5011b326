"""Searchers as a population: what must make a search longer does, with fixed seeds and margins well above chance.

A mean over 960 rehearsals at 16 places has a standard error of 3 to 4 s, a median one of about 5 s, a share one of at
most 0.016; that of a difference is smaller, since both sides draw the same chances.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldctl.drill.plan import Burial, Signal
from fieldctl.keying import Keying
from fieldctl.rehearsal.crew import Doing
from fieldctl.rehearsal.rehearse import rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.searcher import Rehearsal, ways_of
from fieldctl.rehearsal.skill import SKILLS

THREE = [(20, 30, 1.0, 20, 90), (45, 12, 1.2, 100, 85), (65, 38, 1.4, 45, 60)]
TOGETHER = [(40, 25, 1.0, 20, 80), (46, 29, 1.2, 100, 80)]


@pytest.fixture(scope="module")
def usual(tools):
    return tools.population()


def test_most_find_one_burial(usual):
    assert usual.share > 0.97
    assert 120 < usual.median < 420


@pytest.mark.parametrize("skill", ["novice", "practised"])
@pytest.mark.parametrize("searchers", [1, 3])
def test_without_a_signal_none_finds_by_search(tools, skill, searchers):
    scene = scene_of(*tools.staffed([Burial("A")], [(12.0, 9.0, 0.5, 0, 0)], limit_s=1200.0))
    mute = replace(scene, moments_Am2=np.zeros(1))
    tally = rehearse(mute, SKILLS[skill], runs=300, searchers=searchers)
    assert tally.by_search.tolist() == [0]
    assert tally.loud.tolist() == [0]


def test_half_the_moment_takes_longer(tools, usual):
    half, quarter, eighth = (tools.population(Burial("A", level=level)) for level in (50, 25, 12))
    assert half.mean > usual.mean + 6
    assert quarter.mean > half.mean + 3
    assert eighth.mean > half.mean + 25
    assert eighth.median > usual.median + 25
    assert usual.waits < half.waits < quarter.waits < eighth.waits


def test_deeper_takes_longer(tools):
    medians = [tools.population(depth_m=depth).median for depth in (0.6, 1.2, 2.0)]
    assert medians[1] > medians[0] + 20
    assert medians[2] > medians[1] + 20


def test_depth_is_hard_through_the_field_and_not_only_through_long_holes(tools):
    from_target = []
    for depth in (0.7, 2.0):
        scene = scene_of(*tools.staffed([Burial("A")], [(20.0, 15.0, depth, 30, 60)]))
        block = Rehearsal(scene, ways_of(scene, 1), SKILLS["trained"], 3, np.arange(300))
        started = np.zeros(300, dtype=bool)
        off = np.full(300, np.nan)
        block._tidy = lambda tally: None
        for moment in range(400):
            block._second(moment)
            now = (block.crew.doing == Doing.PROBING) & ~started
            off[now] = np.hypot(*(block.crew.first_hole[now] - scene.places[0, :2]).T)
            started |= now
        assert started.mean() > 0.95
        from_target.append(np.nanmedian(off))
    assert from_target[1] > from_target[0] + 0.1


def test_a_steady_cross_ends_above_an_upright_coil_however_deep(tools):
    steady = replace(SKILLS["practised"], level_error=0.0, pinpoint_error_m=0.0, hesitates=0.0, fine_m_per_s=0.1)
    for depth in (0.8, 2.0):
        scene = scene_of(*tools.staffed([Burial("A")], [(20.0, 15.0, depth, 0, 0)]))
        block = Rehearsal(scene, ways_of(scene, 1), steady, 3, np.arange(100))
        block._tidy = lambda tally: None
        offs: list[float] = []
        for moment in range(400):
            block._second(moment)
            if (probing := block.crew.doing == Doing.PROBING).any():
                off = np.hypot(*(block.crew.first_hole[probing] - scene.places[0, :2]).T)
                offs.extend(off.tolist())
        assert np.median(offs) < 0.15


def test_a_burial_deeper_than_the_probe_is_never_struck(tools):
    deep = tools.population(depth_m=2.5, count=4)
    assert deep.share == 0.0


def test_less_practised_takes_longer(tools, usual):
    novice, practised = (tools.population(skill=name) for name in ("novice", "practised"))
    assert practised.median + 30 < usual.median < novice.median - 60
    assert novice.share < usual.share - 0.05


def test_overlap_takes_longer_and_hides_the_second_burial(tools):
    found = {}
    for name, on_ms in (("short", 70), ("long", 300)):
        burials = [Burial(n, keying=Keying(1000, on_ms)) for n in "AB"]
        tally = rehearse(scene_of(*tools.staffed(burials, TOGETHER)), SKILLS["trained"], runs=600)
        found[name] = tally
    short, long = found["short"], found["long"]
    assert long.spoiled[1] / long.loud[1] > short.spoiled[1] / short.loud[1] + 0.1
    assert long.time_to(0.5)[1] > short.time_to(0.5)[1] + 60
    assert long.share()[1] < short.share()[1] - 0.03


def test_pulses_that_drift_apart_are_easier_than_pulses_that_stay_together(tools):
    def with_periods(a, b):
        burials = [Burial("A", keying=Keying(a, 300)), Burial("B", keying=Keying(b, 300))]
        scene = scene_of(*tools.staffed(burials, TOGETHER))
        tally = rehearse(scene, SKILLS["trained"], runs=600)
        return tally.spoiled[1] / tally.loud[1], tally.time_to(0.5)[1]

    (together, later), (drifting, sooner) = with_periods(1000, 1000), with_periods(1000, 1090)
    assert drifting < together - 0.05
    assert sooner < later - 60


def test_wider_strips_with_the_same_range_miss_more(tools):
    """Counted over one round of all strips, so that only their width differs, not the time that is given."""
    outline = ((0.0, 0.0), (120.0, 0.0), (120.0, 100.0), (0.0, 100.0))
    rng = np.random.default_rng(3)
    rows = rng.uniform([3, 3, 1.0, 0, 0], [117, 97, 1.0001, 360, 90], (12, 5))
    missed = []
    for width in (20.0, 34.0, 50.0):
        met = 0
        for row in rows:
            scene = scene_of(*tools.staffed([Burial("A", level=12)], [tuple(row)], outline=outline))
            ways = ways_of(scene, 1, width)
            block = Rehearsal(scene, ways, SKILLS["trained"], 0, np.arange(40))
            block._tidy = lambda tally: None
            in_first = np.zeros(40, dtype=bool)
            for moment in range(1500):
                block._second(moment)
                in_first |= np.isfinite(block.field.heard_s[:, 0]) & (block.crew.walked_m <= ways.round_m)
                if (in_first | (block.crew.walked_m > ways.round_m)).all():
                    break
            assert (in_first | (block.crew.walked_m > ways.round_m)).all()
            met += int(in_first.sum())
        missed.append(1.0 - met / (40 * len(rows)))
    assert missed[0] < 0.03
    assert missed[1] > missed[0] + 0.04
    assert missed[2] > missed[1] + 0.05


def test_teams_are_quicker_and_share_the_strips(tools, usual):
    scene = scene_of(*tools.staffed([Burial(n) for n in "ABC"], THREE, limit_s=1500.0))
    alone, three = (rehearse(scene, SKILLS["trained"], runs=400, searchers=n) for n in (1, 3))
    assert three.time_to(0.5)[2] < alone.time_to(0.5)[2] - 120
    assert (three.share() >= alone.share()).all()


def test_a_signal_that_comes_after_a_find_is_found_after_it(tools):
    burials = [Burial("A"), Burial("B", Signal("after-find", after="A")), Burial("C", Signal("delay", delay_s=400.0))]
    scene = scene_of(*tools.staffed(burials, THREE))
    block = Rehearsal(scene, ways_of(scene, 2), SKILLS["practised"], 0, np.arange(200))
    block._tidy = lambda tally: None
    for moment in range(900):
        block._second(moment)
    found = block.field.found_s
    assert np.isfinite(found[:, 0]).mean() > 0.95
    assert np.isfinite(found[:, 1:]).mean() > 0.9
    both = np.isfinite(found[:, 1])
    assert (found[both, 1] > found[both, 0] + 10).all()
    assert (block.field.heard_s[both, 1] >= found[both, 0]).all()
    assert (block.field.heard_s[np.isfinite(block.field.heard_s[:, 2]), 2] >= 400.0).all()


def test_a_signal_that_ends_or_drops_out_is_harder(tools, usual):
    dropping = tools.population(Burial("A", drop_on_s=5.0, drop_off_s=20.0))
    ending = tools.population(Burial("A", sends_at_most_s=60.0))
    assert dropping.median > usual.median + 30
    assert ending.share < usual.share - 0.3


def test_the_call_comes_with_noticing_the_hit_before_it(tools):
    clumsy = replace(SKILLS["trained"], misses_hit=0.6)
    where = [(20.0, 15.0, 1.0, 0, 45)]
    hit, call = (
        rehearse(scene_of(*tools.staffed([Burial("A", find=by)], where)), clumsy, runs=400) for by in ("hit", "call")
    )
    assert call.time_to(0.5)[0] > hit.time_to(0.5)[0] + 5
    assert call.share()[0] <= hit.share()[0]


def test_a_found_burial_that_falls_quiet_no_longer_covers_the_other(tools):
    def spoiled(after_find):
        burials = [Burial(n, keying=Keying(1000, 300), after_find=after_find) for n in "AB"]
        tally = rehearse(scene_of(*tools.staffed(burials, TOGETHER)), SKILLS["trained"], runs=300)
        return tally.spoiled[1] / tally.loud[1]

    assert spoiled("falls-quiet") < spoiled("keeps-sending") - 0.1


def test_a_no_signal_burial_is_found_by_a_probe_line_only_and_sooner_by_more_people(tools):
    def line(people):
        scene = scene_of(
            *tools.staffed([Burial("A", Signal("never"))], [(20.0, 20.0, 1.0, 0, 0)], limit_s=3600.0, outline=SMALL)
        )
        return rehearse(scene, SKILLS["trained"], runs=200, searchers=people)

    four, twelve = line(4), line(12)
    assert four.by_search.tolist() == twelve.by_search.tolist() == [0]
    assert twelve.by_line[0] > 40  # a pad of 40 cm on 60 × 70 cm: three in ten a pass
    assert twelve.by_line[0] > four.by_line[0] + 20


SMALL = ((0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0))


def test_no_two_teammates_follow_the_same_burial_and_nobody_a_marked_one(tools):
    scene = scene_of(*tools.staffed([Burial(n) for n in "ABC"], THREE))
    block = Rehearsal(scene, ways_of(scene, 3), SKILLS["trained"], 0, np.arange(120))
    block._tidy = lambda tally: None
    followed = 0
    for moment in range(400):
        block._second(moment)
        follow = block.crew.follow.reshape(-1, 3)
        for burial in range(3):
            at_it = (follow == burial).sum(axis=1)
            assert (at_it <= 1).all()
            assert not (at_it > 0)[block.field.marked[:, burial]].any()
            followed += int(at_it.sum())
    assert followed > 10_000


@pytest.mark.parametrize(
    ("lapse", "where", "on_ms"),
    [("stops_early", [*THREE[:1], (70, 40, 1.0, 0, 45)], 70), ("misses_overlapped", TOGETHER, 400)],
)
def test_who_believes_that_nobody_is_left_misses_the_second(tools, lapse, where, on_ms):
    burials = [Burial(n, keying=Keying(1000, on_ms)) for n in "AB"]
    scene = scene_of(*tools.staffed(burials, where))
    never, often = (replace(SKILLS["practised"], **{lapse: chance}) for chance in (0.0, 0.7))
    careful, careless = (rehearse(scene, skill, runs=200).finds_share() for skill in (never, often))
    assert careless[0] == pytest.approx(careful[0], abs=0.02)
    assert careless[1] < careful[1] - 0.1


def test_who_does_not_get_away_from_a_marked_burial_is_later_at_the_next(tools):
    scene = scene_of(*tools.staffed([Burial("A"), Burial("B")], TOGETHER))
    held, free = (rehearse(scene, replace(SKILLS["trained"], leaves_marked=chance), runs=300) for chance in (0.15, 1.0))
    assert held.time_to(0.5)[1] > free.time_to(0.5)[1] + 15
