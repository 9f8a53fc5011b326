"""Where the holes go, in order: spiral, slalom, grid, and a probe line with its steps.

Holes are (H, 2) metres in the surface's plane, (across, up the slope), the first at (0, 0) unless said.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SPIRAL_SPACING_M = 0.25
"""Holes of a spiral are this far apart or less, at right angles to the slope (second-hand; 20 cm: common practice)."""


def spiral(spacing_m: float, radius_m: float) -> Floats:
    """A round spiral outwards, out to a radius: the middle, a ring of six, then an arm that winds away from the ring.

    Arms lie `spacing_m` apart, holes `spacing_m` apart along them. A circle with the diagonal of a square cell of that
    spacing cannot slip between them (tested), which a plain Archimedean arm from the middle would allow.
    """
    turns = np.arange(6) * pi / 3  # a ring of radius one spacing closes with six holes
    holes = [(0.0, 0.0), *zip(np.cos(turns), np.sin(turns), strict=True)] if radius_m >= spacing_m else [(0.0, 0.0)]
    turn = _next_turn(2 * pi)
    while (r := turn / (2 * pi)) * spacing_m <= radius_m:
        holes.append((r * np.cos(turn), r * np.sin(turn)))
        turn = _next_turn(turn)
    return np.array(holes) * spacing_m


def _next_turn(turn: float) -> float:
    """Angle of the next hole along the spiral: one spacing on, by the law of cosines."""
    r = max(1.0, turn / (2 * pi))
    ahead = turn + 1.0 / r
    for _ in range(60):
        r2 = max(1.0, ahead / (2 * pi))
        gap = np.sqrt(r * r + r2 * r2 - 2 * r * r2 * np.cos(ahead - turn))
        ahead -= (gap - 1.0) / r2
    return float(ahead)


def slalom(spacing_m: float, width_m: float, length_m: float) -> Floats:
    """Rows across, there and back, each shifted by half a spacing, one spacing further up: the holes of one prober who
    sweeps a strip. The strip is centred on x = 0 and starts at y = 0 with its left end."""
    per_row = int(np.floor(width_m / spacing_m)) + 1
    rows = int(np.floor(length_m / spacing_m)) + 1
    across = (np.arange(per_row) - (per_row - 1) / 2) * spacing_m
    out = np.empty((rows, per_row, 2))
    for row in range(rows):
        x = across + (0.25 if row % 2 else -0.25) * spacing_m
        out[row, :, 0] = x[::-1] if row % 2 else x
        out[row, :, 1] = row * spacing_m
    return out.reshape(-1, 2)


def grid(across_m: float, along_m: float, columns: int, rows: int) -> Floats:
    """A grid of columns × rows, row by row from (0, 0)."""
    x, y = np.meshgrid(np.arange(columns) * across_m, np.arange(rows) * along_m)
    return np.stack([x.ravel(), y.ravel()], axis=-1)


def probe_line(
    people: int, holes_a_step: int, across_m: float, step_m: float, steps: int
) -> tuple[Floats, NDArray[np.intp]]:
    """A line of people that probes and steps forward together, all in time.

    Holes are `across_m` apart, each person making `holes_a_step` before a step of `step_m`. Returns the holes (H, 2) in
    the order of time, and for each the beat (H,) at which it is made: `people` holes share a beat.
    """
    person, hole, step = np.arange(people), np.arange(holes_a_step), np.arange(steps)
    s, h, p = np.meshgrid(step, hole, person, indexing="ij")
    x = (p * holes_a_step + h) * across_m
    holes = np.stack([x.ravel(), (s * step_m).ravel()], axis=-1)
    return holes, (s * holes_a_step + h).ravel().astype(np.intp)
