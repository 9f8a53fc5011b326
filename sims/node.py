"""A simulated target: the target's end of the real session, with a body that drifts, loses power and lies.

    node = Node(world, world.rng("node 1"), Storage(hardware, secret, keys))
    hub.attach(node)                        or air.attach(node)
    node.strike(features)                   somebody touches the pad
    node.press(), node.hold()               somebody presses its button; ABILITIES_OF_A_POST make it one

The protocol is the product's own (`wire.session`, `wire.obey`, `wire.frames`); what is simulated is the body:
`storage` (kept over power cuts), `crystal`, `gate`, `cell`. Truth (`made`, `sent`, `past_grant_us`, true times) lives
here and is only ever read by simulations and tests, never by `fieldctl`. How a target is ill is in `Faults`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random
from typing import Protocol

from fieldctl.units import EVERYBODY, TargetId, target_from_address
from fieldctl.wire import adding, envelope, messages, obey, seal
from fieldctl.wire.frames import Deframer
from fieldctl.wire.messages import Ability, Message, Why
from fieldctl.wire.post import HOLD_US, Presses
from fieldctl.wire.session import Session
from fieldctl.wire.trace import Raw, Traces
from sims import board_pad
from sims import node_orders as orders
from sims import node_words as words
from sims.cell import Cell
from sims.crystal import RATE_MAX_PPM, Crystal
from sims.gate import Gate
from sims.pushing import Pusher
from sims.storage import Logged, PowerCut, Storage, StorageBroken
from sims.world import Handle, Scheduler

TURNAROUND_MORE_US = 300
LOG_MAX = 64
REBOOT_US = 400_000
LISTENS_US = 250_000  # how long a sleeper listens each time that it wakes
ABILITIES = int(
    Ability.PAD
    | Ability.TRANSMITTER
    | Ability.LEVELS
    | Ability.THERMOMETER
    | Ability.SLEEP
    | Ability.BUTTON
    | Ability.TRACES
)
ABILITIES_OF_A_POST = int(Ability.BUTTON | Ability.HORN)  # at the field's edge: it has neither pad nor transmitter
PRESS_US = 150_000  # a short press of a thumb


class Medium(Protocol):
    """What carries a target's words: a hub or the air."""

    pushes: bool
    """Whether a target may speak unasked here."""

    def speak(self, node: Node, payload: bytes, at_us: int) -> None:
        """One payload, from a moment that lies ahead."""

    def silence(self, node: Node) -> None:
        """The target lost its power: nothing more comes from it."""


@dataclass(slots=True)
class Faults:
    """How a target is ill; a gate that is stuck or lies is in `Node.break_gate`."""

    foreign_address: int | None = None  # answers in another's name
    repeats_numbers: bool = False  # gives a strike the number of the one before


