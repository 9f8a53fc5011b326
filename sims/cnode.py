"""A simulated target that runs the firmware's core: a drop-in for `sims.node.Node`.

    node = CNode(world, world.rng("node 1"), Storage(hardware, secret, keys))

Clock, cell, gate faults and power are the same as those of the Python target; conversation, rules, keying, strike log
and everything in flash are the compiled core's (`ccore`, `firmware_stubs/port/sim`). The core is called with what has
happened, and catches up by itself on what lay between. What was permitted is worked out here from the orders, by other
code than the core's; what was really sent comes from the pulses of its gate.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from random import Random
from typing import Any

from fieldctl.keying import Keying
from fieldctl.strikes.tune import OWN
from fieldctl.units import EVERYBODY
from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire.messages import Message, Why
from fieldctl.wire.obey import Held
from fieldctl.wire.trace import Raw, in_steps
from sims import board_pad, ccore
from sims.cell import Cell
from sims.gate import Gate
from sims.node import ABILITIES, LOG_MAX, TURNAROUND_MORE_US, Medium, Node
from sims.storage import Logged, Storage
from sims.world import Handle, Scheduler

FIRMWARE = "core 1"
NEVER = (1 << 64) - 1
PAUSE_MAX_US = 1_300_000  # between two pulses of one signal
NOTHING, BYTES, PAYLOAD, RETAINED, CONNECTED, PRESSED = range(6)  # as in sim.h


class CStorage(Storage):
    """The flash of a core: read through the core, cut at a write as the Python target's."""

    def __init__(self, node: CNode, given: Storage) -> None:
        self._node = node
        self._keys_at_start = given.keys
        super().__init__(given.hardware, given.secret)

    def __getattribute__(self, name: str) -> Any:
        if name in _KEPT:
            return _KEPT[name](object.__getattribute__(self, "_node"))
        return super().__getattribute__(name)

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "broken" and "hardware" in self.__dict__:
            self._node.c.broken_flash = bool(value)
        super().__setattr__(name, value)

    def cut_at_write(self, n: int, *, before: bool) -> None:
        """See `Storage`: a write is one call of the port's."""
        self._node.c.cut_in = n
        self._node.c.cut_words = False
        self._node.c.cut_when = 0 if before else 2

    def cut_at_word(self, n: int) -> None:
        """The power goes at the n-th word from now, which is torn."""
        self._node.c.cut_in = n
        self._node.c.cut_words = True


