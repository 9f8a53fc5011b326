"""The controller's own life, all off and grants."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, TargetId


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
class BackupRestored(Fact):
    """This ledger was put back from a backup: what went on is interrupted, and no target obeys before a person says so.

    `made` is the wall's time of the backup; entries after this one follow from its last.
    """

    made: str | None
    at: HostTime


@dataclass(frozen=True, slots=True)
class LinkChanged(Fact):
    """A link came up or was lost."""

    link: str
    up: bool
    why: str
    at: HostTime


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
    """A grant is over; `why`: found, stopped, all-off, barred, limit, ran-out, refused, superseded, late, lost."""

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
