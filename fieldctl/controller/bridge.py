"""The bus master of a far zone: passes sealed messages between a broker and its bus, with its own stamps.

It holds no key and steers nothing: what it cannot read it cannot change. It asks its bus on its own so that a strike
need not wait for the controller's next question, and passes up what is new; what the controller sends goes out at that
target's next turn, all off at once. Without the broker the bus goes on and every grant runs out by itself.
"""

from __future__ import annotations

import asyncio
from collections import Counter, deque
from collections.abc import Sequence

from fieldctl.controller.bus_line import ANSWER_BEGINS_WITHIN_US, FRAME_US
from fieldctl.controller.ports import HostClock
from fieldctl.errors import LinkDown
from fieldctl.links.link import Link
from fieldctl.units import HostUs, TargetId, target_from_address
from fieldctl.wire import bus, envelope, frames, messages
from fieldctl.wire.messages import Status

OWN_POLL_US = 200_000  # with the broker's delay p95 of strike to screen stays under 300 ms
QUEUE_MAX = 16
WIRE_SHARE = 0.98  # of the nominal byte time: the fastest UART that is still understood


class Bridge:
    """Both links' receiver; `use_bus` and `use_air` give it the links of the moment."""

    def __init__(self, clock: HostClock, targets: Sequence[TargetId]) -> None:
        self.counts: Counter[str] = Counter()
        self.lost = asyncio.Event()
        self.why: LinkDown | None = None
        self._now = clock.now
        self._loop = asyncio.get_running_loop()
        self._bus = bus.Bus(bus.Pace(exercise_us=OWN_POLL_US, idle_us=OWN_POLL_US))
        self._air: Link | None = None
        self._wire: Link | None = None
        self._deframer = frames.Deframer()
        self._down: dict[int, deque[tuple[bytes, HostUs]]] = {}
        self._told: dict[int, tuple[int, int, int | None]] = {}  # what was passed up last: boot, flags, grant
        self._turn: bus.Member | None = None
        self._asked: tuple[HostUs, HostUs, int] | None = None  # arrived, written, bytes; None for a token of our own
        self._timer: asyncio.TimerHandle | None = None
        self._number = 0
        self._deadline = 0
        self._last_byte = 0
        now = self._now()
        for target in targets:
            address = int(target, 16)
            self._down[address] = deque(maxlen=QUEUE_MAX)
            self._bus.join(address, now)

    def use(self, wire: Link, air: Link) -> None:
        """Begin with a bus and a broker that were just opened."""
        self._wire, self._air = wire, air
        self._go()

    def end(self) -> None:
        """Stop using both."""
        self._wire = self._air = None
        self._wake_at(None)

    # ---- what comes from the broker ----------------------------------------------------------------------------

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`: an order or a token for one target, or all off for everybody."""
        if link is not self._air or self._wire is None:
            return
        if target is None:
            self._wire.clear_unsent()
            self._wire.send(frames.encode(payload))
            self.counts["all-off"] += 1
            return
        queue = self._down.get(int(target, 16))
        if queue is None or not 0 < len(payload) <= frames.PAYLOAD_MAX:
            self.counts["not-ours"] += 1
            return
        if len(queue) == QUEUE_MAX:
            self.counts["overflow"] += 1
        queue.append((payload, at))
        self._bus.want(int(target, 16), self._now())
        self._go()

    # ---- what comes from the bus -------------------------------------------------------------------------------

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        """See `Receiver`: an answer."""
        if link is not self._wire:
            return
        self._last_byte = at
        for payload in self._deframer.feed(data):
            env = envelope.read(payload)
            if env is None or env.form != envelope.UP or env.address not in self._down:
                self.counts["foreign"] += 1
                continue
            turn = self._turn
            mine = turn is not None and turn.address == env.address
            asked = self._asked if mine else None
            if asked is not None or self._is_news(env):
                self._pass_up(env.address, payload, asked, at)
            if mine and turn is not None:
                self._turn = None
                self._bus.answered(turn, at, more=bool(self._down[env.address]))
        if self._turn is None:
            self._go()

    def _pass_up(self, address: int, payload: bytes, asked: tuple[HostUs, HostUs, int] | None, at: HostUs) -> None:
        before = after = 0
        if asked is not None:
            arrived, written, size = asked
            before = written - arrived + int(size * bus.BYTE_US * WIRE_SHARE)
            after = self._now() - at + int((len(payload) + frames.OVERHEAD) * bus.BYTE_US * WIRE_SHARE)
        if self._air is not None:
            self._air.send(envelope.relayed(before, after, payload), target_from_address(address))

    def _is_news(self, env: envelope.Envelope) -> bool:
        """Whether an answer to our own token says something that was not passed up yet."""
        try:
            message = messages.decode(env.body)
        except messages.Malformed:
            return True  # not for us to judge
        if not isinstance(message, Status):
            return True
        said = (message.boot, message.flags, message.grant_id)
        if self._told.get(env.address) == said:
            return False
        self._told[env.address] = said
        return True

    def link_lost(self, link: Link, why: LinkDown) -> None:
        """See `Receiver`: whoever runs the bridge opens both anew."""
        if link in (self._wire, self._air):
            self.why = why
            self.end()
            self.lost.set()

    # ---- turns ---------------------------------------------------------------------------------------------------

    def _go(self) -> None:
        if self._turn is not None or self._wire is None:
            return
        now = self._now()
        member = self._bus.next(now)
        if member is None:
            self._wake_at(self._bus.next_due())
            return
        queue = self._down[member.address]
        if queue:
            payload, arrived = queue.popleft()
        else:
            self._number = 128 + (self._number + 1) % 128
            payload, arrived = envelope.token(member.address, self._number), None
        data = frames.encode(payload)
        at = self._wire.send(data)
        if at is None:
            self.counts["full"] += 1
            at = now
        self._turn = member
        self._asked = None if arrived is None else (arrived, at, len(data))
        self._deadline = at + round(len(data) * bus.BYTE_US) + ANSWER_BEGINS_WITHIN_US
        self._wake_at(self._deadline)

    def _rang(self) -> None:
        self._timer = None
        turn = self._turn
        if turn is not None:
            now = self._now()
            waited_for = self._last_byte + FRAME_US if self._deframer.in_frame else self._deadline
            if now < waited_for:
                self._wake_at(waited_for)
                return
            self._turn = None
            self.counts["unanswered"] += 1
            turn.urgent = bool(self._down[turn.address])
            self._bus.missed(turn, now)
        self._go()

    def _wake_at(self, due: int | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if due is not None and self._wire is not None:
            self._timer = self._loop.call_later(max(0.0, (due - self._now()) / 1e6), self._rang)
