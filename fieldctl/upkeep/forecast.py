"""Charge left day by day, and the last day: until when volts under load hold what the target's board asks for.

Each of a few hundred possible batteries (drawn evenly from the belief of `estimate`) goes on with a use and a row of
cold days of its own; the day on which its volts under load first fall below the limit is its last. The draws are the
same every time: the same readings give the same forecast.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from fieldctl.site.model import Battery
from fieldctl.upkeep.curves import CELLS, Array, cold_keeps, ohm_shape, rest_v
from fieldctl.upkeep.energy import Use
from fieldctl.upkeep.estimate import Belief, load_v
from fieldctl.upkeep.readings import Daily
from fieldctl.upkeep.slopes import theil_sen

MANY = 240
AHEAD = np.concatenate([np.arange(0, 31), np.arange(33, 121, 3), np.arange(127, 401, 7)]).astype(np.float64)
COLD_DAYS = 14  # that the coming cold is taken from
COLD_SPREAD_C = 2.0  # at least, from day to day
COLD_LEVEL_C = 1.0  # by which the coming weeks may be colder or milder as a whole
COLD_KEEPS = 0.8  # of a day's cold is there on the next
SPELL_EVERY = 35.0  # days, on average, from one cold spell to the next; this and the next two from memory
SPELL_LONG = 5.0
SPELL_C = 4.0  # at the battery: snow keeps off about half of what the air has
KNEE_SPREAD = 0.02  # of a full charge, by which the end of a curve may lie elsewhere than the table has it
GROWS_LEAST = 0.01  # a day, by which resistance has to grow for the forecast to go on with it
GROWS_DAYS = 14


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days from today on (`ahead`) with the charge left; the last day with its bands, None where it lies beyond."""

    today: float
    ahead: Array
    share: Array  # median of the charge left
    share_low: Array  # 90 %
    share_high: Array
    last: float | None  # day numbers: the last day on which it will do, in the middle
    low_50: float | None
    high_50: float | None
    low_90: float | None
    high_90: float | None
    lasts: float | None  # chance that it lasts through the closing day; None without one
    volts_now: float  # under load today, as the curve and the measurements have it


def forecast(belief: Belief, days: Daily, use: Use, expected_c: float | None, closing: float | None) -> Forecast:
    """The forecast from the last day of `days` on."""
    battery = belief.battery
    today = float(days.day[-1])
    share, capacity, kept = _drawn(belief)
    chance = _chances()
    rate = use.ah_a_day * np.exp(use.spread * chance.rate)
    loss = CELLS[battery.chemistry].loss_day
    left = share[:, None] - AHEAD * (rate / (battery.capacity_ah * capacity) + loss)[:, None]
    celsius = _cold(days, expected_c, chance)
    run, beside = _anchored(belief, days, share, kept)
    grown = np.exp(_growth(days, belief) * np.minimum(AHEAD, 30.0))
    volts = (
        load_v(
            battery,
            left - (KNEE_SPREAD * chance.knee)[:, None] * np.minimum(1.0, AHEAD / 7.0),
            celsius,
            run[:, None] * grown,
            kept[:, None],
        )
        + beside[:, None]
    )
    least = least_v(battery)
    fails = volts < least
    first = np.where(fails.any(axis=1), fails.argmax(axis=1), AHEAD.size)
    last = np.append(AHEAD - 1.0, np.inf)[first] + today  # the day before the first on which it does not do
    last = np.where(first < AHEAD.size, last + chance.within * _step(first), last)
    last = np.maximum(last, today)  # it did today
    low_90, low_50, middle, high_50, high_90 = (_quantile(last, at) for at in (0.05, 0.25, 0.5, 0.75, 0.95))
    below, half, above = np.quantile(np.maximum(left, 0.0), (0.05, 0.5, 0.95), axis=0)
    lasts = None if closing is None else float((last >= closing).mean())
    now = float(np.median(volts[:, 0]))
    return Forecast(
        today, AHEAD, half, below, np.minimum(above, 1.0), middle, low_50, high_50, low_90, high_90, lasts, now
    )


def least_v(battery: Battery) -> float:
    """Volts under load below which it does not do."""
    return battery.cells * CELLS[battery.chemistry].end_v if battery.least_v is None else battery.least_v


@dataclass(frozen=True, slots=True)
class _Chances:
    rate: Array
    level: Array
    days: Array
    within: Array
    knee: Array
    spells: Array