class CNode(Node):
    """See the module."""

    def __init__(
        self,
        scheduler: Scheduler,
        rng: Random,
        storage: Storage,
        *,
        abilities: int = ABILITIES,
        base_ppm: float | None = None,
        cell: Cell | None = None,
        core: Any = None,
    ) -> None:
        module = core or ccore.load()
        self.lib, self.ffi = module.lib, module.ffi
        self.c = self.ffi.gc(
            self.lib.fc_sim_new(
                storage.hardware, storage.secret, FIRMWARE.encode(), abilities, False, LOG_MAX, rng.getrandbits(32)
            ),
            self.lib.fc_sim_free,
        )
        self.c.unit.awake_ua, self.c.unit.sending_ua = 3_000, 12_000
        if storage.keys is not None:
            self.lib.fc_sim_give_keys(self.c, storage.keys.own, storage.keys.all_off, storage.keys.version)
        self._seen = self.ffi.new("struct fc_look *")
        self._made_by: dict[tuple[int, int], Logged] = {}
        self._spans_noted = 0
        self._noted_us = 0
        self._wake: Handle | None = None
        self._permitted = 0
        super().__init__(scheduler, rng, CStorage(self, storage), abilities=abilities, base_ppm=base_ppm, cell=cell)
        self.gate: Gate = PulsedGate()

    # ---- the core ------------------------------------------------------------------------------------------------

    def look(self) -> Any:
        """See `struct fc_look` in sim.h."""
        self.lib.fc_sim_look(self.c, self._seen)
        return self._seen

    def call(self, what: int, data: bytes, at_us: int) -> None:
        """Let the core catch up to a moment, and let something happen there."""
        buffer = self.ffi.from_buffer(bytearray(data))
        self._after(self.lib.fc_sim_step(self.c, self.ticks(at_us), what, buffer, len(data)), at_us)

    def _after(self, soon: int, at_us: int) -> None:
        """Hand out what it says, and be there when it may say something by itself."""
        due = self.ffi.new("uint64_t *")
        while self.c.on and not self.c.cut and self.lib.fc_sim_pull(self.c, due):
            self._speak(due[0], at_us)
            soon = self.lib.fc_sim_step(self.c, self.c.now, NOTHING, self.ffi.NULL, 0)
        self._mirror()
        if self._wake is not None:
            self._wake.cancel()
            self._wake = None
        if self.c.cut:
            self.reboot(Why.POWER)
        elif soon != NEVER:
            self._wake = self.scheduler.call_at(max(self.true_us(soon), at_us + 1), self._woken)

    def _woken(self) -> None:
        self._wake = None
        if self.on:
            self.settle()
            self.call(NOTHING, b"", self.scheduler.now_us())

    def _speak(self, due: int, at_us: int) -> None:
        sent = self.c.sent[0]
        said = self.ffi.buffer(sent.data, sent.size)[:]
        self.c.sent_count = 0
        payload = said if self.c.unit.radio else frames.Deframer().feed(said)[0]
        if self.faults.foreign_address is not None:
            payload = payload[:1] + self.faults.foreign_address.to_bytes(4, "big") + payload[5:]
        if self.medium is not None:
            later = 1 + int(self.rng.random() * TURNAROUND_MORE_US)
            self.medium.speak(self, payload, max(self.true_us(due), at_us) + later)

    def _mirror(self) -> None:
        """What the Python target holds in fields of its own, as the core has it."""
        seen = self.look()
        self.armed = bool(seen.armed)
        self.gate.held = None
        if seen.held and self.on:
            self.gate.held = Held(
                seen.grant_id,
                getattr(seen, "from"),
                seen.until,
                seen.limit,
                Keying(seen.period, seen.on),
                seen.level,
                seen.drop_on,
                seen.drop_off,
            )

    # ---- power ---------------------------------------------------------------------------------------------------

    def attached(self, medium: Medium) -> None:
        """See `Node`."""
        self.c.unit.radio = medium.pushes
        super().attached(medium)

    def make_sessions(self) -> None:
        """The conversation is the core's."""

    def _boot(self) -> None:
        self.measure()
        self._spans_noted = self.c.spans_count
        self.lib.fc_sim_power_on(self.c, self.ticks(self.scheduler.now_us()), int(self.why))
        self._mirror()
        if self.c.cut:
            self.reboot(Why.POWER)
        else:
            self.connected()

    def connected(self) -> None:
        """See `Node`."""
        if self.on and self.medium is not None and self.medium.pushes:
            self.call(CONNECTED, b"", self.scheduler.now_us())

    def power_off(self) -> None:
        """See `Node`."""
        if self.on:
            self.settle()
            self.lib.fc_sim_power_off(self.c)
            if self._wake is not None:
                self._wake.cancel()
                self._wake = None
        super().power_off()

    def measure(self) -> None:
        """What its battery and thermometer show now."""
        self.c.rest_mv, self.c.load_mv, self.c.kelvin10 = self.cell.rest_mv, self.cell.load_mv, self.cell.kelvin10

    # ---- truth ---------------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """See `Node`: the pulses of the core's gate up to now."""
        now = self.scheduler.now_us()
        if self.on and not self.c.cut:
            soon = self.lib.fc_sim_step(self.c, self.ticks(now), NOTHING, self.ffi.NULL, 0)
            if soon <= self.c.now:
                self._after(soon, now)
        gate = self.gate
        assert isinstance(gate, PulsedGate)
        gate.pulses += self._pulses(now)
        super().settle()
        self.measure()

    def _pulses(self, now_us: int) -> list[tuple[int, int]]:
        """The spans of the carrier that nobody took yet, in true time; the one under way comes in parts."""
        found = []
        for i in range(max(0, self._spans_noted - 1), self.c.spans_count):
            span = self.c.spans[i]
            on, off = max(self.true_us(span.on), self._noted_us), min(self.true_us(span.off), now_us)
            if on < off:
                found.append((on, off))
                self._noted_us = off
        self._spans_noted = self.c.spans_count
        return found

    # ---- what happens to it --------------------------------------------------------------------------------------

    def strike(self, features: Sequence[int], trace: Raw | None = None) -> tuple[int, int] | None:
        """See `Node`; a trace that nobody gives is invented at once, since it is the core that keeps it."""
        if not self.on:
            self.unnoticed += 1
            return None
        now = self.scheduler.now_us()
        ticks = self.ticks(now)
        if self.faults.repeats_numbers and self.look().number:
            self.lib.fc_sim_number(self.c, -1)
        before = self.look()
        listens, was = before.armed and not before.asleep, before.dropped
        if before.threshold > OWN and features[0] < before.threshold:  # its own: whatever touches it here is above
            self.unnoticed += 1
            return None
        felt = trace or board_pad.raw(features, f"{self.name} {before.boot} {before.number + 1}")
        if felt is not None:
            steps = in_steps(felt.samples, felt.scale)
            self.lib.fc_sim_trace(self.c, list(steps), len(steps), felt.begins)
        logged = self.lib.fc_sim_strike(self.c, list(features), len(features), ticks)
        seen = self.look()
        self.unnoticed += not listens
        self.overflowed += seen.dropped != was or (bool(listens) and not logged)
        # a cut after the last word of a record: it is whole, though nobody could say so any more
        boot, number = seen.boot, seen.number
        self._after(self.lib.fc_sim_step(self.c, self.c.now, NOTHING, self.ffi.NULL, 0), now)
        if not logged:
            return None
        made = Logged(boot, number, ticks, tuple(features), now)
        self._made_by[boot, number] = made
        self.made.append(made)
        self.scheduler.trace("strike", self.address, now, boot, number)
        return boot, number

    def samples(self, values: Sequence[int], first_us: int) -> None:
        """Samples of its pad, the first at a moment of true time."""
        data = self.ffi.new("int16_t[]", list(values))
        soon = self.lib.fc_sim_samples(self.c, data, len(values), self.ticks(first_us))
        self._after(soon, self.scheduler.now_us())

    def press(self, for_us: int = 0) -> None:  # noqa: ARG002
        """See `Node`; the firmware counts no presses, it is no post."""
        now = self.scheduler.now_us()
        self.pressed_us = now
        if self.on:
            self.call(PRESSED, b"", now)

    def jump_clock(self, by_us: int) -> None:
        """See `Node`."""
        super().jump_clock(by_us)
        self.c.now = self.c.next = self.ticks(self.scheduler.now_us())
        self._spans_noted = self.c.spans_count

    def break_gate(self, *, stuck: bool = False, lies: bool = False) -> None:
        """See `Node`."""
        super().break_gate(stuck=stuck, lies=lies)
        self.c.gate_stuck, self.c.gate_lies = stuck, lies

    # ---- hearing -------------------------------------------------------------------------------------------------

    def hear_bytes(self, data: bytes, at_us: int) -> None:
        """See `Node`."""
        if not self.on:
            return
        payloads = self.deframer.feed(data)
        if not any(p[0] in _ORDERS for p in payloads):
            self.call(BYTES, data, at_us)
            return
        self.settle()
        before = [self._expected(p) for p in payloads]
        self.call(BYTES, data, at_us)
        for order in before:
            self._permit(order, at_us)

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        """See `Node`."""
        if not self.on:
            return
        order = None
        if payload[:1] and payload[0] in _ORDERS:
            self.settle()
            order = self._expected(payload)
        self.call(RETAINED if retained else PAYLOAD, payload, at_us)
        if not retained:
            self._permit(order, at_us)

    def _expected(self, payload: bytes) -> tuple[Message, int, int, bool] | None:
        """The order in a payload if it is for us, and generation, epoch and all off as they were before it."""
        env = envelope.read(payload)
        seen = self.look()
        if env is None or env.address not in (self.address, EVERYBODY) or not seen.has_keys:
            return None
        key = bytes(self.ffi.buffer(seen.all_off if env.form == envelope.ALL_OFF else seen.own))
        if not seal.Sealer(key).holds(env):
            return None
        try:
            message = messages.decode(env.body)
        except messages.Malformed:
            return None
        if env.form == envelope.DOWN:
            if env.counter <= self._permitted and not self.c.unit.radio:
                return None
            self._permitted = max(self._permitted, env.counter)
        return message, seen.generation, seen.epoch, bool(seen.off)

    def _permit(self, order: tuple[Message, int, int, bool] | None, at_us: int) -> None:
        """What an order permits, from the order and from what was latched before it."""
        if order is None or not self.on:
            return
        message, generation, epoch, off = order
        gate = self.gate
        match message:
            case messages.Grant() if gate.held is not None and gate.held.grant_id == message.grant_id:
                if message.epoch >= epoch and message.generation >= generation:
                    gate.permit(message.until, message.limit, self.crystal)
            case messages.Renew() if message.epoch >= epoch and message.generation >= generation:
                gate.renew(message.until, self.crystal, at_us)
            case messages.Quiet() if message.generation >= generation and gate.held is None:
                gate.forbid(at_us)
            case messages.Quiet() if message.generation >= generation and gate.held is not None:
                if message.grant_id in (0, gate.held.grant_id):
                    gate.shorten(message.ticks, self.crystal)
            case messages.AllOff() if message.epoch > epoch or (message.epoch == epoch and off):
                gate.forbid(at_us)
            case messages.Leave() | messages.Sleep() if message.generation >= generation and gate.held is None:
                gate.forbid(at_us)


