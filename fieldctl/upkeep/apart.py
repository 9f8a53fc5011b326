"""How far the latest values of a target stand apart: from its own earlier ones, beside what all targets did meanwhile.

    apart(day, value, today, ...) -> Apart | None     medians of then and now, and the error between
    falls(day, value, today, ...) -> Fall | None      whether they fall from day to day, beyond doubt

Snow, wind and the site's whole cable move all targets at once; what the others did is therefore taken off (`shared`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.slopes import theil_sen

MAD_TO_SPREAD = 1.4826  # of a normal distribution
MEDIAN_COSTS = 1.2533  # how much wider a median is than a mean, in a normal distribution
FALL_LEAST = 10  # values, of which a slope says something
FALL_SPANS = 0.6  # of the days asked for, at least
FALL_POINTS = 40  # 780 pairs
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


class Fall(NamedTuple):
    """By how much values fell over so many days, and how many stand behind it."""

    by: float
    days: float
    many: int


def falls(day: Array, value: Array, today: float, days: float, errors: float) -> Fall | None:
    """Whether values of the last days fall beyond doubt, by Theil–Sen with Sen's bounds; None otherwise.

    Many values are thinned to medians of neighbours, so that all pairs of them stay few.
    """
    late = day > today - days
    x, y = day[late], value[late]
    if x.size < FALL_LEAST or x[0] > today - FALL_SPANS * days:
        return None
    each = -(-x.size // FALL_POINTS)
    x, y = (values[x.size % each :].reshape(-1, each) for values in (x, y))
    x, y = x.mean(axis=1), np.median(y, axis=1)
    third = max(1, x.size // 3)
    if np.median(y[-third:]) >= np.median(y[:third]):
        return None
    found = theil_sen(x, y, errors)
    return Fall(found.slope * days, days, int(late.sum())) if found.high < 0 else None
