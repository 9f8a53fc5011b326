"""An exercise: started, signals, strikes, calls, corrections, its end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldctl.events.fact import Fact
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId


@dataclass(frozen=True, slots=True)
class ExerciseStarted(Fact):
    """A drill is carried out once: the plan as it was, which target plays which burial, who searches, when it began."""

    exercise: str
    drill: str
    plan: Mapping[str, Any]
    seed: int
    picks: Mapping[str, TargetId]  # burial -> target
    searchers: tuple[str, ...]
    by: PersonId
    start: Stamp
    conditions: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SignalDue(Fact):
    """A burial's moment to send was fixed; `because` names what triggered it (start, delay, find of A, resumed …)."""

    exercise: str
    burial: str
    at: HostTime
    because: str


@dataclass(frozen=True, slots=True)
class SignalOn(Fact):
    """A target confirmed that it sends, from a tick of its own."""

    exercise: str
    burial: str
    target: TargetId
    grant: int
    at: Stamp


@dataclass(frozen=True, slots=True)
class SignalOff(Fact):
    """A burial's signal ended; `why` as in GrantEnded."""

    exercise: str
    burial: str
    target: TargetId
    grant: int
    at: Stamp
    why: str


@dataclass(frozen=True, slots=True)
class StrikeRecorded(Fact):
    """A pad event, stamped by the target itself; unique on (target, boot, number); acknowledged once this is committed.

    `clock` holds what the stamp was made from, so that it can be recomputed.
    """

    target: TargetId
    boot: BootId
    number: int
    ticks: NodeTicks
    at: Stamp
    features: tuple[int, ...]
    taken_for: str
    rule: str
    exercise: str | None
    burial: str | None
    link: str
    clock: tuple[int, ...] = ()
    late: bool = False  # it reached the ledger long after it happened: for a person to look at


@dataclass(frozen=True, slots=True)
class StrikesDropped(Fact):
    """A target's log was full and it counted what it could not keep."""

    target: TargetId
    boot: BootId
    count: int
    at: HostTime


@dataclass(frozen=True, slots=True)
class CallMade(Fact):
    """The searcher says "here", tapped by instructor or observer; `call` is the tapper's own id of it."""

    exercise: str
    call: str
    burial: str | None
    searcher: str | None
    at: Stamp
    by: PersonId
    late: bool = False  # it reached the ledger long after it was tapped: for a person to look at


@dataclass(frozen=True, slots=True)
class SplitMade(Fact):
    """A moment on the way: signal, coarse, fine, airway, or a free one."""

    exercise: str
    split: str
    name: str
    burial: str | None
    at: Stamp
    by: PersonId


@dataclass(frozen=True, slots=True)
class Corrected(Fact):
    """A later entry that amends an earlier one; what it may say is in `fieldctl.drill.corrections`."""

    exercise: str
    correction: str
    change: str
    about: str
    by: PersonId
    why: str
    at: HostTime
    value: str | int | float | None = None
    nth: int = 0  # counts up within its exercise: moments of two host boots have no order of their own


@dataclass(frozen=True, slots=True)
class QuestionAsked(Fact):
    """Something that a person has to decide; answered by a correction or by `QuestionAnswered`."""

    exercise: str
    question: str
    what: str
    about: str
    choices: tuple[str, ...]
    at: HostTime


@dataclass(frozen=True, slots=True)
class QuestionAnswered(Fact):
    """A person decided."""

    exercise: str
    question: str
    answer: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ExerciseInterrupted(Fact):
    """The controller was away longer than one grant, or the host rebooted: nothing sends, a person decides."""

    exercise: str
    last_known: HostTime
    at: HostTime
    why: str


@dataclass(frozen=True, slots=True)
class ExerciseResumed(Fact):
    """The exercise goes on: by itself after a short gap, or by one press of a person after an interruption."""

    exercise: str
    gap_us: int
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ExerciseEnded(Fact):
    """The exercise is over: `how` is complete, stopped, time-up, all-off, or ledger-failed."""

    exercise: str
    how: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ExerciseReopened(Fact):
    """A person took back the end of an exercise (stop can be taken back for 10 s)."""

    exercise: str
    by: PersonId
    at: HostTime
