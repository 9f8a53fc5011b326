"""One line for each link: on a bus the master's turns, over a broker a conversation with each target.

A line outlives the links that it uses: the controller opens a link, gives it to the line, and takes it away when it is
lost. On the hot path everything is a plain callback: bytes in, one message out, next turn.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Protocol

from fieldctl.clock.exchange import Exchange
from fieldctl.controller.known import Known
from fieldctl.controller.ports import Outside
from fieldctl.errors import LinkDown
from fieldctl.links.link import Link
from fieldctl.units import BootId, HostUs, NodeTicks, TargetId
from fieldctl.wire import envelope, seal
from fieldctl.wire.messages import Message
from fieldctl.wire.session import Ended, Posted

DISBELIEVED_MAX = 12  # answers in a row: another unit under this id, or one whose counters were put back


class Ear(Protocol):
    """Who hears what the lines bring: the controller."""

    def heard(self, known: Known, message: Message, at: HostUs) -> None:
        """A target said something that can be believed."""

    def opened(self, known: Known, message: Message, at: HostUs) -> None:
        """A target answered the question for its counters: the conversation is open."""

    def order_ended(self, known: Known, ended: Ended) -> None:
        """An order has its outcome."""

    def disbelieved(self, known: Known) -> None:
        """Nothing that comes under this id can be believed any more."""

    def clock_odd(self, known: Known, finding: object) -> None:
        """A target's clock cannot be right."""

    def misaddressed(self, line: Line, known: Known, said: int) -> None:
        """`known` was asked and an answer came in the name of another address."""

    def line_lost(self, line: Line, why: LinkDown) -> None:
        """The line's link is gone."""


class Line:
    """What both kinds of line share: members, counts, the link of the moment."""

    kind = ""
    byte_us = 0.0
    overhead = 0
    naps = False  # whether its targets may sleep

    def __init__(self, name: str, outside: Outside, ear: Ear) -> None:
        self.name = name
        self.link: Link | None = None
        self.members: dict[int, Known] = {}
        self.counts: Counter[str] = Counter()
        self._outside = outside
        self._ear = ear
        self._now = outside.clock.now
        self._loop = asyncio.get_running_loop()
        self._timer: asyncio.TimerHandle | None = None
        self.lost = asyncio.Event()  # the controller waits for it to open the next link

    # ---- what the controller does with a line ----------------------------------------------------------------

    def begin(self, link: Link) -> None:
        """Use a link that was just opened."""
        self.link = link

    def end(self) -> Link | None:
        """Stop using the link; gives it back for closing."""
        link, self.link = self.link, None
        self._set_timer(None)
        return link

    def join(self, known: Known) -> None:
        """Take a target into this line."""
        self.members[known.address] = known
        known.line = self.name

    def leave(self, known: Known) -> None:
        """Take a target out of this line."""
        self.members.pop(known.address, None)

    def post(self, known: Known, order: Posted) -> bool:
        """Queue an order for a target of this line."""
        raise NotImplementedError

    def overtake(self, known: Known, order: Posted) -> None:
        """An order that ends all others of that target and goes first."""
        for ended in known.session.overtake(order):
            self._ear.order_ended(known, ended)

    def shout(self, payload: bytes, *, first: bool) -> None:
        """Send all off to everybody, now, before whatever waits; `first` even over what is being said."""
        raise NotImplementedError

    def press(self, pressing: bool) -> None:
        """All off is not confirmed yet (or no longer): ask on and on, also whoever does not answer."""

    def wake(self, known: Known) -> None:
        """Speak to a target that sleeps as soon as it listens."""
        raise NotImplementedError

    def pace(self, exercise: set[int], *, searching: bool) -> None:
        """Which targets are in an exercise, and whether a signal is searched for."""
        raise NotImplementedError

    def frames_lost(self) -> dict[str, int]:
        """What was no frame, by kind."""
        return {}

    # ---- the links' receiver ---------------------------------------------------------------------------------

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        raise NotImplementedError

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        raise NotImplementedError

    def link_lost(self, link: Link, why: LinkDown) -> None:
        """See `Receiver`."""
        if link is self.link:
            self.end()
            self._ear.line_lost(self, why)

    # ---- shared by both --------------------------------------------------------------------------------------

    def _payload_for(self, known: Known, now: HostUs, *, token: bool = True) -> bytes | None:
        """What to say to a target at its turn: the question for counters, an order, or a token."""
        for ended in known.session.expire(now):
            self._ear.order_ended(known, ended)
        if known.session.state != "open":
            known.opened_us = now
            known.talk.asked += 1
            return known.session.open(self._outside.nonce(), now)
        payload = known.session.pull(now) or (known.session.token(now) if token else None)
        known.talk.asked += payload is not None
        return payload

    def _take(self, payload: bytes, at: HostUs, held: tuple[int, int] = (0, 0)) -> tuple[Known | None, Message | None]:
        """Take a payload; the target that it came from, and what it said if it was believed.

        `held` are the µs for which a bridge held the question and the answer.
        """
        env = envelope.read(payload)
        if env is None:
            self.counts["no-envelope"] += 1
            return None, None
        known = self.members.get(env.address)
        if known is None:
            self.counts["foreign"] += 1
            return None, None
        taken = known.session.take(env, at)
        if taken is None or taken.message is None:
            self.counts["not-believed"] += 1
            known.disbelieved += 1
            if known.disbelieved >= DISBELIEVED_MAX and known.session.state == "open":
                known.disbelieved = 0
                self._ear.disbelieved(known)
            return known, None
        known.disbelieved = 0
        message = taken.message
        if taken.asked_us is not None and (known.heard_us is None or taken.asked_us >= known.heard_us):
            known.answered_last(message)
        known.heard_us, known.asleep_until_us = at, None
        known.talk.answered += taken.asked_us is not None or taken.ended is not None
        if taken.asked_us is not None:
            asked, answered = taken.asked_us + held[0], HostUs(at - held[1])
            self._learn_clock(known, message, asked, taken.question_bytes, len(payload), answered)
        if taken.opened:
            self._ear.opened(known, message, at)
        else:
            self._ear.heard(known, message, at)
        if taken.ended is not None:
            self._ear.order_ended(known, taken.ended)
        return known, message

    def _learn_clock(self, known: Known, message: Message, asked: int, out: int, got: int, at: HostUs) -> None:
        exchange = Exchange(
            HostUs(asked),
            at,
            NodeTicks(message.ticks),  # type: ignore[attr-defined]
            out + self.overhead,
            got + self.overhead,
            self.byte_us,
            known.turnaround_us if self.byte_us else 0,
        )
        finding = known.clock.add(BootId(message.boot), exchange)  # type: ignore[attr-defined]
        if finding is not None:
            self._ear.clock_odd(known, finding)

    def _set_timer(self, due: int | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if due is not None and self.link is not None:
            delay = max(0.0, (due - self._now()) / 1e6)
            self._timer = self._loop.call_later(delay, self._timer_rang)

    def _timer_rang(self) -> None:
        raise NotImplementedError


def window_of(kind: str) -> int:
    """The replay window for a kind of link."""
    return seal.MQTT_WINDOW if kind == "mqtt" else seal.STRICT
