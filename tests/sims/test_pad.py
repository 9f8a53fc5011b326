"""Invented pad events: what they are is said by the kind of numbers that real ones have, and the table may doubt."""

from itertools import pairwise
from random import Random

import pytest
from mountain import mountain

from fieldctl.strikes import Kind, RecentStrike, StrikeFeatures, take_for
from fieldctl.wire import messages
from sims import pad


def kinds(touches: list[pad.Touch]) -> list[Kind]:
    found = []
    for i, (at, features) in enumerate(touches):
        recent = [RecentStrike(at - t, f) for t, f in touches[:i]]
        found.append(take_for(features, recent).kind)
    return found


@pytest.mark.parametrize("seed", range(40))
def test_each_event_is_taken_for_what_it_is_or_doubted_but_only_a_probe_for_a_probe(seed: int) -> None:
    rng = Random(seed)
    assert kinds(pad.probe(rng)) == [Kind.PROBE]
    assert set(kinds(pad.steps(rng))) <= {Kind.STEP, Kind.UNSURE}
    assert kinds(pad.steps(rng)).count(Kind.STEP) >= 3
    passing = kinds(pad.vehicle(rng))
    assert set(passing) <= {Kind.VEHICLE, Kind.UNSURE}
    assert passing.count(Kind.VEHICLE) > len(passing) / 2


@pytest.mark.parametrize("seed", range(10))
def test_steps_come_at_walking_pace_and_last_as_steps_do(seed: int) -> None:
    touches = pad.steps(Random(seed), 8)
    gaps = [b[0] - a[0] for a, b in pairwise(touches)]
    assert all(500_000 <= gap <= 690_000 for gap in gaps)
    assert all(f.width_us > 120_000 for _, f in touches)
    assert [f.repeats for _, f in touches[:4]] == [0, 1, 2, 3]
    assert pad.INVENTED


def test_an_event_at_a_pad_is_logged_and_told_with_its_numbers() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.arm(n)
    touches = pad.vehicle(m.world.rng("pad"))
    pad.play(m.world, n, touches)
    m.go(30_000_000)
    assert len(n.made) == len(touches)
    said = m.token(n)
    assert isinstance(said, messages.Strike)
    assert StrikeFeatures.from_ints(said.features) == touches[0][1]
