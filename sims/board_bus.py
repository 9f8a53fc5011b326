"""An emulated board as a target on the simulated bus: the hub carries its bytes with honest byte times.

A frame is handed to the board's UART when its last byte has come; what the board says goes onto the bus when its last
byte has left the UART, so that the answer only ever comes later than it would from silicon. Whatever it says that is no
frame goes out as it is.

The truth for the demo's comparison (`made`, `sent`, `past_grant_us`) is worked out here from the board's file and from
what goes by on the wire, which is sealed but not secret.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any

from fieldctl.units import EVERYBODY, TargetId, target_from_address
from fieldctl.wire import adding, envelope, frames, messages
from fieldctl.wire.frames import Deframer
from fieldctl.wire.messages import Flags, Strike
from sims.board import Board
from sims.board_bench import SAMPLE_US
from sims.board_pad import waveform
from sims.board_truth import Permits, Pulse, TickMap
from sims.hub import Hub
from sims.pad import Touch
from sims.ptybus import raw_us
from sims.world import Scheduler

LOOKS_EVERY_S = 0.01
PLAYS_AHEAD_US = 60_000  # a waveform begins so long after it was handed over: the board may be held up for a while
BEGINS_WITHIN_US = 2 * SAMPLE_US  # of the true begin a sharp blow has to be stamped: noise decides on a sample or two


class BoardNode:
    """A target on a hub whose inside is compiled firmware."""

    def __init__(self, scheduler: Scheduler, board: Board, *, noise: float) -> None:
        self.scheduler = scheduler
        self.board = board
        self.noise = noise
        self.address = adding.address_of(board.bench.hardware)
        self.target: TargetId = target_from_address(self.address)
        self.name = str(self.target)
        self.flags = 0  # as it said last
        self.clock = TickMap()
        self.permits = Permits()
        self.stamped: dict[
            tuple[int, int], int
        ] = {}  # (boot, number) of each strike that it told: true µs of its ticks
        self.blows: list[int] = []  # ticks at which a sharp blow really began
        self.deaf = 0  # what came while it had no power
        self._ears = Deframer()
        self._hub: Hub | None = None
        self._looks: asyncio.Task[None] | None = None
        self.listen()

    def listen(self) -> None:
        """What its board says goes onto the bus from now."""
        self.board.on_bytes = self._spoke

    async def power_on(self) -> None:
        """Start it, on its file; `clock` is this start's."""
        self._ears = Deframer()
        self.clock = TickMap()
        await self.board.power_on()
        self._looks = asyncio.create_task(self._look(), name=f"look at {self.name}")

    async def power_off(self) -> None:
        """Cut its power."""
        self.permits.ended(raw_us())
        if self._looks is not None:
            self._looks.cancel()
        await self.board.power_off()

    async def _look(self) -> None:
        while True:
            self.clock.look(self.board.bench)
            await asyncio.sleep(LOOKS_EVERY_S)

    # ---- on the bus ------------------------------------------------------------------------------------------

    def attached(self, medium: Hub) -> None:
        """See `sims.hub.Listener`."""
        self._hub = medium

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:  # noqa: ARG002
        """One frame, whole."""
        env = envelope.read(payload)
        if env is not None and env.form == envelope.DOWN and env.address != EVERYBODY:
            self.permits.ordered(env.counter, messages.decode(env.body), at_us)
        self.hear_bytes(frames.encode(payload), at_us)

    def hear_bytes(self, data: bytes, at_us: int) -> None:  # noqa: ARG002
        """Bytes as they are."""
        if not self.board.write(data):
            self.deaf += 1

    def _spoke(self, data: bytes) -> None:
        lost = self._ears.lost.total()
        payloads = self._ears.feed(data)
        if self._hub is None:
            return
        now = raw_us()
        if self._ears.lost.total() > lost:
            self._hub.babble(self, data)
            return
        for payload in payloads:
            self._note(payload, now)
            self._hub.speak(self, payload, now)

    def _note(self, payload: bytes, now: int) -> None:
        env = envelope.read(payload)
        if env is None or env.form != envelope.UP:
            return
        message: Any = messages.decode(env.body)
        self.flags = message.flags
        self.clock.look(self.board.bench)
        self.permits.said(message, now, self.clock)
        if isinstance(message, Strike) and message.strike_boot == message.boot:
            self.stamped.setdefault((message.strike_boot, message.number), message.strike_ticks)

    # ---- the world around it ----------------------------------------------------------------------------------

    @property
    def on(self) -> bool:
        """Whether it has power."""
        return self.board.on

    @property
    def armed(self) -> bool:
        """Whether it said last that it listens at its pad."""
        return bool(self.flags & Flags.ARMED)

    @property
    def sends(self) -> bool:
        """Whether it has sent within the longest legal period: what somebody with a receiver can know."""
        pulses = self.pulses()
        return bool(pulses) and pulses[-1].off_us > raw_us() - 1_300_000

    def touch(self, touches: Sequence[Touch]) -> None:
        """Let an event happen at its pad, beginning in a moment."""
        samples, sharp = waveform(touches, self.noise)
        begin = self.board.bench.ticks() + PLAYS_AHEAD_US
        begin -= begin % SAMPLE_US
        self.board.bench.play(samples, begin)
        self.blows += [begin + SAMPLE_US * at for at in sharp]

    # ---- the truth ----------------------------------------------------------------------------------------------

    def pulses(self) -> list[Pulse]:
        """When its gate was open in this start, up to now."""
        bench, now = self.board.bench, raw_us()
        spans = [(on, off) for start, on, off in bench.gate_spans() if start == bench["starts"]]
        found = (Pulse(self.clock.true_us(on), min(now, self.clock.true_us(off))) for on, off in spans)
        return [pulse for pulse in found if pulse.off_us > pulse.on_us]

    def truth(self) -> dict[str, Any]:
        """What really happened, as `sims.demo_result` wants it.

        A strike that it told is made at its ticks, as true time. A sharp blow has to be among them, to two samples: one
        that is not counts as made too, and is missing.
        """
        made = [[boot, number, self.clock.true_us(ticks)] for (boot, number), ticks in sorted(self.stamped.items())]
        missing = [b for b in self.blows if all(abs(b - t) > BEGINS_WITHIN_US for t in self.stamped.values())]
        made += [[0, -1 - i, self.clock.true_us(blow)] for i, blow in enumerate(missing)]
        pulses = self.pulses()
        return {
            "made": made,
            "sent": [[p.on_us, p.off_us] for p in pulses],
            "past_grant_us": self.permits.past_us(pulses),
        }
