"""The clock of one exercise: host moments as microseconds since its start.

After a reboot of the host its clock begins anew. When a person lets the exercise go on, its own clock goes on where it
was last known; the gap itself cannot be measured and is shown as a gap, never guessed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from fieldctl.events import (
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
    GrantGiven,
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
    met = _Met()
    for fact in facts:
        match fact:
            case ExerciseStarted():
                starts.append(fact.start)
            case ExerciseInterrupted():
                met.stops.append((fact.at, fact.last_known))
            case ExerciseEnded():
                met.stops.append((fact.at, fact.at))
                met.moves.setdefault(fact.at.boot, []).append((fact.at.us, "ended"))
            case ExerciseResumed() | ExerciseReopened():
                met.went_on.setdefault(fact.at.boot, []).append(fact.at.us)
                how = "reopened" if isinstance(fact, ExerciseReopened) else "resumed"
                met.moves.setdefault(fact.at.boot, []).append((fact.at.us, how))
            case GrantGiven():
                boot = fact.limit_at.boot
                met.grants[boot] = min(fact.grant, met.grants.get(boot, fact.grant))
    if len(starts) != 1:
        raise ValueError(f"these facts hold {len(starts) or 'no'} starts of an exercise; a result is of exactly one")
    start = starts[0]
    met.stops.sort()
    walk = _Walk(met, {start.at.boot: start.at.us}, {}, [start.at.boot])
    while walk.by_interruption() or walk.by_a_person():
        pass
    return Timeline(tuple(walk.zeros.items()), start.plus_minus_us, tuple(walk.boots))


@dataclass(slots=True)
class _Met:
    """What the facts tell about the boots of the host, by boot where it is a mapping."""

    stops: list[tuple[HostTime, HostTime]] = field(default_factory=list)  # (noticed, last known)
    went_on: dict[str, list[int]] = field(default_factory=dict)
    moves: dict[str, list[tuple[int, str]]] = field(default_factory=dict)  # what stopped it or let it go on
    grants: dict[str, int] = field(default_factory=dict)  # the first one given: their numbers only rise

    def left(self, boot: str) -> bool:
        """Whether it was known to stop in this boot, so that another may come after it."""
        return any(last.boot == boot for _, last in self.stops)

    def noticed(self, boot: str) -> bool:
        """Whether an interruption noticed in this boot tells which boot came before."""
        return any(noticed.boot == boot != last.boot for noticed, last in self.stops)


@dataclass(slots=True)
class _Walk:
    """From boot to boot: where the clock's zero lies in each, or where it stands still."""

    met: _Met
    zeros: dict[str, int]
    stands: dict[str, int]
    boots: list[str]

    def by_interruption(self) -> bool:
        """One more boot: an interruption noticed in it tells in which boot the exercise was last known."""
        for noticed, last in self.met.stops:
            if noticed.boot not in self.boots and last.boot in self.boots:
                zero = self.zeros.get(last.boot)
                stood = self.stands[last.boot] if zero is None else last.us - zero
                self._enter(noticed.boot, stood)
                return True
        return False

    def by_a_person(self) -> bool:
        """One more boot, in which a person ended what stood still, or let it go on.

        Names of boots have no order, and no fact says which boot came before. So it is the one whose first move fits
        where the exercise stands, that was left again, and whose grants have the lowest numbers.
        """
        here = self.boots[-1]
        stood = self.stands.get(here)
        if stood is None:
            stops = self.met.stops
            known = [last.us - self.zeros[here] for noticed, last in stops if noticed.boot == last.boot == here]
            stood = max(known, default=None)
        ahead = [boot for boot in self.met.moves if boot not in self.boots and not self.met.noticed(boot)]
        if stood is None or not ahead:
            return False
        ended = self._how_it_stands(here) == "ended"
        self._enter(min(ahead, key=lambda boot: self._how_far(boot, ended)), stood)
        return True

    def _how_it_stands(self, here: str) -> str:
        return max(self.met.moves.get(here, []), default=(0, ""))[1]

    def _how_far(self, boot: str, ended: bool) -> tuple[bool, bool, float, str]:
        fits = (min(self.met.moves[boot])[1] == "reopened") is ended
        return (not fits, not self.met.left(boot), self.met.grants.get(boot, inf), boot)

    def _enter(self, boot: str, stood: int) -> None:
        self.boots.append(boot)
        if boot in self.met.went_on:
            self.zeros[boot] = min(self.met.went_on[boot]) - stood
        else:
            self.stands[boot] = stood
