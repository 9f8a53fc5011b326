"""Targets day by day: what a page draws of one, and what the signs hold it against, its own days and the others'.

    season_of(pasts, today) -> Season     one grid [target, day] for each measure, NaN where nothing was said
    series_of(past, today) -> Series      one target's row of it, for its page

Counters of the controller begin anew with it: a count that falls counts from nothing. What lies between two rows more
than an hour and a half apart is left out: nobody can say what of it was the link and what a target that was off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from fieldctl.strikes.features import BEGIN_NOISE
from fieldctl.units import TargetId
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.past import Past
from fieldctl.upkeep.readings import middle, no_temperature

NEXT_ROW_DAYS = 1.6 / 24.0  # at most from a row to the next for what was counted between to be the link's
NOISE_LEAST = 3.0  # steps of the converter: below, rounding to whole steps says more than the pad does
BURST = 8  # strikes in the 3 s before: nobody probes as quickly
ALONE = 2  # as many before it still are one person's blows
ASKED_LEAST = 200  # questions a day, of which a share that was lost says something
NIGHT_ROWS = 4  # readings of a day, from which on its warmest and coldest say something


@dataclass(frozen=True, slots=True)
class Season:
    """Measures of every target and day."""

    targets: tuple[TargetId, ...]
    day: Array  # whole day numbers, each day from the first to today
    noise: Array
    heard: Array  # readings
    asked: Array
    lost: Array
    resent: Array
    orders_lost: Array
    plus_minus_ms: Array
    celsius: Array
    swing_c: Array  # warmest less coldest reading
    moisture: Array
    strikes: Array
    loose: Array  # strikes that are nobody's: taken for nothing, or quicker after one another than anybody probes
    bursts: Array  # the latter of them
    blow_day: tuple[Array, ...]  # of each target, one value a blow
    blow: tuple[Array, ...]  # log of how high it was in steps of the converter
    missed_day: tuple[Array, ...]  # turns in which there should have been a blow and none was felt
    missed: tuple[Array, ...]  # log of the least that would have been felt

    def upto(self, day: float) -> Season:
        """As it was on the evening of a day."""
        end = int(np.searchsorted(self.day, day, side="right"))
        cut = {
            each.name: value[..., :end]
            for each in fields(self)
            if isinstance(value := getattr(self, each.name), np.ndarray)
        }
        blow_day, blow = _before(day + 1.0, self.blow_day, self.blow)
        missed_day, missed = _before(day + 1.0, self.missed_day, self.missed)
        return Season(targets=self.targets, blow_day=blow_day, blow=blow, missed_day=missed_day, missed=missed, **cut)


@dataclass(frozen=True, slots=True)
class Series:
    """One target's health day by day, all of one length; NaN where nothing was said that day."""

    day: Array
    noise: Array  # the pad's, as the target reports it
    sensitivity: Array  # of the day's blows, as a share of the pad's own past (1.0: as ever)
    strikes: Array
    lost: Array  # share of questions without an answer
    resent: Array  # orders sent again
    plus_minus_ms: Array  # of its clock
    celsius: Array
    swing_c: Array


def series_of(past: Past, today: float) -> Series:
    """One target's days; empty where it never said anything."""
    season = season_of((past,), today)
    sensitivity = np.full(season.day.size, np.nan)
    days, heights = season.blow_day[0], season.blow[0]
    if days.size:
        at = (np.floor(days) - season.day[0]).astype(np.int64)
        order = np.argsort(at, kind="stable")
        own, first = np.unique(at[order], return_index=True)
        sensitivity[own] = np.exp(middle(heights[order], at[order], first) - np.median(heights))
    with np.errstate(invalid="ignore", divide="ignore"):
        lost = np.where(season.asked[0] > 0, season.lost[0] / season.asked[0], np.nan)
    return Series(
        season.day, season.noise[0], sensitivity, season.strikes[0], lost, season.resent[0],
        season.plus_minus_ms[0], season.celsius[0], season.swing_c[0],
    )  # fmt: skip


def season_of(pasts: Sequence[Past], today: float) -> Season:
    """The grid of these targets from the first day on which any said anything to today."""
    begins = [days[0] for past in pasts for days in (past.told.day, past.strikes.day) if days.size]
    first = np.floor(min(begins, default=today))
    day = np.arange(first, max(np.floor(today), first) + 1)
    shape = (len(pasts), day.size)
    counts = [past.told.day.size for past in pasts]
    which = np.repeat(np.arange(len(pasts)), counts)
    hour = _joined([past.told.day for past in pasts])
    at = (np.floor(hour) - first).astype(np.int64)
    kept = at < day.size
    key = (which * day.size + at)[kept]
    own, begin = np.unique(key, return_index=True)  # rows lie in order of target and time
    new = _steps_count(hour, which)

    def said(name: str) -> Array:
        return _joined([getattr(past.told, name) for past in pasts])

    def middles(values: Array) -> Array:
        return _grid(shape, own, middle(values[kept], key, begin))

    def sums(values: Array) -> Array:
        return np.bincount(key, np.nan_to_num(values[kept]), shape[0] * shape[1]).reshape(shape).astype(np.float64)

    celsius = np.where(no_temperature(hour, said("celsius")), np.nan, said("celsius"))
    rows = np.bincount(key, minlength=shape[0] * shape[1]).reshape(shape).astype(np.float64)
    asked, answered = (_steps(said(name), new) for name in ("asked", "answered"))
    noise = middles(said("noise"))
    blows = [_blows(past, noise[n], first) for n, past in enumerate(pasts)]
    missed = [_missed(past, noise[n], first) for n, past in enumerate(pasts)]
    return Season(
        targets=tuple(past.target for past in pasts),
        day=day,
        noise=noise,
        heard=rows,
        asked=sums(asked),
        lost=sums(np.maximum(asked - answered, 0.0)),
        resent=sums(_steps(said("resent"), new)),
        orders_lost=sums(_steps(said("orders_lost"), new)),
        plus_minus_ms=middles(said("plus_minus_us")) / 1e3,
        celsius=middles(celsius),
        swing_c=_swing(celsius[kept], own, begin, rows),
        moisture=middles(said("moisture")),
        strikes=_counted([past.strikes.day for past in pasts], shape, first),
        loose=_counted([past.strikes.day[_burst(past) | (past.strikes.unsure > 0)] for past in pasts], shape, first),
        bursts=_counted([past.strikes.day[_burst(past)] for past in pasts], shape, first),
        blow_day=tuple(each[0] for each in blows),
        blow=tuple(each[1] for each in blows),
        missed_day=tuple(each[0] for each in missed),
        missed=tuple(each[1] for each in missed),
    )


