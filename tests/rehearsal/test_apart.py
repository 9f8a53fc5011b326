from __future__ import annotations

import pytest

from fieldctl.drill.candidate import Candidate
from fieldctl.drill.pick import pick
from fieldctl.drill.plan import Apart, Burial, Drill, Signal
from fieldctl.physics.dipole import dipole_field, magnitude
from fieldctl.physics.reach import reach_m
from fieldctl.rehearsal.apart import Exercise, disturbance_of, exercise_of, too_near
from fieldctl.site.model import Site
from fieldctl.site.sending import MOMENT_FULL_AM2, axis_from_survey

SQUARE = ((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0))


def at(x: float, name: str = "close pair", moment: float = MOMENT_FULL_AM2) -> Exercise:
    return Exercise(name, ((x + 10.0, 10.0),), (moment,), tuple((x + a, b) for a, b in SQUARE))


def test_two_that_would_hear_each_other_are_named_with_the_distance_that_would_do():
    (problem,) = too_near(at(0.0, "one burial"), [at(60.0)])
    needed = float(reach_m(MOMENT_FULL_AM2))
    assert problem.distance_m == pytest.approx(50.0)
    assert problem.needed_m == pytest.approx(needed)
    assert (
        problem.text == f"close pair: their signals would reach each other: 50 m apart, {int(needed) + 1} m would do."
    )
    assert f"{int(needed - 50) + 1} m farther" in problem.remedy
    assert too_near(at(0.0), [at(problem.needed_m + 10.1)]) == ()


def test_the_worst_comes_first():
    found = too_near(at(0.0), [at(60.0, "far"), at(500.0, "clear"), at(25.0, "near")])
    assert [problem.with_name for problem in found] == ["near", "far"]


def test_a_no_signal_station_beside_a_signal_one_is_fine():
    quiet = Exercise("probe line", (), (), SQUARE)
    assert too_near(quiet, [at(0.0), at(5.0)]) == ()
    assert too_near(at(0.0), [quiet, Exercise("nothing known", (), ())]) == ()


def test_a_weak_signal_needs_less_room():
    near = [at(45.0, "weak", 0.05 * MOMENT_FULL_AM2)]
    assert too_near(at(0.0, "weak too", 0.05 * MOMENT_FULL_AM2), near) == ()
    assert len(too_near(at(0.0), near)) == 1


def test_an_exercise_is_its_sending_targets_and_its_ground(tools):
    site, drill, picks = tools.staffed(
        [Burial("A", level=40), Burial("B", Signal("never"))], [(20, 30, 1.0, 0, 0), (50, 20, 1.0, 0, 0)]
    )
    of = exercise_of(site, drill, picks)
    assert of.places == ((20.0, 30.0),)
    assert of.moments_Am2 == pytest.approx((0.4 * MOMENT_FULL_AM2,))
    assert of.outline_m == tools.FIELD


def candidate(i, place, tilt=None):
    return Candidate(place.target, "lower", place.x_m, place.y_m, place.depth_m, tilt)


def test_disturbance_is_one_where_the_other_is_as_strong_above_the_target(tools):
    places = tools.places([(0, 0, 1.0, 0, 0), (30, 0, 1.0, 0, 0), (1, 0, 2.0, 0, 0), (0.5, 0, 0.5, 0, 0)])
    a, far, deep, shallow = (candidate(i, p) for i, p in enumerate(places))
    of = disturbance_of(Site("s", "S", places=places))
    assert of(a, far) == of(far, a) < 1e-3
    assert of(a, a) == pytest.approx(1.0)
    assert of(deep, shallow) > 1.0  # a shallow one drowns a deep one beside it
    assert of(a, far) < of(a, deep) < of(deep, shallow)
    unknown = disturbance_of(Site("s", "S"))
    assert unknown(a, far) == pytest.approx((1 / 30.0166) ** 3, rel=1e-3)
    assert unknown(a, a) == pytest.approx(1.0)


def test_disturbance_is_the_dipoles(tools):
    where = [(0, 0, 1.0, 30, 70), (4, 3, 1.6, 200, 45)]
    places = tools.places(where)
    a, b = (candidate(i, p) for i, p in enumerate(places))

    def above(i, j):
        axis = axis_from_survey(places[i].axis.azimuth_deg, places[i].axis.tilt_deg)
        offset = [places[j].x_m - places[i].x_m, places[j].y_m - places[i].y_m, places[i].depth_m]
        return float(magnitude(dipole_field(axis, offset)))

    expected = max(above(1, 0) / above(0, 0), above(0, 1) / above(1, 1))
    assert disturbance_of(Site("s", "S", places=places))(a, b) == pytest.approx(expected)


def test_the_picker_keeps_signals_apart_that_could_not_be_told_apart(tools):
    places = tools.places([(0, 0, 2.0, 0, 0), (0.5, 0, 0.5, 0, 0), (30, 20, 1.0, 0, 0)])
    site = Site("s", "S", places=places)
    rows = [candidate(i, p) for i, p in enumerate(places)]
    drill = Drill("two", "Two", 900.0, (Burial("A"), Burial("B")))
    for seed in range(8):
        picks = pick(drill, rows, seed=seed, disturbance=disturbance_of(site))
        assert picks.staffed
        assert places[2].target in picks.targets.values()
    none = pick(drill, rows[:2], seed=0, disturbance=disturbance_of(site))
    assert not none.staffed
    assert {u.wish for u in none.unmet} == {"disturbance"}
    wished = Drill("pair", "Pair", 900.0, (Burial("A"), Burial("B", apart=(Apart("A", 0.0, 1.0),))))
    assert pick(wished, rows[:2], seed=0, disturbance=disturbance_of(site)).staffed
