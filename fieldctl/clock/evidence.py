"""One sample, how far it bounds other ticks, and a stamp made again from what the ledger kept.

A sample says: the counter became `tick` within [lo_ns, hi_ns] of host time, and there one tick lasted between
1 + rate_lo and 1 + rate_hi microseconds of the host (rates in parts of 1e9). Two physical limits carry it to
other ticks, and everything in this package stands on them:

* DRIFT. The two clocks differ in rate by at most 150 ppm: a cold tuning-fork crystal runs 69 ppm slow at −20 °C and
  103 ppm at −30 °C, ±20 more (memory), and the rest is for ageing and for the host's own crystal.
* WANDER. The rate changes by at most 0.2 ppm a second. A tuning fork follows −0.034 ppm/K² · (T − 25 °C)²; a box that
  is carried from +20 °C to −20 °C and cools with time constant τ changes its rate by at most 34.4 ppm/τ (the maximum of
  0.068 · (45 − 40x) · 40x / τ over x = exp(−t/τ), at x = 9/16); to −30 °C it is 51.4 ppm/τ. So 0.2 ppm/s holds for τ
  from 172 s (257 s to −30 °C) on: a sealed box with its cells takes longer, a bare board in the wind would not. The
  coefficient is from memory and the τ is our own estimate; a clock that breaks it is found (ClockWandered) when its
  samples contradict one another, and the limit costs little: at 120 s it is 12 ppm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from fieldctl.clock.exchange import TICK_NS
from fieldctl.units import HostUs, NodeTicks

DRIFT_PPB = 150_030  # 150 ppm, seen from either clock: 1/(1 − 150e-6) is 150.0225 ppm
WANDER_PPB_PER_S = 200  # see above

_LAYOUT = 1  # of the flat numbers that the ledger keeps
_FIELDS = 5


class ClockSample(NamedTuple):
    """The counter became `tick` within [lo_ns, hi_ns]; there a tick lasted 1 + rate microseconds (rates in 1e-9)."""

    tick: int
    lo_ns: int
    hi_ns: int
    rate_lo_ppb: int
    rate_hi_ppb: int


@dataclass(frozen=True, slots=True)
class ClockEvidence:
    """What one stamp was made from: `pieces`, each one or two samples that bound the tick.

    There is more than one piece only for a tick that may have been counted before a jump or after it.
    """

    pieces: tuple[tuple[ClockSample, ...], ...]
    drift_ppb: int = DRIFT_PPB
    wander_ppb_per_s: int = WANDER_PPB_PER_S

    def as_ints(self) -> tuple[int, ...]:
        """Plain numbers for the ledger; `from_ints` gives the same evidence back."""
        flat = [_LAYOUT, self.drift_ppb, self.wander_ppb_per_s]
        for piece in self.pieces:
            flat.append(len(piece))
            for sample in piece:
                flat.extend(sample)
        return tuple(flat)

    @classmethod
    def from_ints(cls, ints: Sequence[int]) -> ClockEvidence:
        """Evidence from the ledger's numbers; ValueError where they are none."""
        if len(ints) < 4 or ints[0] != _LAYOUT:
            raise ValueError(f"clock evidence begins with layout {_LAYOUT} and two limits, not {tuple(ints[:4])}")
        pieces, at = [], 3
        while at < len(ints):
            end = at + 1 + ints[at] * _FIELDS
            if ints[at] < 1 or end > len(ints):
                raise ValueError(f"clock evidence is cut short: {len(ints)} numbers, {end} expected")
            pieces.append(tuple(ClockSample(*ints[i : i + _FIELDS]) for i in range(at + 1, end, _FIELDS)))
            at = end
        return cls(tuple(pieces), ints[1], ints[2])


def carry(
    sample: ClockSample, ticks: int, drift_ppb: int = DRIFT_PPB, wander_ppb_per_s: int = WANDER_PPB_PER_S
) -> tuple[int, int]:
    """Bounds in host ns at which the counter became `ticks`, earlier or later than the sample, from it alone."""
    tick, lo, hi, rate_lo, rate_hi = sample
    d = ticks - tick
    allow = abs(d) * wander_ppb_per_s // 2_000_000 + 1  # the mean of a rate that wanders strays half as far
    rate_lo = max(-drift_ppb, rate_lo - allow)
    rate_hi = min(drift_ppb, rate_hi + allow)
    if d < 0:
        rate_lo, rate_hi = rate_hi, rate_lo
    return lo + d * 1_000 + d * rate_lo // 1_000_000, hi + d * 1_000 - (-d * rate_hi) // 1_000_000


def restamp(evidence: ClockEvidence, ticks: NodeTicks) -> tuple[HostUs, int]:
    """The stamp (at_us, plus_minus_us) of a tick from its evidence: exactly the one that was made then."""
    drift, wander = evidence.drift_ppb, evidence.wander_ppb_per_s
    first: int | None = None
    last = 0
    for piece in evidence.pieces:
        lo, hi = carry(piece[0], ticks, drift, wander)
        for sample in piece[1:]:
            lo_too, hi_too = carry(sample, ticks, drift, wander)
            lo, hi = max(lo, lo_too), min(hi, hi_too)
        if lo > hi:  # a clock that broke the limits between two samples: cover what both of them say
            lo, hi = hi, lo
        if first is None:
            first, last = lo, hi
        else:
            first, last = min(first, lo), max(last, hi)
    assert first is not None, "clock evidence without a sample"
    lo_us = first // 1_000
    hi_us = -(-(last + TICK_NS) // 1_000)  # what happened at this tick happened before the next one
    at_us = (lo_us + hi_us) // 2
    return HostUs(at_us), hi_us - at_us
