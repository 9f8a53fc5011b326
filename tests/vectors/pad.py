"""A pad in whole numbers, sample by sample: what every target has to measure of the same samples, bit for bit.

`sims/detector.py` is another reading of the contract in `fieldctl.strikes.features`, in floating point. This one rounds
where a small processor does, so that the strikes and raw traces of a script can be compared byte for byte with the
firmware's (`firmware_stubs/core/pad.c`). Distances are steps of the converter in Q8, averages in Q24.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from fieldctl.strikes.features import BEGIN_NOISE, ENVELOPE_SLOT_US, ENVELOPE_SLOTS, LOOK_BACK_MS, SAMPLE_US
from fieldctl.wire import trace

BATCH = 80  # samples for which one threshold holds: 20 ms, as a board hands them over
AVERAGE = 13  # 2^13 samples: 2 s
LEARN = 2048
QUIET = 80
LONGEST = 8000
SLOT = ENVELOPE_SLOT_US // SAMPLE_US
WINDOW = ENVELOPE_SLOTS * SLOT
LEAST_VARIANCE = 1 << 24
RECENT = 12

Logged = Callable[[tuple[int, ...], int, trace.Raw], None]
"""Told of features, ticks of the begin and raw trace of a strike that is over."""


@dataclass(slots=True)
class Strike:
    """The one under way."""

    begin: int
    raw: list[int]
    begins: int
    length: int = 0
    quiet: int = 0
    peak: int = 0
    peak_at: int = 0
    width: int = 0
    slow: int = 0
    slower: int = 0
    energy: int = 0
    slow_energy: int = 0
    envelope: list[int] = field(default_factory=lambda: [0] * ENVELOPE_SLOTS)


class Pad:
    """One pad; `noise` is what it is taken for at first, in steps."""

    def __init__(self, noise: int, logged: Logged) -> None:
        self._logged = logged
        self._variance = (noise << 8) ** 2 << 8
        self._before = [0] * trace.BEFORE
        self.armed = False
        self._begin_anew()

    def _begin_anew(self) -> None:
        self._learned = self._base = self._threshold = 0
        self._strike: Strike | None = None
        self._recent: list[tuple[int, int]] = []

    def arm(self, armed: bool, threshold: int) -> None:
        """Listen, or not; threshold in tenths of the noise, 0 for its own."""
        if armed and not self.armed:
            self._begin_anew()
        self.armed = armed
        self._threshold = threshold or 10 * BEGIN_NOISE

    @property
    def noise(self) -> int:
        """Root mean square at rest, in steps."""
        return math.isqrt(self._variance >> 8) + 128 >> 8 & 0xFFFF

    def take(self, samples: Sequence[int], first: int) -> None:
        """Samples, the first of them at a tick."""
        for at in range(0, len(samples), BATCH):
            level = math.isqrt(self._known()) * self._threshold // 10
            for n, sample in enumerate(samples[at : at + BATCH], start=at):
                if self.armed:
                    self._one(sample, first + n * SAMPLE_US, level)

    def _known(self) -> int:
        return max(self._variance, LEAST_VARIANCE) >> 8

    def _one(self, sample: int, at: int, level: int) -> None:
        base = self._base >> 16
        away = sample * 256 - base
        if self._strike is None and self._learned >= LEARN and abs(away) > level:
            before = [old * 256 - base >> 8 for old in self._before]
            self._strike = Strike(at, before, min(level >> 8, 0xFFFF))
        if self._strike is not None:
            self._measure(self._strike, away)
        else:
            self._follow(away)
        self._before = [*self._before[1:], sample]

    def _follow(self, away: int) -> None:
        self._learned += 1
        shift = min(AVERAGE, self._learned.bit_length() - 1)
        if self._learned == 1:
            self._base += away * 65536
            return
        self._learned = min(self._learned, 1 << AVERAGE)
        self._base += away * 65536 >> shift
        self._variance += (away * away << 8 >> shift) - (self._variance >> shift)

    def _measure(self, one: Strike, away: int) -> None:
        size, index = abs(away), one.length
        one.length += 1
        if len(one.raw) < trace.SAMPLES:
            one.raw.append(away >> 8)
        if index < WINDOW:
            one.envelope[index // SLOT] = max(one.envelope[index // SLOT], size >> 8)
            one.slow += away - one.slow >> 4
            one.slower += one.slow - one.slower >> 4
            one.energy += (away >> 4) ** 2
            one.slow_energy += (one.slower >> 4) ** 2
        if one.quiet < QUIET and index < LONGEST:
            if size > one.peak:
                one.peak, one.peak_at = size, index
            if size * 4 >= one.peak:
                one.quiet, one.width = 0, index + 1
            else:
                one.quiet += 1
        elif index + 1 >= WINDOW:
            self._strike = None
            self._logged(self._features(one), one.begin, trace.pack(one.raw, one.begins))
            if index >= LONGEST:
                self._learned = 0

    def _features(self, one: Strike) -> tuple[int, ...]:
        peak = min(one.peak * 10 // math.isqrt(self._known()), 0xFFFF)
        at_ms = one.begin // 1000 & 0xFFFF_FFFF
        ago = [
            at_ms - when & 0xFFFF_FFFF
            for when, other in self._recent
            if other and at_ms - when & 0xFFFF_FFFF <= LOOK_BACK_MS and other * 3 >= peak
        ]
        self._recent = [*self._recent, (at_ms, peak)][-RECENT:]
        return (
            peak,
            one.peak_at * SAMPLE_US,
            one.width * SAMPLE_US,
            _tenths_of_db(one.energy, WINDOW * (self._known() >> 8)),
            min(100, one.slow_energy * 100 // one.energy),
            len(ago),
            min(ago, default=0),
            *(min(255, (slot << 8) * 255 // one.peak) for slot in one.envelope),
        )


def _log2(value: int) -> int:
    """In 1/256, with the last bit of the value set."""
    value |= 1
    whole = value.bit_length() - 1
    x = value << 63 - whole >> 32
    part = 0
    for _ in range(8):
        x = x * x >> 31
        part <<= 1
        if x >> 32:
            x >>= 1
            part |= 1
    return whole * 256 + part


def _tenths_of_db(energy: int, noise: int) -> int:
    difference = _log2(energy) - _log2(noise)
    return min(max(difference, 0) * 30103 // 256000, 2000)
