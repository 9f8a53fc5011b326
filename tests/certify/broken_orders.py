"""Targets that break what is required of orders, grants, all off and the gate."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from broken_base import Broken, breaks

from fieldctl.units import US_PER_S
from fieldctl.wire import envelope, messages, obey, seal
from fieldctl.wire.messages import Message, Outcome
from sims import node_orders as orders
from sims import node_words as words
from sims.cell import Cell

FAR = 1 << 60
SLACK_US = US_PER_S


# ---- which order ------------------------------------------------------------------------------------------------


@breaks("generation")
class Generation(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant | messages.Renew | messages.Quiet | messages.Arm):
            return replace(message, generation=max(message.generation, self.storage.generation))
        return message


@breaks("epoch-older")
class EpochOlder(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant | messages.Renew):
            return replace(message, epoch=max(message.epoch, self.storage.epoch))
        return message


@breaks("other-boot")
class OtherBoot(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant) and message.boot > self.storage.boot:
            return replace(message, boot=self.storage.boot)
        return message


@breaks("late")
class Late(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, late=0) if isinstance(message, Outcome) else message


class _OnlySaysDone(Broken):
    """Answers some grants with done and holds none."""

    def wrongly(self, grant: messages.Grant) -> bool:
        """Which grants."""
        raise NotImplementedError

    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant) and self.wrongly(message):
            return messages.Quiet(0, message.generation, 0)
        return message


@breaks("expiry")
class Expiry(_OnlySaysDone):
    def wrongly(self, grant: messages.Grant) -> bool:
        return grant.from_ < grant.until <= self.now_ticks


@breaks("empty")
class Empty(_OnlySaysDone):
    def wrongly(self, grant: messages.Grant) -> bool:
        return grant.until <= grant.from_


@breaks("lease-too-long")
class LeaseTooLong(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant | messages.Renew):
            return replace(message, until=min(message.until, self.now_ticks + obey.LEASE_MAX_US))
        return message


@breaks("limit")
class Limit(Broken):
    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant):
            most = message.from_ + obey.LIMIT_MAX_US
            return replace(message, limit=min(max(message.limit, message.until), most))
        return message


@breaks("limit-renew")
class LimitRenew(Broken):
    def heard(self, message: Message) -> Message | None:
        held = self.gate.held
        if isinstance(message, messages.Renew) and held and held.limit < message.until <= held.limit + US_PER_S:
            return replace(message, until=held.limit)
        return message


@breaks("keying-refused")
class KeyingRefused(Broken):
    def heard(self, message: Message) -> Message | None:
        return replace(message, on=70) if isinstance(message, messages.Grant) and message.on == 69 else message


@breaks("keying-legal")
class KeyingLegal(Broken):
    def heard(self, message: Message) -> Message | None:
        return replace(message, on=0) if isinstance(message, messages.Grant) and message.period == 1300 else message


# ---- what a grant lets it do ------------------------------------------------------------------------------------


@breaks("grant-begins")
class GrantBegins(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, grant_id=None, since=None) if isinstance(message, messages.Status) else message


@breaks("grant-runs-out")
class GrantRunsOut(Broken):
    def heard(self, message: Message) -> Message | None:
        now = self.now_ticks
        if isinstance(message, messages.Grant) and message.until > max(now, message.from_):
            return replace(message, until=message.until + SLACK_US, limit=message.limit + SLACK_US)
        if isinstance(message, messages.Renew) and message.until > now:
            return replace(message, until=message.until + SLACK_US)
        return message


@breaks("grant-renewed")
class GrantRenewed(Broken):
    def done(self, order: Message) -> None:
        if isinstance(order, messages.Renew) and self.gate.held is not None:
            self.settle()
            self.gate.held = replace(self.gate.held, until=order.until)


@breaks("grant-dropping-out")
class GrantDroppingOut(Broken):
    def heard(self, message: Message) -> Message | None:
        return replace(message, drop_on=0, drop_off=0) if isinstance(message, messages.Grant) else message


@breaks("renew-starts-nothing")
class RenewStartsNothing(Broken):
    ran_out: messages.Grant | None = None

    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant):
            self.ran_out = message
        old, now = self.ran_out, self.now_ticks
        if not isinstance(message, messages.Renew) or old is None or old.grant_id != message.grant_id:
            return message
        if not old.until <= now < old.until + 5 * US_PER_S or words.held_now(self, now) is not None:
            return message
        return replace(old, from_=now + 1000, until=message.until)


@breaks("quiet")
class Quiet(Broken):
    def heard(self, message: Message) -> Message | None:
        return replace(message, ticks=FAR) if isinstance(message, messages.Quiet) and not message.ticks else message


@breaks("quiet-tick")
class QuietTick(Broken):
    def heard(self, message: Message) -> Message | None:
        later = isinstance(message, messages.Quiet) and message.ticks > self.now_ticks
        return messages.Ack(0, 0) if later else message


@breaks("quiet-other")
class QuietOther(Broken):
    def heard(self, message: Message) -> Message | None:
        return replace(message, grant_id=0) if isinstance(message, messages.Quiet) else message


# ---- all off ----------------------------------------------------------------------------------------------------


@breaks("alloff-answered")
class AllOffAnswered(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, Outcome) and isinstance(self.last_answered, messages.AllOff):
            return replace(message, epoch=max(0, message.epoch - 1))
        return message


class _Shouted(Broken):
    """Does something else with all off for everybody."""

    def shouted(self, message: messages.AllOff, env: envelope.Envelope, at_us: int) -> bool:
        """Whether it goes the usual way."""
        raise NotImplementedError

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        env, keys = envelope.read(payload), self.storage.keys
        if (
            env is not None
            and env.form == envelope.ALL_OFF
            and keys is not None
            and seal.Sealer(keys.all_off).holds(env)
        ):
            message = messages.decode(env.body)
            if isinstance(message, messages.AllOff) and not self.shouted(message, env, at_us):
                return
        super().hear(payload, at_us, retained=retained)

    def obeys(self, message: messages.AllOff, at_us: int) -> None:
        """Carry it out as it stands."""
        orders.carry_out(self, words.standing(self, self.ticks(at_us), retained=False), message, at_us)


@breaks("alloff-everybody")
class AllOffEverybody(_Shouted):
    def shouted(self, message: messages.AllOff, env: envelope.Envelope, at_us: int) -> bool:
        return not self.gate.reads_on(self.ticks(at_us))


@breaks("alloff-forged")
class AllOffForged(_Shouted):
    def shouted(self, message: messages.AllOff, env: envelope.Envelope, at_us: int) -> bool:
        if message.epoch == env.counter or message.epoch <= self.storage.epoch:
            return True
        self.obeys(message, at_us)
        return False


@breaks("alloff-recorded")
class AllOffRecorded(_Shouted):
    def shouted(self, message: messages.AllOff, env: envelope.Envelope, at_us: int) -> bool:
        if message.epoch != env.counter or message.epoch > self.storage.epoch:
            return True
        self.obeys(message, at_us)
        return False


@breaks("alloff-released")
class AllOffReleased(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Greeting):
            self.storage.write(off=False)
        return message


@breaks("retained")
class Retained(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        super().hear(payload, at_us, retained=False)


# ---- the gate ---------------------------------------------------------------------------------------------------


@breaks("gate-read-back")
class GateReadBack(Broken):
    def break_gate(self, *, stuck: bool = False, lies: bool = False) -> None:
        super().break_gate(stuck=False, lies=stuck or lies)


@breaks("gate-inside-grant")
class GateInsideGrant(Broken):
    def done(self, order: Message) -> None:
        if isinstance(order, messages.AllOff):
            self.scheduler.call_at(self.scheduler.now_us() + 500_000, self._stray)

    def _stray(self) -> None:
        gate: Any = self.gate
        now = self.scheduler.now_us()
        gate.edges.append((now, now + 100_000))


@breaks("keying-measured")
class KeyingMeasured(Broken):
    def attached(self, medium: Any) -> None:
        super().attached(medium)
        gate: Any = self.gate
        gate.longer_us = 5_000


@breaks("battery")
class Battery(Broken):
    weak: Cell | None = None

    def heard(self, message: Message) -> Message | None:
        if isinstance(message, messages.Grant):
            self.weak, self.cell = self.cell, Cell()
        return message

    def said(self, message: Message) -> Message:
        if self.weak is not None:
            self.cell, self.weak = self.weak, None
        return message
