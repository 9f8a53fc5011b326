"""The facts that the ledger holds: frozen, plain, committed before anybody is told.

Each class is one kind of fact; its name on file is `KINDS`' key. Fields are plain values (numbers, text, tuples,
mappings of plain values, stamps), so that a fact written today opens for ever: fields are only ever added, with a
default. Who did it is a `by`: a person's id, or "field" where the field itself acted.

Nothing here is ever changed afterwards. What turns out to be wrong is amended by `Corrected`, a later fact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

FIELD = PersonId("field")
"""The author of what no person did."""

ANYBODY = PersonId("anybody")
"""The author of what somebody did who did not say who he is (all off needs no login)."""


@dataclass(frozen=True, slots=True)
class Fact:
    """Base of everything that the ledger holds."""


# ---- the controller's own life -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ControllerStarted(Fact):
    """A controller opened this ledger; `clean` tells whether the one before had closed it."""

    version: str
    at: HostTime
    generation: int
    clean: bool


@dataclass(frozen=True, slots=True)
class ControllerStopped(Fact):
    """A controller closed the ledger after it had switched everything off."""

    why: str
    at: HostTime


@dataclass(frozen=True, slots=True)
class GenerationRaised(Fact):
    """A person raised the controller's generation: lower ones no longer steer any target that heard it."""

    generation: int
    by: PersonId
    reason: str


@dataclass(frozen=True, slots=True)
class LinkChanged(Fact):
    """A link came up or was lost."""

    link: str
    up: bool
    why: str
    at: HostTime


# ---- all off and grants --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AllOffOrdered(Fact):
    """The order that outranks every other: nothing may send until it is released."""

    epoch: int
    by: PersonId
    via: str
    at: HostTime


@dataclass(frozen=True, slots=True)
class AllOffConfirmed(Fact):
    """A target's sealed answer to this epoch, with its gate read back off; `quiet` is false when it was not."""

    target: TargetId
    epoch: int
    quiet: bool
    at: HostTime


@dataclass(frozen=True, slots=True)
class AllOffReleased(Fact):
    """A person in charge released all off; this starts nothing."""

    epoch: int
    by: PersonId
    reason: str
    at: HostTime


@dataclass(frozen=True, slots=True)
class GrantGiven(Fact):
    """Permission for one target to send between named ticks of a named boot; committed before it is sent.

    `until_us` and `limit_us` are the same ends as host time, latest possible, for the countdown on the screen.
    """

    grant: int
    target: TargetId
    purpose: str  # "exercise", "locate" (let it send so that I can find it), "test"
    exercise: str | None
    burial: str | None
    boot: BootId
    from_ticks: NodeTicks
    until_ticks: NodeTicks
    limit_ticks: NodeTicks
    limit_at: HostTime
    period_ms: int
    on_ms: int
    level: int
    epoch: int
    generation: int
    drop_on_s: float = 0.0
    drop_off_s: float = 0.0


@dataclass(frozen=True, slots=True)
class GrantEnded(Fact):
    """A grant is over: `why` is one of found, stopped, all-off, limit, ran-out, refused, superseded, late, lost."""

    grant: int
    target: TargetId
    why: str
    at: HostTime


@dataclass(frozen=True, slots=True)
class OrderEnded(Fact):
    """The one outcome of an order: done, late, refused, superseded, expired or lost; `why` in words."""

    target: TargetId
    order: int
    what: str
    outcome: str
    why: str
    late_us: int
    at: HostTime


# ---- targets -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TargetAdded(Fact):
    """A target was added with keys of this site (their version counts rotations); the keys are not in the ledger."""

    target: TargetId
    hardware: str
    link: str
    key_version: int
    by: PersonId
    name: str = ""


@dataclass(frozen=True, slots=True)
class TargetNamed(Fact):
    """A target was given a name for people."""

    target: TargetId
    name: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class KeysRotated(Fact):
    """A target confirmed keys of a new version."""

    target: TargetId
    key_version: int
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetTakenOut(Fact):
    """A target left the field; `how` is "taken-out", or "lost" for lost or stolen."""

    target: TargetId
    how: str
    last_place: str
    by: PersonId
    reason: str


@dataclass(frozen=True, slots=True)
class TargetBarred(Fact):
    """A target may not be used until it is dug out: it was heard though it says quiet, or it lies."""

    target: TargetId
    reason: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetCleared(Fact):
    """A barred target was dug out and seen to be quiet."""

    target: TargetId
    reason: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetGreeted(Fact):
    """A target told who it is after it booted: what it can do and why it rebooted."""

    target: TargetId
    boot: BootId
    why: str
    hardware: str
    firmware: str
    contract: int
    abilities: tuple[str, ...]
    at: HostTime


@dataclass(frozen=True, slots=True)
class TargetOdd(Fact):
    """Something about a target is not as it should be: `what` is a stable word, `detail` a sentence with a remedy."""

    target: TargetId
    what: str
    detail: str
    at: HostTime


# ---- the day -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DayOpened(Fact):
    """A named person in charge opened the field, with what was decided and seen."""

    by: PersonId
    at: HostTime
    hazard: str
    snow_m: float
    heard: tuple[TargetId, ...]
    not_heard: tuple[TargetId, ...]
    touched: tuple[TargetId, ...]
    stray_sweep: str
    notes: str = ""


@dataclass(frozen=True, slots=True)
class DayClosed(Fact):
    """A named person closed the field; exceptions are named one by one and signed for."""

    by: PersonId
    at: HostTime
    own_units_back: bool
    listening_walk: str
    heard_sending: tuple[TargetId, ...]
    exceptions: tuple[str, ...]
    signed: str


@dataclass(frozen=True, slots=True)
class SurfaceRenewed(Fact):
    """The surface was tilled or snowed over: the targets of a zone (all when None) are fresh again."""

    zone: str | None
    how: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ManualOut(Fact):
    """A transmitter was buried by hand: it cannot be switched off from here."""

    unit: str
    zone: str
    place: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ManualIn(Fact):
    """A hand-buried transmitter came back; `seen_off` tells whether somebody saw that it is off."""

    unit: str
    seen_off: bool
    by: PersonId
    at: HostTime


# ---- an exercise ---------------------------------------------------------------------------------------------


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


KINDS: dict[str, type[Fact]] = {cls.__name__: cls for cls in Fact.__subclasses__()}
"""Every kind of fact by its name on file."""
