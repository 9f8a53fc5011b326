"""Legal on/off patterns of the 457 kHz carrier (EN 300 718-1).

On at least 70 ms, off at least 400 ms, period 1000 ± 300 ms. Source: ETSI EN 300 718-1, read second-hand
(two independent pages, one of which says that 70 and 400 are minima); the standard itself was not at hand.
"""

from __future__ import annotations

from dataclasses import dataclass

CARRIER_HZ = 457_000
CARRIER_TOLERANCE_HZ = 80
ON_MIN_MS = 70
OFF_MIN_MS = 400
PERIOD_MIN_MS = 700
PERIOD_MAX_MS = 1300


def longest_on_ms(period_ms: int) -> int:
    """Longest legal on-time at a period: what is left after the shortest off-time."""
    return period_ms - OFF_MIN_MS


@dataclass(frozen=True, slots=True)
class Keying:
    """One pulse pattern in whole milliseconds; use `faults()` before anything sends it."""

    period_ms: int = 1000
    on_ms: int = 100

    def faults(self) -> tuple[str, ...]:
        """What is outside EN 300 718-1, in words; empty when legal."""
        found = []
        if not PERIOD_MIN_MS <= self.period_ms <= PERIOD_MAX_MS:
            found.append(f"period {self.period_ms} ms is outside {PERIOD_MIN_MS} to {PERIOD_MAX_MS} ms")
        if self.on_ms < ON_MIN_MS:
            found.append(f"on-time {self.on_ms} ms is under {ON_MIN_MS} ms")
        if self.period_ms - self.on_ms < OFF_MIN_MS:
            found.append(f"off-time {self.period_ms - self.on_ms} ms is under {OFF_MIN_MS} ms")
        return tuple(found)

    @property
    def legal(self) -> bool:
        """Whether the pattern lies within EN 300 718-1."""
        return not self.faults()
