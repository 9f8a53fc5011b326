"""What a searching receiver with one, two or three antennas makes of a field.

A plain model of the principle, of no device: it is held level, so that its first two antennas lie horizontal and the
third upright. The direction it gives is the line of the horizontal field, without knowing which end leads to the
target. The distance it gives is that at which a transmitter of an assumed moment, met on its axis, would be as strong;
so it is never under the true distance, and never under the depth when held above a burial, unless the transmitter is
stronger than assumed (common practice and geometry).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.physics.dipole import (
    AXIAL,
    BROADSIDE,
    FIELD_LIMIT_AT_M,
    FIELD_LIMIT_HIGH_A_PER_M,
    Complexes,
    Floats,
    magnitude,
    moment_for_field,
    range_by_field,
)

Antennas = Literal[1, 2, 3]

ASSUMED_MOMENT_AM2 = float(moment_for_field(FIELD_LIMIT_HIGH_A_PER_M, FIELD_LIMIT_AT_M, BROADSIDE))
"""The strongest lawful transmitter, so that no lawful one is shown nearer than it is."""

SHOWN_MOST_M = 99.0  # a display of two figures; farther shows as this
ON_IT_M = 0.01  # a receiver laid on a bare target is still so far from its coil
STRIP_FACTOR = 1.26  # 2^(1/3), axial to broadside range: Schreilechner, Eck, Schober, ISSW 2009


@dataclass(frozen=True, slots=True)
class Reading:
    """What is shown at N places, each (N,): `line_rad`, the direction of the line, 0 to π from east towards north;
    `distance_m`; `strength_A_per_m`, which is behind it; `heard`, whether the limit is met."""

    line_rad: Floats
    distance_m: Floats
    strength_A_per_m: Floats
    heard: NDArray[np.bool_]


def antenna_strength(field: Floats | Complexes, antennas: Antennas, pointing_rad: ArrayLike = 0.0) -> Floats:
    """Strength (A/m) that a level receiver measures of a field (…, 3): one antenna along `pointing_rad` (…), the
    horizontal pair, or all three."""
    if antennas == 3:
        return magnitude(field)
    if antennas == 2:
        return magnitude(field[..., :2])
    heading = np.asarray(pointing_rad, dtype=np.float64)
    return np.abs(field[..., 0] * np.cos(heading) + field[..., 1] * np.sin(heading))


def line_of(field: Floats | Complexes) -> Floats:
    """Direction of the horizontal field's line, (…, 3) -> rad (…), 0 to π from east towards north.

    One antenna finds it by swinging to the loudest, two or three by comparing. Of complex amplitudes the long axis of
    the ellipse: ½ atan2 of the second circular moments.
    """
    east, north = field[..., 0], field[..., 1]
    twice = np.arctan2(2.0 * np.real(east * np.conj(north)), np.abs(east) ** 2 - np.abs(north) ** 2)
    return np.asarray(np.mod(0.5 * twice, pi))


def distance_shown(strength_A_per_m: ArrayLike, assumed_Am2: float = ASSUMED_MOMENT_AM2) -> Floats:
    """Distance (m) shown for a strength: where the assumed moment has it on its axis, SHOWN_MOST_M at most."""
    h = np.asarray(strength_A_per_m, dtype=np.float64)
    floor = AXIAL * assumed_Am2 / (4 * pi * SHOWN_MOST_M**3)
    return range_by_field(assumed_Am2, np.maximum(h, floor), AXIAL)


def read(
    field: Floats | Complexes,
    *,
    antennas: Antennas,
    limit_A_per_m: ArrayLike,
    pointing_rad: ArrayLike = 0.0,
    assumed_Am2: float = ASSUMED_MOMENT_AM2,
) -> Reading:
    """What a level receiver shows of a field (N, 3) in A/m; `pointing_rad` (N,) matters for one antenna only."""
    strength = antenna_strength(field, antennas, pointing_rad)
    return Reading(
        line_of(field),
        distance_shown(strength, assumed_Am2),
        strength,
        strength >= np.asarray(limit_A_per_m, dtype=np.float64),
    )


def axis_of(tilt_rad: ArrayLike, turn_rad: ArrayLike = 0.0) -> Floats:
    """Unit axis (…, 3) by its tilt from upright and the bearing that it tilts to, from east towards north."""
    tilt, turn = np.broadcast_arrays(np.asarray(tilt_rad, dtype=np.float64), np.asarray(turn_rad, dtype=np.float64))
    return np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], axis=-1)


def _shape_above(antennas: Antennas, tilt: Floats, at: Floats) -> Floats:
    """Strength (arbitrary units) at `at` depths from the target along the tilt, one depth above it."""
    axis_x, axis_z = np.sin(tilt), np.cos(tilt)
    r2 = at * at + 1.0
    along = (axis_x * at + axis_z) / r2
    hx, hz = (3.0 * along * at - axis_x) / r2**1.5, (3.0 * along - axis_z) / r2**1.5
    return np.hypot(hx, hz) if antennas == 3 else np.abs(hx)


def peak_offset(antennas: Antennas, tilt_rad: ArrayLike) -> Floats:
    """How far off the target, in depths, the strongest point on the surface lies: tilt from upright (…) -> (…), ≥ 0.

    By symmetry it lies in the plane of the tilt. Of several equal points the nearest. Found on a grid of 1/1000 depth
    and a parabola through its top. At most 0.25 with three antennas and 0.5 with one or two: Ayuso et al. 2015.
    """
    tilt = np.asarray(tilt_rad, dtype=np.float64)[..., None]
    at = np.linspace(-1.2, 1.2, 2401)
    shape = _shape_above(antennas, tilt, at)
    nearest = np.where(shape >= shape.max(axis=-1, keepdims=True) * (1 - 1e-12), np.abs(at), np.inf)
    top = np.clip(nearest.argmin(axis=-1), 1, len(at) - 2)[..., None]
    before, here, after = (np.take_along_axis(shape, top + k, axis=-1)[..., 0] for k in (-1, 0, 1))
    bend = before - 2.0 * here + after
    shift = np.divide(0.5 * (before - after), bend, out=np.zeros_like(bend), where=np.abs(bend) > 0.0)
    return np.asarray(np.abs(at[top[..., 0]] + np.clip(shift, -1.0, 1.0) * (at[1] - at[0])))


@dataclass(frozen=True, slots=True)
class Above:
    """What depth and tilt do to a fine search, each (…): `offset_m`, how far from the target the strongest point lies;
    `shown_m`, the distance shown there; `too_long_m`, by how much that exceeds the depth."""

    offset_m: Floats
    shown_m: Floats
    too_long_m: Floats


def above(
    antennas: Antennas,
    depth_m: ArrayLike,
    tilt_rad: ArrayLike,
    *,
    moment_Am2: float = ASSUMED_MOMENT_AM2,
    assumed_Am2: float = ASSUMED_MOMENT_AM2,
) -> Above:
    """A fine search at the surface above a burial at a depth, its axis tilted from upright; broadcasts."""
    depth, tilt = np.broadcast_arrays(np.asarray(depth_m, dtype=np.float64), np.asarray(tilt_rad, dtype=np.float64))
    offset = peak_offset(antennas, tilt)
    strength = np.maximum(_shape_above(antennas, tilt, offset), _shape_above(antennas, tilt, -offset))
    shown = distance_shown(moment_Am2 * strength / (4 * pi * np.maximum(depth, ON_IT_M) ** 3), assumed_Am2)
    return Above(offset * depth, shown, shown - depth)


def coupling(axis: ArrayLike, line: ArrayLike, antenna: ArrayLike) -> Floats:
    """How well one antenna hears a transmitter: |3 (m·n)(a·n) − m·a|, 0 to 2, for directions (…, 3) of the
    transmitter's axis, of the line between the two, and of the antenna, of any length. Textbook."""
    m, n, a = (_unit(v) for v in (axis, line, antenna))
    return np.asarray(np.abs(3.0 * np.sum(m * n, axis=-1) * np.sum(a * n, axis=-1) - np.sum(m * a, axis=-1)))


def _unit(v: ArrayLike) -> Floats:
    x = np.asarray(v, dtype=np.float64)
    return np.asarray(x / np.sqrt(np.sum(x * x, axis=-1, keepdims=True)))


def range_m(moment_Am2: ArrayLike, limit_A_per_m: ArrayLike, how_coupled: ArrayLike = AXIAL) -> Floats:
    """Range (m) of a receiver with a field limit, by coupling (`coupling()`, or AXIAL end to end, BROADSIDE side by
    side); 0 when crossed. Static field."""
    return range_by_field(moment_Am2, limit_A_per_m, how_coupled)


def strip_width_m(range_max_m: ArrayLike, spread_m: ArrayLike = 0.0) -> Floats:
    """Search strip width (m) = 1.26 (r_max − 2σ), never negative.

    range_max_m: mean of measured maximum ranges; spread_m: their standard deviation. Source: Schreilechner, Eck,
    Schober, ISSW 2009; Cold Reg. Sci. Technol. 59:259-266 (2009).
    """
    r, s = np.asarray(range_max_m, dtype=np.float64), np.asarray(spread_m, dtype=np.float64)
    return np.maximum(0.0, STRIP_FACTOR * (r - 2.0 * s))
