from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.plan import Burial, Signal
from fieldctl.physics.dipole import AXIAL, RECEIVER_LIMIT_A_PER_M
from fieldctl.physics.probing import grid_chance, pad_disc
from fieldctl.physics.receiver import range_m
from fieldctl.rehearsal.probe_line import GRID, PERSON_M, falls_on_pad, pace_m2_per_s, sweep_of
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS
from fieldctl.rehearsal.strips import paths_of, round_length_m, strip_width_for, strips_in
from fieldctl.site.sending import MOMENT_FULL_AM2

FIELD = np.array([[0.0, 0.0], [80.0, 0.0], [80.0, 50.0], [0.0, 50.0]])


def test_the_strip_is_as_wide_as_the_formula_says_and_no_wider_than_taught():
    longest = float(range_m(MOMENT_FULL_AM2, RECEIVER_LIMIT_A_PER_M, AXIAL))
    assert strip_width_for(MOMENT_FULL_AM2) == pytest.approx(1.26 * (longest - 2 * 0.1 * longest))
    assert strip_width_for(1.0) == 40.0
    assert strip_width_for(0.0) == 4.0


@settings(deadline=None)
@given(st.floats(5, 40), st.floats(0, 80), st.floats(0, 50), st.integers(1, 5))
def test_strips_pass_every_point_within_half_a_width(width, x, y, searchers):
    strips = strips_in(FIELD, FIELD[0], width)
    first = strips.lines[: strips.first_round]
    middle = first[:, 0, 1]
    assert np.abs(middle - y).min() <= width / 2 + 1e-6
    assert (np.sort(first[:, :, 0], axis=1) == [0.0, 80.0]).all()  # along the longer side, from end to end
    walked = [path.place(np.linspace(0, path.length_m, 400)) for path in paths_of(strips, searchers)]
    assert all((p >= FIELD.min(axis=0) - 1e-9).all() and (p <= FIELD.max(axis=0) + 1e-9).all() for p in walked)


def test_searchers_share_the_strips_out():
    strips = strips_in(FIELD, FIELD[0], 10.0)
    assert strips.first_round == 5
    rows = [sorted({round(float(y)) for y in path.points[:, 1]}) for path in paths_of(strips, 2)]
    assert set(rows[0]) & {5, 25, 45} == {5, 25, 45}
    assert set(rows[1]) & {15, 35} == {15, 35}
    assert round_length_m(strips, 1) > 1.5 * round_length_m(strips, 2)
    assert round_length_m(strips, 1) == pytest.approx(5 * 80 + 4 * 10)


def test_the_walk_begins_at_the_entry_whichever_corner_it_is():
    for corner in FIELD:
        strips = strips_in(FIELD, corner, 20.0)
        start = paths_of(strips, 1)[0].points[0]
        assert np.abs(start - corner).max() <= 10.0 + 1e-9


def test_strips_follow_a_slanting_outline():
    turn = np.radians(30)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    strips = strips_in(FIELD @ spin, np.zeros(2), 10.0)
    way = strips.lines[0, 1] - strips.lines[0, 0]
    assert np.degrees(np.arctan2(way[1], way[0])) % 180 == pytest.approx(30)
    assert np.hypot(*way) == pytest.approx(80)


def test_a_line_meets_pads_as_often_as_the_geometry_says():
    rng = np.random.default_rng(1)
    for pad_m in (0.3, 0.4, 0.8):
        u, v = rng.uniform(size=(2, 40_000))
        expected = grid_chance(GRID.across_m, GRID.along_m, pad_disc(pad_m), turns=1, fineness=200)
        assert falls_on_pad(u, v, pad_m).mean() == pytest.approx(expected, abs=0.01)


def test_a_line_comes_past_everything_once_a_pass_and_more_people_are_quicker(tools):
    where = [(3.0, 2.0, 1.0, 0, 0), (77.0, 2.0, 1.0, 0, 0), (77.0, 48.0, 1.0, 0, 0)]
    scene = scene_of(*tools.staffed([Burial(n, Signal("never")) for n in "ABC"], where))
    for people in (1, 4, 12):
        sweep = sweep_of(scene, people)
        assert sweep.all_m2 == pytest.approx(4000, rel=0.3)
        assert ((sweep.before_m2 >= 0) & (sweep.before_m2 <= sweep.all_m2)).all()
        assert max(sweep.before_m2[:2]) < 300 + 80 * people * PERSON_M < sweep.all_m2
        assert sweep.before_m2[2] > sweep.all_m2 - 300 - 80 * people * PERSON_M


def test_a_line_goes_there_and_back(tools):
    scene = scene_of(*tools.staffed([Burial("A", Signal("never"))], [(70.0, 25.0, 1.0, 0, 0)]))
    sweep = sweep_of(scene, 12)  # three lanes over 50 m; the second comes back from the far end
    assert sweep.before_m2[0] == pytest.approx((80.0 + 10.0) * 12 * PERSON_M)


def test_the_pace_of_a_line_is_of_the_order_that_is_taught():
    """20 people, a hectare: some hours at this fine grid (common practice); only the order counts."""
    hours = 10_000 / (20 * pace_m2_per_s(SKILLS["trained"], 2.0)) / 3600
    assert 1.0 < hours < 8.0
    assert pace_m2_per_s(SKILLS["novice"], 2.0) < pace_m2_per_s(SKILLS["practised"], 2.0)


def test_strips_of_a_debris_without_width_are_as_wide_as_somebody_walks():
    flat = np.array([[0.0, 0.0], [50.0, 0.0], [25.0, 0.0]])
    assert strips_in(flat, flat[0], 40.0).width_m == 4.0
