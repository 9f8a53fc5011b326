"""The same answer whatever the blocks and workers; memory that does not grow with the repetitions; no warning."""

from __future__ import annotations

import tracemalloc
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.plan import Burial, Scene, Signal
from fieldctl.errors import BadInput
from fieldctl.keying import Keying
from fieldctl.rehearsal import as_lines, chance, preview
from fieldctl.rehearsal.rehearse import RUNS_MOST, SEARCHERS_MOST, rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS
from fieldctl.rehearsal.tally import Tally

THREE = [(20, 30, 1.0, 20, 90), (45, 12, 1.2, 100, 85), (65, 38, 1.4, 45, 60)]
BURIALS = [
    Burial("A", keying=Keying(1000, 300)),
    Burial("B", Signal("after-find", after="A"), level=40, drop_on_s=8.0, drop_off_s=4.0),
    Burial("C", Signal("never")),
]


def same(a: Tally, b: Tally) -> bool:
    return all(np.array_equal(getattr(a, f.name), getattr(b, f.name)) for f in fields(Tally))


@pytest.mark.parametrize("searchers", [1, 3])
@pytest.mark.parametrize("skill", list(SKILLS))
def test_any_block_gives_the_same(tools, searchers, skill):
    scene = scene_of(*tools.staffed(BURIALS, THREE, limit_s=600.0))
    whole = rehearse(scene, SKILLS[skill], runs=41, searchers=searchers, seed=5, block=41)
    for block in (1, 7, 30) if searchers == 1 and skill == "trained" else (13, 40):
        assert same(whole, rehearse(scene, SKILLS[skill], runs=41, searchers=searchers, seed=5, block=block)), block
    other = rehearse(scene, SKILLS[skill], runs=41, searchers=searchers, seed=6, block=41)
    assert not same(whole, other)


def test_any_number_of_workers_gives_the_same(tools):
    scene = scene_of(*tools.staffed(BURIALS, THREE, limit_s=300.0))
    said: list[float] = []
    one = rehearse(scene, SKILLS["novice"], runs=90, searchers=2, block=20)
    two = rehearse(scene, SKILLS["novice"], runs=90, searchers=2, block=20, workers=2, progress=said.append)
    assert same(one, two)
    assert said[-1] == 1.0
    assert said == sorted(said)


def test_the_first_repetitions_are_the_same_however_many_follow(tools):
    scene = scene_of(*tools.staffed([Burial("A")], THREE[:1], limit_s=600.0))
    few, more = (rehearse(scene, SKILLS["trained"], runs=n, seed=3) for n in (40, 90))
    assert (more.by_second >= few.by_second).all()
    assert few.runs == 40
    assert more.runs == 90


def test_memory_does_not_grow_with_the_repetitions(tools):
    scene = scene_of(*tools.staffed([Burial("A")], THREE[:1], limit_s=120.0))
    peaks = []
    rehearse(scene, SKILLS["trained"], runs=10)
    for runs in (1_000, 5_000):
        tracemalloc.start()
        rehearse(scene, SKILLS["trained"], runs=runs, block=500)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]
    assert peaks[1] < 30e6


def test_progress_never_falls_and_ends_with_the_whole(tools):
    scene = scene_of(*tools.staffed(BURIALS, THREE, limit_s=400.0))
    said: list[float] = []
    rehearse(scene, SKILLS["trained"], runs=50, block=20, progress=said.append)
    assert said == sorted(said)
    assert 0.0 < said[0] < 0.2
    assert said[-1] == 1.0


@pytest.mark.parametrize(
    "wish", [{"runs": 0}, {"runs": RUNS_MOST + 1}, {"searchers": 0}, {"searchers": SEARCHERS_MOST + 1}, {"seed": -1}]
)
def test_impossible_numbers_are_refused_with_the_nearest(tools, wish):
    scene = scene_of(*tools.staffed([Burial("A")], THREE[:1]))
    with pytest.raises(BadInput) as bad:
        rehearse(scene, SKILLS["trained"], **{"runs": 10, **wish})
    nearest = {"runs": (1, RUNS_MOST), "searchers": (1, SEARCHERS_MOST), "seed": (0, 0)}
    ((name, value),) = wish.items()
    assert bad.value.remedy == f"Take {nearest[name][value > 0]}."


