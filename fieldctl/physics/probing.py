"""Probing as geometry: does a pattern of holes hit a pad or a body, and at which hole.

Everything lies in the plane of the slope's surface, since probes go in at right angles to it: (across, up the slope)
in metres. What is hit is a rectangle (a pad, a body seen from above) or a disc, at any place, turn and tilt. A body is
softer, rounder and more spread than a rectangle, and a probe bends: real chances differ, so that figures of trials
are shown beside these and never mixed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

HANDS_M = 0.3
"""What stays in the hands: a probe reaches its length less about this (common practice)."""
_UPRIGHT = 1e-9  # cosine of what stands on its edge
_CHUNK = 2_000_000  # place-and-hole pairs tested at once: 16 MB a temporary


@dataclass(frozen=True, slots=True)
class Shape:
    """What is to be hit: length × width (m), `thick_m` upright; `disc` a disc of that width (and no length)."""

    length_m: float
    width_m: float
    thick_m: float = 0.0
    disc: bool = False


def pad_disc(diameter_m: float) -> Shape:
    """A round pad."""
    return Shape(diameter_m, diameter_m, disc=True)


TORSO = Shape(0.60, 0.45, 0.25)
BODY = Shape(1.70, 0.45, 0.25)
"""A crouched and a stretched body from above, the two that bound the published figures of probe lines (derived)."""


@dataclass(frozen=True, slots=True)
class PublishedGrid:
    """A published chance to hit somebody in one pass: spacing (m), holes a step, chance, source."""

    across_m: float
    along_m: float
    holes_a_step: int
    chance: float
    source: str = "Auger & Jamieson, ISSW 1996; ICAR AVA-REC0011 (2015)"


PUBLISHED_GRIDS = (
    PublishedGrid(0.75, 0.70, 1, 0.76),
    PublishedGrid(0.60, 0.70, 3, 0.95),
    PublishedGrid(0.50, 0.50, 1, 0.88),
)
"""Shown beside what the shapes give, never in place of it (seen; the holes a step of the last were not named)."""


def probe_reach_m(length_m: float) -> float:
    """How deep a probe of a length reaches, m."""
    return max(0.0, length_m - HANDS_M)


def footprint(shape: Shape, tilt_rad: float) -> tuple[float, float]:
    """Length and width (m) seen from above of a shape tilted about its long axis: w cos + thickness sin."""
    across = shape.width_m * abs(np.cos(tilt_rad)) + shape.thick_m * abs(np.sin(tilt_rad))
    return shape.length_m, float(across)


def certain_pad_m(spacing_across_m: float, spacing_along_m: float) -> float:
    """Diameter of the inscribed circle (m) that a grid cannot miss: the diagonal of its cell. Derived."""
    return float(np.hypot(spacing_across_m, spacing_along_m))


def _struck(shape: Shape, tilt_rad: float, u: Floats, v: Floats, depth_m: float, reach_m: float) -> NDArray[np.bool_]:
    """Whether holes at u along and v across the shape, seen from its middle, meet it within the probe's reach."""
    length, width = footprint(shape, tilt_rad)
    if shape.disc:
        within = (2.0 * u / length) ** 2 + (2.0 * v / max(width, 1e-9)) ** 2 <= 1.0
    else:
        within = (np.abs(u) <= length / 2) & (np.abs(v) <= width / 2)
    return np.asarray(within & (depth_m + _top_m(shape, tilt_rad, v) <= reach_m))


def _top_m(shape: Shape, tilt_rad: float, v: Floats) -> Floats:
    """How far below the middle (negative: above it) a hole at v across first meets a tilted shape: its upper face, or
    the raised side face where that one is met first. At most w/2 sin + thickness/2 cos either way."""
    s, c = abs(np.sin(tilt_rad)), abs(np.cos(tilt_rad))
    half, thick = shape.width_m / 2, shape.thick_m / 2
    across = v * np.sign(np.tan(tilt_rad)) if s > 0.0 else v
    upper = (across * s - thick) / max(c, _UPRIGHT)
    side = -half * s - (across + half * c) * c / s if s > 0.0 else np.full_like(v, -np.inf)
    most = half * s + thick * c
    return np.asarray(np.clip(np.maximum(upper, side), -most, most))


