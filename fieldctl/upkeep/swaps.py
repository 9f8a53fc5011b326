"""Was the battery changed? What the readings show, what a person ticked, and where the two do not agree.

A change shows as volts at rest that jump up, or as a counter that begins anew. Ticked and seen: a new history of fresh
cells. Seen and not ticked: a new history of unknown cells, and a question. Ticked and not seen although it would have
shown: the old history goes on, and a question; where another target jumped on that day without a tick, it is named.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fieldctl.site.model import Battery
from fieldctl.upkeep.curves import CELLS, Array, rest_v
from fieldctl.upkeep.readings import Daily

WINDOW = 3  # days on each side that a jump is judged by
SIGMAS = 5.0
OF_RANGE = 0.3  # of the volts between full and a fifth: less could be cells that have rested
TICK_BEFORE, TICK_AFTER = 2.0, 3.0  # days by which a tick may lie beside the change that it means

Question = Literal["done-not-ticked", "ticked-not-done"]


@dataclass(frozen=True, slots=True)
class Jump:
    """A change that the readings show: index of its first day, the last day before, the first after."""

    at: int
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class History:
    """The days of the battery that is in now: their first index, whether it was fresh, what has to be asked. `unseen`
    are ticks that are believed although a change could not have shown."""

    first: int
    fresh: bool
    began: float
    questions: tuple[tuple[Question, float], ...]
    unseen: tuple[float, ...] = ()


def jumps(days: Daily, battery: Battery) -> list[Jump]:
    """Every change of battery that the readings show, in order."""
    anew = days.counted_anew > 0
    score = _score(days, battery)
    found: list[Jump] = []
    above = score >= 1.0
    at = 1
    while at < days.size:
        if above[at] or anew[at]:
            end = at + 1
            while end < min(days.size, at + 2 * WINDOW) and (above[end] or anew[end]):
                end += 1
            exact = np.flatnonzero(anew[at:end])
            best = at + int(exact[0] if exact.size else np.argmax(score[at:end]))
            if not anew[best] or _not_lower(days, best):
                found.append(Jump(best, float(days.day[best - 1]), float(days.day[best])))
            at = end + WINDOW
        else:
            at += 1
    return found


def _not_lower(days: Daily, at: int) -> bool:
    """Whether volts did not fall when the counter began anew: otherwise the target lost its count, not its battery."""
    before, after = days.rest_v[max(0, at - WINDOW) : at], days.rest_v[at : at + WINDOW]
    before, after = before[~np.isnan(before)], after[~np.isnan(after)]
    return not before.size or not after.size or float(np.median(after) - np.median(before)) > 0.005 * float(before[-1])


def _score(days: Daily, battery: Battery) -> Array:
    """How far volts at rest jump up at each day, in units of what a change must show."""
    score = np.zeros(days.size)
    if days.size < 2 * WINDOW:
        return score
    filled = _filled(days.rest_v)
    middle = np.median(sliding_window_view(filled, WINDOW), axis=1)
    rise = middle[WINDOW:] - middle[:-WINDOW]
    # one wild day is no change: all days after lie above all before
    sure = (
        sliding_window_view(filled, WINDOW).min(axis=1)[WINDOW:]
        > sliding_window_view(filled, WINDOW).max(axis=1)[:-WINDOW]
    )
    score[WINDOW : days.size - WINDOW + 1] = np.where(sure, rise, 0.0) / needed_v(days, battery)
    return score


def needed_v(days: Daily, battery: Battery) -> float:
    """Volts at rest by which a change has to jump to be seen."""
    noise = np.abs(np.diff(_filled(days.rest_v)))
    each = float(np.median(noise)) * 1.05 if noise.size else 0.0  # a normal step's median is 0.95 of its spread of one
    kind = rest_v(battery.chemistry, np.array([1.0, 0.2]))
    return max(SIGMAS * each, battery.cells * OF_RANGE * float(kind[0] - kind[1]), 0.012 * battery.cells)


def _filled(values: Array) -> Array:
    """Values with gaps bridged by a straight line."""
    known = ~np.isnan(values)
    if not known.any():
        return np.zeros(values.size)
    at = np.arange(values.size, dtype=np.float64)
    bridged: Array = np.interp(at, at[known], values[known])
    return bridged


def history(days: Daily, battery: Battery, ticks: Sequence[float], doubted: Collection[float] = ()) -> History:
    """The history that the last day belongs to, by what is seen and what was ticked (day numbers, in order).

    Ticks that are `doubted` are believed only where a change shows.
    """
    seen = jumps(days, battery)
    questions: list[tuple[Question, float]] = []
    starts: list[tuple[int, bool, float]] = []
    matched: set[int] = set()
    unseen: list[float] = []
    for tick in ticks:
        near = [j for j in seen if j.at not in matched and j.before - TICK_AFTER <= tick <= j.after + TICK_BEFORE]
        if near:
            matched.add(near[0].at)
            starts.append((near[0].at, True, near[0].after))
            continue
        at = int(np.searchsorted(days.day, tick + 1.0))  # the day itself may hold readings of both
        if tick in doubted:
            questions.append(("ticked-not-done", tick))
        elif at == 0 or not _would_show(days, battery, at):
            starts.append((min(at, max(0, days.size - 1)), True, tick))
            unseen.append(tick)
        elif days.size - at < WINDOW:
            starts.append((min(at, days.size - 1), True, tick))
        else:
            questions.append(("ticked-not-done", tick))
    for jump in seen:
        if jump.at not in matched:
            starts.append((jump.at, False, jump.after))
            questions.append(("done-not-ticked", jump.after))
    if not starts:
        return History(0, False, float(days.day[0]) if days.size else 0.0, tuple(questions))
    first, fresh, began = max(starts)
    asked = tuple(q for q in questions if q[1] >= began - TICK_BEFORE)
    return History(first, fresh, began, asked, tuple(tick for tick in unseen if tick >= began - TICK_BEFORE))


def _would_show(days: Daily, battery: Battery, at: int) -> bool:
    """Whether fresh cells would have jumped visibly over what was there before."""
    before = days.rest_v[max(0, at - WINDOW - 1) : at]
    before = before[~np.isnan(before)]
    if not before.size:
        return False
    full = battery.cells * (float(rest_v(battery.chemistry, np.array(0.97))) - CELLS[battery.chemistry].spread_v)
    return full - float(np.median(before)) > needed_v(days, battery)