metres = st.floats(-200, 200)
odd_place = st.tuples(metres, metres, st.sampled_from([0.0, 0.02, 1.0, 9.5]), st.floats(0, 360), st.floats(0, 90))


@settings(max_examples=30, deadline=None)
@given(
    where=st.lists(odd_place, min_size=1, max_size=4),
    outline=st.lists(st.tuples(metres, metres), min_size=0, max_size=5),
    level=st.integers(1, 100),
    period_ms=st.sampled_from([700, 1000, 1300]),
    searchers=st.integers(1, 4),
    kinds=st.lists(st.sampled_from(["start", "never", "delay"]), min_size=4, max_size=4),
)
def test_whatever_the_field_looks_like_no_warning_and_no_nonsense(
    tools, where, outline, level, period_ms, searchers, kinds
):
    """Warnings are errors here: numpy's as well. Outlines without extent, targets at the surface and far outside."""
    burials = [
        Burial(
            "ABCD"[i],
            Signal(kinds[i], delay_s=20.0 if kinds[i] == "delay" else 0.0),
            **({} if kinds[i] == "never" else {"level": level, "keying": Keying(period_ms, 300)}),
        )
        for i in range(len(where))
    ]
    site, drill, picks = tools.staffed(burials, where, limit_s=70.0, scene=Scene(outline_m=tuple(outline)))
    tally = rehearse(scene_of(site, drill, picks), SKILLS["practised"], runs=5, searchers=searchers)
    assert tally.runs == 5
    assert ((tally.share() >= 0.0) & (tally.share() <= 1.0)).all()
    assert tally.made.sum() == 5
    assert (tally.by_second.sum(axis=1) == tally.by_search + tally.by_line).all()
    assert (tally.spoiled <= tally.loud).all()
    shown = preview(site, drill, picks, runs=2, searchers=searchers)
    assert "nan" not in "".join(as_lines(shown))


def test_chances_are_even_normal_and_apart():
    key = chance.keys(7, np.arange(20_000))
    u, v = chance.uniform(key, chance.For.NOTICE, 3), chance.uniform(key, chance.For.NOTICE, 4)
    assert abs(u.mean() - 0.5) < 0.01
    assert abs(u.var() - 1 / 12) < 0.003
    assert np.abs(np.histogram(u, 20, (0, 1))[0] / 1000 - 1).max() < 0.12
    for other in (
        v,
        chance.uniform(key, chance.For.LEAVE, 3),
        chance.uniform(chance.keys(8, np.arange(20_000)), chance.For.NOTICE, 3),
    ):
        assert abs(np.corrcoef(u, other)[0, 1]) < 0.03
    assert abs(np.corrcoef(u[1:], u[:-1])[0, 1]) < 0.03
    z = chance.normal(key, chance.For.PACE)
    assert abs(z.mean()) < 0.03
    assert abs(z.std() - 1) < 0.02
    assert len(np.unique(np.concatenate([chance.keys(7, np.arange(1000), who) for who in range(8)]))) == 8000


def test_a_seed_means_the_same_for_ever():
    """Frozen: a change here changes every preview that was ever quoted."""
    key = chance.keys(1, [0, 1, 2])
    assert [f"{word:016x}" for word in key.tolist()] == FROZEN_KEYS
    assert np.round(chance.uniform(key, chance.For.PHASE, 9), 12).tolist() == FROZEN_CHANCES


FROZEN_KEYS = ["10a652055018074c", "cd3e39d1538b888d", "2aa2c42ef0bdd489"]
FROZEN_CHANCES = [0.880703166697, 0.815574526422, 0.014342933426]
