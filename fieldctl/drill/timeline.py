"""The clock of one exercise: host moments as microseconds since its start.

After a reboot of the host its clock begins anew. When a person lets the exercise go on, its own clock goes on where it
was last known; the gap itself cannot be measured and is shown as a gap, never guessed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from fieldctl.events import (
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
)
from fieldctl.units import HostTime, Stamp


@dataclass(frozen=True, slots=True)
class Timeline:
    """Zero points by host boot: what each boot's clock showed when the exercise's own clock was zero."""

    zeros: tuple[tuple[str, int], ...]
    plus_minus_us: int  # of the start itself
    boots: tuple[str, ...] = ()  # every boot that the exercise is known to have met, in their order

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

    def rank(self, at: HostTime) -> tuple[int, int]:
        """What orders moments of several boots; boots that the exercise did not meet come last."""
        return (self.boots.index(at.boot) if at.boot in self.boots else len(self.boots), at.us)

    def shifted(self, by_us: int) -> Timeline:
        """The time line with its start moved later by `by_us` (a correction)."""
        return Timeline(tuple((boot, zero + by_us) for boot, zero in self.zeros), self.plus_minus_us, self.boots)

    def surely_before_start(self, stamp: Stamp) -> bool:
        """Whether a stamp lies before the start whatever the truth inside both ±."""
        since = self.since_start(stamp.at)
        return since is not None and since < -(stamp.plus_minus_us + self.plus_minus_us)


def timeline(facts: Iterable[Fact]) -> Timeline:
    """The time line of one exercise's facts, in whatever order; ValueError unless they hold one start."""
    starts: list[Stamp] = []
    stops: list[tuple[HostTime, HostTime]] = []  # (noticed, last known)
    went_on: dict[str, list[int]] = {}
    for fact in facts:
        match fact:
            case ExerciseStarted():
                starts.append(fact.start)
            case ExerciseInterrupted():
                stops.append((fact.at, fact.last_known))
            case ExerciseEnded():
                stops.append((fact.at, fact.at))
            case ExerciseResumed() | ExerciseReopened():
                went_on.setdefault(fact.at.boot, []).append(fact.at.us)
    if len(starts) != 1:
        raise ValueError(f"these facts hold {len(starts) or 'no'} starts of an exercise; a result is of exactly one")
    start = starts[0]
    walk = _Walk({start.at.boot: start.at.us}, {}, [start.at.boot])
    stops.sort()
    while walk.by_interruption(stops, went_on) or walk.by_going_on(stops, went_on):
        pass
    return Timeline(tuple(walk.zeros.items()), start.plus_minus_us, tuple(walk.boots))


@dataclass(slots=True)
class _Walk:
    """From boot to boot: where the clock's zero lies in each, or where it stands still."""

    zeros: dict[str, int]
    stands: dict[str, int] = field(default_factory=dict)
    boots: list[str] = field(default_factory=list)

    def by_interruption(self, stops: list[tuple[HostTime, HostTime]], went_on: dict[str, list[int]]) -> bool:
        """One more boot: an interruption noticed in it tells in which boot the exercise was last known."""
        for noticed, last in stops:
            if noticed.boot not in self.boots and last.boot in self.boots:
                zero = self.zeros.get(last.boot)
                stood = self.stands[last.boot] if zero is None else last.us - zero
                self._enter(noticed.boot, stood, went_on)
                return True
        return False

    def by_going_on(self, stops: list[tuple[HostTime, HostTime]], went_on: dict[str, list[int]]) -> bool:
        """One more boot, in which a person let go on what had stood still in the boot before."""
        here = self.boots[-1]
        stood = self.stands.get(here)
        if stood is None:
            known = [last.us - self.zeros[here] for noticed, last in stops if noticed.boot == last.boot == here]
            stood = max(known, default=None)
        ahead = sorted(went_on.keys() - set(self.boots))
        if stood is None or not ahead:
            return False
        self._enter(ahead[0], stood, went_on)
        return True

    def _enter(self, boot: str, stood: int, went_on: dict[str, list[int]]) -> None:
        self.boots.append(boot)
        if boot in went_on:
            self.zeros[boot] = min(went_on[boot]) - stood
        else:
            self.stands[boot] = stood
