"""One line for each link: on a bus the master's turns, over a broker a conversation with each target.

A line outlives the links that it uses: the controller opens a link, gives it to the line, and takes it away when it is
lost. On the hot path everything is a plain callback: bytes in, one message out, next turn.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Iterator
from typing import Protocol

from fieldctl.clock.exchange import Exchange
from fieldctl.controller.known import Known
from fieldctl.controller.ports import Outside
from fieldctl.errors import LinkDown
from fieldctl.links.link import Link
from fieldctl.units import BootId, HostUs, NodeTicks, TargetId
from fieldctl.wire import bus, envelope, frames, seal
from fieldctl.wire.messages import Message
from fieldctl.wire.session import Ended, Posted

ANSWER_BEGINS_WITHIN_US = 20_000  # the target's turnaround, a USB adapter's and a busy host's delay, with a margin
FRAME_US = round(frames.FRAME_MAX * bus.BYTE_US)  # the longest frame on the wire
SEND_AGAIN_US = 5_000  # the link's buffer was full
AIR_IDLE_US = 1_000_000
AIR_EXERCISE_US = 250_000  # four exchanges a second bring the ± under 10 ms at 100 ms of jitter


class Ear(Protocol):
    """Who hears what the lines bring: the controller."""

    def heard(self, known: Known, message: Message, at: HostUs) -> None:
        """A target said something that can be believed."""

    def opened(self, known: Known, message: Message, at: HostUs) -> None:
        """A target answered the question for its counters: the conversation is open."""

    def order_ended(self, known: Known, ended: Ended) -> None:
        """An order has its outcome."""

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

    def shout(self, payload: bytes) -> None:
        """Send all off to everybody, now, before whatever waits."""
        raise NotImplementedError

    def pace(self, exercise: set[int], *, searching: bool) -> None:
        """Which targets are in an exercise, and whether a signal is searched for."""
        raise NotImplementedError

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
            return known.session.open(self._outside.nonce(), now)
        return known.session.pull(now) or (known.session.token(now) if token else None)

    def _take(self, payload: bytes, at: HostUs) -> tuple[Known | None, bool]:
        """Take a payload; the target that it came from, and whether it was believed."""
        env = envelope.read(payload)
        if env is None:
            self.counts["no-envelope"] += 1
            return None, False
        known = self.members.get(env.address)
        if known is None:
            self.counts["foreign"] += 1
            return None, False
        taken = known.session.take(env, at)
        if taken is None or taken.message is None:
            self.counts["not-believed"] += 1
            return known, False
        message = taken.message
        known.heard_us = at
        if taken.asked_us is not None:
            self._learn_clock(known, message, taken.asked_us, taken.question_bytes, len(payload), at)
        if taken.opened:
            self._ear.opened(known, message, at)
        else:
            self._ear.heard(known, message, at)
        if taken.ended is not None:
            self._ear.order_ended(known, taken.ended)
        return known, True

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


class BusLine(Line):
    """The only master of a multi-drop bus."""

    kind = "serial"
    byte_us = bus.BYTE_US
    overhead = frames.OVERHEAD

    def __init__(self, name: str, outside: Outside, ear: Ear, pace: bus.Pace) -> None:
        super().__init__(name, outside, ear)
        self.bus = bus.Bus(pace)
        self._deframer = frames.Deframer()
        self._turn: bus.Member | None = None
        self._deadline = 0
        self._last_byte = 0
        self._busy_until = 0
        self._shouts: list[bytes] = []
        self.search: SearchTurn | None = None

    def begin(self, link: Link) -> None:
        """See `Line`; a killed controller may have left half a frame, so the first burst begins with a 0x00."""
        super().begin(link)
        self._deframer = frames.Deframer()
        self._turn = None
        self._go()

    def join(self, known: Known) -> None:
        """See `Line`."""
        super().join(known)
        self.bus.join(known.address, self._now())
        self._go()

    def leave(self, known: Known) -> None:
        """See `Line`."""
        super().leave(known)
        self.bus.leave(known.address)

    def post(self, known: Known, order: Posted) -> bool:
        """See `Line`."""
        taken = known.session.post(order)
        self.bus.want(known.address, self._now())
        self._go()
        return taken

    def overtake(self, known: Known, order: Posted) -> None:
        """See `Line`."""
        super().overtake(known, order)
        self.bus.want(known.address, self._now())
        self._go()

    def shout(self, payload: bytes) -> None:
        """See `Line`: at once, over whatever is being said, and again when the line is free."""
        data = frames.encode(payload)
        if self.link is None:
            return
        self.link.clear_unsent()
        self.link.send(data)
        self._busy_until = self._now() + round(len(data) * bus.BYTE_US)
        self._shouts = [payload]
        if self._turn is None:
            self._set_timer(self._busy_until)

    def pace(self, exercise: set[int], *, searching: bool) -> None:
        """See `Line`."""
        self.bus.quiet = searching
        self.bus.set_exercise(exercise & self.members.keys(), self._now())
        self._go()

    def frames_lost(self) -> dict[str, int]:
        """What was no frame, by kind."""
        return dict(self._deframer.lost)

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        if link is not self.link:
            return
        self._last_byte = at
        turn = self._turn
        for payload in self._deframer.feed(data):
            if self.search is not None and self.search.take(payload):
                continue
            known, believed = self._take(payload, at)
            if turn is None or known is None:
                continue
            if known.address == turn.address and believed:
                self._turn = None
                self.bus.answered(turn, at, more=known.session.waiting > 0)
                turn = None
            elif known.address != turn.address and not believed:
                self._ear.misaddressed(self, self.members[turn.address], known.address)
        if self._turn is None:
            self._go()

    def _timer_rang(self) -> None:
        self._timer = None
        now = self._now()
        turn = self._turn
        if turn is not None:
            waited_for = self._last_byte + FRAME_US if self._deframer.in_frame else self._deadline
            if now < waited_for:
                self._set_timer(waited_for)
                return
            self._turn = None
            self.counts["unanswered"] += 1
            self.bus.missed(turn, now)
        self._go()

    def _go(self) -> None:
        """Begin the next turn, if the line is free and somebody is due."""
        if self._turn is not None or self.link is None:
            return
        now = self._now()
        if now < self._busy_until:
            self._set_timer(self._busy_until)
            return
        if self._shouts:
            self.shout(self._shouts[0])
            self._shouts = []
            return
        if self.search is not None and (data := self.search.next(now)) is not None:
            if data and self.link.send(data) is None:
                self.counts["full"] += 1
            self._busy_until = now + max(1_000, self.search.listens_until - now)
            self._set_timer(self._busy_until)
            return
        member = self.bus.next(now)
        if member is None:
            self._set_timer(self.bus.next_due())
            return
        known = self.members[member.address]
        payload = self._payload_for(known, now)
        assert payload is not None
        data = frames.encode(payload)
        at = self.link.send(data)
        if at is None:
            self.counts["full"] += 1
            self._busy_until = now + SEND_AGAIN_US
            self._set_timer(self._busy_until)
            return
        self._turn = member
        self._deadline = at + round(len(data) * bus.BYTE_US) + ANSWER_BEGINS_WITHIN_US
        self._set_timer(self._deadline)


class SearchTurn:
    """A search for new targets in the bus's turns: hail, listen for all slots, hail again until it is over."""

    def __init__(self, search: bus.Search, lost: Counter[str], hail: HailMaker) -> None:
        self._search = search
        self._lost = lost
        self._hail = hail
        self._lost_before = 0
        self._answers: list[tuple[bytes, bytes]] = []
        self._said = False
        self.listens_until = 0
        self.done = asyncio.Event()

    def next(self, now: int) -> bytes | None:
        """The next hail's frame; None when the search is over."""
        if self._said:
            garbled = sum(self._lost.values()) > self._lost_before
            self._search.round_over(self._answers, garbled=garbled)
            self._said = False
        if self._search.over:
            self.done.set()
            return None
        self._answers = []
        self._lost_before = sum(self._lost.values())
        self._said = True
        data = frames.encode(self._hail(*self._search.hail()))
        self.listens_until = now + round(len(data) * bus.BYTE_US) + self._search.listens_us
        return data

    def take(self, payload: bytes) -> bool:
        """Whether a payload is an answer to a hail."""
        answer = self._hail.read(payload)
        if answer is None:
            return False
        self._answers.append(answer)
        return True


