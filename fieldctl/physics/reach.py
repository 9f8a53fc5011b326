"""How far signals carry, and how far apart two exercises must be for their searchers not to be disturbed.

Distances err on the long side: the axis of the transmitter is taken to point at the searcher, and the whole field is
used, which falls more slowly than 1/r³. Ground and metal can carry a signal further still (Ayuso et al. 2015), so that
a walk with a receiver has the last word.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from fieldctl.physics.dipole import (
    AXIAL,
    MOMENT_HIGHEST_AM2,
    WAVENUMBER_PER_M,
    Floats,
    range_by_field,
)

FARTHEST_RECEPTION_M = 100.0
"""Longest maximum range measured: about 25 to 100 m, Schweizer & Krüsi, Cold Reg. Sci. Technol. 37:429 (2003)."""

HEARD_LIMIT_A_PER_M = AXIAL * MOMENT_HIGHEST_AM2 / (4 * pi * FARTHEST_RECEPTION_M**3)
"""4.3 nA/m: what the strongest lawful transmitter leaves at the longest range measured (derived). Far below the
80 nA/m that a norm asks of a receiver, since what counts here is what the best receiver may still hear."""

_ROUNDS = 80  # each leaves at most two thirds of the error, reached where the far field rules


def reach_m(moment_Am2: ArrayLike, limit_A_per_m: ArrayLike = HEARD_LIMIT_A_PER_M) -> Floats:
    """Distance beyond which a transmitter stays under a field limit whichever way it lies; broadcasts; 0 for moment 0.

    Solves (2m/4πr³) √(1 + k²r²) = H, or the broadside field where that is the stronger one (beyond 2/k, about 209 m).
    """
    m, h = np.broadcast_arrays(np.asarray(moment_Am2, dtype=np.float64), np.asarray(limit_A_per_m, dtype=np.float64))
    if np.any(m < 0.0) or np.any(h <= 0.0):
        raise ValueError("a moment is 0 or more and a field limit more than 0")
    along = np.asarray(range_by_field(m, h, AXIAL))
    square = along.copy()
    for _ in range(_ROUNDS):  # r = (c m s(r)/4πH)^(1/3) contracts: s grows more slowly than r³
        x2, y2 = (WAVENUMBER_PER_M * along) ** 2, (WAVENUMBER_PER_M * square) ** 2
        along = range_by_field(m, h, 2.0 * np.sqrt(1.0 + x2))
        square = range_by_field(m, h, np.sqrt(1.0 - y2 + y2 * y2))
    return np.maximum(along, square)


def apart_m(moments_a_Am2: ArrayLike, moments_b_Am2: ArrayLike, limit_A_per_m: float = HEARD_LIMIT_A_PER_M) -> float:
    """Separation (m) of two exercises that would do: from any transmitter of one to any searcher of the other.

    moments: A·m² of the signals each sends, any shape; none, or only zeros, is a no-signal exercise. Beside one of
    those nothing has to be kept apart, since nobody there follows a signal: the answer is 0.
    """
    a, b = (np.asarray(x, dtype=np.float64).ravel() for x in (moments_a_Am2, moments_b_Am2))
    if not (a > 0.0).any() or not (b > 0.0).any():
        return 0.0
    return float(max(reach_m(a, limit_A_per_m).max(), reach_m(b, limit_A_per_m).max()))


@dataclass(frozen=True, slots=True)
class Ground:
    """One exercise as its neighbours meet it: places (K, 2) m and moments (K,) A·m² of its signals, and the outline
    (V, 2) m of the area where its searchers walk (a point or a line will do)."""

    places: Floats
    moments_Am2: Floats
    outline: Floats


@dataclass(frozen=True, slots=True)
class Apart:
    """How two exercises lie: the nearest that a transmitter of one comes to searchers of the other and what would do,
    both of the worst pair, metres."""

    distance_m: float
    needed_m: float

    @property
    def clear(self) -> bool:
        """Whether no signal reaches the other's searchers."""
        return self.distance_m >= self.needed_m

    @property
    def more_m(self) -> float:
        """By how much they must be moved apart, 0 when clear."""
        return max(0.0, self.needed_m - self.distance_m)


def apart(a: Ground, b: Ground, limit_A_per_m: float = HEARD_LIMIT_A_PER_M) -> Apart:
    """How two exercises lie to one another, judged by each transmitter's own reach; the worst pair is reported."""
    if not (a.moments_Am2 > 0.0).any() or not (b.moments_Am2 > 0.0).any():
        return Apart(_gap(a, b), 0.0)
    worst = Apart(np.inf, 0.0)
    for sender, other in ((a, b), (b, a)):
        sends = sender.moments_Am2 > 0.0
        distance = distance_to_outline(sender.places[sends], other.outline)
        needed = reach_m(sender.moments_Am2[sends], limit_A_per_m)
        i = int(np.argmax(needed - distance))
        found = Apart(float(distance[i]), float(needed[i]))
        if found.needed_m - found.distance_m > worst.needed_m - worst.distance_m:
            worst = found
    return worst


def _gap(a: Ground, b: Ground) -> float:
    found = [distance_to_outline(x.places, y.outline).min(initial=np.inf) for x, y in ((a, b), (b, a)) if len(x.places)]
    return float(min(found, default=np.inf))


def distance_to_outline(points: ArrayLike, outline: ArrayLike) -> Floats:
    """Distance of N points (N, 2) to a closed outline (V, 2), 0 inside it: metres (N,)."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 2)[:, None, :]
    start = np.asarray(outline, dtype=np.float64).reshape(-1, 2)
    if not len(start):
        raise ValueError("an outline needs at least one point")
    end = np.roll(start, -1, axis=0)
    edge = end - start
    length2 = np.sum(edge * edge, axis=-1)
    along = np.sum((p - start) * edge, axis=-1) / np.where(length2 > 0.0, length2, 1.0)
    foot = start + np.clip(along, 0.0, 1.0)[..., None] * edge
    away = np.sqrt(np.sum((p - foot) ** 2, axis=-1)).min(axis=1)
    rises = (start[:, 1] > p[..., 1]) != (end[:, 1] > p[..., 1])
    slope = np.divide(edge[:, 0], edge[:, 1], out=np.zeros(len(edge)), where=edge[:, 1] != 0.0)
    crossed = rises & (p[..., 0] < start[:, 0] + (p[..., 1] - start[:, 1]) * slope)
    inside = crossed.sum(axis=1) % 2 == 1
    return np.where(inside, 0.0, away)
