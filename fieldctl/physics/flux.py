"""Flux lines: the curve that leads a searcher in, followed by integration.

In space a line of a dipole is r = R sin²θ (textbook). A searcher stays on the surface and follows the horizontal part
of the field, towards where it grows; both are stepped here by the classical Runge-Kutta rule of fourth order, each
step a fixed share of the distance still to go, so that a line keeps its accuracy close to the target.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldctl.physics.dipole import Floats, dipole_field

STEP_SHARE = 0.02  # of the distance to the dipole: holds R within 1e-7 from entry to the last metre
CLOSE_M = 0.05  # nearer than this a line ends: the antenna itself is about that long
_FLAT = np.array([1.0, 1.0, 0.0])


def flux_lines(
    moment: ArrayLike,
    place: ArrayLike,
    starts: ArrayLike,
    *,
    on_surface: bool = False,
    steps: int = 400,
    step_share: float = STEP_SHARE,
) -> Floats:
    """Lines from S starts along the field of one dipole, (S, 3) -> metres (S, steps + 1, 3).

    In space a line sets out so as to come nearer first. `on_surface` keeps to the height of its start and follows the
    line of the horizontal field, setting out to where the field grows: what a searcher does, who is shown a line and
    no sense, and so walks on over a place where the field stands upright. It stops where the field no longer grows,
    which above a tilted antenna is not above the target. A line that has ended repeats its last point.
    """
    m = np.asarray(moment, dtype=np.float64)
    centre = np.asarray(place, dtype=np.float64)
    here = np.atleast_2d(np.asarray(starts, dtype=np.float64)) - centre
    out = np.empty((len(here), steps + 1, 3))
    out[:, 0] = here
    heading = _first_heading(m, here, on_surface)
    moving = np.any(heading != 0.0, axis=-1, keepdims=True)
    strength = _strength(m, here)
    for i in range(1, steps + 1):
        distance = _length(here)
        moving &= distance > CLOSE_M
        way = _way(m, here, step_share * distance, heading, on_surface)
        ahead = here + step_share * distance * way
        if on_surface:
            grown = _strength(m, ahead)
            moving &= grown > strength
            strength = grown
        here = np.where(moving, ahead, here)
        heading = way
        out[:, i] = here
        if not moving.any():
            out[:, i:] = here[:, None, :]
            break
    return np.asarray(out + centre)


def _length(v: Floats) -> Floats:
    return np.asarray(np.sqrt(np.sum(v * v, axis=-1, keepdims=True)))


def _strength(moment: Floats, offset: Floats) -> Floats:
    return _length(dipole_field(moment, offset))


def _direction(moment: Floats, offset: Floats, heading: Floats, on_surface: bool) -> Floats:
    """Unit vector along the line of the field, with the sense of the heading."""
    h = dipole_field(moment, offset)
    if on_surface:
        h = h * _FLAT
    size = _length(h)
    along = np.divide(h, size, out=np.zeros_like(h), where=size > 0.0)
    return np.where(np.sum(along * heading, axis=-1, keepdims=True) < 0.0, -along, along)


def _way(moment: Floats, offset: Floats, length: Floats, heading: Floats, on_surface: bool) -> Floats:
    """Mean direction over one step: the classical Runge-Kutta weights."""
    k1 = _direction(moment, offset, heading, on_surface)
    k2 = _direction(moment, offset + 0.5 * length * k1, heading, on_surface)
    k3 = _direction(moment, offset + 0.5 * length * k2, heading, on_surface)
    k4 = _direction(moment, offset + length * k3, heading, on_surface)
    return np.asarray((k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0)


def _first_heading(moment: Floats, offset: Floats, on_surface: bool) -> Floats:
    """Along the field or against it: whichever leads to more field (surface) or nearer (space)."""
    along = _direction(moment, offset, np.zeros_like(offset), on_surface)
    if on_surface:
        little = 1e-3 * _length(offset)
        gain = _strength(moment, offset + little * along) - _strength(moment, offset - little * along)
    else:
        gain = -np.sum(along * offset, axis=-1, keepdims=True)
    return np.where(gain < 0.0, -along, along)


def line_constant(moment: ArrayLike, offset: ArrayLike) -> Floats:
    """R of the flux line r = R sin²θ through each offset, (…, 3) -> metres (…); endless on the axis."""
    m = np.asarray(moment, dtype=np.float64)
    d = np.asarray(offset, dtype=np.float64)
    r2 = np.sum(d * d, axis=-1)
    along = np.sum(d * m, axis=-1)
    sine2 = 1.0 - along * along / (r2 * np.sum(m * m))
    return np.asarray(np.divide(np.sqrt(r2), sine2, out=np.full_like(r2, np.inf), where=sine2 > 1e-12))
