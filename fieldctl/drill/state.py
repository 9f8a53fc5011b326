"""What an exercise is made of while it goes on: events in, effects out, and where each burial stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from fieldctl.drill.phases import Phase
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.score import Result
from fieldctl.drill.timeline import Timeline
from fieldctl.events import Fact, QuestionAsked
from fieldctl.units import HostUs, TargetId


@dataclass(frozen=True, slots=True)
class Clock:
    """The host's clock shows this."""

    now: HostUs
    boot: str


@dataclass(frozen=True, slots=True)
class Committed:
    """A fact of this exercise, or of one of its grants, is in the ledger."""

    fact: Fact


Event = Clock | Committed


@dataclass(frozen=True, slots=True)
class Write:
    """Commit these facts."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Send:
    """Let the burial's target send from `from_since_us` of the exercise's clock on, or as soon as may be."""

    burial: str
    target: TargetId
    from_since_us: int
    ends_since_us: int


@dataclass(frozen=True, slots=True)
class FallQuiet:
    """End whatever the burial's target is granted for this exercise."""

    burial: str
    target: TargetId
    why: str


Effect = Write | Send | FallQuiet


@dataclass(frozen=True, slots=True)
class Played:
    """One burial in an exercise: its phase, its grant, and what has been proposed but not yet committed."""

    plan: Burial
    target: TargetId
    phase: Phase
    grant: int = 0  # that it sends under, 0: none
    leaving: int = 0  # a grant that was told to end and has not ended yet, 0: none
    due_since_us: int | None = None  # when its signal was to begin, once that is fixed
    proposed: bool = False  # a SignalDue for it is on its way to the ledger


@dataclass(frozen=True, slots=True)
class Exercise:
    """The state of one exercise: its facts, and where each burial stands.

    `times` is the clock by which it is carried out, from the start as recorded; a shift of the start amends the result.
    """

    id: str
    drill: Drill
    facts: tuple[Fact, ...] = ()
    burials: Mapping[str, Played] = field(default_factory=dict)
    status: str = "running"
    ending: bool = False  # an ExerciseEnded is on its way to the ledger
    times: Timeline | None = None
    result: Result | None = None
    asked: frozenset[str] = frozenset()  # questions that no person has answered yet
    unasked: tuple[QuestionAsked, ...] = ()  # questions on their way to the ledger

    @property
    def searching(self) -> bool:
        """Whether a signal is being searched for right now (the bus is then quiet)."""
        return self.status == "running" and any(b.phase in ("ordered", "sending") for b in self.burials.values())

    def putting(self, played: Played) -> Exercise:
        """The exercise with one burial standing differently."""
        return replace(self, burials={**self.burials, played.plan.name: played})


Stepped = tuple[Exercise, tuple[Effect, ...]]
