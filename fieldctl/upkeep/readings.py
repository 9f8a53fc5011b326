"""From what targets measured to one clean line a day: times on one axis, impossible values flagged and kept out.

hours_of(told)  -> Hours               of what a target told (`told`), what is about its battery
clean(hours, battery) -> Clean         what can be used, and what cannot with how often and when last
daily(clean, load_a) -> Daily          medians of each day, the coldest hour, the charge counted so far
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldctl.site.model import Battery
from fieldctl.upkeep.counts import sound
from fieldctl.upkeep.curves import CELLS, Array, rest_v
from fieldctl.upkeep.told import Told

HOTTEST_C, COLDEST_C = 45.0, -60.0  # beyond: no thermometer under snow says so, whatever the day
JANUARY_C = 30.0  # in the months of snow
WINTER_MONTHS = (11, 12, 1, 2, 3, 4)
LEAST_OF_END = 0.35  # of the end voltage at rest: less, and whoever reported it could not have spoken from it
TURNED_OF_EMPTY = 0.9  # of what an empty set has at rest: less, and not all of its cells pull the same way
TURNED_CELLS = 3  # of two, one turned leaves nothing, and that is "no-volts"
OFTEN = 3  # times: no accident any more
LATELY_DAYS = 7.0  # in which a reading must come again and again to be no accident


@dataclass(frozen=True, slots=True)
class Hours:
    """One row an hour of one target, in order of time; NaN where it did not say."""

    day: Array
    rest_v: Array
    load_v: Array
    celsius: Array
    counted_mas: Array


class Kept(NamedTuple):
    """A kind of reading that was kept out: stable key, how often, day and value of the last, how often lately."""

    key: str
    times: int
    last_day: int
    value: float
    lately: int


@dataclass(frozen=True, slots=True)
class Clean:
    """Hours that can be used, what was kept out, and whether the volts of late are those of a cell that is turned."""

    hours: Hours
    kept_out: tuple[Kept, ...]
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Daily:
    """One value a day on which there were readings: medians; `coldest_c` of the day; `used_ah` since the first."""

    day: Array
    rest_v: Array
    load_v: Array
    celsius: Array
    coldest_c: Array
    used_ah: Array
    ohm: Array
    counted_anew: Array  # 1 where the counter began anew on that day

    @property
    def size(self) -> int:
        """How many days."""
        return int(self.day.size)

    def part(self, first: int, last: int) -> Daily:
        """Rows from index `first` up to, without, `last`."""
        return Daily(*(getattr(self, name)[first:last] for name in Daily.__slots__))


def hours_of(told: Told) -> Hours:
    """What of a target's rows is about its battery."""
    return Hours(told.day, told.rest_v, told.load_v, told.celsius, told.charge_mas)


def day_number(day: datetime.date) -> int:
    """Days since 1970-01-01."""
    return (day - datetime.date(1970, 1, 1)).days


def date_of(number: float) -> datetime.date:
    """The date of a day number."""
    return datetime.date(1970, 1, 1) + datetime.timedelta(days=int(number))


def clean(hours: Hours, battery: Battery) -> Clean:
    """Keep out what no battery of that kind and no thermometer under snow can say."""
    cell = CELLS[battery.chemistry]
    most = cell.hottest_v * battery.cells
    least = LEAST_OF_END * cell.end_v * battery.cells
    counted, wild = sound(hours.day, hours.counted_mas, battery.load_a)
    with np.errstate(invalid="ignore"):
        some = (hours.rest_v >= least) & (hours.rest_v <= most)
        nothing = (hours.rest_v >= -0.05) & (hours.rest_v < least)
        turned = (hours.rest_v < -0.05) | (some & (hours.rest_v < turned_v(battery)))
        wrong: Mapping[str, tuple[np.ndarray, Array]] = {
            "wrong-way-round": (turned, hours.rest_v),
            "no-volts": (nothing, hours.rest_v),
            "too-many-volts": (hours.rest_v > most, hours.rest_v),
            "load-above-rest": (some & ~turned & (hours.load_v > hours.rest_v + 0.02 * most), hours.load_v),
            "no-load-volts": (((some & ~turned) | np.isnan(hours.rest_v)) & (hours.load_v < least), hours.load_v),
            "thermometer": (no_temperature(hours.day, hours.celsius), hours.celsius),
            "wild-count": (wild, hours.counted_mas / 3.6e6),
        }
    kept = tuple(_kept(key, hours.day, mask, value) for key, (mask, value) in wrong.items() if mask.any())
    volts = turned | nothing | wrong["too-many-volts"][0] | wrong["load-above-rest"][0]
    return Clean(
        Hours(
            hours.day,
            np.where(volts, np.nan, hours.rest_v),
            np.where(volts | wrong["no-load-volts"][0], np.nan, hours.load_v),
            np.where(wrong["thermometer"][0], np.nan, hours.celsius),
            counted,
        ),
        kept,
        _now(turned | (nothing & (battery.cells == 2)), ~volts & ~np.isnan(hours.rest_v)),
    )


