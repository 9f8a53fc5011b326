"""A probe line that sweeps the debris for who sends no signal: in what order it comes past, at what pace, and whether
a hole falls on the pad.

The line goes three holes a step, 60 cm apart, 70 cm a step (Auger & Jamieson, ISSW 1996), in lanes as wide as all
searchers together, there and back from the entry. People who join later make it quicker, not its lanes wider. When the
debris is through it begins again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.physics.probing import PUBLISHED_GRIDS
from fieldctl.rehearsal.scene import Scene
from fieldctl.rehearsal.skill import Skill
from fieldctl.rehearsal.strips import strips_in

Floats = NDArray[np.float64]

GRID = next(g for g in PUBLISHED_GRIDS if g.holes_a_step == 3)
PERSON_M = GRID.across_m * GRID.holes_a_step
STEP_S = 2.0  # from one row to the next, on a word of command: our own assumption


@dataclass(frozen=True, slots=True)
class Sweep:
    """How much has been probed when the line comes to each burial, (K,) m², and what one pass covers, m²."""

    before_m2: Floats
    all_m2: float


def sweep_of(scene: Scene, people: int) -> Sweep:
    """The way of a line of so many people over the debris of a scene."""
    width = people * PERSON_M
    strips = strips_in(scene.outline, scene.entry, width)
    lines = strips.lines[: strips.first_round]
    length = np.sqrt(np.sum((lines[:, 1] - lines[:, 0]) ** 2, axis=1))
    before = np.concatenate([[0.0], np.cumsum(length)])
    out = np.empty(len(scene.names))
    for i, place in enumerate(scene.places[:, :2]):
        along = (lines[:, 1] - lines[:, 0]) / np.maximum(length, 1e-9)[:, None]
        ahead = np.sum((place - lines[:, 0]) * along, axis=1)
        aside = np.abs((place - lines[:, 0])[:, 1] * along[:, 0] - (place - lines[:, 0])[:, 0] * along[:, 1])
        lane = int(np.argmin(aside + 1e3 * ((ahead < 0) | (ahead > length))))
        gone = np.clip(ahead[lane], 0.0, length[lane])
        out[i] = (before[lane] + (length[lane] - gone if lane % 2 else gone)) * width
    return Sweep(out, max(float(before[-1]) * width, 1e-9))


def pace_m2_per_s(skill: Skill, deep_m: float) -> float:
    """What one person in the line probes in a second, all to the same depth."""
    return float(PERSON_M * GRID.along_m / (GRID.holes_a_step * hole_s(skill, deep_m) + STEP_S))


def hole_s(skill: Skill, deep_m: ArrayLike) -> Floats:
    """Time for one hole, half of which goes with the depth. Broadcasts."""
    return np.asarray(skill.hole_s * (0.5 + 0.5 * np.asarray(deep_m, dtype=np.float64)))


def falls_on_pad(across: Floats, along: Floats, pad_m: float) -> NDArray[np.bool_]:
    """Whether some hole of the grid meets a round pad whose middle lies anywhere in a cell, given by two even numbers
    in [0, 1): (N,) -> (N,)."""
    u = np.minimum(across, 1.0 - across) * GRID.across_m
    v = np.minimum(along, 1.0 - along) * GRID.along_m
    return np.asarray(u * u + v * v <= (pad_m / 2) ** 2)
