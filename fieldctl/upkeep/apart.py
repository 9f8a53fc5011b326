"""How far the latest values of a target stand apart: from its own earlier ones, beside what all targets did meanwhile.

    apart(day, value, today, ...) -> Apart | None     medians of then and now, and the error between

Snow, wind and the site's whole cable move all targets at once; what the others did is therefore taken off (`shared`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.slopes import POINTS_MOST, theil_sen

MAD_TO_SPREAD = 1.4826  # of a normal distribution
MEDIAN_COSTS = 1.2533  # how much wider a median is than a mean, in a normal distribution
OTHERS_LEAST = 4  # of whom something is known, before what they share says anything


class Apart(NamedTuple):
    """Now less before, in the value's own unit; by how many of its own errors; how many values are behind it."""

    by: float
    errors: float
    now: float
    before: float
    many: int


def apart(
    day: Array, value: Array, today: float, *, recent: float, least: int, before: int, spread: float
) -> Apart | None:
    """The last `recent` days against all before; None with fewer than `least` values in them, or `before` earlier.

    `spread` is the least that single values are believed to scatter by.
    """
    late = day > today - recent
    now, then = value[late], value[~late]
    now, then = now[~np.isnan(now)], then[~np.isnan(then)]
    if now.size < least or then.size < before:
        return None
    middle = float(np.median(then))
    scatter = max(spread, MAD_TO_SPREAD * float(np.median(np.abs(then - middle))))
    by = float(np.median(now)) - middle
    error = MEDIAN_COSTS * scatter * np.sqrt(1.0 / now.size + 1.0 / then.size)
    return Apart(by, by / error, middle + by, middle, int(now.size))


def shared(all_apart: Sequence[Apart | None], mine: int) -> float:
    """By how much the others moved meanwhile; 0 where too few of them are known."""
    others = [each.by for n, each in enumerate(all_apart) if each is not None and n != mine]
    return float(np.median(others)) if len(others) >= OTHERS_LEAST else 0.0


def falls(day: Array, value: Array) -> float | None:
    """The slope a day where Sen's bounds leave no doubt that it falls; None otherwise."""
    if day.size < 2 or day[0] == day[-1]:
        return None
    every = -(-day.size // POINTS_MOST)
    found = theil_sen(day[::every], value[::every], 2.576)  # 99 %
    return found.slope if found.high < 0 else None
