import numpy as np
import pytest

from fieldctl.physics.dipole import AXIAL, BROADSIDE, dipole_field
from fieldctl.physics.receiver import (
    SHOWN_MOST_M,
    above,
    antenna_strength,
    axis_of,
    coupling,
    distance_shown,
    line_of,
    peak_offset,
    range_m,
    read,
    strip_width_m,
)


def test_antennas_add_what_they_can_feel():
    field = np.array([[3.0, 4.0, 12.0]])
    assert antenna_strength(field, 3) == 13.0
    assert antenna_strength(field, 2) == 5.0
    assert antenna_strength(field, 1, 0.0) == 3.0
    assert antenna_strength(field, 1, np.pi / 2) == pytest.approx(4.0)
    assert antenna_strength(field, 1, np.arctan2(4, 3)) == pytest.approx(5.0)


def test_the_line_has_no_ends():
    """Direction without sense: 0 to π, the same for a field and its opposite."""
    rng = np.random.default_rng(0)
    field = rng.normal(size=(200, 3))
    line = line_of(field)
    assert ((line >= 0) & (line <= np.pi)).all()
    np.testing.assert_allclose(np.tan(line), field[:, 1] / field[:, 0], rtol=1e-6)
    np.testing.assert_allclose(line_of(-field), line)


def test_a_wave_has_the_static_line_close_by():
    offsets = np.array([[0.2, 0.1, 0.15], [-0.1, 0.3, 0.1]])
    static, whole = (dipole_field([0.3, 1.0, 0.2], offsets, wave=wave) for wave in (False, True))
    np.testing.assert_allclose(line_of(whole), line_of(static), atol=1e-4)


def test_reading_says_what_is_heard():
    field = np.array([[1e-6, 0, 0], [1e-8, 0, 0]])
    reading = read(field, antennas=3, limit_A_per_m=80e-9)
    assert reading.heard.tolist() == [True, False]
    assert reading.distance_m[0] < reading.distance_m[1]


def test_silence_shows_the_most_and_no_warning():
    assert distance_shown(0.0) == pytest.approx(SHOWN_MOST_M)
    reading = read(np.zeros((2, 3)), antennas=1, limit_A_per_m=1e-9)
    assert not reading.heard.any()
    assert np.isfinite(reading.distance_m).all()
    assert np.isfinite(reading.line_rad).all()


def test_a_target_that_lies_bare_shows_no_warning():
    seen = above(3, [0.0, 0.005, 1.0], 0.4)
    assert np.isfinite(seen.shown_m).all()
    assert seen.shown_m[0] <= seen.shown_m[2]
    assert seen.offset_m[0] == 0.0


def test_depth_and_tilt_move_the_peak_only_by_their_rule():
    """In depths: the same share of any depth, and the same for a tilt either way."""
    tilts = np.radians([10, 40, 70])
    for antennas in (1, 2, 3):
        np.testing.assert_allclose(peak_offset(antennas, -tilts), peak_offset(antennas, tilts), atol=1e-9)
        np.testing.assert_allclose(peak_offset(antennas, np.pi - tilts), peak_offset(antennas, tilts), atol=1e-9)
    assert peak_offset(3, 0.4).shape == ()
    assert peak_offset(2, np.pi / 2) == 0.0


def test_deeper_and_tilted_makes_the_fine_search_harder():
    seen = above(3, [[1.0], [2.0]], np.radians([0, 77, 90]))
    np.testing.assert_allclose(seen.offset_m[1], 2 * seen.offset_m[0])
    assert seen.offset_m[1, 1] == pytest.approx(0.5, abs=1e-3)
    assert seen.too_long_m[0, 0] == pytest.approx(0.0, abs=1e-6), "upright: the axis points at the searcher"
    assert seen.too_long_m[0, 2] == pytest.approx(2 ** (1 / 3) - 1, abs=1e-6), "lying: broadside"
    weak = above(3, 1.0, 0.0, moment_Am2=6.28e-3)
    assert weak.too_long_m > 0.5, "a weak transmitter looks deeper than it is"


def test_the_reading_above_is_that_of_the_field():
    tilt, depth = 0.9, 1.4
    seen = above(2, depth, tilt, moment_Am2=1e-2)
    spots = [[s * float(seen.offset_m), 0.0, depth] for s in (1, -1)]
    shown = distance_shown(antenna_strength(dipole_field(1e-2 * axis_of(tilt), spots), 2))
    assert shown.min() == pytest.approx(float(seen.shown_m), rel=1e-6)


def test_axis_of():
    np.testing.assert_allclose(axis_of(0.0), [0, 0, 1])
    np.testing.assert_allclose(axis_of(np.pi / 2, np.pi / 2), [0, 1, 0], atol=1e-15)
    assert axis_of(np.zeros(4), 1.0).shape == (4, 3)


def test_coupling():
    x, y = [1, 0, 0], [0, 1, 0]
    assert coupling(x, x, x) == AXIAL
    assert coupling(y, x, y) == BROADSIDE
    assert coupling(y, x, x) == 0.0
    rng = np.random.default_rng(2)
    assert (coupling(*rng.normal(size=(3, 500, 3))) <= AXIAL + 1e-12).all()


def test_coupling_is_the_field_along_the_antenna():
    rng = np.random.default_rng(3)
    axis, line, antenna = (v / np.linalg.norm(v, axis=1)[:, None] for v in rng.normal(size=(3, 50, 3)))
    felt = np.abs(np.sum(dipole_field(axis, line) * antenna, axis=1)) * 4 * np.pi
    np.testing.assert_allclose(coupling(axis, line, antenna), felt, atol=1e-12)


def test_range_by_coupling():
    assert range_m(1e-2, 1e-7, 0.0) == 0.0
    assert range_m(1e-2, 1e-7) / range_m(1e-2, 1e-7, BROADSIDE) == pytest.approx(2 ** (1 / 3))


def test_a_strip_is_never_less_than_nothing():
    assert strip_width_m(10, 20) == 0.0
    assert strip_width_m([40.0, 50.0], 5.0).shape == (2,)
