"""The clock of one exercise: host moments as microseconds since its start.

After a reboot of the host its clock begins anew. When a person lets the exercise go on, its own clock goes on where it
was last known; the gap itself cannot be measured and is shown as a gap, never guessed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fieldctl.events import ExerciseInterrupted, ExerciseResumed, ExerciseStarted, Fact
from fieldctl.units import HostTime, Stamp


@dataclass(frozen=True, slots=True)
class Timeline:
    """Zero points by host boot: what each boot's clock showed when the exercise's own clock was zero."""

    zeros: tuple[tuple[str, int], ...]
    plus_minus_us: int  # of the start itself

    def since_start(self, at: HostTime) -> int | None:
        """Microseconds since the start; None for a boot in which the exercise did not go on."""
        for boot, zero in self.zeros:
            if boot == at.boot:
                return at.us - zero
        return None

    def host(self, boot: str, since_start_us: int) -> int | None:
        """The clock of a host boot at a moment of the exercise; None where it did not go on in that boot."""
        for known, zero in self.zeros:
            if known == boot:
                return zero + since_start_us
        return None

    def shifted(self, by_us: int) -> Timeline:
        """The time line with its start moved later by `by_us` (a correction)."""
        return Timeline(tuple((boot, zero + by_us) for boot, zero in self.zeros), self.plus_minus_us)

    def surely_before_start(self, stamp: Stamp) -> bool:
        """Whether a stamp lies before the start whatever the truth inside both ±."""
        since = self.since_start(stamp.at)
        return since is not None and since < -(stamp.plus_minus_us + self.plus_minus_us)


def timeline(facts: Iterable[Fact]) -> Timeline:
    """The time line of one exercise's facts, in whatever order; ValueError without its start."""
    start: Stamp | None = None
    interrupted: list[ExerciseInterrupted] = []
    resumed: list[ExerciseResumed] = []
    for fact in facts:
        if isinstance(fact, ExerciseStarted):
            start = fact.start
        elif isinstance(fact, ExerciseInterrupted):
            interrupted.append(fact)
        elif isinstance(fact, ExerciseResumed):
            resumed.append(fact)
    if start is None:
        raise ValueError("these facts hold no start of an exercise")
    zeros = {start.at.boot: start.at.us}
    # An interruption names the boot it was noticed in; the resumption in that boot fixes its zero point.
    for fact in sorted(interrupted, key=lambda f: (f.last_known.boot not in zeros, f.at)):
        known = zeros.get(fact.last_known.boot)
        if known is None or fact.at.boot in zeros:
            continue
        goes_on = [r for r in resumed if r.at.boot == fact.at.boot]
        if goes_on:
            first = min(goes_on, key=lambda r: r.at.us)
            zeros[fact.at.boot] = first.at.us - (fact.last_known.us - known)
    return Timeline(tuple(zeros.items()), start.plus_minus_us)
