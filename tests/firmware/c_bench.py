"""A bench in virtual time for the firmware's core: bytes with their times in, bytes out, and the board's side door.

Nothing of the simulated mountain stands between: the core hears each burst when its last byte would have come, and
what it says is heard when its last byte would be over. The pad gives samples while it is on, and is quiet unless
something is played.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections import deque
from collections.abc import Callable
from random import Random
from typing import Any, Literal

from fieldctl.certify.bench import Ear
from fieldctl.certify.side_door import MANY
from fieldctl.wire import frames
from fieldctl.wire.bus import BYTE_US
from fieldctl.wire.messages import Ability, Why
from sims.hub import bytes_us

HARDWARE = b"core\x5e\xe0\x00\x02"
SECRET = b"secret of a core"
ABILITIES = int(
    Ability.PAD
    | Ability.TRANSMITTER
    | Ability.LEVELS
    | Ability.THERMOMETER
    | Ability.SLEEP
    | Ability.BUTTON
    | Ability.TRACES
)
NEVER = (1 << 64) - 1
NOTHING, BYTES, PAYLOAD, RETAINED, CONNECTED, PRESSED = range(6)
LOG_MAX = 64
BACK_US = 300_000
AIR_US = 20_000
SAMPLE_US, BATCH = 250, 80
FRESH_MV, WEAK_MV = 3_350, 2_000
KNOCK = (480, 750, 8_000, 300, 5, 0, 0)
BLOW = [0] * 40 + [round(400 * min(1, n / 3) * math.exp(-n / 12)) for n in range(120)]


class CBench:
    """One core."""

    def __init__(self, module: Any, medium: Literal["bus", "radio"] = "bus", *, seed: int = 7, lacks: int = 0) -> None:
        self.medium: Literal["bus", "radio"] = medium
        self.byte_us = BYTE_US if medium == "bus" else 0.0
        self.answer_us = 60_000 if medium == "bus" else 120_000
        self.retains = medium == "radio"
        self.ear = Ear()
        self.door = self
        self.rng = Random(seed)
        self._ffi, self._lib = module.ffi, module.lib
        firmware = b"core"
        self.sim = self._ffi.gc(
            self._lib.fc_sim_new(HARDWARE, SECRET, firmware, ABILITIES & ~lacks, medium == "radio", LOG_MAX, seed),
            self._lib.fc_sim_free,
        )
        self._now = 1_000_000
        self._born = 0
        self._due = NEVER
        self._seq = itertools.count()
        self._events: list[tuple[int, int, Callable[..., None], tuple[Any, ...]]] = []
        self._out_until = 0
        self._pad_at = 0
        self._playing: deque[int] = deque()
        self._pulses: list[int] = []
        self._words: dict[str, Callable[..., Any]] = {
            "reboot": lambda: self._power(BACK_US, Why.WATCHDOG),
            "power": lambda for_ms: self._power(for_ms * 1000, Why.POWER),
            "cut": self._cut,
            "touch": self._touch,
            "pad": lambda *samples: self._playing.extend(samples),
            "gate": self._edges,
            "stuck": lambda stuck: setattr(self.sim, "gate_stuck", bool(stuck)),
            "battery": lambda weak: setattr(self.sim, "load_mv", WEAK_MV if weak else FRESH_MV),
            "press": lambda: self._step(PRESSED),
        }
        self.offers = frozenset(self._words) | {MANY}
        self._power_on(Why.POWER)

    # ---- Bench --------------------------------------------------------------------------------------------------

    def now(self) -> int:
        return self._now

    def write(self, data: bytes) -> int:
        self._out_until = max(self._now, self._out_until) + bytes_us(len(data))
        self._at(self._out_until, self._step, BYTES, data)
        return self._now

    def say(self, payload: bytes, *, everybody: bool = False, retained: bool = False) -> int:
        if self.medium == "bus":
            return self.write(frames.encode(payload))
        self._at(self._now + AIR_US, self._step, RETAINED if retained else PAYLOAD, payload)
        return self._now

    def wait(self, until_us: int, enough: Callable[[], bool] | None = None) -> None:
        while self._now < until_us:
            upto = min(until_us, max(self._now, self._next))
            upto = min(upto, self._pad_at) if self._samples else upto
            if self._events and self._events[0][0] <= upto:
                at, _, what, arguments = heapq.heappop(self._events)
                self._now = max(self._now, at)
                what(*arguments)
            else:
                self._now = upto
                if self._samples and self._pad_at <= self._now:
                    self._sample()
                else:
                    self._step(NOTHING)
            if enough is not None and enough():
                return

    def close(self) -> None:
        """Nothing is held."""

    # ---- the core -----------------------------------------------------------------------------------------------

    def _at(self, at: int, what: Callable[..., None], *arguments: Any) -> None:
        heapq.heappush(self._events, (at, next(self._seq), what, arguments))

    def _step(self, what: int, data: bytes = b"") -> None:
        if self.sim.on:
            held = self._ffi.new("uint8_t[]", data)
            self._after(self._lib.fc_sim_step(self.sim, self._now - self._born, what, held, len(data)))

    @property
    def _next(self) -> int:
        """When the core may say something, or wants to be called."""
        return min(self._due, max(self._born + self.sim.next, self._now + 1_000)) if self.sim.on else NEVER

    @property
    def _samples(self) -> bool:
        return bool(self.sim.on and self.sim.pad_on)

    def _sample(self) -> None:
        batch = [self._playing.popleft() if self._playing else 0 for _ in range(BATCH)]
        held = self._ffi.new("int16_t[]", batch)
        first = self._pad_at - BATCH * SAMPLE_US - self._born
        self._pad_at += BATCH * SAMPLE_US
        self._after(self._lib.fc_sim_samples(self.sim, held, BATCH, first))

    def _after(self, due: int) -> None:
        sim = self.sim
        for n in range(sim.sent_count):
            sent = sim.sent[n]
            data = bytes(sent.data[0 : sent.size])
            at = self._born + sent.at
            if self.medium == "bus":
                self._at(at + bytes_us(len(data)), self._said, data)
            else:
                self._at(at + AIR_US, self._said, data)
        sim.sent_count = 0
        self._due = NEVER if due == NEVER else max(self._born + due, self._now + 1_000)
        if self._pad_at <= self._now and sim.pad_on:
            self._pad_at = self._now + BATCH * SAMPLE_US
        if sim.cut:
            sim.cut = False
            self._power(BACK_US, Why.POWER)

    def _said(self, data: bytes) -> None:
        if self.medium == "bus":
            self.ear.bytes_came(data, self._now)
        else:
            self.ear.message_came(data, self._now)

    # ---- the side door ------------------------------------------------------------------------------------------

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        found = self._words[word](*numbers)
        return found if isinstance(found, tuple) else ()

    def _touch(self) -> None:
        if self.sim.pad_on:
            self._playing.extend(BLOW)
        elif self.sim.on:  # nobody samples, and the core has to know that this is nobody's strike
            features = self._ffi.new("uint32_t[]", KNOCK)
            self._lib.fc_sim_strike(self.sim, features, len(KNOCK), self._now - self._born)
            self._step(NOTHING)

    def _power(self, for_us: int, why: Why) -> None:
        if self.sim.on:
            self._take_pulses(whole=True)
            self._lib.fc_sim_power_off(self.sim)
            self._due = NEVER
            self._at(self._now + for_us, self._power_on, why)

    def _power_on(self, why: Why) -> None:
        self._born = self._now - 1_000  # the counter starts before the program does
        self._playing.clear()
        self._lib.fc_sim_power_on(self.sim, 1_000, int(why))
        self._step(CONNECTED if self.medium == "radio" else NOTHING)

    def _cut(self, nth: int, after: int) -> None:
        self.sim.cut_words = False
        self.sim.cut_when = 2 if after else 0
        self.sim.cut_in = nth

    def _take_pulses(self, *, whole: bool) -> None:
        sim, kept = self.sim, 0
        for n in range(sim.spans_count):
            on, off = sim.spans[n].on, sim.spans[n].off
            if off <= self._now - self._born or whole:
                self._pulses += [self._born + on, min(self._born + off, self._now)]
            else:
                sim.spans[0].on, sim.spans[0].off = on, off
                kept = 1
        sim.spans_count = kept

    def _edges(self) -> tuple[int, ...]:
        self._step(NOTHING)
        self._take_pulses(whole=False)
        taken, self._pulses = self._pulses, []
        return tuple(taken)
