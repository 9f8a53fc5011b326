"""How much is left in a battery, with an interval: volts at rest and under load, temperature, counted charge together.

What is not known is put on a grid: the true capacity over the printed one, and the charge at the history's begin (one
point where a person confirmed fresh cells). Each point says what every day should have measured; how well it fits, and
how likely it was beforehand, is its weight. A make's own distance from the curve is common to all its days and is
integrated out, so that a hundred days of a flat curve are not taken for a hundred proofs.

    believe(kind of battery, days, fresh) -> Belief        the weighted grid: what forecasts go on from
    estimate(belief)                      -> Estimate      in words: charge left, its interval, what it rests on
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fieldctl.site.model import Battery
from fieldctl.upkeep.curves import CELLS, Array, cold_keeps, ohm_shape, rest_v
from fieldctl.upkeep.readings import Daily

Basis = Literal["volts-and-count", "volts", "count", "nothing"]

CAPACITIES = np.linspace(0.35, 1.30, 39)
COARSE = CAPACITIES[::2]  # where the begin is not known either
STARTS = np.linspace(0.04, 1.0, 25)
COLDS = np.array([0.6, 0.8, 1.0, 1.2, 1.4])  # what the cold keeps back, over the table's
COLD_SPREAD = 0.2
DAYS_MOST = 14  # that are fitted: the last five, and others evenly before
DAYS_LAST = 5
DAY_SPREAD_V = 0.010  # a cell: rest not complete, rounding, the mean of a day's temperature
OHM_SPREAD = 0.25  # share by which the drop under load is believed to lie beside the curve
OHM_UNKNOWN = 0.6  # the same while this battery's own resistance is not known
RUN_DAYS, RUN_LEAST = 10, 3  # first days that the latter is taken from, and how many must have it
BEND = 0.6  # of a make's spread, by which its curve's shape lies beside the table's, apart from the common distance
BEND_SHARE = 0.25  # charge after which it may lie beside in another way: days within it prove the same thing again
FAR = 3.5  # a day further off than so many spreads counts as just that far
BAD_SHARE = 0.04  # of batteries have far less in them than is printed, in any way
WORST_WIDTH = 0.5  # an interval wider than this is no percentage
FLAT_WIDTH = 0.5  # volts alone leave more than this open: the curve is too flat to say
DROP_LEAST_V = 0.02  # under the test load: less cannot be told from the steps of a converter
COUNT_SPREAD = 0.03  # of what was counted
FRESH_SPREAD = 0.01


@dataclass(frozen=True, slots=True)
class Belief:
    """A weighted grid: true capacity over the printed one, share left, what the cold keeps back over the table's.

    Beside it what volts alone say of today, the battery's resistance, and what all of it rests on.
    """

    battery: Battery
    capacity: Array
    share: Array
    cold: Array
    weight: Array
    volts_weight: Array  # of `volts_share`: what volts alone say of today
    volts_share: Array
    run: float  # resistance of this battery over that of the table, both fresh at 20 °C
    age: float  # resistance now over what this battery would have had by its own beginning
    ohm: float  # measured over the last days, whole battery; NaN where it was not
    used_ah: float
    days: int
    volts_days: int
    fresh: bool
    celsius: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """Charge left as a share of the printed charge, 90 % interval; None where nothing can be said."""

    share: float | None
    low: float | None
    high: float | None
    basis: Basis
    flat: bool  # volts alone cannot tell here
    ohm: float | None
    ohm_20c: float | None  # the same brought to 20 °C
    age: float | None


def load_v(battery: Battery, share: Array, celsius: Array, run: Array | float, cold: Array | float = 1.0) -> Array:
    """Volts of the whole battery under its test load: what the cold keeps back counts as used up."""
    kind = battery.chemistry
    ohm = CELLS[kind].ohm_ah / battery.capacity_ah * run * ohm_shape(kind, share, celsius)
    return battery.cells * (rest_v(kind, share - cold * cold_keeps(kind, celsius)) - battery.load_a * ohm)


def believe(battery: Battery, days: Daily, fresh: bool) -> Belief:
    """The grid for the last day of these days."""
    cell = CELLS[battery.chemistry]
    run = _run(battery, days)
    used = float(days.used_ah[-1] - days.used_ah[0]) if days.size else 0.0
    starts = np.array([1.0]) if fresh else STARTS
    capacity, start, cold = (
        grid.ravel() for grid in np.meshgrid(CAPACITIES if fresh else COARSE, starts, COLDS, indexing="ij")
    )
    at = _fitted(days)
    taken = days.used_ah[at] - days.used_ah[0] if days.size else np.empty(0)
    gone = cell.loss_day * (days.day[at] - days.day[0]) if days.size else np.empty(0)
    share = start[:, None] - taken / (battery.capacity_ah * capacity[:, None]) - gone
    prior = _capacity_prior(capacity, cell.fade) - 0.5 * ((cold - 1.0) / COLD_SPREAD) ** 2
    fit = _fit(battery, days, at, share, run, cold[:, None])
    now = start - used / (battery.capacity_ah * capacity)
    now = now - (cell.loss_day * (days.day[-1] - days.day[0]) if days.size else 0.0)
    log = prior + fit + np.where(now < -0.05, -50.0, 0.0)  # it still answers
    weight = np.exp(log - log.max())
    volts_share, volts_weight = _volts_alone(battery, days, run)
    celsius = _last(days.celsius, 0.0)
    ohm = _last(days.ohm, np.nan, 3)
    age = _against(battery, days, run, float(np.average(now, weights=weight)))
    volts_days = int((~np.isnan(days.rest_v)).sum())
    return Belief(
        battery, capacity, np.maximum(now, 0.0), cold, weight / weight.sum(), volts_weight, volts_share, run, age, ohm,
        used, days.size, volts_days, fresh, celsius,
    )  # fmt: skip


def estimate(belief: Belief) -> Estimate:
    """What can be said of the charge left, and what it rests on."""
    share, low, high = quantiles(belief.share, belief.weight, 0.5, 0.05, 0.95)
    wide = COUNT_SPREAD * belief.used_ah / belief.battery.capacity_ah + FRESH_SPREAD
    low, high = max(0.0, low - wide), min(1.0, high + wide)
    below, above = quantiles(belief.volts_share, belief.volts_weight, 0.05, 0.95)
    flat = above - below > FLAT_WIDTH
    basis = _basis(belief, flat, high - low)
    ohm = None if np.isnan(belief.ohm) else belief.ohm
    room = None
    if ohm is not None:
        room = ohm / float(ohm_shape(belief.battery.chemistry, np.array(1.0), np.array(belief.celsius)))
    age = None if ohm is None or np.isnan(belief.age) else belief.age
    if basis == "nothing":
        return Estimate(None, None, None, basis, flat, ohm, room, age)
    return Estimate(share, low, high, basis, flat, ohm, room, age)


def _basis(belief: Belief, flat: bool, width: float) -> Basis:
    """What a percentage would rest on; "nothing" where there is to be none."""
    if flat and belief.fresh and belief.days:
        return "count"
    if not belief.volts_days or (flat and width > WORST_WIDTH):
        return "nothing"
    return "volts-and-count" if belief.used_ah > 0 else "volts"


def quantiles(values: Array, weight: Array, *at: float) -> list[float]:
    """Weighted quantiles, between values by their middles."""
    order = np.argsort(values, kind="stable")
    ranked, sums = values[order], np.cumsum(weight[order])
    return [float(q) for q in np.interp(at, (sums - weight[order] / 2.0) / sums[-1], ranked)]


def _capacity_prior(capacity: Array, fade: float) -> Array:
    good = np.exp(-0.5 * ((capacity - 1.0) / fade) ** 2) / fade
    bad = np.where(capacity < 1.0, 1.0 / 0.65, 1e-9)
    log: Array = np.log((1.0 - BAD_SHARE) * good / np.sqrt(2 * np.pi) + BAD_SHARE * bad)
    return log


def _fitted(days: Daily) -> np.ndarray:
    """Indices of the days that are fitted: with volts, the last ones and some before."""
    known = np.flatnonzero(~np.isnan(days.rest_v))
    if known.size <= DAYS_MOST:
        return known
    before = known[:-DAYS_LAST]
    few = before[np.linspace(0, before.size - 1, DAYS_MOST - DAYS_LAST).astype(int)]
    return np.concatenate([few, known[-DAYS_LAST:]])


def _fit(battery: Battery, days: Daily, at: np.ndarray, share: Array, run: float, cold: Array | float) -> Array:
    """Log-likelihood of each grid point: share has one row a point and one column a fitted day."""
    if not at.size:
        return np.zeros(share.shape[0])
    cell, n = CELLS[battery.chemistry], battery.cells
    span = float(days.used_ah[at[-1]] - days.used_ah[at[0]]) / battery.capacity_ah
    slack = max(1.0, at.size / (1.0 + span / BEND_SHARE))  # so many days for one proof
    each = n * float(np.hypot(DAY_SPREAD_V, BEND * cell.spread_v)) * np.sqrt(slack)
    rest = days.rest_v[at] - n * rest_v(battery.chemistry, share)
    log = _common(rest, each, n * cell.spread_v)
    known = ~np.isnan(days.load_v[at]) & ~np.isnan(days.celsius[at])
    if known.any():
        celsius = days.celsius[at][known]
        told = load_v(battery, share[:, known], celsius, run, cold)
        drop = n * rest_v(battery.chemistry, share[:, known]) - told
        own = OHM_SPREAD if (~np.isnan(days.ohm[:RUN_DAYS])).sum() >= RUN_LEAST else OHM_UNKNOWN
        spread = np.hypot(each, own * drop * np.sqrt(slack))
        log = log + 0.5 * _common(days.load_v[at][known] - told, spread, n * 2 * cell.spread_v)
    return log


def _common(rest: Array, each: Array | float, common: float) -> Array:
    """Log-density of residuals with a spread of each and one in common to all, the latter integrated out."""
    weight = 1.0 / np.broadcast_to(np.asarray(each), rest.shape) ** 2
    total = weight.sum(axis=-1) + 1.0 / common**2
    offset = (rest * weight).sum(axis=-1) / total
    away = np.minimum(np.abs((rest - offset[..., None]) / each), FAR)
    log: Array = -0.5 * (away**2).sum(axis=-1) - 0.5 * (offset / common) ** 2
    return log


def _volts_alone(battery: Battery, days: Daily, run: float) -> tuple[Array, Array]:
    """What rest volts of the last days say of the charge without any count."""
    share = np.linspace(0.0, 1.0, 201)
    known = np.flatnonzero(~np.isnan(days.rest_v))[-DAYS_LAST:]
    if not known.size:
        return share, np.full(share.size, 1.0 / share.size)
    log = _fit(battery, days, known, np.broadcast_to(share[:, None], (share.size, known.size)), run, 1.0)
    weight = np.exp(log - log.max())
    return share, weight / weight.sum()


def resistance_over_table(battery: Battery, ohm: Array, celsius: Array, share: float) -> Array:
    """Measured drop under load over what the table says of a battery at this charge, day by day."""
    warm = np.where(np.isnan(celsius), 0.0, celsius)
    left = np.full(warm.size, share)
    told = battery.cells * rest_v(battery.chemistry, left) - load_v(battery, left, warm, 1.0)
    ratio: Array = ohm * battery.load_a / np.maximum(told, DROP_LEAST_V)
    return ratio


def _over_table(battery: Battery, days: Daily, first: int, last: int, share: float) -> Array:
    """The same for some days, without those that measured none."""
    ratio = resistance_over_table(battery, days.ohm[first:last], days.celsius[first:last], share)
    return ratio[~np.isnan(ratio)]


def _run(battery: Battery, days: Daily) -> float:
    """Resistance of this battery over the table's by its first days; 1 where they are few."""
    ratio = _over_table(battery, days, 0, RUN_DAYS, 0.9)
    return float(np.clip(np.median(ratio), 0.4, 3.0)) if ratio.size >= RUN_LEAST else 1.0


def _against(battery: Battery, days: Daily, run: float, share: float) -> float:
    """Drop under load now over what this battery would have by its own beginning; NaN where it cannot be told."""
    if days.size < RUN_DAYS + 2:
        return float("nan")
    ratio = _over_table(battery, days, days.size - 5, days.size, min(max(share, 0.1), 1.0))
    first = days.ohm[:RUN_DAYS][~np.isnan(days.ohm[:RUN_DAYS])]
    if min(ratio.size, first.size) < RUN_LEAST or np.median(first) * battery.load_a < DROP_LEAST_V:
        return float("nan")
    return float(np.median(ratio) / run)


def _last(values: Array, otherwise: float, days: int = 5) -> float:
    known = values[-days:][~np.isnan(values[-days:])]
    return float(np.median(known)) if known.size else otherwise