class Node:
    """One target. `sent` is closed by `settle()`; `made` is every strike that got into the log."""

    def __init__(
        self,
        scheduler: Scheduler,
        rng: Random,
        storage: Storage,
        *,
        abilities: int = ABILITIES,
        base_ppm: float | None = None,
        cell: Cell | None = None,
        window: int | None = None,
    ) -> None:
        self.scheduler = scheduler
        self.rng = rng
        self.storage = storage
        self.address = storage.address
        self.target: TargetId = target_from_address(self.address)
        self.name = str(self.target)
        self.abilities = abilities
        self.base_ppm = rng.uniform(-RATE_MAX_PPM, RATE_MAX_PPM) if base_ppm is None else base_ppm
        self.cell = cell or Cell()
        self.moisture: int | None = None  # in percent, of a target with a sensor for it
        self.faults = Faults()
        self.gate = Gate()
        self.made: list[Logged] = []
        self.unnoticed = 0  # touches while nobody listened at the pad
        self.overflowed = 0
        self.junk = 0
        self.on = False
        self.dead = False
        self.armed = False
        self.threshold = 0  # in tenths of the noise; 0: its own, which whatever touches it here is above
        self.deframer = Deframer()
        self._window = window
        self.medium: Medium | None = None
        self.session: Session | None = None
        self.before: Session | None = None  # under the keys before the last rotation
        self.crystal = Crystal(rng, self.base_ppm, scheduler.now_us())
        self.why = Why.POWER
        self._number = 0
        self.pressed_us = -adding.PRESS_COUNTS_US - 1
        self.presses = Presses()
        self.traces = Traces()
        self.blown: list[tuple[int, messages.Horn]] = []  # truth: when it was told to blow, and how
        self.hailed: tuple[bytes, bytes] | None = None
        self.asleep_until = 0  # ticks; 0: awake
        self.wake_us = 0
        self._awake_since = 0
        self._sent_counted = 0
        self.pusher = Pusher(self)
        self._back: Handle | None = None

    # ---- power ----------------------------------------------------------------------------------------------

    def attached(self, medium: Medium) -> None:
        """It speaks on this medium from now, and is powered on if it was off."""
        self.medium = medium
        if not self.on:
            self.power_on(Why.POWER)

    def power_on(self, why: Why) -> None:
        """A new life: another boot id, ticks from near zero, nothing granted."""
        if self.on or self.dead:
            return
        now = self.scheduler.now_us()
        self._back = None
        self.gate.settle(now, None)
        self.gate.held = None
        self.armed = False
        self.threshold = 0
        self.why = why
        self._number = 0
        self.presses = Presses()
        self.traces = Traces()
        self.hailed = None
        self.asleep_until = 0
        self.crystal = Crystal(self.rng, self.base_ppm, now)
        self.deframer = Deframer()
        self._awake_since = now
        self.on = True
        self.guarded(self._boot)

    def _boot(self) -> None:
        self.storage.write(boot=self.storage.boot + 1)
        self.make_sessions()
        self.connected()

    def connected(self) -> None:
        """The medium can carry again: on one where it may speak unasked it says who it is, and what waits."""
        if self.on and self.medium is not None and self.medium.pushes and self.session is not None:
            now = self.scheduler.now_us()
            self.say(words.greeting(self, now, 0), 0, now)
            self.pusher.begin()

    def power_off(self) -> None:
        """The power goes."""
        if not self.on:
            return
        now = self.scheduler.now_us()
        self.settle()
        self.gate.forbid(now)
        self.gate.held = None
        self.on = False
        self.pusher.stop()
        if self.medium is not None:
            self.medium.silence(self)

    def reboot(self, why: Why, down_us: int = REBOOT_US) -> None:
        """The power goes, or the watchdog bites, and it comes back after a while."""
        self.power_off()
        if self._back is not None:
            self._back.cancel()
        self._back = self.scheduler.call_at(self.scheduler.now_us() + down_us, self.power_on, why)

    def die(self) -> None:
        """For good."""
        self.power_off()
        self.dead = True

    def guarded(self, step: Callable[..., None], *args: object) -> None:
        """Do something that may write: the power may go there, or the chip refuse."""
        try:
            step(*args)
        except PowerCut:
            self.reboot(Why.POWER)
        except StorageBroken:
            self.junk += 1

    def make_sessions(self) -> None:
        """Begin the conversations that its keys allow."""
        stored = self.storage
        self.session = self.session_for(stored.keys)
        self.before = self.session_for(stored.keys_before)

    def session_for(self, keys: seal.TargetKeys | None) -> Session | None:
        """The target's end of a conversation under these keys; None without."""
        if keys is None:
            return None
        stored = self.storage
        window = self._window or (seal.MQTT_WINDOW if self.medium is not None and self.medium.pushes else seal.STRICT)
        return Session(
            "target",
            self.address,
            keys.own,
            window=window,
            used=seal.StepCounter(stored.used, lambda mark: stored.write(used=max(mark, stored.used))),
            seen=seal.StepCounter(stored.seen, lambda mark: stored.write(seen=max(mark, stored.seen))),
            all_off_key=keys.all_off,
        )

    # ---- truth, for simulations and tests --------------------------------------------------------------------

    @property
    def sent(self) -> list[tuple[int, int]]:
        """Intervals of true time in which it really sent, up to the last `settle()`."""
        return self.gate.sent

    @property
    def past_grant_us(self) -> int:
        """How long after its permission it sent at worst; 0 or less is well."""
        return self.gate.past_grant_us

    @property
    def pending(self) -> tuple[Logged, ...]:
        """Strikes that nobody has acknowledged."""
        return self.storage.strikes

    def settle(self) -> None:
        """Bring `sent`, `past_grant_us` and the cell up to now."""
        now = self.scheduler.now_us()
        self.gate.settle(now, self.crystal if self.on else None)
        if self.on:
            awake_us = 0 if self.asleep_until else now - self._awake_since  # what sleep costs is in no count of its own
            self.cell.use(awake_us, self.gate.sent_us - self._sent_counted)
            self._sent_counted = self.gate.sent_us
            self._awake_since = now

    def ticks(self, at_us: int) -> int:
        """What its counter reads at a moment of true time in this life."""
        return self.crystal.ticks(at_us)

    def true_us(self, ticks: int) -> int:
        """When its counter comes to read `ticks` in this life."""
        return self.crystal.true_us(ticks)

    # ---- what happens to it ----------------------------------------------------------------------------------

    def strike(self, features: Sequence[int], trace: Raw | None = None) -> tuple[int, int] | None:
        """Somebody touches the pad; its (boot, number), or None when it could not be logged.

        Without a trace one is invented from the features when somebody asks for it.
        """
        if not self.on or not self.armed or self.asleep_until or features[0] < self.threshold:
            self.unnoticed += 1
            return None
        now = self.scheduler.now_us()
        stored = self.storage
        if len(stored.strikes) >= LOG_MAX:
            self.overflowed += 1
            self.guarded(self._count_dropped)
            return None
        number = self._number + (0 if self.faults.repeats_numbers and self._number else 1)
        logged = Logged(stored.boot, number, self.ticks(now), tuple(features), now)
        try:
            stored.write(strikes=(*stored.strikes, logged))
        except PowerCut:
            self.reboot(Why.POWER)
        except StorageBroken:
            self.overflowed += 1
        if not stored.strikes or stored.strikes[-1] is not logged:
            return None
        self._number = number
        self.traces.keep(number, lambda: trace or board_pad.raw(logged.features, f"{self.name} {logged.boot} {number}"))
        self.made.append(logged)
        self.scheduler.trace("strike", self.address, now, logged.boot, number)
        self.guarded(self.pusher.new, logged)
        return logged.boot, number

    def _count_dropped(self) -> None:
        self.storage.write(dropped=min(self.storage.dropped + 1, 0xFFFF))

    def press(self, for_us: int = PRESS_US) -> None:
        """Somebody presses its button for so long, or holds a magnet to it."""
        now = self.scheduler.now_us()
        self.pressed_us = now
        if self.on:
            self.presses = self.presses.down(self.ticks(now))
            for after_us in sorted({min(HOLD_US + 1_000, for_us), for_us}):  # its ticks run a little apart from ours
                self.scheduler.call_at(now + after_us, self._pressed, self.storage.boot, after_us == for_us)

    def hold(self) -> None:
        """Somebody presses its button and keeps it pressed for longer than a short press lasts."""
        self.press(HOLD_US + 500_000)

    def _pressed(self, boot: int, let_go: bool) -> None:
        """The press has lasted long enough to count, or is over; where it may speak unasked it says so at once."""
        if not self.on or boot != self.storage.boot:
            return
        now = self.scheduler.now_us()
        before, ticks = self.presses, self.ticks(now)
        self.presses = before.up(ticks) if let_go else before.at(ticks)
        counted = (self.presses.short, self.presses.held) != (before.short, before.held)
        if counted and self.medium is not None and self.medium.pushes and self.session is not None:
            self.say(words.short_status(self, ticks, words.flags_now(self, ticks, now), None), 0, now)

    def jump_clock(self, by_us: int) -> None:
        """A fault: its counter leaps (never below zero)."""
        now = self.scheduler.now_us()
        self.settle()
        by_us = max(by_us, -self.ticks(now))
        self.crystal.jump(by_us)
        self.gate.clock_jumped(self.crystal)

    def break_gate(self, *, stuck: bool = False, lies: bool = False) -> None:
        """A fault, from now: it sends whatever was ordered and reads on (`stuck`), or off (`lies`)."""
        self.settle()
        self.gate.stuck, self.gate.lies = stuck, lies

    # ---- hearing --------------------------------------------------------------------------------------------

    def hear_bytes(self, data: bytes, at_us: int) -> None:
        """Bytes of a stream in which something may be garbled."""
        if self.on:
            for payload in self.deframer.feed(data):
                self.hear(payload, at_us)

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        """One payload; `retained` as the medium's flag says."""
        if not self.on:
            return
        env = envelope.read(payload)
        if env is None:
            self.junk += 1
            return
        if env.address != self.address and env.address != EVERYBODY:
            return
        if self.asleep_until and not self._listens(at_us):
            return
        row = _ROWS.get(env.form)
        if row is None:
            self.junk += 1
            return
        try:
            row(self, env, at_us, retained)
        except PowerCut:
            self.reboot(Why.POWER)
        except StorageBroken:
            self.junk += 1  # its counter could not be written ahead of use: it has to stay silent

    def _listens(self, at_us: int) -> bool:
        """Whether a sleeper happens to listen; being spoken to, or the end of the time, wakes it."""
        ticks = self.ticks(at_us)
        if ticks < self.asleep_until and (self.asleep_until - ticks) % self.wake_us > LISTENS_US:
            return False
        self.settle()
        self.asleep_until = 0
        return True

    def _hear_token(self, env: envelope.Envelope, at_us: int, _retained: bool) -> None:
        session = self.session
        if session is None or env.address != self.address:
            return
        if session.take(env, at_us) is not None:
            self.say(words.status(self, env.counter, at_us), 0, at_us)

    def _hear_order(self, env: envelope.Envelope, at_us: int, retained: bool) -> None:
        session = self.session
        if session is None:
            return
        taken = session.take(env, at_us)
        if taken is None and self.before is not None:
            session = self.before  # the answer to a rotation was lost: its order comes again under the old key
            taken = session.take(env, at_us)
            if taken is not None and taken.reply is None:
                return
        elif taken is not None and self.before is not None:
            self.before = None
            self.storage.write(keys_before=None)
        if taken is None:
            return
        if taken.reply is not None:
            self.send(taken.reply, at_us)
        elif taken.message is not None:
            orders.order(self, taken.message, taken.counter, at_us, retained)

    def _hear_asked(self, env: envelope.Envelope, at_us: int, _retained: bool) -> None:
        session = self.session
        if session is None or env.address != self.address:
            return
        taken = session.take(env, at_us)
        if taken is None or not isinstance(taken.message, messages.Ask):
            return
        self.say(words.counters(self, at_us, taken.message.nonce, session.down_high), 0, at_us)

    def _hear_all_off(self, env: envelope.Envelope, at_us: int, retained: bool) -> None:
        taken = self.session.take(env, at_us) if self.session is not None else None
        if taken is None or not isinstance(taken.message, messages.AllOff):
            return
        standing = words.standing(self, self.ticks(at_us), retained)
        if obey.broadcast_counts(standing, taken.message):
            orders.carry_out(self, standing, taken.message, at_us)

    # ---- speaking -------------------------------------------------------------------------------------------

    def say(self, message: Message, counter: int, at_us: int, session: Session | None = None) -> None:
        """Seal and send a message; `counter` is the order's that it answers, `session` another than the present one."""
        speaker = session or self.session
        assert speaker is not None, "who has no keys says nothing sealed"
        self.send(speaker.answer(message, counter), at_us)

    def send(self, payload: bytes, at_us: int) -> None:
        """Hand a payload to the medium, after a turnaround from `at_us`."""
        if self.faults.foreign_address is not None:
            payload = payload[:1] + self.faults.foreign_address.to_bytes(4, "big") + payload[5:]
        if self.medium is not None:
            turnaround = words.TURNAROUND_US + 1 + int(self.rng.random() * TURNAROUND_MORE_US)
            self.medium.speak(self, payload, at_us + turnaround)


_ROWS: dict[int, Callable[[Node, envelope.Envelope, int, bool], None]] = {
    envelope.TOKEN: Node._hear_token,
    envelope.DOWN: Node._hear_order,
    envelope.ASKED: Node._hear_asked,
    envelope.ALL_OFF: Node._hear_all_off,
    envelope.HAIL: orders.hear_hail,
    envelope.ADD: orders.hear_add,
}