def turned_v(battery: Battery) -> float:
    """Volts at rest below which one cell of a set must be the wrong way round; 0 where that cannot be told.

    No set that stands right has so little and still speaks; and with one turned it has what two cells fewer have.
    """
    cell, cells = CELLS[battery.chemistry], battery.cells
    if cells < TURNED_CELLS:
        return 0.0
    empty = TURNED_OF_EMPTY * cells * float(rest_v(battery.chemistry, np.array(0.0)))
    stops = cells * cell.end_v if battery.least_v is None else battery.least_v
    return min(empty, stops, (cells - 2) * cell.hottest_v)


def _kept(key: str, day: Array, mask: np.ndarray, value: Array) -> Kept:
    lately = mask & (day > day[-1] - LATELY_DAYS)
    return Kept(key, int(mask.sum()), int(day[mask][-1]), float(value[mask][-1]), int(lately.sum()))


def _now(found: np.ndarray, good: np.ndarray) -> bool:
    """Whether it was found again and again since the last good reading."""
    at = np.flatnonzero(good)
    return int(found[at[-1] + 1 if at.size else 0 :].sum()) >= OFTEN


def no_temperature(day: Array, celsius: Array) -> np.ndarray:
    """Where a thermometer says what none under snow can."""
    numbers, at = np.unique(np.floor(day), return_inverse=True)
    hottest = np.array([JANUARY_C if date_of(n).month in WINTER_MONTHS else HOTTEST_C for n in numbers])
    with np.errstate(invalid="ignore"):
        found: np.ndarray = (celsius > hottest[at]) | (celsius < COLDEST_C)
    return found


def daily(hours: Hours, load_a: float) -> Daily:
    """Medians of each day; a counter that falls began anew, and what it counted since then is added."""
    whole = np.floor(hours.day)
    days, first = np.unique(whole, return_index=True)
    last = np.append(first[1:], whole.size)
    step, anew = _counted(hours.counted_mas)
    so_far = np.cumsum(step) / 3.6e6
    ohm = (hours.rest_v - hours.load_v) / load_a
    coldest = np.full(days.size, np.nan)
    filled = np.where(np.isnan(hours.celsius), np.inf, hours.celsius)
    if days.size:
        lowest = np.minimum.reduceat(filled, first)
        coldest = np.where(np.isfinite(lowest), lowest, np.nan)
        anew = np.maximum.reduceat(anew, first)
    rest, load, celsius, middle_ohm = (
        middle(values, whole, first) for values in (hours.rest_v, hours.load_v, hours.celsius, ohm)
    )
    used = so_far[last - 1] if days.size else so_far
    return Daily(days, rest, load, celsius, coldest, used, middle_ohm, anew)


def _counted(counted: Array) -> tuple[Array, Array]:
    """What was taken between rows, and 1 where the counter began anew; rows without a count take nothing."""
    known = ~np.isnan(counted)
    step, anew = np.zeros(counted.size), np.zeros(counted.size)
    values = counted[known]
    if values.size:
        ahead = np.diff(values)
        fell = ahead < 0
        step[known] = np.concatenate([[0.0], np.where(fell, values[1:], ahead)])
        anew[known] = np.concatenate([[0.0], fell.astype(np.float64)])
    return step, anew


def middle(values: Array, group: Array, first: np.ndarray) -> Array:
    """The median of each group without NaN; NaN where it has none. Groups are stretches that begin at `first`."""
    if not first.size:
        return np.empty(0)
    order = np.lexsort((values, group))  # NaN sorts last within its group
    ranked = values[order]
    count = np.add.reduceat((~np.isnan(values)).astype(np.int64), first)
    low = ranked[first + np.maximum(count - 1, 0) // 2]
    high = ranked[first + np.maximum(count, 1) // 2 * (count > 0)]
    out: Array = np.where(count > 0, (low + high) / 2.0, np.nan)
    return out
