"""An exercise's facts, read once: its clock, its score, what amends it, its end. Never in the order of arrival."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from fieldctl.debrief.model import Mark
from fieldctl.drill.corrections import Amended, amend
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.score import Moment, Result, score
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.units import HostTime, PersonId, Stamp

USUAL_SPLITS = ("signal", "coarse", "fine", "airway")
_F = TypeVar("_F", bound=Fact)


@dataclass(frozen=True, slots=True)
class Reading:
    """What every part of a debrief is made from. `times` is the clock that counts, a shift of the start included."""

    drill: Drill
    facts: Sequence[Fact]
    started: ExerciseStarted
    result: Result
    recorded: Timeline
    times: Timeline
    amended: Amended
    names: Mapping[PersonId, str]
    end_us: int | None  # None: no end is known
    last_us: int | None  # of what was measured or tapped

    @property
    def length_us(self) -> int | None:
        """How long it lasted: until its end, else until its last entry."""
        return self.last_us if self.end_us is None else self.end_us

    def since(self, at: HostTime | Stamp) -> int | None:
        """µs since the start; None where it cannot be dated."""
        return self.times.since_start(at.at if isinstance(at, Stamp) else at)

    def name(self, who: str) -> str:
        """A person, or several joined by +, by name where it is still known."""
        return " + ".join(self.names.get(PersonId(one), one) for one in who.split(" + "))

    def all_of(self, kind: type[_F]) -> list[_F]:
        """The facts of a kind, in an order that does not depend on their arrival."""
        rows = [f for f in self.facts if isinstance(f, kind)]
        return sorted(rows, key=lambda f: (self.recorded.rank(moment_of(f) or self.started.start.at), repr(f)))


def read(drill: Drill, facts: Sequence[Fact], names: Mapping[PersonId, str]) -> Reading:
    """Read an exercise's facts; ValueError unless they hold exactly one start, KeyError without a target for each."""
    result = score(drill, facts)
    recorded = timeline(facts)
    amended = amend(drill, facts, recorded)
    times = recorded.shifted(amended.shift_us)
    started = next(f for f in facts if isinstance(f, ExerciseStarted))
    end = _end(facts, recorded)
    known = [times.since_start(at) for at in _measured(facts)]
    return Reading(
        drill=drill,
        facts=facts,
        started=started,
        result=result,
        recorded=recorded,
        times=times,
        amended=amended,
        names=names,
        end_us=None if end is None else times.since_start(end),
        last_us=max((us for us in known if us is not None), default=None),
    )


def moment_of(fact: Fact) -> HostTime | None:
    """When a fact happened, by its own stamp."""
    at = getattr(fact, "at", None)
    return at.at if isinstance(at, Stamp) else at if isinstance(at, HostTime) else None


def _measured(facts: Iterable[Fact]) -> Iterable[HostTime]:
    for fact in facts:
        match fact:
            case SignalOn() | SignalOff() | CallMade() | SplitMade():
                yield fact.at.at
            case StrikeRecorded(exercise=str()):
                yield fact.at.at
            case ExerciseInterrupted():
                yield fact.last_known
            case ExerciseResumed():
                yield fact.at


def _end(facts: Iterable[Fact], times: Timeline) -> HostTime | None:
    """When it ended, unless that was taken back; as `fieldctl.drill.score.state_of` reads it."""
    rows = [f for f in facts if isinstance(f, ExerciseEnded | ExerciseReopened)]
    end: HostTime | None = None
    for fact in sorted(rows, key=lambda f: (times.rank(f.at), type(f).__name__, repr(f))):
        if isinstance(fact, ExerciseReopened):
            end = None
        elif end is None:
            end = fact.at
    return end


def marks_of(reading: Reading, burial: Burial) -> tuple[Mark, ...]:
    """Every moment of one burial in order: signals on, tapped splits, hits, calls that count and calls that do not."""
    found = reading.result.burial(burial.name)
    by_hand = {source for source, _ in reading.amended.by_hand.get(burial.name, ())}
    calls = {f.call: f for f in reading.facts if isinstance(f, CallMade)}
    splits = list(found.splits)
    if len(reading.drill.burials) == 1:
        splits += reading.result.splits  # a moment of the whole is this burial's: there is no other
    rows = [_tapped(name, m) for name, m in splits]
    rows += [
        Mark("hit", m.at_us, m.plus_minus_us, "hand" if m.source in by_hand else "pad", m.source) for m in found.hits
    ]
    for m in found.calls:
        who = calls[m.source].searcher or ""
        rows.append(Mark("call", m.at_us, m.plus_minus_us, "thumb", m.source, True, reading.name(who) if who else ""))
    for fact in calls.values():
        since = reading.since(fact.at)
        placed = reading.amended.placed.get(fact.call, fact.burial)
        if fact.call in reading.amended.void and placed == burial.name and since is not None:
            who = reading.name(fact.searcher) if fact.searcher else ""
            rows.append(Mark("call", since, fact.at.plus_minus_us, "thumb", fact.call, False, who))
    for on in reading.facts:
        if isinstance(on, SignalOn) and on.burial == burial.name and (since := reading.since(on.at)) is not None:
            rows.append(Mark("on", since, on.at.plus_minus_us, "target", f"grant {on.grant}"))
    return tuple(sorted(rows, key=lambda m: (m.at_us, m.name, m.source, not m.counts, m.plus_minus_us, m.by)))


def marks_of_all(reading: Reading) -> tuple[Mark, ...]:
    """Moments that were tapped for the exercise and not for one burial."""
    if len(reading.drill.burials) == 1:
        return ()
    return tuple(_tapped(name, m) for name, m in reading.result.splits)


def _tapped(name: str, m: Moment) -> Mark:
    return Mark(name, m.at_us, m.plus_minus_us, "thumb", m.source)


def corrections_of(reading: Reading) -> list[Corrected]:
    """Every correction, in the order in which they were made."""
    rows = [f for f in reading.facts if isinstance(f, Corrected)]
    return sorted(rows, key=lambda c: (c.nth, reading.recorded.rank(c.at), c.correction))
