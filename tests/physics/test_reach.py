import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.physics.dipole import MOMENT_HIGHEST_AM2, MOMENT_LOWEST_AM2, dipole_field, magnitude
from fieldctl.physics.reach import (
    FARTHEST_RECEPTION_M,
    HEARD_LIMIT_A_PER_M,
    Ground,
    apart,
    apart_m,
    distance_to_outline,
    reach_m,
)

SQUARE = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]])


@settings(deadline=None)
@given(st.floats(1e-4, 5), st.floats(1e-10, 1e-6))
def test_beyond_its_reach_a_transmitter_is_under_the_limit_whichever_way_it_lies(moment, limit):
    reach = float(reach_m(moment, limit))
    angles = np.linspace(0, np.pi / 2, 31)
    axes = moment * np.stack([np.sin(angles), 0 * angles, np.cos(angles)], axis=-1)
    at = magnitude(dipole_field(axes, [0, 0, reach], wave=True))
    assert at.max() == pytest.approx(limit, rel=1e-6)
    assert (magnitude(dipole_field(axes, [0, 0, 1.05 * reach], wave=True)) < limit).all()


def test_reach_goes_further_than_the_static_field():
    assert reach_m(MOMENT_HIGHEST_AM2) > FARTHEST_RECEPTION_M
    assert reach_m(MOMENT_LOWEST_AM2) < reach_m(MOMENT_HIGHEST_AM2)
    assert reach_m([0.0, 1e-2]).tolist()[0] == 0.0


def test_bad_values_are_refused():
    with pytest.raises(ValueError, match="field limit more than 0"):
        reach_m(1e-2, 0.0)
    with pytest.raises(ValueError, match="moment is 0 or more"):
        reach_m(-1e-2)


def test_what_keeps_two_exercises_apart_is_the_stronger_signal():
    weak, strong = [MOMENT_LOWEST_AM2] * 3, [MOMENT_LOWEST_AM2, MOMENT_HIGHEST_AM2]
    assert apart_m(weak, strong) == apart_m(strong, weak) == float(reach_m(MOMENT_HIGHEST_AM2))
    assert apart_m(weak, weak) == float(reach_m(MOMENT_LOWEST_AM2))
    assert apart_m(weak, weak, 80e-9) < apart_m(weak, weak, HEARD_LIMIT_A_PER_M)


def test_a_no_signal_station_beside_a_signal_one_is_fine():
    assert apart_m([], [MOMENT_HIGHEST_AM2]) == 0.0
    assert apart_m([0.0], [MOMENT_HIGHEST_AM2]) == 0.0
    quiet = Ground(np.array([[20.0, 20.0]]), np.array([0.0]), SQUARE)
    loud = Ground(np.array([[50.0, 20.0]]), np.array([MOMENT_HIGHEST_AM2]), SQUARE + np.array([45, 0]))
    assert apart(quiet, loud).clear
    assert apart(loud, quiet).more_m == 0.0
    nobody = Ground(np.empty((0, 2)), np.empty(0), SQUARE)
    assert apart(nobody, nobody).clear


def test_two_signal_stations_are_judged_by_signal_and_searcher_and_told_what_would_do():
    def ground(shift, moment):
        return Ground(np.array([[20.0, 20.0], [10.0, 5.0]]) + shift, np.full(2, moment), SQUARE + shift)

    here, there = ground([0, 0], MOMENT_LOWEST_AM2), ground([60.0, 0], MOMENT_HIGHEST_AM2)
    lying = apart(here, there)
    assert not lying.clear
    assert lying.distance_m == pytest.approx(30.0)  # the one at x = 70 to the edge at x = 40
    assert lying.needed_m == float(reach_m(MOMENT_HIGHEST_AM2))
    moved = ground([60.0 + lying.more_m, 0], MOMENT_HIGHEST_AM2)
    assert apart(here, moved).clear
    assert not apart(here, ground([59.0 + lying.more_m, 0], MOMENT_HIGHEST_AM2)).clear
    assert apart(there, here) == lying


def test_a_silent_target_of_a_signal_exercise_reaches_nobody():
    mixed = Ground(np.array([[20.0, 20.0], [199.0, 0.0]]), np.array([MOMENT_LOWEST_AM2, 0.0]), SQUARE)
    other = Ground(np.array([[220.0, 20.0]]), np.array([MOMENT_LOWEST_AM2]), SQUARE + np.array([200, 0]))
    assert apart(mixed, other).clear


def test_distance_to_outline():
    assert distance_to_outline([[20, 20], [0, 0], [50, 20], [43, 44]], SQUARE).tolist() == [0, 0, 10, 5]
    assert distance_to_outline([[3, 4]], [[0, 0]]).tolist() == [5]
    assert distance_to_outline([[5, 2]], [[0, 0], [10, 0]]).tolist() == [2]
    notch = [[0, 0], [10, 0], [10, 10], [5, 2], [0, 10]]
    assert distance_to_outline([[5, 5]], notch)[0] > 0
    assert distance_to_outline([[1, 5]], notch)[0] == 0
    with pytest.raises(ValueError, match="at least one point"):
        distance_to_outline([[1, 1]], np.empty((0, 2)))