@cache
def _chances() -> _Chances:
    """The same draws for every battery and every time."""
    chance = np.random.default_rng(20_260_101)
    steps = np.diff(AHEAD, prepend=0.0)
    kept = COLD_KEEPS**steps
    fresh = chance.standard_normal((MANY, AHEAD.size)) * np.sqrt(1.0 - kept**2)
    days = np.zeros((MANY, AHEAD.size))
    before = np.zeros(MANY)
    for at in range(AHEAD.size):
        before = kept[at] * before + fresh[:, at]
        days[:, at] = before
    begins = chance.random((MANY, int(AHEAD[-1]) + 1)) < 1.0 / SPELL_EVERY
    deep = begins * SPELL_C * chance.gamma(4.0, 0.25, begins.shape)
    long = np.stack([np.roll(deep, day, axis=1) for day in range(int(SPELL_LONG))]).max(axis=0)
    spells = long[:, AHEAD.astype(int)]
    return _Chances(
        chance.standard_normal(MANY),
        chance.standard_normal(MANY),
        days,
        chance.random(MANY),
        chance.standard_normal(MANY),
        spells,
    )


def _drawn(belief: Belief) -> tuple[Array, Array, Array]:
    """Share, cold and capacity of a few hundred batteries, evenly from the belief; in an order of their own."""
    order = np.argsort(belief.share, kind="stable")
    sums = np.cumsum(belief.weight[order])
    at = order[np.minimum(np.searchsorted(sums, (np.arange(MANY) + 0.5) / MANY * sums[-1]), order.size - 1)]
    at = at[np.random.default_rng(7).permutation(MANY)]
    jitter = np.random.default_rng(8).uniform(-0.1, 0.1, MANY)  # between the steps of the grid
    return belief.share[at], belief.capacity[at], belief.cold[at] + jitter


def _cold(days: Daily, expected_c: float | None, chance: _Chances) -> Array:
    """The coldest hour of each coming day: about as the last weeks were, or about what the site expects."""
    recent = days.coldest_c[np.searchsorted(days.day, days.day[-1] - COLD_DAYS) :]
    recent = recent[~np.isnan(recent)]
    middle = expected_c
    if middle is None:
        middle = float(np.mean(recent)) if recent.size else -5.0
    spread = max(COLD_SPREAD_C, float(np.std(recent)) if recent.size > 2 else 0.0)
    start = float(recent[-1] - middle) if recent.size and expected_c is None else 0.0
    level = COLD_LEVEL_C * chance.level[:, None] * np.minimum(1.0, AHEAD / 14.0)
    cold: Array = middle + start * COLD_KEEPS**AHEAD + spread * chance.days + level - chance.spells
    return cold


def _anchored(belief: Belief, days: Daily, share: Array, kept: Array) -> tuple[Array, Array]:
    """Resistance that each battery must have for what was measured, and the volts that still lie beside."""
    battery, kind = belief.battery, belief.battery.chemistry
    known = np.flatnonzero(~np.isnan(days.load_v) & ~np.isnan(days.celsius))[-4:]
    if not known.size:
        return np.full(share.size, belief.run), np.zeros(share.size)
    celsius, measured = np.array(np.median(days.celsius[known])), float(np.median(days.load_v[known]))
    table = CELLS[kind].ohm_ah / battery.capacity_ah * ohm_shape(kind, share, celsius)
    upper: Array = rest_v(kind, share - kept * cold_keeps(kind, celsius))
    run = np.clip((upper - measured / battery.cells) / (battery.load_a * table), 0.4 * belief.run, 12.0 * belief.run)
    beside = measured - battery.cells * (upper - battery.load_a * table * run)
    return run, np.clip(beside, -0.1 * battery.cells, 0.1 * battery.cells)


def _growth(days: Daily, belief: Belief) -> float:
    """By how much of itself resistance grows a day beside what cold and use explain; 0 unless it is sure."""
    recent = days.part(int(np.searchsorted(days.day, days.day[-1] - GROWS_DAYS)), days.size)
    good = (recent.ohm > 0) & ~np.isnan(recent.celsius)
    if good.sum() < 6:
        return 0.0
    shape = ohm_shape(belief.battery.chemistry, np.ones(int(good.sum())), recent.celsius[good])
    found = theil_sen(recent.day[good], np.log(recent.ohm[good] / shape))
    return found.slope if found.low > GROWS_LEAST else 0.0


def _step(first: np.ndarray) -> Array:
    """How many days lie between the step that failed and the one before it, less one."""
    steps = np.append(np.diff(AHEAD, prepend=0.0), 1.0)[first]
    within: Array = np.minimum(0.0, 1.0 - steps)
    return within


def _quantile(last: Array, at: float) -> float | None:
    value = float(np.quantile(last, at, method="inverted_cdf"))
    return value if np.isfinite(value) else None