def first_hit(
    holes: ArrayLike,
    places: ArrayLike,
    turns_rad: ArrayLike,
    shape: Shape,
    *,
    tilt_rad: float = 0.0,
    depth_m: float = 0.0,
    reach_m: float = np.inf,
) -> Ints:
    """Index of the first of H holes that hits, for S burials; H where none does.

    holes: (H, 2) m in order; places: (S, 2) m of the middle; turns_rad: (S,) of the long axis. depth_m: of the middle;
    a tilted shape is deeper on one side, out of reach perhaps. Returns (S,).
    """
    h = np.asarray(holes, dtype=np.float64).reshape(-1, 2)
    p = np.asarray(places, dtype=np.float64).reshape(-1, 2)
    turns = np.broadcast_to(np.asarray(turns_rad, dtype=np.float64), (len(p),))
    out = np.full(len(p), len(h), dtype=np.intp)
    if not len(h):
        return out
    for a in range(0, len(p), max(1, _CHUNK // len(h))):
        part = slice(a, a + max(1, _CHUNK // len(h)))
        d = h[None, :, :] - p[part, None, :]
        c, s = np.cos(turns[part])[:, None], np.sin(turns[part])[:, None]
        u, v = d[..., 0] * c + d[..., 1] * s, d[..., 1] * c - d[..., 0] * s
        struck = _struck(shape, tilt_rad, u, v, depth_m, reach_m)
        out[part] = np.where(struck.any(axis=1), struck.argmax(axis=1), len(h))
    return out


@dataclass(frozen=True, slots=True)
class Probing:
    """Outcome over many burials: `chance` of a hit, `holes_mean` expected holes until the hit or the end of the
    pattern, `holes_if_hit` the same among hits (nan without any)."""

    chance: float
    holes_mean: float
    holes_if_hit: float


def probe(
    holes: ArrayLike,
    shape: Shape,
    *,
    spread_m: ArrayLike,
    repeats: int = 4000,
    seed: int = 0,
    tilt_rad: float = 0.0,
    depth_m: float = 0.0,
    reach_m: float = np.inf,
) -> Probing:
    """A pattern that starts at (0, 0) against burials at any turn, off it by a normal spread (m; one, or each way)."""
    rng = np.random.default_rng(seed)
    places = rng.normal(size=(repeats, 2)) * np.asarray(spread_m, dtype=np.float64)
    turns = rng.uniform(0.0, np.pi, repeats)
    first = first_hit(holes, places, turns, shape, tilt_rad=tilt_rad, depth_m=depth_m, reach_m=reach_m)
    count = len(np.asarray(holes).reshape(-1, 2))
    hit = first < count
    made = np.minimum(first + 1, count)
    return Probing(float(hit.mean()), float(made.mean()), float(made[hit].mean()) if hit.any() else float("nan"))


def grid_chance(
    spacing_across_m: float,
    spacing_along_m: float,
    shape: Shape,
    *,
    tilt_rad: float = 0.0,
    depth_m: float = 0.0,
    reach_m: float = np.inf,
    turns: int = 90,
    fineness: int = 48,
) -> float:
    """Chance that an endless grid hits a shape at a random place and turn in one pass.

    Worked on `fineness`² places in one cell and `turns` even turns, without random numbers. Good to about 0.003.
    """
    a, b = spacing_across_m, spacing_along_m
    if not (a > 0.0 and b > 0.0):
        raise ValueError("holes of a grid lie more than 0 m apart")
    length, width = footprint(shape, tilt_rad)
    radius = 0.5 * np.hypot(length, width)
    i, j = np.meshgrid(
        np.arange(-np.ceil(radius / a), np.ceil(radius / a) + 2),
        np.arange(-np.ceil(radius / b), np.ceil(radius / b) + 2),
        indexing="ij",
    )
    holes = np.stack([i.ravel() * a, j.ravel() * b], axis=-1)
    middle = (np.arange(fineness) + 0.5) / fineness
    x, y = np.meshgrid(middle * a, middle * b, indexing="ij")
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    found = 0
    for turn in (np.arange(turns) + 0.5) * np.pi / turns:
        first = first_hit(holes, places, turn, shape, tilt_rad=tilt_rad, depth_m=depth_m, reach_m=reach_m)
        found += int(np.count_nonzero(first < len(holes)))
    return found / (turns * len(places))


def passes_chance(one_pass: ArrayLike, passes: int) -> Floats:
    """Chance of a hit in several independent passes: 1 − (1 − p)ⁿ; independent, so an upper bound for the same grid."""
    p = np.asarray(one_pass, dtype=np.float64)
    return np.asarray(1.0 - (1.0 - p) ** passes)
