"""The signal search: how wide its strips are, and where they lead inside the outline of the debris.

Strips run along the longer side of the debris, evenly and no farther apart than the strip width, the first half of that
from the edge; searchers side by side take every n-th. Who comes to the end of a strip crosses to the next one of
theirs, and who has walked them all walks them again half a strip further across, so that what lay between two strips
is passed close by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.dipole import AXIAL, RECEIVER_LIMIT_A_PER_M
from fieldctl.physics.receiver import range_m, strip_width_m
from fieldctl.physics.trade import SEARCHERS_APART

Floats = NDArray[np.float64]

RANGE_SPREAD = 0.10
"""Standard deviation of a receiver's maximum range, as a share of it: our own assumption."""
LEAST_STRIP_M = 4.0  # nobody walks narrower: a weaker signal than that is met by probing


def strip_width_for(moment_Am2: float, limit_A_per_m: float = RECEIVER_LIMIT_A_PER_M) -> float:
    """Strip width (m) taught for a transmitter's strength: 1.26 (r_max − 2σ) of its range end to end, 4 m at least and
    the 40 m between searchers at most. Source of the formula: `receiver.strip_width_m`."""
    longest = float(range_m(moment_Am2, limit_A_per_m, AXIAL))
    return float(np.clip(strip_width_m(longest, RANGE_SPREAD * longest), LEAST_STRIP_M, SEARCHERS_APART.value))


@dataclass(frozen=True, slots=True)
class Path:
    """A way to walk: `points` (P, 2) m and the length walked up to each, `at_m` (P,). The last point is the first of
    the next round when `laps`."""

    points: Floats
    at_m: Floats

    @property
    def length_m(self) -> float:
        """Length of the whole way."""
        return float(self.at_m[-1])

    def place(self, walked_m: Floats) -> Floats:
        """Where one is after walking so far, (N,) -> (N, 2); round and round."""
        s = np.mod(walked_m, self.length_m)
        return np.stack([np.interp(s, self.at_m, self.points[:, k]) for k in (0, 1)], axis=-1)


@dataclass(frozen=True, slots=True)
class Strips:
    """Strips of a debris: middle lines (L, 2, 2) m in the order of walking, how wide they came out, and how many are of
    the first round; the others lie half a strip across."""

    lines: Floats
    width_m: float
    first_round: int


def strips_in(outline: Floats, entry: Floats, width_m: float) -> Strips:
    """Strips that cover an outline (V, 2), at most so wide, begun at the corner nearest to the entry (2,)."""
    centre = outline.mean(axis=0)
    along = _long_way(outline)
    across = np.array([-along[1], along[0]])
    if (entry - centre) @ along > 0.0:
        along = -along  # walk away from the entry
    if (entry - centre) @ across > 0.0:
        across = -across
    u, v = (outline - centre) @ along, (outline - centre) @ across
    wide = float(np.ptp(v))
    count = max(1, int(np.ceil(wide / width_m - 1e-9)))
    first = (np.arange(count) + 0.5) / count
    second = np.arange(1, count) / count if count > 1 else np.array([0.25, 0.75])
    rounds = []
    for shares in (first, second):
        rows = v.min() + wide * shares
        spans = [_span(u, v, row) for row in rows]
        rounds += [
            [centre + a * along + row * across, centre + b * along + row * across]
            for (a, b), row in zip(spans, rows, strict=True)
        ]
    return Strips(np.array(rounds), min(width_m, max(LEAST_STRIP_M, wide / count)), count)


def paths_of(strips: Strips, searchers: int) -> tuple[Path, ...]:
    """The way of each of several searchers: their strips there and back, first round then second, and over again."""
    first, second = strips.lines[: strips.first_round], strips.lines[strips.first_round :]
    out = []
    for who in range(searchers):
        mine = [lines[who % len(lines) :: searchers] for lines in (first, second)]
        turned = [line[::-1] if i % 2 else line for lines in mine for i, line in enumerate(lines)]
        points = np.concatenate([*turned, turned[0][:1]])
        step = np.sqrt(np.sum(np.diff(points, axis=0) ** 2, axis=1))
        at = np.concatenate([[0.0], np.cumsum(step)])
        if at[-1] <= 0.0:  # an outline without extent: a metre to and fro
            points, at = np.array([points[0], points[0] + [1.0, 0.0], points[0]]), np.array([0.0, 1.0, 2.0])
        out.append(Path(points, at))
    return tuple(out)


def round_length_m(strips: Strips, searchers: int) -> float:
    """How far each searcher walks until all strips of the first round are walked once (the longest share)."""
    longest = 0.0
    for who in range(min(searchers, strips.first_round)):
        mine = strips.lines[: strips.first_round][who::searchers]
        turned = np.concatenate([line[::-1] if i % 2 else line for i, line in enumerate(mine)])
        longest = max(longest, float(np.sqrt(np.sum(np.diff(turned, axis=0) ** 2, axis=1)).sum()))
    return longest


def _long_way(outline: Floats) -> Floats:
    """Unit vector along the longer side: of the edge directions the one whose enclosing box is narrowest."""
    edges = np.roll(outline, -1, axis=0) - outline
    lengths = np.sqrt(np.sum(edges**2, axis=1))
    best, way = np.inf, np.array([1.0, 0.0])
    for edge, length in zip(edges, lengths, strict=True):
        if length <= 0.0:
            continue
        unit = edge / length
        for candidate in (unit, np.array([-unit[1], unit[0]])):
            wide = np.ptp(outline @ np.array([-candidate[1], candidate[0]]))
            if wide < best - 1e-9:
                best, way = float(wide), candidate
    return way


def _span(u: Floats, v: Floats, row: float) -> tuple[float, float]:
    """Where a row crosses the outline first and last; the whole extent where it only touches."""
    u2, v2 = np.roll(u, -1), np.roll(v, -1)
    crossed = (np.minimum(v, v2) <= row) & (row <= np.maximum(v, v2)) & (v != v2)
    if not crossed.any():
        return float(u.min()), float(u.max())
    share = (row - v[crossed]) / (v2[crossed] - v[crossed])
    at = u[crossed] + share * (u2[crossed] - u[crossed])
    return float(at.min()), float(at.max())
