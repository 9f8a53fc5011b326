"""Slopes that a few wild values do not move: Theil (1950), Sen (1968): the median of all slopes between two points."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

POINTS_MOST = 400  # all pairs of these are 80 000 slopes; a season has 150 days


class Slope(NamedTuple):
    """The slope, the value at x = 0, and the slope's bounds."""

    slope: float
    at_zero: float
    low: float
    high: float


def theil_sen(x: NDArray[np.float64], y: NDArray[np.float64], z: float = 1.6449) -> Slope:
    """Theil–Sen with Sen's bounds at `z` (two-sided 90 % as given); ValueError under two different x, or too many."""
    if x.size != y.size or not 2 <= x.size <= POINTS_MOST:
        raise ValueError(f"{x.size} and {y.size} values: as many of both were expected, 2 to {POINTS_MOST}")
    i, j = np.triu_indices(x.size, 1)
    dx = x[j] - x[i]
    apart = dx != 0
    if not apart.any():
        raise ValueError("all x are the same: there is no slope")
    slopes = np.sort((y[j] - y[i])[apart] / dx[apart])
    middle = float(np.median(slopes))
    n, pairs = x.size, slopes.size
    ties = sum(_spread(count) for values in (x, y) for count in np.unique(values, return_counts=True)[1] if count > 1)
    sigma = np.sqrt(max(0.0, (_spread(n) - ties) / 18.0))
    low = max(0, round((pairs - z * sigma) / 2.0) - 1)
    high = min(pairs - 1, round((pairs + z * sigma) / 2.0))
    return Slope(middle, float(np.median(y) - middle * np.median(x)), float(slopes[low]), float(slopes[high]))


def _spread(count: int) -> float:
    return float(count * (count - 1) * (2 * count + 5))