class PulsedGate(Gate):
    """The truth of what was sent, from the pulses of a core's gate; a signal's pauses count as sending, as in `Gate`.

    `pulses` gathers them for whoever takes them; the list is emptied as they are noted down in `sent`.
    """

    __slots__ = ("edges", "pulses")

    def __init__(self) -> None:
        super().__init__()
        self.pulses: list[tuple[int, int]] = []
        self.edges: list[tuple[int, int]] = []  # every pulse, for benches: the last one may still grow

    def settle(self, now_us: int, clock: Any) -> None:
        """See `Gate`."""
        pulses, self.pulses = self.pulses, []
        for on, off in pulses:
            if self.edges and self.edges[-1][1] == on:
                self.edges[-1] = (self.edges[-1][0], off)
            else:
                self.edges.append((on, off))
        if self.stuck or self.lies:
            super().settle(now_us, clock)
            return
        self._settled = now_us
        for on, off in pulses:
            self.past_grant_us = max(self.past_grant_us, off - self._allowed_until)
            begin = on
            if self.sent and on <= self.sent[-1][1] + PAUSE_MAX_US:
                begin = min(self.sent.pop()[0], on)
            self.sent.append((begin, off))
        self.sent_us = sum(off - on for on, off in itertools.islice(self.sent, None))


