import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.physics.probe_patterns import probe_line, slalom, spiral
from fieldctl.physics.probing import (
    BODY,
    TORSO,
    Shape,
    certain_pad_m,
    first_hit,
    footprint,
    grid_chance,
    pad_disc,
    passes_chance,
    probe,
    probe_reach_m,
)


def test_first_hit_is_the_first():
    holes = [[0, 0], [1, 0], [2, 0], [2, 0.1]]
    pad = Shape(0.5, 0.5)
    assert first_hit(holes, [[2, 0], [1.1, 0.2], [9, 9]], 0.0, pad).tolist() == [2, 1, 4]
    assert first_hit([], [[0, 0]], 0.0, pad).tolist() == [0]


def test_turn_matters_for_a_body_and_not_for_a_disc():
    along = first_hit([[0.8, 0]], [[0, 0], [0, 0]], [0.0, np.pi / 2], BODY)
    assert along.tolist() == [0, 1]
    assert first_hit([[0.2, 0]], [[0, 0], [0, 0]], [0.0, 1.0], pad_disc(0.5)).tolist() == [0, 0]


def test_tilt_narrows_a_pad_and_leaves_a_body_its_thickness():
    assert footprint(Shape(0.6, 0.4), 0.0) == (0.6, 0.4)
    assert footprint(Shape(0.6, 0.4), np.pi / 3)[1] == pytest.approx(0.2)
    assert footprint(TORSO, np.pi / 2)[1] == pytest.approx(0.25)
    assert grid_chance(0.5, 0.5, Shape(0.6, 0.4), tilt_rad=1.0) < grid_chance(0.5, 0.5, Shape(0.6, 0.4))


def test_a_pad_on_edge_is_hardly_hit():
    assert grid_chance(0.5, 0.5, Shape(0.6, 0.4), tilt_rad=np.pi / 2) < 0.01
    assert grid_chance(0.5, 0.5, pad_disc(0.4), tilt_rad=np.pi / 2) < 0.01


def test_out_of_the_probes_reach_nothing_is_hit():
    reach = probe_reach_m(2.0)
    assert grid_chance(0.25, 0.25, TORSO, depth_m=1.0, reach_m=reach) == 1.0
    assert grid_chance(0.25, 0.25, TORSO, depth_m=1.82, reach_m=reach) == 1.0  # the middle: its upper face lies higher
    assert grid_chance(0.25, 0.25, TORSO, depth_m=1.83, reach_m=reach) == 0.0
    assert probe_reach_m(0.1) == 0.0


def test_a_tilted_pad_at_the_end_of_the_reach_is_half_there():
    whole = grid_chance(0.6, 0.6, Shape(0.5, 0.5), tilt_rad=0.5)
    half = grid_chance(0.6, 0.6, Shape(0.5, 0.5), tilt_rad=0.5, depth_m=1.7, reach_m=1.7)
    assert half == pytest.approx(whole / 2, abs=0.02)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 1.56), st.booleans(), st.floats(0.5, 1.5), st.sampled_from([TORSO, BODY, Shape(1.0, 0.2, 0.6)]))
def test_a_thick_tilted_body_is_struck_where_a_ray_down_the_hole_meets_it(tilt, other_way, reach, shape):
    """The hole as a ray against the two pairs of parallel faces (the slab method)."""
    depth, (s, c) = 1.0, (np.sin(tilt), np.cos(tilt))
    v = np.linspace(-0.8, 0.8, 321) + 1e-4
    enters = np.maximum((-shape.width_m / 2 - v * c) / s, (-shape.thick_m / 2 + v * s) / c)
    leaves = np.minimum((shape.width_m / 2 - v * c) / s, (shape.thick_m / 2 + v * s) / c)
    met = (enters <= leaves) & (depth + enters <= reach)
    edge = (np.abs(enters - leaves) < 1e-6) | (np.abs(depth + enters - reach) < 1e-6)
    sign = -1.0 if other_way else 1.0
    places = np.stack([np.zeros_like(v), -sign * v], axis=-1)
    struck = first_hit([[0.0, 0.0]], places, 0.0, shape, tilt_rad=sign * tilt, depth_m=depth, reach_m=reach) == 0
    np.testing.assert_array_equal(struck[~edge], met[~edge])


def test_a_body_on_its_side_near_the_end_of_the_reach_is_still_met():
    near = grid_chance(0.5, 0.5, TORSO, tilt_rad=np.radians(80), depth_m=1.0, reach_m=1.7)
    assert near == grid_chance(0.5, 0.5, TORSO, tilt_rad=np.radians(80))  # its highest edge lies 0.76 m deep


@pytest.mark.parametrize("spacing", [(-1.0, 1.0), (0.5, 0.0), (float("nan"), 1.0)])
def test_a_grid_without_room_between_its_holes_is_refused(spacing):
    with pytest.raises(ValueError, match="more than 0 m"):
        grid_chance(*spacing, TORSO)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 0.8), st.floats(0.2, 0.8), st.floats(0.05, 0.9))
