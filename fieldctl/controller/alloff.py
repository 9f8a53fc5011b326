"""All off: the order, and the state, in which nothing may send until a person in charge releases it.

It goes out on every link at once before it is even written down, and is repeated until each target has confirmed with
a sealed answer to this epoch and its gate read back off. Whoever has not confirmed is listed: where, last heard, and
until when it may send.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from fieldctl.controller.grants import Grants, Post
from fieldctl.controller.known import Known
from fieldctl.controller.line import Line
from fieldctl.controller.pen import Pen
from fieldctl.controller.ports import Outside
from fieldctl.events import AllOffConfirmed, AllOffOrdered, AllOffReleased
from fieldctl.units import US_PER_S, HostUs, PersonId, TargetId
from fieldctl.wire import envelope, seal
from fieldctl.wire.messages import AllOff, Flags, encode

REPEAT_US = 200_000
REPEAT_SLOW_US = 2 * US_PER_S  # once whoever hears at all has had twenty chances
FAST_FOR_US = 4 * US_PER_S
ORDER_LIVES_US = 10 * US_PER_S  # resent all the while; then it is asked anew


@dataclass(slots=True)
class Unconfirmed:
    """A target that has not confirmed; `may_send_until_us` is None where it held nothing that is known of."""

    known: Known
    may_send_until_us: int | None = None
    says_on: bool = False


@dataclass(slots=True)
class AllOffState:
    """Whether all off is in force, its epoch, and who has confirmed it."""

    epoch: int = 0
    in_force: bool = False
    ordered_us: HostUs | None = None
    confirmed: dict[TargetId, int] = field(default_factory=dict)  # and how many µs after the order
    unconfirmed: dict[TargetId, Unconfirmed] = field(default_factory=dict)


class AllOffKeeper:
    """Orders, repeats, confirms and releases all off."""

    def __init__(
        self,
        outside: Outside,
        pen: Pen,
        grants: Grants,
        lines: Callable[[], Iterable[Line]],
        targets: Callable[[], Iterable[Known]],
        post_first: Post,
        ordered: Callable[[PersonId], None],
    ) -> None:
        self._outside = outside
        self._pen = pen
        self._grants = grants
        self._lines = lines
        self._targets = targets
        self._post_first = post_first
        self._ordered = ordered
        self._sealer = seal.Sealer(outside.keys.all_off)
        self._repeat_us = 0
        self._pressing = False
        self.state = AllOffState()

    def order(self, by: PersonId, via: str) -> int:
        """Switch everything off, now; gives the epoch. Again while in force: a new epoch, asked of everybody."""
        now = self._outside.clock.now()
        epoch = max([self.state.epoch, *(k.epoch or 0 for k in self._targets())]) + 1
        self._begin(epoch, now)
        self._say(first=True)
        gone = {lease.wish.known.target: lease.until_us for lease in self._grants.all_off()}
        for target, row in self.state.unconfirmed.items():
            row.may_send_until_us = gone.get(target)
        self._pen.write(AllOffOrdered(epoch, by, via, self._outside.here()))
        self._ordered(by)
        return epoch

    def load(self, epoch: int, *, in_force: bool, may_send: dict[TargetId, int]) -> None:
        """Take up what the ledger says, before any link opens."""
        self.state.epoch = self._grants.epoch = epoch
        if in_force:
            self._begin(epoch, self._outside.clock.now())
            for target, until in may_send.items():
                if target in self.state.unconfirmed:
                    self.state.unconfirmed[target].may_send_until_us = until

    def _begin(self, epoch: int, now: HostUs) -> None:
        self._grants.epoch, self._grants.all_off_in_force = epoch, True
        self.state = AllOffState(epoch, True, now, {}, {k.target: Unconfirmed(k) for k in self._targets()})

    def release(self, by: PersonId, reason: str) -> None:
        """End the state; starts nothing."""
        self.state.in_force = self._grants.all_off_in_force = False
        self._pen.write(AllOffReleased(self.state.epoch, by, reason, self._outside.here()))

    def joined(self, known: Known) -> None:
        """A target that was not known when it was ordered has to confirm too."""
        if self.state.in_force and known.target not in self.state.confirmed:
            self.state.unconfirmed.setdefault(known.target, Unconfirmed(known))

    def again(self) -> None:
        """Say it again now: a link has just come up."""
        if self.state.in_force:
            self._say(first=True)

    def tick(self, now: int) -> None:
        """Repeat it while somebody has not confirmed."""
        if not self.state.in_force or not self.state.unconfirmed:
            self._press(False)
        elif now >= self._repeat_us:
            self._say(first=False)

    def _press(self, pressing: bool) -> None:
        if pressing != self._pressing:
            self._pressing = pressing
            for line in self._lines():
                line.press(pressing)

    def _say(self, *, first: bool) -> None:
        now = self._outside.clock.now()
        epoch = self.state.epoch
        payload = self._sealer.seal(envelope.ALL_OFF, 0xFFFF_FFFF, epoch, encode(AllOff(epoch)))
        for line in self._lines():
            line.shout(payload, first=first)
        for row in self.state.unconfirmed.values():
            if not self._asked(row.known):
                self._post_first(row.known, AllOff(epoch), now + ORDER_LIVES_US, f"all off {epoch}")
        assert self.state.ordered_us is not None
        fast = now - self.state.ordered_us < FAST_FOR_US
        self._press(fast)
        self._repeat_us = now + (REPEAT_US if fast else REPEAT_SLOW_US)

    def _asked(self, known: Known) -> bool:
        order = known.session.first_order
        return isinstance(order, AllOff) and order.epoch == self.state.epoch

    def heard(self, known: Known, epoch: int, flags: int) -> None:
        """A target's sealed word on which epoch it has latched, with its gate."""
        known.epoch = epoch
        if not self.state.in_force:
            self.state.epoch = self._grants.epoch = max(self.state.epoch, epoch)
            return
        if epoch > self.state.epoch:  # this ledger is older than the field: order it anew, above what they know
            self.order(PersonId("field"), "a target knew a later all off")
            return
        if epoch != self.state.epoch or known.target in self.state.confirmed:
            return
        quiet = not flags & Flags.GATE_ON and bool(flags & Flags.ALL_OFF)
        row = self.state.unconfirmed.get(known.target)
        if quiet:
            self.state.unconfirmed.pop(known.target, None)
            assert self.state.ordered_us is not None
            self.state.confirmed[known.target] = self._outside.clock.now() - self.state.ordered_us
        elif row is not None:
            if row.says_on:
                return
            row.says_on = True
        self._pen.write(AllOffConfirmed(known.target, epoch, quiet, self._outside.here()))
