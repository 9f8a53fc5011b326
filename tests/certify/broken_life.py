"""Targets that break what is required of the clock, reboots, the pad and the keys."""

from __future__ import annotations

from dataclasses import replace

from broken_base import Broken, breaks

from fieldctl.units import US_PER_S
from fieldctl.wire import envelope, messages
from fieldctl.wire.messages import Message, Why
from fieldctl.wire.obey import Held
from fieldctl.wire.session import Session
from fieldctl.wire.trace import Raw
from sims import node_orders as orders
from sims.node import REBOOT_US
from sims.pushing import Pusher
from sims.storage import Logged

TOLD_MOST = 5
BEHIND_US = 20_000


@breaks("clock-monotonic")
class ClockMonotonic(Broken):
    answers = 0

    def said(self, message: Message) -> Message:
        self.answers += 1
        ticks = getattr(message, "ticks", 0)
        if self.answers % 10 or ticks <= BEHIND_US:
            return message
        return replace(message, ticks=ticks - BEHIND_US)  # type: ignore[call-arg]


@breaks("clock-drift")
class ClockDrift(Broken):
    def _boot(self) -> None:
        self.crystal._base = 400e-6
        super()._boot()


@breaks("survives-junk")
class SurvivesJunk(Broken):
    def not_understood(self, env: envelope.Envelope) -> Message | None:
        if env.body[0] >> 5 != 5:
            self.reboot(Why.FAULT)
        return None


@breaks("sleep")
class Sleep(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        if not self.asleep_until or self.ticks(at_us) >= self.asleep_until:
            super().hear(payload, at_us, retained=retained)


@breaks("reboot-named")
class RebootNamed(Broken):
    def power_on(self, why: Why) -> None:
        super().power_on(Why.POWER)


@breaks("reboot-quiet")
class RebootQuiet(Broken):
    kept: Held | None = None

    def reboot(self, why: Why, down_us: int = REBOOT_US) -> None:
        self.kept = self.gate.held if why is Why.WATCHDOG else None
        super().reboot(why, down_us)

    def power_on(self, why: Why) -> None:
        super().power_on(why)
        if self.kept is not None:
            self.gate.held, self.kept = replace(self.kept, from_=0), None


@breaks("reboot-order-in-flight")
class RebootOrderInFlight(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant) and message.boot == self.storage.boot - 1:
            return replace(message, boot=self.storage.boot)
        return message


@breaks("generation-kept")
class GenerationKept(Broken):
    def power_off(self) -> None:
        super().power_off()
        self.storage.generation = 0


@breaks("alloff-kept")
class AllOffKept(Broken):
    def power_off(self) -> None:
        super().power_off()
        self.storage.off = False


# ---- the pad ----------------------------------------------------------------------------------------------------


@breaks("arming")
class Arming(Broken):
    def strike(self, features: object, trace: Raw | None = None) -> tuple[int, int] | None:
        armed, self.armed = self.armed, True
        try:
            return super().strike(features, trace)  # type: ignore[arg-type]
        finally:
            self.armed = armed


@breaks("strike-numbered")
class StrikeNumbered(Broken):
    def _boot(self) -> None:
        self._number = -1
        super()._boot()


def _key(strike: messages.Strike) -> tuple[int, int]:
    return strike.strike_boot, strike.number


@breaks("strike-stamped")
class StrikeStamped(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Strike):
            return replace(message, strike_ticks=message.strike_ticks + 500_000)
        return message


@breaks("strike-resent")
class StrikeResent(Broken):
    told: tuple[tuple[int, int], int] = ((0, 0), 0)

    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Strike):
            key = _key(message)
            self.told = (key, self.told[1] + 1 if self.told[0] == key else 1)
            if self.told[1] >= TOLD_MOST:
                self.storage.write(strikes=tuple(s for s in self.storage.strikes if (s.boot, s.number) != key))
        return message


@breaks("strike-acknowledged-singly")
class StrikeAcknowledgedSingly(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Ack):
            last = (message.boot, message.number)
            self.storage.write(strikes=tuple(s for s in self.storage.strikes if (s.boot, s.number) > last))
        return message


class _Once(Pusher):
    def _arm(self) -> None:
        """Never again."""


@breaks("strike-pushed")
class StrikePushed(Broken):
    def _boot(self) -> None:
        self.pusher = _Once(self)
        super()._boot()


@breaks("strike-kept")
class StrikeKept(Broken):
    def power_off(self) -> None:
        super().power_off()
        self.storage.strikes = ()


@breaks("strike-cut")
class StrikeCut(Broken):
    gone: Logged | None = None

    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Ack):
            named = (s for s in self.storage.strikes if (s.boot, s.number) == (message.boot, message.number))
            self.gone = next(named, self.gone)
        return message

    def reboot(self, why: Why, down_us: int = REBOOT_US) -> None:
        if why is Why.POWER and down_us == REBOOT_US and self.gone is not None:
            kept = [s for s in self.storage.strikes if s is not self.gone]
            self.storage.strikes, self.gone = (self.gone, *kept), None
        super().reboot(why, down_us)


@breaks("strike-full")
class StrikeFull(Broken):
    def _count_dropped(self) -> None:
        """Not counted."""


@breaks("strike-features")
class StrikeFeatures(Broken):
    def strike(self, features: object, trace: Raw | None = None) -> tuple[int, int] | None:
        peak, *others = features  # type: ignore[misc]
        return super().strike((peak // 2, *others), trace)


@breaks("strike-traced")
class StrikeTraced(Broken):
    def said(self, message: Message) -> Message:
        if not isinstance(message, messages.Trace):
            return message
        raw = self.traces.raw(message.number)
        assert raw is not None
        return replace(message, samples=raw.part(message.parts - 1 - message.part))


# ---- keys -------------------------------------------------------------------------------------------------------


@breaks("keys-rotated")
class KeysRotated(Broken):
    old: Session | None = None

    def done(self, order: Message) -> None:
        if isinstance(order, messages.Rekey):
            self.old = self.before

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        super().hear(payload, at_us, retained=retained)
        env = envelope.read(payload)
        old = self.old
        if env is not None and env.form == envelope.DOWN and old is not None and old._sealer.holds(env):
            taken = old.take(env, at_us)
            if taken is not None and taken.message is not None:
                orders.order(self, taken.message, taken.counter, at_us, retained)


@breaks("keys-rotated-again")
class KeysRotatedAgain(Broken):
    def say(self, message: Message, counter: int, at_us: int, session: Session | None = None) -> None:
        super().say(message, counter, at_us, session)
        if isinstance(self.last_answered, messages.Rekey):
            self.before = None


@breaks("hail-answered")
class HailAnswered(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        pressed = at_us - self.pressed_us <= 120 * US_PER_S
        if payload[:1] != bytes([envelope.HAIL]) or pressed or self.storage.keys is None:
            super().hear(payload, at_us, retained=retained)


@breaks("keys-need-press")
class KeysNeedPress(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        pressed_us = self.pressed_us
        if payload[:1] == bytes([envelope.ADD]):
            self.pressed_us = at_us
        super().hear(payload, at_us, retained=retained)
        self.pressed_us = pressed_us


@breaks("leave")
class Leave(Broken):
    def make_sessions(self) -> None:
        session = self.session
        super().make_sessions()
        if self.storage.keys is None and self.on:
            self.session = session
