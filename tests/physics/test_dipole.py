import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from fieldctl.physics import dipole_field
from fieldctl.physics.dipole import (
    MOMENT_HIGHEST_AM2,
    MOMENT_LOWEST_AM2,
    field_strengths,
    field_sum,
    magnitude,
    moment_for_field,
    range_by_field,
)
from fieldctl.physics.flux import CLOSE_M, flux_lines, line_constant

coordinate = st.floats(-60, 60).filter(lambda x: x == 0.0 or abs(x) > 1e-9)
vectors = arrays(np.float64, (4, 3), elements=coordinate)


def test_shapes():
    assert dipole_field([0, 0, 1], [1, 0, 0]).shape == (3,)
    assert dipole_field([0, 0, 1], np.ones((5, 3))).shape == (5, 3)
    assert dipole_field(np.ones((5, 3)), np.ones((5, 3))).shape == (5, 3)
    assert dipole_field(np.ones((5, 3)), [1, 2, 3]).shape == (5, 3)
    assert dipole_field([0, 0, 1], np.empty((0, 3))).shape == (0, 3)
    assert dipole_field([0, 0, 1], np.ones((5, 3)), wave=True).dtype == np.complex128


def test_a_wrong_shape_says_what_was_expected():
    with pytest.raises(ValueError, match="three components"):
        dipole_field([0, 1], [[1, 2], [3, 4]])
    with pytest.raises(ValueError, match="as many places"):
        field_sum(np.ones((2, 3)), np.ones((3, 3)), np.ones((4, 3)))


@settings(deadline=None)
@given(vectors, vectors)
def test_no_input_makes_numpy_warn_or_gives_nan(moments, offsets):
    offsets[0] = 0.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for wave in (False, True):
            assert np.isfinite(dipole_field(moments, offsets, wave=wave)).all()
        assert np.isfinite(field_sum(moments, offsets, offsets)).all()
        assert np.isfinite(field_strengths(moments, offsets, offsets)).all()


@settings(deadline=None)
@given(vectors, vectors, st.floats(0.1, 10))
def test_linear_in_the_moment_and_even_in_the_offset(moments, offsets, factor):
    field = dipole_field(moments, offsets)
    scaled = dipole_field(factor * moments, offsets)
    assert (np.abs(scaled - factor * field) <= 1e-9 * magnitude(factor * field)[:, None]).all()
    np.testing.assert_array_equal(dipole_field(moments, -offsets), field)


def test_wave_correction_vanishes_close_by():
    offsets = np.array([[0.3, 0.1, 0.2]])
    static, whole = dipole_field([1, 2, 3], offsets), dipole_field([1, 2, 3], offsets, wave=True)
    assert magnitude(whole) == pytest.approx(magnitude(static), rel=1e-4)


@pytest.mark.parametrize("points", [0, 1, 100, 32_768, 32_769, 100_000])
def test_sum_in_blocks_is_the_sum(points):
    rng = np.random.default_rng(points)
    moments, places = rng.normal(size=(5, 3)), rng.normal(size=(5, 3))
    at = rng.normal(size=(points, 3)) * 20 + [0, 0, 40]
    one = field_sum(moments, places, at)
    plain = sum(dipole_field(m, at - p) for m, p in zip(moments, places, strict=True))
    size = field_strengths(moments, places, at).sum(axis=0)[:, None]
    assert (np.abs(one - plain) <= 1e-12 * size).all()
    for threads in (2, 3):
        np.testing.assert_array_equal(field_sum(moments, places, at, threads=threads), one)


def test_strengths_are_lengths_of_the_fields():
    rng = np.random.default_rng(3)
    moments, places, at = rng.normal(size=(4, 3)), rng.normal(size=(4, 3)), rng.normal(size=(50, 3)) * 10
    lengths = [magnitude(dipole_field(m, at - p)) for m, p in zip(moments, places, strict=True)]
    np.testing.assert_allclose(field_strengths(moments, places, at), lengths, rtol=1e-10)


def test_no_dipole_no_field():
    assert (field_sum(np.empty((0, 3)), np.empty((0, 3)), np.ones((7, 3))) == 0).all()
    assert field_strengths(np.empty((0, 3)), np.empty((0, 3)), np.ones((7, 3))).shape == (0, 7)


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-4, 1), st.floats(1e-10, 1e-3), st.floats(1, 2))
def test_range_and_moment_are_inverse(moment, limit, factor):
    r = range_by_field(moment, limit, factor)
    assert moment_for_field(limit, r, factor) == pytest.approx(moment, rel=1e-9)


def test_lawful_moments_are_the_widest_reading():
    assert pytest.approx(3.14e-3, rel=2e-3) == MOMENT_LOWEST_AM2
    assert pytest.approx(27.1e-3, rel=2e-3) == MOMENT_HIGHEST_AM2


# flux lines


def test_lines_in_space_close_in_on_the_dipole():
    starts = np.array([[10.0, 2, 1], [-3, 4, 9], [0, -8, 0.5]])
    lines = flux_lines([0.2, 0.1, 1.0], [1, 1, -1.5], starts, steps=2000)
    assert lines.shape == (3, 2001, 3)
    np.testing.assert_array_equal(lines[:, 0], starts)
    ends = np.linalg.norm(lines[:, -1] - [1, 1, -1.5], axis=1)
    assert (ends <= 1.1 * CLOSE_M).all()


def test_surface_lines_stay_on_the_surface_and_only_grow():
    place, moment = np.array([0.0, 0.0, -1.5]), np.array([1.0, 0.3, 0.4])
    starts = np.array([[20.0, 5, 0], [-15, 10, 0], [3, -18, 0]])
    lines = flux_lines(moment, place, starts, on_surface=True)
    assert (lines[..., 2] == 0.0).all()
    for line in lines:
        strength = np.linalg.norm(dipole_field(moment, line - place), axis=1)
        assert (np.diff(strength) >= 0).all()
        assert np.hypot(*line[-1, :2]) < 1.0, "ends near the target"


def test_a_line_on_the_surface_runs_along_the_field():
    place, moment = np.array([0.0, 0.0, -1.0]), np.array([0.0, 1.0, 0.0])
    line = flux_lines(moment, place, [[12.0, 3.0, 0.0]], on_surface=True)[0]
    walked = np.diff(line[:100], axis=0)[:, :2]
    middle = (line[:99] + line[1:100]) / 2
    field = dipole_field(moment, middle - place)[:, :2]
    cross = walked[:, 0] * field[:, 1] - walked[:, 1] * field[:, 0]
    assert np.abs(cross / np.linalg.norm(walked, axis=1) / np.linalg.norm(field, axis=1)).max() < 1e-3


def test_the_sense_of_the_moment_does_not_matter():
    """A receiver cannot tell it, so neither may the line."""
    starts = [[9.0, 4.0, 0.0]]
    there = flux_lines([1, 0.2, 0.1], [0, 0, -1], starts, on_surface=True)
    back = flux_lines([-1, -0.2, -0.1], [0, 0, -1], starts, on_surface=True)
    np.testing.assert_allclose(there, back, atol=1e-12)


def test_straight_above_an_upright_dipole_there_is_nowhere_to_go():
    line = flux_lines([0, 0, 1], [0, 0, -1], [[0.0, 0.0, 0.0]], on_surface=True, steps=5)
    assert (line == 0.0).all()


def test_the_axis_has_an_endless_line():
    assert line_constant([0, 0, 1], [0, 0, 3]) == np.inf
    assert line_constant([0, 0, 1], [3, 0, 0]) == 3.0
