"""Pulses of several transmitters on one time axis: where they overlap, how often, and for how long.

Times are milliseconds from the start of an exercise. A searcher tells signals apart only by pulses that stand alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.keying import Keying

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Train:
    """One transmitter's pulses: a keying, and when its first pulse begins (ms, any sign)."""

    keying: Keying
    first_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class Pulses:
    """Pulses in order of their start: `who` (P,) index of the train, `start_ms` and `end_ms` (P,)."""

    who: NDArray[np.intp]
    start_ms: Floats
    end_ms: Floats


def pulses(trains: Sequence[Train], from_ms: float, until_ms: float) -> Pulses:
    """All pulses of the trains that touch [from_ms, until_ms)."""
    who: list[NDArray[np.intp]] = []
    starts: list[Floats] = []
    ends: list[Floats] = []
    for i, train in enumerate(trains):
        period, on = train.keying.period_ms, train.keying.on_ms
        low = int(np.floor((from_ms - on - train.first_ms) / period)) + 1
        high = int(np.ceil((until_ms - train.first_ms) / period))
        start = train.first_ms + period * np.arange(low, max(low, high), dtype=np.float64)
        who.append(np.full(len(start), i, dtype=np.intp))
        starts.append(start)
        ends.append(start + on)
    if not who:
        return Pulses(np.empty(0, dtype=np.intp), np.empty(0), np.empty(0))
    start_ms = np.concatenate(starts)
    order = np.argsort(start_ms, kind="stable")
    return Pulses(np.concatenate(who)[order], start_ms[order], np.concatenate(ends)[order])


def covered_ms(train: Train, others: Sequence[Train], from_ms: float, until_ms: float) -> Floats:
    """How much of each pulse of `train` in the window is covered by pulses of the others: ms, (pulses,)."""
    mine = pulses([train], from_ms, until_ms)
    if not others or not len(mine.start_ms):
        return np.zeros(len(mine.start_ms))
    reach = train.keying.on_ms
    theirs = pulses(others, from_ms - reach, until_ms + reach)
    if not len(theirs.start_ms):
        return np.zeros(len(mine.start_ms))
    start, length = _union(theirs.start_ms, theirs.end_ms)
    before = np.concatenate([[0.0], np.cumsum(length)])

    def busy_until(t: Floats) -> Floats:
        i = np.searchsorted(start, t, side="right")
        last = np.maximum(i - 1, 0)
        part = np.where(i > 0, np.minimum(t - start[last], length[last]), 0.0)
        return np.asarray(before[last] + part)

    return busy_until(mine.end_ms) - busy_until(mine.start_ms)


def _union(start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Disjoint stretches, start and length, of intervals that are sorted by start."""
    latest = np.maximum.accumulate(end)
    fresh = np.concatenate([[True], start[1:] > latest[:-1]])
    first = np.flatnonzero(fresh)
    last = np.concatenate([first[1:] - 1, [len(start) - 1]])
    return start[first], latest[last] - start[first]


def alone_share(trains: Sequence[Train], from_ms: float, until_ms: float) -> Floats:
    """Share of each train's pulses in the window that no other pulse touches: (trains,), 1 where there are none."""
    out = np.ones(len(trains))
    for i, train in enumerate(trains):
        covered = covered_ms(train, [*trains[:i], *trains[i + 1 :]], from_ms, until_ms)
        if len(covered):
            out[i] = np.mean(covered == 0.0)
    return out


def overlapped_cycles(trains: Sequence[Train], cycles: int) -> NDArray[np.bool_]:
    """For each cycle of the longest period, whether any two pulses that begin in it overlap another: (cycles,)."""
    if not trains:
        return np.zeros(cycles, dtype=bool)
    cycle = max(t.keying.period_ms for t in trains)
    out = np.zeros(cycles, dtype=bool)
    for i, train in enumerate(trains):
        mine = pulses([train], 0.0, cycles * cycle)
        covered = covered_ms(train, [*trains[:i], *trains[i + 1 :]], 0.0, cycles * cycle)
        hit = np.floor(mine.start_ms[covered > 0.0] / cycle).astype(np.intp)
        out[hit[(hit >= 0) & (hit < cycles)]] = True
    return out


def overlap_chance(count: ArrayLike, on_ms: ArrayLike, period_ms: ArrayLike) -> Floats:
    """Chance that some pulses overlap in a cycle: P = 1 − (1 − nτ/T)^(n−1), n pulses of one width and one period with
    independent phases. Derived (spacings on a circle). Broadcasts."""
    n, on, period = (np.asarray(x, dtype=np.float64) for x in (count, on_ms, period_ms))
    free = np.clip(1.0 - n * on / period, 0.0, 1.0)
    return np.where(n < 2, 0.0, 1.0 - free ** np.maximum(n - 1.0, 0.0))


@dataclass(frozen=True, slots=True)
class Drift:
    """Two trains that drift through each other: an overlap lasts `cycles`, `lasts_ms`, and comes back every
    `returns_ms`; endless or never when the periods are equal."""

    cycles: float
    lasts_ms: float
    returns_ms: float


def drift(a: Keying, b: Keying) -> Drift:
    """How long two trains overlap: (τ₁+τ₂)/|T₁−T₂| cycles, back every T₁T₂/|T₁−T₂|. Derived."""
    slip = abs(a.period_ms - b.period_ms)
    if slip == 0:
        return Drift(np.inf, np.inf, np.inf)
    cycles = (a.on_ms + b.on_ms) / slip
    shorter = min(a.period_ms, b.period_ms)
    return Drift(cycles, cycles * shorter, a.period_ms * b.period_ms / slip)
