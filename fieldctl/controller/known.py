"""What is known of each target right now: its conversation, its clock, what it said last and when.

Online, asleep, overdue, not heard, barred are different things; each has a "since". Nothing here is claimed that the
target did not say, and what was not heard lately says so.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from fieldctl.clock.target import TargetClock
from fieldctl.units import HostUs, TargetId
from fieldctl.wire.messages import Flags, Greeting, Message, Report
from fieldctl.wire.session import Session

Life = Literal["online", "asleep", "overdue", "not heard", "barred"]

OVERDUE_AFTER_US = 8_000_000  # two missed turns of a quiet bus; a reboot takes about 3 s
BEFORE_ANY_BOOT = -1  # so that the next word counts as one of another boot
RESTORED_GENERATION = 0  # of a restored ledger's controller, below every one that a target obeys
NOT_HEARD_AFTER_US = 60_000_000  # twice the usual grant: whatever it was sending has ended by itself

_GATE_ON, _GRANTED = int(Flags.GATE_ON), int(Flags.GRANTED)  # plain: each & with a flag would make a flag anew


@dataclass(slots=True)
class Talk:
    """How the talk with a target went since the controller began to speak to it, in counts that only rise."""

    asked: int = 0  # questions and orders put to it
    answered: int = 0
    resent: int = 0  # orders sent again
    orders_lost: int = 0


@dataclass(slots=True)
class Known:
    """One target as the controller knows it."""

    target: TargetId
    address: int
    session: Session
    line: str = ""
    clock: TargetClock = field(default_factory=TargetClock)
    boot: int | None = None
    ticks: int = 0  # of the latest message that counts
    flags: int = 0  # messages.Flags, as it said them last
    grant_id: int = 0  # what it said last; 0: it holds none
    since_ticks: int = 0
    heard_us: HostUs | None = None  # in this life of the controller
    heard_before: str | None = None  # a wall label of an earlier life
    greeting: Greeting | None = None
    report: Report | None = None
    reported_us: HostUs | None = None
    asked_report_us: HostUs | None = None
    epoch: int | None = None  # latched, as it said last
    generation: int | None = None
    asleep_until_us: HostUs | None = None
    want_armed: bool = False
    armed_at: int | None = None  # the threshold that it was armed with; None: in another life of its or ours
    opened_us: HostUs | None = None  # when its counters were last asked for
    lost_orders: int = 0  # in a row
    disbelieved: int = 0  # answers in a row
    trouble: Counter[str] = field(default_factory=Counter)
    talk: Talk = field(default_factory=Talk)

    @property
    def turnaround_us(self) -> int:
        """Least time it takes to answer, as it declared; 0 until it did."""
        return self.greeting.turnaround if self.greeting else 0

    def answered_last(self, message: Message) -> None:
        """It answered a question that was put after all that was heard before: this is its newest word.

        So a clock that leapt back, or a count of boots that was put back, holds up nothing that it says.
        """
        boot, ticks = message.boot, message.ticks  # type: ignore[attr-defined]
        if self.boot is not None and (boot, ticks) < (self.boot, self.ticks):
            self.boot, self.ticks = boot if boot == self.boot else BEFORE_ANY_BOOT, 0
            self.trouble["set-back"] += 1

    def life(self, now: HostUs) -> Life:
        """In which state it is."""
        if self.asleep_until_us is not None and now <= self.asleep_until_us:
            return "asleep"
        if self.heard_us is None:
            return "not heard"
        age = now - max(self.heard_us, self.asleep_until_us or 0)
        if age <= OVERDUE_AFTER_US:
            return "online"
        return "overdue" if age <= NOT_HEARD_AFTER_US else "not heard"

    def obeys_another(self, generation: int) -> bool:
        """Whether it obeys another controller than one of this generation, as it said itself.

        Nobody counts as obeying one whose ledger was restored, before a person raises its generation.
        """
        return generation == RESTORED_GENERATION or (self.generation is not None and self.generation > generation)

    def says_quiet(self) -> bool:
        """Whether its last word was that its gate is off."""
        return not self.flags & _GATE_ON

    def says_it_holds_none(self) -> bool:
        """Whether its last word was that it holds no grant, begun or not."""
        return not self.flags & _GRANTED

    def sends_unasked(self) -> bool:
        """Whether its gate reads on although it holds no grant: it is not quiet, whatever was ordered."""
        return bool(self.flags & _GATE_ON) and not self.flags & _GRANTED
