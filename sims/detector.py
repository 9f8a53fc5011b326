"""What a target measures of its pad, sample by sample, in the words of `fieldctl.strikes.features`.

A second reading of that contract beside the firmware's: baseline and noise are taken over exactly the last 2 s, in
floating point, where a small target follows them with a filter in whole numbers. The two agree within some per cent.
Both learn them anew after a strike that lasted the longest: it was a new rest.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable

from fieldctl.strikes.features import (
    BEGIN_NOISE,
    END_QUIET_US,
    ENVELOPE_SLOT_US,
    ENVELOPE_SLOTS,
    LONGEST_US,
    LOOK_BACK_MS,
    SAMPLE_US,
    StrikeFeatures,
)
from fieldctl.wire import trace

WINDOW = 2_000_000 // SAMPLE_US
LEARNS = WINDOW // 4  # samples before anything counts as a strike
BODY = ENVELOPE_SLOTS * ENVELOPE_SLOT_US // SAMPLE_US  # of envelope and energy
SLOT = ENVELOPE_SLOT_US // SAMPLE_US
QUIET = END_QUIET_US // SAMPLE_US
LONGEST = LONGEST_US // SAMPLE_US
SLOW_HZ = 40.0
SLOW = 1 - math.exp(-2 * math.pi * SLOW_HZ * SAMPLE_US / 1e6)  # of a one-pole filter, used twice

Found = tuple[int, StrikeFeatures, trace.Raw]
"""Number of the sample at which a strike began, what was measured of it, and its raw trace."""


class Detector:
    """Strikes in a stream of samples; begins to listen with its first one."""

    def __init__(self) -> None:
        self._count = 0
        self._window: deque[int] = deque(maxlen=WINDOW)
        self._sum = self._squares = 0
        self._strike: list[float] = []
        self._begin = 0
        self._base = 0.0
        self._noise = 1.0
        self._last: deque[int] = deque(maxlen=trace.BEFORE)
        self._before: tuple[int, ...] = ()  # the samples before the strike that goes on
        self._recent: deque[tuple[int, float]] = deque(maxlen=64)  # sample of the begin, peak

    def take(self, samples: Iterable[int]) -> list[Found]:
        """The strikes that are over with these samples."""
        found = []
        for sample in samples:
            if self._strike:
                self._strike.append(sample - self._base)
            elif self._stands_out(sample):
                self._begin, self._strike = self._count, [sample - self._base]
                self._before = tuple(self._last)
            else:
                self._follow(sample)
            self._count += 1
            self._last.append(sample)
            if self._strike and self._over():
                found.append((self._begin, self._measure(), self._raw()))
                if len(self._strike) >= LONGEST:  # a new rest, louder or elsewhere: learned from its beginning
                    self._window.clear()
                    self._sum = self._squares = 0
                self._strike = []
        return found

    def _follow(self, sample: int) -> None:
        if len(self._window) == WINDOW:
            gone = self._window[0]
            self._sum -= gone
            self._squares -= gone * gone
        self._window.append(sample)
        self._sum += sample
        self._squares += sample * sample

    def _stands_out(self, sample: int) -> bool:
        known = len(self._window)
        if known < LEARNS:
            return False
        self._base = self._sum / known
        self._noise = max(1.0, math.sqrt(max(0.0, self._squares / known - self._base**2)))
        return abs(sample - self._base) > BEGIN_NOISE * self._noise

    def _quarter(self) -> tuple[int, int, float]:
        """Sample of the peak, sample of the last that reached a quarter of it, and the peak."""
        sizes = [abs(away) for away in self._strike[:LONGEST]]
        peak = max(sizes)
        last = max(n for n, size in enumerate(sizes) if size >= peak / 4)
        return sizes.index(peak), last, peak

    def _over(self) -> bool:
        length = len(self._strike)
        if length < BODY or (length % SLOT and length < LONGEST):
            return False
        return length >= LONGEST or length - 1 - self._quarter()[1] >= QUIET

    def _raw(self) -> trace.Raw:
        away = [*(sample - self._base for sample in self._before), *self._strike[: trace.SAMPLES - trace.BEFORE]]
        return trace.pack([math.floor(step) for step in away], math.floor(BEGIN_NOISE * self._noise))

    def _measure(self) -> StrikeFeatures:
        at, last, peak = self._quarter()
        body = self._strike[:BODY]
        energy = sum(away * away for away in body)
        tenths_db = 100 * math.log10(max(1.0, energy / (len(body) * self._noise**2)))
        before = [
            (self._begin - begin) * SAMPLE_US // 1000
            for begin, other in self._recent
            if other * 3 >= peak and (self._begin - begin) * SAMPLE_US <= LOOK_BACK_MS * 1000
        ]
        self._recent.append((self._begin, peak))
        envelope = tuple(
            min(255, int(255 * max(abs(a) for a in body[n * SLOT : (n + 1) * SLOT]) / peak))
            for n in range(ENVELOPE_SLOTS)
        )
        return StrikeFeatures(
            min(65_535, int(10 * peak / self._noise)),
            at * SAMPLE_US,
            (last + 1) * SAMPLE_US,
            min(2_000, int(tenths_db)),
            min(100, int(100 * _slow(body) / energy)),
            min(255, len(before)),
            min(before, default=0),
            envelope,
        )


def _slow(body: list[float]) -> float:
    """Energy of what lies below 40 Hz."""
    once = twice = energy = 0.0
    for away in body:
        once += (away - once) * SLOW
        twice += (once - twice) * SLOW
        energy += twice * twice
    return energy
