"""Digging rates and times; both schools shown."""

import numpy as np
import pytest

from fieldctl.physics.digging import (
    AT_PROBE,
    DOWNSLOPE,
    DOWNSLOPE_COST_S,
    RATE_KG_PER_S,
    SCHOOLS,
    both_schools,
    diggers_at_once,
    digging,
    volume_m3,
)


def test_rate_of_one_person():
    """1.50 to 1.79 kg/s for one person: Schindelwig et al., Sports 5(2):31, 2017; seen. Middle 1.65 (derived)."""
    assert RATE_KG_PER_S[0] == 1.50
    assert RATE_KG_PER_S[2] == 1.79
    assert RATE_KG_PER_S[1] == pytest.approx((1.50 + 1.79) / 2, abs=0.006)


@pytest.mark.parametrize(("density", "minutes"), [(350, 6.2), (400, 7.1), (450, 8.0)])
def test_a_wedge_at_1_4_m(density, minutes):
    """1.2 m wide from 1.5 × depth at 350 to 450 kg/m³ (memory) and 1.65 kg/s: 6 to 8 min at 1.4 m (derived)."""
    seconds = volume_m3(DOWNSLOPE, 1.4) * density / 1.65
    assert seconds / 60 == pytest.approx(minutes, abs=0.1)
    assert 6 <= round(seconds / 60) <= 8
    assert 6 * 60 < digging(DOWNSLOPE, 1.4).middle_s < 8 * 60


def test_the_wedges_volume_by_adding_up_slices():
    """Geometry by another route: slices 1 mm long from the start, where there is no depth, to the body."""
    depth, run = 1.4, 2.1
    x = (np.arange(2100) + 0.5) / 1000
    assert volume_m3(DOWNSLOPE, depth) == pytest.approx(float(np.sum(x / run * depth * 1.2 * 0.001)), rel=1e-9)


def test_both_schools_are_there_and_named_with_their_sources():
    """1.5 × depth downslope is widely taught (second-hand); beginning there cost 2 min 30 s on average in trials
    (Rogora & Perelli Ercolini, ISSW 2023; seen). Neither is prescribed."""
    assert [d.school for d in both_schools(1.2, 3)] == list(SCHOOLS) == [DOWNSLOPE, AT_PROBE]
    assert DOWNSLOPE.run_depths == 1.5
    assert "second-hand" in DOWNSLOPE.source
    assert "ISSW 2023" in AT_PROBE.source
    assert DOWNSLOPE_COST_S == 2 * 60 + 30


def test_on_a_steep_slope_a_shorter_cut_has_room_for_fewer():
    """The wedge comes out into the open after depth / tan(slope); by hand: 2 m at 60° is a cut of 1.15 m."""
    assert diggers_at_once(DOWNSLOPE, 2.0, 6) == 4
    assert diggers_at_once(DOWNSLOPE, 2.0, 6, np.radians(60)) == 2
    assert diggers_at_once(DOWNSLOPE, 2.0, 6, np.radians(80)) == 1
    assert digging(DOWNSLOPE, 2.0, 6, np.radians(60)).diggers == 2
    assert diggers_at_once(AT_PROBE, 2.0, 6, np.radians(80)) == diggers_at_once(AT_PROBE, 2.0, 6)