class HailMaker(Protocol):
    """Makes hails and reads their answers."""

    def __call__(self, nonce: bytes, slots: int, salt: int) -> bytes:
        """The payload of a hail."""

    def read(self, payload: bytes) -> tuple[bytes, bytes] | None:
        """(hardware id, nonce) of an answer; None when it is none."""


class AirLine(Line):
    """A conversation with each target over a broker: nobody's turn, but the same tokens, orders and resends."""

    kind = "mqtt"

    def __init__(self, name: str, outside: Outside, ear: Ear) -> None:
        super().__init__(name, outside, ear)
        self._due: dict[int, int] = {}
        self._exercise: set[int] = set()

    def begin(self, link: Link) -> None:
        """See `Line`."""
        super().begin(link)
        now = self._now()
        for i, address in enumerate(self.members):
            self._due[address] = now + i * 10_000  # not all in one burst
        self._schedule()

    def join(self, known: Known) -> None:
        """See `Line`."""
        super().join(known)
        self._due[known.address] = self._now()
        self._schedule()

    def leave(self, known: Known) -> None:
        """See `Line`."""
        super().leave(known)
        self._due.pop(known.address, None)

    def post(self, known: Known, order: Posted) -> bool:
        """See `Line`."""
        taken = known.session.post(order)
        self._say(known, self._now(), token=False)
        self._schedule()
        return taken

    def overtake(self, known: Known, order: Posted) -> None:
        """See `Line`."""
        super().overtake(known, order)
        self._say(known, self._now(), token=False)
        self._schedule()

    def shout(self, payload: bytes) -> None:
        """See `Line`."""
        if self.link is not None:
            self.link.clear_unsent()
            self.link.send(payload, None)

    def pace(self, exercise: set[int], *, searching: bool) -> None:  # noqa: ARG002 - a broker is no radio source here
        """See `Line`."""
        joined = (exercise & self.members.keys()) - self._exercise
        self._exercise = exercise & self.members.keys()
        now = self._now()
        for address in sorted(joined):
            self._due[address] = now
        self._schedule()

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        if link is not self.link:
            return
        env = envelope.read(payload)
        if env is not None and target is not None and env.address != int(target, 16):
            self.counts["misaddressed"] += 1
            if (known := self.members.get(int(target, 16))) is not None:
                self._ear.misaddressed(self, known, env.address)
            return
        known, believed = self._take(payload, at)
        if believed and known is not None:
            self._say(known, at, token=False)  # the next order need not wait for its time
            self._schedule()

    def _timer_rang(self) -> None:
        self._timer = None
        now = self._now()
        for address, known in self._due_members(now):
            self._say(known, now, token=True)
            period = AIR_EXERCISE_US if address in self._exercise else AIR_IDLE_US
            self._due[address] = now + period
        for known in self.members.values():
            deadline = known.session.next_deadline()
            if deadline is not None and deadline <= now:
                self._say(known, now, token=False)
        self._schedule()

    def _due_members(self, now: HostUs) -> Iterator[tuple[int, Known]]:
        for address, due in list(self._due.items()):
            if due <= now:
                yield address, self.members[address]

    def _say(self, known: Known, now: HostUs, *, token: bool) -> None:
        if self.link is None:
            return
        if not token and known.session.state != "open":  # the question for counters keeps to the ordinary pace
            for ended in known.session.expire(now):
                self._ear.order_ended(known, ended)
            return
        payload = self._payload_for(known, now, token=token)
        if payload is not None and self.link.send(payload, known.target) is None:
            self.counts["full"] += 1

    def _schedule(self) -> None:
        dues = [*self._due.values()]
        dues += [d for k in self.members.values() if (d := k.session.next_deadline()) is not None]
        self._set_timer(min(dues) if dues else None)


def window_of(kind: str) -> int:
    """The replay window for a kind of link."""
    return seal.MQTT_WINDOW if kind == "mqtt" else seal.STRICT