def _joined(parts: Sequence[Array]) -> Array:
    return np.concatenate(parts) if parts else np.empty(0)


def _grid(shape: tuple[int, int], own: np.ndarray, values: Array) -> Array:
    out = np.full(shape[0] * shape[1], np.nan)
    out[own] = values
    return out.reshape(shape)


def _steps_count(hour: Array, which: np.ndarray) -> np.ndarray:
    """Where a row follows one of the same target closely enough that what was counted between can be told."""
    follows = np.zeros(hour.size, dtype=bool)
    follows[1:] = (np.diff(which) == 0) & (np.diff(hour) <= NEXT_ROW_DAYS)
    return follows


def _steps(counted: Array, follows: np.ndarray) -> Array:
    """What was counted since the row before; NaN where that cannot be told."""
    step = np.full(counted.size, np.nan)
    ahead = np.diff(counted)
    with np.errstate(invalid="ignore"):
        step[1:] = np.where(ahead < 0, counted[1:], ahead)
    step[~follows] = np.nan
    return step


def _swing(celsius: Array, own: np.ndarray, begin: np.ndarray, rows: Array) -> Array:
    """Warmest less coldest reading of each day that has enough of them."""
    if not own.size:
        return np.full(rows.shape, np.nan)
    known = ~np.isnan(celsius)
    warm = np.maximum.reduceat(np.where(known, celsius, -np.inf), begin)
    cold = np.minimum.reduceat(np.where(known, celsius, np.inf), begin)
    swing = np.where(np.isfinite(warm), warm - cold, np.nan)
    return np.where(rows >= NIGHT_ROWS, _grid((rows.shape[0], rows.shape[1]), own, swing), np.nan)


def _counted(days: Sequence[Array], shape: tuple[int, int], first: float) -> Array:
    at = _joined([n * shape[1] + np.floor(each) - first for n, each in enumerate(days)]).astype(np.int64)
    inside = _joined([np.floor(each) - first for each in days]) < shape[1]
    return np.bincount(at[inside], minlength=shape[0] * shape[1]).reshape(shape).astype(np.float64)


def _burst(past: Past) -> np.ndarray:
    many: np.ndarray = past.strikes.repeats >= BURST
    return many


def _blows(past: Past, noise: Array, first: float) -> tuple[Array, Array]:
    """Days and log heights of blows that stand alone; a peak is in tenths of the noise, so the day's noise goes in."""
    strikes = past.strikes
    alone = (strikes.sharp > 0) & (strikes.repeats <= ALONE) & (strikes.peak > 0) & (strikes.day < first + noise.size)
    days = strikes.day[alone]
    return days, np.log(strikes.peak[alone] / 10.0 * _floor(days, noise, first))


def _missed(past: Past, noise: Array, first: float) -> tuple[Array, Array]:
    """Days of turns without a touch that somebody called, or in which nobody tapped calls; and what went unfelt."""
    days = np.array(
        [turn.day for turn in past.turns if not turn.touched and turn.called is not False], dtype=np.float64
    )
    days = days[(days >= first) & (days < first + noise.size)]
    return days, np.log(BEGIN_NOISE * _floor(days, noise, first))


def _floor(days: Array, noise: Array, first: float) -> Array:
    """The noise of each of these days, as far as rounding lets it be told."""
    known = np.flatnonzero(~np.isnan(noise))
    if not known.size:
        return np.full(days.size, NOISE_LEAST)
    at = np.searchsorted(known, np.floor(days) - first, side="right") - 1
    floor: Array = np.maximum(noise[known[np.maximum(at, 0)]], NOISE_LEAST)
    return floor


def _before(
    end: float, days: Sequence[Array], values: Sequence[Array]
) -> tuple[tuple[Array, ...], tuple[Array, ...]]:  # fmt: skip
    """What lies before a moment."""
    ends = [np.searchsorted(each, end) for each in days]
    return (
        tuple(each[:n] for each, n in zip(days, ends, strict=True)),
        tuple(each[:n] for each, n in zip(values, ends, strict=True)),
    )