_ORDERS = (envelope.DOWN, envelope.ALL_OFF)


def _keys(node: CNode) -> seal.TargetKeys | None:
    seen = node.look()
    if not seen.has_keys:
        return None
    return seal.TargetKeys(bytes(node.ffi.buffer(seen.own)), bytes(node.ffi.buffer(seen.all_off)), seen.version)


def _before(node: CNode) -> seal.TargetKeys | None:
    seen = node.look()
    return seal.TargetKeys(bytes(node.ffi.buffer(seen.before)), b"", 0) if seen.has_before else None


def _strikes(node: CNode) -> tuple[Logged, ...]:
    pairs = node.ffi.new("uint32_t[128]")
    found = []
    for i in range(node.lib.fc_sim_waiting(node.c, pairs, 64)):
        key = pairs[2 * i], pairs[2 * i + 1]
        found.append(node._made_by.get(key) or Logged(*key, 0, (), 0))
    return tuple(found)


_KEPT: dict[str, Any] = {
    "boot": lambda n: n.look().boot,
    "used": lambda n: n.look().used,
    "seen": lambda n: n.look().seen,
    "generation": lambda n: n.look().generation,
    "epoch": lambda n: n.look().epoch,
    "off": lambda n: bool(n.look().off),
    "dropped": lambda n: n.look().dropped,
    "writes": lambda n: n.c.writes,
    "keys": _keys,
    "keys_before": _before,
    "strikes": _strikes,
}
