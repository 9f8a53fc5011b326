"""Overlap of pulses: the formula against simulation and the tabled values (derived), drift, and the legal limits."""

import itertools

import numpy as np
import pytest

from fieldctl.keying import Keying, longest_on_ms
from fieldctl.physics.keying_plan import Wish, plan_keying
from fieldctl.physics.pulses import Train, alone_share, covered_ms, drift, overlap_chance, pulses

TABLE = {70: (0.14, 0.376, 0.627), 100: (0.20, 0.51, 0.784), 200: (0.40, 0.84, 0.992)}


@pytest.mark.parametrize(("on_ms", "chances"), [*TABLE.items()])
def test_tabled_values(on_ms, chances):
    """T = 1 s, n = 2, 3, 4: derived (spacings)."""
    np.testing.assert_allclose(overlap_chance([2, 3, 4], on_ms, 1000), chances, atol=0.0006)


@pytest.mark.parametrize(("on_ms", "count"), [*itertools.product((70, 100, 200), (2, 3, 4))])
def test_formula_against_simulation(on_ms, count):
    """Phases drawn at random, overlaps counted by nearest spacing on the circle: a route without the formula."""
    draws = 60_000
    phases = np.sort(np.random.default_rng(on_ms * 10 + count).uniform(0, 1000, (draws, count)), axis=1)
    gaps = np.diff(np.concatenate([phases, phases[:, :1] + 1000], axis=1), axis=1)
    seen = (gaps < on_ms).any(axis=1).mean()
    expected = float(overlap_chance(count, on_ms, 1000))
    assert seen == pytest.approx(expected, abs=4.5 * np.sqrt(expected * (1 - expected) / draws))


def test_formula_against_pulse_trains():
    """The same through the product's own time axis: trains of one period at random phases."""
    rng = np.random.default_rng(8)
    draws = 1500
    hits = 0
    for _ in range(draws):
        trains = [Train(Keying(1000, 100), float(p)) for p in rng.uniform(0, 1000, 3)]
        hits += bool((alone_share(trains, 0, 3000) < 1).any())
    assert hits / draws == pytest.approx(0.51, abs=4.5 * np.sqrt(0.51 * 0.49 / draws))


def test_drift_of_two_periods():
    """70 ms at 1000 and 1001 ms: 140 s in every 1001 s. Derived; then counted pulse by pulse."""
    a, b = Keying(1000, 70), Keying(1001, 70)
    slide = drift(a, b)
    assert slide.cycles == 140
    assert slide.lasts_ms == pytest.approx(140_000)
    assert slide.returns_ms == pytest.approx(1_001_000)
    covered = covered_ms(Train(a, 0), [Train(b, 500)], 0, 4 * 1_001_000) > 0
    edges = np.flatnonzero(np.diff(covered.astype(int)))
    starts, ends = edges[::2], edges[1::2]
    assert ((ends - starts) >= 139).all()
    assert ((ends - starts) <= 140).all()
    assert (np.abs(np.diff(starts) - 1001) <= 1).all()


def test_longest_on_times():
    """300 / 600 / 900 ms at a period of 700 / 1000 / 1300 ms: derived from ETSI EN 300 718-1 (second-hand)."""
    assert [longest_on_ms(t) for t in (700, 1000, 1300)] == [300, 600, 900]


@pytest.mark.parametrize("wish", list(Wish))
@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 16, 30])
def test_planner_stays_within_the_standard(wish, count):
    """On ≥ 70 ms, off ≥ 400 ms, period 1000 ±300 ms: ETSI EN 300 718-1, second-hand, two independent pages."""
    planned = plan_keying(count, wish)
    assert len(planned.trains) == count
    for train in planned.trains:
        assert train.keying.on_ms >= 70
        assert train.keying.period_ms - train.keying.on_ms >= 400
        assert 700 <= train.keying.period_ms <= 1300
        assert len(pulses([train], 0, 10 * train.keying.period_ms).start_ms) in (10, 11)