def test_a_disc_of_the_diagonal_is_certain_and_chance_grows_with_size(a, b, size):
    assert grid_chance(a, b, pad_disc(certain_pad_m(a, b) * 1.001), turns=1) == 1.0
    assert grid_chance(a, b, pad_disc(size), turns=1) <= grid_chance(a, b, pad_disc(size * 1.1), turns=1)


def test_chunks_do_not_change_the_answer():
    rng = np.random.default_rng(0)
    places, turns = rng.normal(size=(60_000, 2)), rng.uniform(0, 3, 60_000)
    holes = spiral(0.25, 1.5)
    at_once = first_hit(holes, places, turns, TORSO)
    pieces = [first_hit(holes, places[i : i + 7_000], turns[i : i + 7_000], TORSO) for i in range(0, 60_000, 7_000)]
    np.testing.assert_array_equal(at_once, np.concatenate(pieces))


def test_expected_holes():
    sure = probe(spiral(0.25, 1.5), pad_disc(0.5), spread_m=0.01)
    assert (sure.chance, sure.holes_mean, sure.holes_if_hit) == (1.0, 1.0, 1.0)
    near = probe(spiral(0.25, 1.5), TORSO, spread_m=0.2)
    far = probe(spiral(0.25, 1.5), TORSO, spread_m=0.6)
    assert near.holes_mean < far.holes_mean
    assert near.chance >= far.chance
    never = probe(spiral(0.25, 0.5), TORSO, spread_m=0.1, depth_m=3.0, reach_m=2.0)
    assert never.chance == 0.0
    assert never.holes_mean == len(spiral(0.25, 0.5))
    assert np.isnan(never.holes_if_hit)
    assert probe(spiral(0.25, 1.5), TORSO, spread_m=0.4) == probe(spiral(0.25, 1.5), TORSO, spread_m=0.4)


def test_expected_holes_by_hand():
    """Two holes, and a strip so long that only its width counts: hit at hole 1, at hole 2 or at neither."""
    two = [[0.0, 0.0], [0.5, 0.0]]
    strip = Shape(1000.0, 0.4)
    offsets = np.random.default_rng(0).normal(size=(4000, 2)) * 0.3
    turned = np.random.default_rng(0)
    turned.normal(size=(4000, 2))
    turns = turned.uniform(0.0, np.pi, 4000)
    normal = np.stack([-np.sin(turns), np.cos(turns)], axis=-1)
    at = [np.abs(np.sum((np.array(h) - offsets) * normal, axis=1)) <= 0.2 for h in two]
    outcome = probe(two, strip, spread_m=0.3)
    assert outcome.chance == np.mean(at[0] | at[1])
    assert outcome.holes_mean == np.mean(np.where(at[0], 1, 2))


def test_passes():
    assert passes_chance(0.76, 1) == pytest.approx(0.76)
    assert passes_chance([0.0, 0.5, 1.0], 2).tolist() == [0.0, 0.75, 1.0]


# patterns


def test_spiral():
    holes = spiral(0.25, 1.0)
    assert holes[0].tolist() == [0.0, 0.0]
    radius = np.hypot(*holes.T)
    assert (np.diff(radius) >= -1e-12).all(), "outwards"
    assert radius.max() <= 1.0
    steps = np.hypot(*np.diff(holes, axis=0).T)
    np.testing.assert_allclose(np.delete(steps, 6), 0.25, rtol=1e-9)
    assert np.hypot(*(holes[7] - holes[1])) == pytest.approx(0.25), "the arm leaves the ring where that has closed"
    assert len(spiral(0.25, 0.1)) == 1
    np.testing.assert_allclose(spiral(0.5, 2.0), 2 * holes, rtol=1e-9, atol=1e-12)


def test_slalom():
    holes = slalom(0.25, 1.0, 0.5)
    assert holes.shape == (15, 2)
    assert holes[:5, 1].tolist() == [0.0] * 5
    assert (np.diff(holes[:5, 0]) > 0).all()
    assert (np.diff(holes[5:10, 0]) < 0).all()
    assert holes[:, 0].mean() == pytest.approx(0.0, abs=0.05)
    rows_apart = holes[5:10][::-1, 0] - holes[:5, 0]
    np.testing.assert_allclose(rows_apart, 0.125)


def test_probe_line():
    holes, beat = probe_line(people=4, holes_a_step=3, across_m=0.6, step_m=0.7, steps=5)
    assert holes.shape == (60, 2)
    assert np.bincount(beat).tolist() == [4] * 15
    np.testing.assert_allclose(np.unique(holes[:, 0]), 0.6 * np.arange(12))
    np.testing.assert_allclose(np.unique(holes[:, 1]), 0.7 * np.arange(5))
    assert (np.diff(beat) >= 0).all()
    first_step = holes[beat < 3]
    assert (first_step[:, 1] == 0).all()


def test_a_probe_line_hits_like_its_grid():
    holes, _ = probe_line(people=6, holes_a_step=3, across_m=0.6, step_m=0.7, steps=12)
    rng = np.random.default_rng(5)
    places = rng.uniform([2, 2], [8, 6], (4000, 2))
    hit = first_hit(holes, places, rng.uniform(0, np.pi, 4000), TORSO) < len(holes)
    assert hit.mean() == pytest.approx(grid_chance(0.6, 0.7, TORSO), abs=0.03)
