"""The only master of a multi-drop bus: one question, one answer, next turn."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Protocol

from fieldctl.controller.known import Known
from fieldctl.controller.line import Ear, Line
from fieldctl.controller.ports import Outside
from fieldctl.links.link import Link
from fieldctl.units import HostUs
from fieldctl.wire import bus, frames
from fieldctl.wire.messages import Flags, Outcome
from fieldctl.wire.session import Posted

ANSWER_BEGINS_WITHIN_US = 20_000  # the target's turnaround, a USB adapter's and a busy host's delay, with a margin
FRAME_US = round(frames.FRAME_MAX * bus.BYTE_US)  # the longest frame on the wire
SEND_AGAIN_US = 5_000  # the link's buffer was full


class BusLine(Line):
    """The only master of a multi-drop bus."""

    kind = "serial"
    naps = True
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
        self._asides: list[bytes] = []
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

    def shout(self, payload: bytes, *, first: bool) -> None:
        """See `Line`: the first one over whatever is being said, and again when the line is free."""
        self._shouts = [payload]
        if first:
            self._shout_now(payload)
        elif self._turn is None:
            self._go()

    def press(self, pressing: bool) -> None:
        """See `Line`."""
        self.bus.press(pressing, self._now())
        self._go()

    def wake(self, known: Known) -> None:
        """See `Line`."""
        self.bus.want(known.address, self._now())
        self._go()

    def _shout_now(self, payload: bytes) -> None:
        data = frames.encode(payload)
        if self.link is None:
            return
        self.link.clear_unsent()
        self.link.send(data)
        self._busy_until = self._now() + round(len(data) * bus.BYTE_US)
        if self._turn is None:
            self._set_timer(self._busy_until)

    def pace(self, exercise: set[int], *, searching: bool) -> None:
        """See `Line`."""
        self.bus.quiet = searching
        self.bus.set_exercise(exercise & self.members.keys(), self._now())
        self._go()

    @property
    def garbled(self) -> Counter[str]:
        """The running count of what was no frame: what overlaps is heard as that."""
        return self._deframer.lost

    def say_aside(self, data: bytes) -> None:
        """Send a frame that nobody answers, when the line is free."""
        self._asides.append(data)
        self._go()

    def begin_search(self, turn: SearchTurn) -> None:
        """Search for new targets in the bus's turns, at once where nobody is on the bus yet and no turn would come."""
        self.search = turn
        self._go()

    def frames_lost(self) -> dict[str, int]:
        """See `Line`."""
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
            known, message = self._take(payload, at)
            if turn is None or known is None:
                continue
            if known.address == turn.address and message is not None:
                self._turn = None
                # after an acknowledgement the next strike need not wait for its turn
                strikes = isinstance(message, Outcome) and bool(message.flags & Flags.STRIKES)
                self.bus.answered(turn, at, more=known.session.waiting > 0, strikes=strikes)
                if known.asleep_until_us is not None:
                    self.bus.sleeps(known.address, known.asleep_until_us)
                turn = None
            elif known.address != turn.address and message is None:
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
            self._shout_now(self._shouts.pop())
            return
        if self._asides:
            aside = self._asides.pop(0)
            self.link.send(aside)
            self._busy_until = now + round(len(aside) * bus.BYTE_US) + ANSWER_BEGINS_WITHIN_US
            self._set_timer(self._busy_until)
            return
        if self.search is not None and (hail := self.search.next(now)) is not None:
            if self.link.send(hail) is None:
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
