"""Time to find with those not found counted for as long as was looked: the estimate of Kaplan and Meier.

    kaplan_meier(times_s, found, groups=None) -> Curve      share not yet found, its interval, the median
    ratio_of_medians(slow, quick) -> Ratio | None           how many times as long, with an interval

Intervals: Greenwood's variance on the scale of log(-log(share)), which never leaves 0 to 1 (the "exponential Greenwood
formula"; the plain one does leave it for few people). Where `groups` says who came again, the variance is multiplied by
its design effect (sum of squared influences by group over Greenwood's own), never by less than 1: ten burials of one
person say less than one burial of each of ten.
The median is the first time at which at most half are not yet found; its interval are the times at which the bounds
come down to a half (Brookmeyer and Crowley). The ratio's interval joins the two (MOVER: Zou and Donner), on logarithms.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVEL = 0.95
FINDS_LEAST = 10  # below this no median is claimed: its interval would span nearly all times that were seen
GRID = 100  # times at which a design effect is worked out: it changes slowly
HALF = 0.5 + 1e-12  # a product of shares may miss an exact half by its rounding
GROUPS_LEAST = 5  # different people (or, for one person, exercises): fewer say nothing about the next one


@dataclass(frozen=True, slots=True)
class Median:
    """A median in seconds with its interval; a bound is None where the times seen do not reach it."""

    s: float
    low_s: float | None
    high_s: float | None


@dataclass(frozen=True, slots=True)
class Curve:
    """The share not yet found after each time at which somebody was found; starts at 1.

    `low` and `high` are not numbers (NaN) where there is no interval: when nobody is left.
    """

    times_s: Floats
    share: Floats
    low: Floats
    high: Floats
    at_risk: NDArray[np.int64]  # still looked for just before each time
    found: int
    looked_for: int
    groups: int
    left_s: Floats  # when the looking ended for those not found
    design_effect: Floats  # what the variance at each time was multiplied by, for the groups
    median: Median | None  # None where the curve never comes down to a half
    claims: bool  # enough finds and groups to claim anything

    @property
    def claimed(self) -> Median | None:
        """The median where there are enough finds to claim one."""
        return self.median if self.claims else None


def kaplan_meier(
    times_s: Sequence[float] | Floats,
    found: Sequence[bool] | NDArray[np.bool_],
    groups: Sequence[Hashable] | NDArray[np.int64] | None = None,
    level: float = LEVEL,
) -> Curve:
    """The curve of these burials; `groups` names who (or which exercise) each belongs to, everybody apart if None."""
    times = np.asarray(times_s, dtype=np.float64)
    events = np.asarray(found, dtype=bool)
    if times.shape != events.shape or times.ndim != 1:
        raise ValueError("one time and one found-or-not each")
    if times.size and not (np.isfinite(times).all() and (times >= 0).all()):
        raise ValueError("times are finite numbers of seconds, not below 0")
    at, deaths = np.unique(times[events], return_counts=True)
    risk = times.size - np.searchsorted(np.sort(times), at, side="left")
    share: Floats = np.multiply.accumulate(1 - deaths / risk, dtype=np.float64)
    left = risk - deaths
    with np.errstate(divide="ignore"):
        greenwood = np.cumsum(deaths / (risk * left.astype(np.float64)))
    codes = _codes(groups, times.size)
    many = int(codes.max()) + 1 if codes.size else 0
    effect = _design_effect(times, events, codes, at, left, greenwood) if many < times.size else np.ones(at.shape)
    low, high = _bounds(share, greenwood * effect, level)
    return Curve(
        times_s=at,
        share=share,
        low=low,
        high=high,
        at_risk=risk.astype(np.int64),
        found=int(events.sum()),
        looked_for=int(times.size),
        groups=many,
        left_s=np.sort(times[~events]),
        design_effect=effect,
        median=_median(at, share, low, high),
        claims=int(events.sum()) >= FINDS_LEAST and many >= GROUPS_LEAST,
    )


def at_level(curve: Curve, level: float) -> Curve:
    """The same curve with intervals of another level, such as one that allows for many comparisons."""
    left = curve.at_risk * _steps(curve.share)
    with np.errstate(divide="ignore"):
        greenwood = np.cumsum((curve.at_risk - left) / (curve.at_risk * np.round(left)))
    low, high = _bounds(curve.share, greenwood * curve.design_effect, level)
    return replace(curve, low=low, high=high, median=_median(curve.times_s, curve.share, low, high))


def _steps(share: Floats) -> Floats:
    before = np.concatenate(([1.0], share[:-1])) if share.size else share
    return np.divide(share, before, out=np.zeros_like(share), where=before > 0)


def _codes(groups: Sequence[Hashable] | NDArray[np.int64] | None, size: int) -> NDArray[np.int64]:
    if groups is None:
        return np.arange(size)
    if len(groups) != size:
        raise ValueError("one group each")
    if isinstance(groups, np.ndarray):
        return np.unique(groups, return_inverse=True)[1].reshape(-1).astype(np.int64)
    known: dict[Hashable, int] = {}
    return np.fromiter((known.setdefault(group, len(known)) for group in groups), dtype=np.int64, count=size)


def _bounds(share: Floats, variance: Floats, level: float) -> tuple[Floats, Floats]:
    """Bounds of each share from the variance of its logarithm; NaN where the share is 0."""
    z = NormalDist().inv_cdf(0.5 + level / 2)
    low, high = np.full(share.shape, math.nan), np.full(share.shape, math.nan)
    inside = (share > 0) & (share < 1)
    log = np.log(share[inside])
    width = z * np.sqrt(variance[inside]) / -log
    low[inside] = np.exp(log * np.exp(width))
    high[inside] = np.exp(log * np.exp(-width))
    return low, high


def _median(at: Floats, share: Floats, low: Floats, high: Floats) -> Median | None:
    middle = _first_at_half(at, share)
    return None if middle is None else Median(middle, _first_at_half(at, low), _first_at_half(at, high))


def _first_at_half(at: Floats, values: Floats) -> float | None:
    reached = np.flatnonzero(values <= HALF)  # NaN never is
    return float(at[reached[0]]) if reached.size else None


def _design_effect(
    times: Floats,
    events: NDArray[np.bool_],
    codes: NDArray[np.int64],
    at: Floats,
    left: NDArray[np.int64],
    green: Floats,
) -> Floats:
    """How much wider each variance is for the groups than for as many strangers; never less than 1.

    What one burial adds to the logarithm of the share at t: Greenwood's sum until t or until it was found or left, less
    1/(those left) at its own find. Sums by group, squared, are the variance for groups (infinitesimal jackknife). It is
    worked out at up to `GRID` of the times, and between them by straight lines.
    """
    effect = np.ones(at.shape)
    usable = int(np.count_nonzero(left))  # a share of 0 has no variance
    if not usable:
        return effect
    grid = np.unique(np.linspace(0, usable - 1, min(GRID, usable)).round().astype(np.int64))
    step = np.searchsorted(at, times, side="right") - 1  # the last one that each went through; -1: none
    own = np.where(step >= 0, green[np.maximum(step, 0)], 0.0)
    found = events & (step < usable)
    own[found] -= 1 / left[step[found]]
    leaves = np.searchsorted(at[grid], times, side="left")  # the grid point from which on it is found or left
    gone = leaves < grid.size
    shape = (int(codes.max()) + 1, grid.size)
    cell = codes[gone] * grid.size + leaves[gone]
    added = np.bincount(cell, own[gone], shape[0] * shape[1]).reshape(shape).cumsum(axis=1)
    away = np.bincount(cell, minlength=shape[0] * shape[1]).reshape(shape).cumsum(axis=1)
    members = np.bincount(codes, minlength=shape[0])[:, np.newaxis]
    by_group = added + (members - away) * green[grid]
    known = (by_group**2).sum(axis=0) / green[grid]
    effect[:usable] = np.maximum(1.0, np.interp(np.arange(usable), grid, known))
    return effect


@dataclass(frozen=True, slots=True)
class Ratio:
    """How many times as long one median is as another, with its interval; a bound is None where it is not known."""

    times: float
    low: float | None
    high: float | None

    @property
    def sure(self) -> bool:
        """Whether the interval leaves no doubt that one takes longer."""
        return (self.low is not None and self.low > 1) or (self.high is not None and self.high < 1)


def ratio_of_medians(slow: Curve, quick: Curve, level: float = LEVEL) -> Ratio | None:
    """`slow`'s median over `quick`'s; None where either makes no claim."""
    if not (slow.claims and quick.claims):
        return None
    a, b = at_level(slow, level).median, at_level(quick, level).median
    if a is None or b is None or a.s <= 0 or b.s <= 0:
        return None
    middle = math.log(a.s / b.s)
    low = high = None
    if a.low_s and b.high_s:
        low = math.exp(middle - math.hypot(math.log(a.s / a.low_s), math.log(b.high_s / b.s)))
    if a.high_s and b.low_s:
        high = math.exp(middle + math.hypot(math.log(a.high_s / a.s), math.log(b.s / b.low_s)))
    return Ratio(a.s / b.s, low, high)
