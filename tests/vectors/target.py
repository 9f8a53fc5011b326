"""The smallest whole target: the product's session and rules with fixed answers for a body, one payload in, one out.

What it says is what every target has to say to the same script; `make.py` writes the scripts and its replies into
`session.json`, and the firmware's core is held to them byte for byte.

    ticks of an answer    when the question had been received (the step's ticks)
    GATE_ON               the grant in force lets it send at these ticks, or the gate is stuck
    a grant held          until min(until, limit) is reached; forgotten then
    strikes               oldest first with every token until acknowledged; numbered from 1 in each boot
    raw traces            of the last four strikes that came out of samples, in this boot; `pad.py` measures these
    a power cut           boot + 1; grant, arming, number, traces and counts are gone; what is persisted stays, the
                          strikes too; counters go on from their marks
    keys after Rekey      the answer goes out under the old ones; these answer a repeated order until the first order
                          under the new ones; counters go on
    after Leave           no keys: silent until added again
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pad import Pad

from fieldctl.units import EVERYBODY
from fieldctl.wire import adding, envelope, messages, obey, seal
from fieldctl.wire.bus import SLOT_US, slot_of
from fieldctl.wire.messages import Flags, Message, Reason, Result, What, Why
from fieldctl.wire.session import Session
from fieldctl.wire.trace import Raw, Traces

LATE_MAX = 0xFFFF_FFFF


@dataclass(slots=True)
class Body:
    """What a script may set."""

    hardware: bytes = bytes.fromhex("000102030a1b2c3d")
    secret: bytes = b"factory secret 1"
    firmware: str = "vectors 1"
    abilities: int = int(messages.Ability.PAD | messages.Ability.TRANSMITTER | messages.Ability.LEVELS)
    turnaround: int = 200
    window: int = seal.STRICT
    gate_stuck: bool = False
    battery_ok: bool = True
    log_max: int = 4
    rest_mv: int = 3600
    load_mv: int = 3450
    kelvin10: int = 2581
    noise: int = 3
    charge: int = 70000


@dataclass(slots=True)
class Kept:
    """What lasts over a power cut."""

    keys: seal.TargetKeys | None
    boot: int = 1
    used: int = 0
    seen: int = 0
    generation: int = 0
    epoch: int = 0
    off: bool = False
    dropped: int = 0
    strikes: list[tuple[int, int, int, tuple[int, ...]]] = field(default_factory=list)  # boot, number, ticks, features


class Target:
    """One target; `covered` names the row and the rule that the last step went through, `delay_us` its slot."""

    def __init__(self, body: Body, kept: Kept) -> None:
        self.body, self.kept = body, kept
        self.address = adding.address_of(body.hardware)
        self.covered: tuple[str, ...] = ()
        self.delay_us = 0
        self.nonce = b""  # the target's own randomness, given by the script
        self._power_on(Why.POWER)

    def power_cut(self, why: Why = Why.POWER) -> None:
        """The power goes and comes back."""
        self.kept.boot += 1
        self._power_on(why)

    def _power_on(self, why: Why) -> None:
        self.why = why
        self.held: obey.Held | None = None
        self.armed = False
        self.number = 0
        self.pad = Pad(self.body.noise, self.strike)
        self.traces = Traces()
        self.pressed_at: int | None = None
        self.hailed: tuple[bytes, bytes] | None = None
        self.lost: Counter[str] = Counter()
        self.before: Session | None = None
        self.session = self._session(self.kept.keys)

    def _session(self, keys: seal.TargetKeys | None) -> Session | None:
        if keys is None:
            return None
        kept = self.kept
        used = seal.StepCounter(kept.used, lambda mark: setattr(kept, "used", mark))
        seen = seal.StepCounter(kept.seen, lambda mark: setattr(kept, "seen", mark))
        one = Session(
            "target",
            self.address,
            keys.own,
            window=self.body.window,
            used=used,
            seen=seen,
            all_off_key=keys.all_off,
        )
        one.lost = self.lost  # one count for all, whatever the keys
        return one

    # ---- what happens to it -----------------------------------------------------------------------------------

    def samples(self, samples: Sequence[int], ticks: int) -> None:
        """Samples of the pad, the first of them at a tick."""
        self.pad.take(samples, ticks)

    def strike(self, features: tuple[int, ...], ticks: int, raw: Raw | None = None) -> None:
        """Somebody touches the pad; a bench without samples knows no raw trace."""
        if not self.armed:
            return
        if len(self.kept.strikes) >= self.body.log_max:
            self.kept.dropped = min(self.kept.dropped + 1, 0xFFFF)
            return
        self.number += 1
        self.kept.strikes.append((self.kept.boot, self.number, ticks, features))
        if raw is not None:
            self.traces.keep(self.number, lambda: raw)

    def press(self, ticks: int) -> None:
        """Somebody presses its button."""
        self.pressed_at = ticks

    # ---- one payload ------------------------------------------------------------------------------------------

    def hear(self, payload: bytes, ticks: int, *, retained: bool = False) -> bytes | None:
        """What it answers to one payload, if anything."""
        self.covered, self.delay_us = (), 0
        if self.held is not None and ticks >= min(self.held.until, self.held.limit):
            self.held = None
        env = envelope.read(payload)
        if env is None:
            return self._count("no-form")
        if env.address not in (self.address, EVERYBODY):
            return None
        everybody = env.address == EVERYBODY
        if env.form == envelope.HAIL:
            return self._hail(env, ticks)
        if env.form == envelope.ADD and not everybody:
            return self._add(env, ticks)
        if self.session is None:
            return self._count("no-keys")
        if env.form == envelope.ALL_OFF:
            return self._all_off(env, ticks)
        if everybody:
            return self._count("not-for-everybody")
        if env.form == envelope.DOWN:
            return self._down(env, ticks, retained)
        before = self.lost.copy()
        taken = self.session.take(env, ticks)
        if taken is None:
            self.covered = ("T7",) if self.lost["bad-tag"] > before["bad-tag"] else ()
            return None
        if env.form == envelope.TOKEN:
            self.covered = ("T1",)
            return self.session.answer(self._status(env.counter, ticks))
        assert isinstance(taken.message, messages.Ask)
        self.covered = ("T5",)
        return self.session.answer(self._counters(taken.message, ticks))

    def _count(self, kind: str) -> None:
        self.lost[kind] += 1

    def _down(self, env: envelope.Envelope, ticks: int, retained: bool) -> bytes | None:
        assert self.session is not None
        before = self.lost.copy()
        session, taken = self.session, self.session.take(env, ticks)
        if taken is None and self.before is not None:
            taken = self.before.take(env, ticks)
            if taken is None or taken.reply is None:
                return None
        elif taken is not None:
            self.before = None
        if taken is None:
            rows = {"replayed": "T4", "bad-tag": "T7"}
            self.covered = tuple(row for kind, row in rows.items() if self.lost[kind] > before[kind])
            return None
        if taken.reply is not None:
            self.covered = ("T3",)
            return taken.reply
        assert taken.message is not None
        self.covered = ("T2",)
        return session.answer(self._order(taken.message, taken.counter, ticks, retained), taken.counter)

    def _all_off(self, env: envelope.Envelope, ticks: int) -> None:
        assert self.session is not None
        before = self.lost.copy()
        taken = self.session.take(env, ticks)
        if taken is None:
            self.covered = ("T7",) if self.lost["bad-tag"] > before["bad-tag"] else ()
        elif isinstance(taken.message, messages.AllOff):
            counts = obey.broadcast_counts(self._standing(ticks, False), taken.message)
            self.covered = ("T6", "all off heard" if counts else "all off of a recording")
            if counts:
                self._obey(taken.message, ticks, False)

    # ---- orders -----------------------------------------------------------------------------------------------

    def _order(self, order: Message, counter: int, ticks: int, retained: bool) -> Message:
        if isinstance(order, messages.Ask):
            self.covered += (f"Ask: {order.what}",)
            if order.what == What.GREETING:
                return self._greeting(counter, ticks)
            if order.what == What.REPORT:
                return self._report(counter, ticks)
            answer = obey.Answer(Result.REFUSED, Reason.NO_ABILITY)
        elif isinstance(order, messages.TraceAsk):
            told, answer = self._trace(order, counter, ticks)
            if told is not None:
                return told
        elif isinstance(order, messages.Rekey):
            self.covered += ("Rekey: done",)
            assert self.kept.keys is not None
            self.kept.keys = adding.accept_rekey(self.kept.keys.own, order)
            answer = obey.Answer(Result.DONE)
            reply = self._outcome(answer, counter, ticks)
            self.before, self.session = self.session, self._session(self.kept.keys)
            return reply
        else:
            answer = self._obey(order, ticks, retained)
        reply = self._outcome(answer, counter, ticks)
        if isinstance(order, messages.Leave) and answer.result is Result.DONE:
            self.kept.keys = self.session = self.before = None
        return reply

    def _obey(self, order: Message, ticks: int, retained: bool) -> obey.Answer:
        standing = self._standing(ticks, retained)
        rules = obey.RULES[type(order)]
        rule = next((rule.name for rule in rules if rule.holds(standing, order)), "done")
        self.covered += (f"{type(order).__name__}: {rule}",)
        answer, after = obey.obey(standing, order)
        kept = self.kept
        if isinstance(order, messages.Arm) and answer.result is Result.DONE:
            self.pad.arm(order.armed, order.threshold)
        elif self.pad.armed and not after.armed:
            self.pad.arm(False, 0)
        self.held, self.armed = after.held, after.armed
        kept.generation, kept.epoch, kept.off = after.generation, after.epoch, after.off
        if isinstance(order, messages.Ack):
            kept.strikes = [s for s in kept.strikes if (s[0], s[1]) != (order.boot, order.number)]
        return answer

    def _standing(self, ticks: int, retained: bool) -> obey.Standing:
        kept, body = self.kept, self.body
        return obey.Standing(
            boot=kept.boot,
            ticks=ticks,
            generation=kept.generation,
            epoch=kept.epoch,
            off=kept.off,
            held=self.held,
            armed=self.armed,
            abilities=body.abilities,
            battery_ok=body.battery_ok,
            gate_ok=not body.gate_stuck or obey.sends_at(self.held, ticks),
            retained=retained,
        )

    # ---- being added ------------------------------------------------------------------------------------------

    def _pressed(self, ticks: int) -> bool:
        return self.pressed_at is not None and ticks - self.pressed_at <= adding.PRESS_COUNTS_US

    def _unsealed(self, env: envelope.Envelope, kind: type[Message]) -> Message | None:
        try:
            message = messages.decode(env.body)
        except messages.Malformed as error:
            return self._count(error.kind)
        return message if isinstance(message, kind) else self._count("wrong-kind")

    def _hail(self, env: envelope.Envelope, ticks: int) -> bytes | None:
        hail = self._unsealed(env, messages.Hail)
        if not isinstance(hail, messages.Hail):
            return None
        everybody = env.address == EVERYBODY
        if everybody and self.session is not None and not self._pressed(ticks):
            return None
        self.covered = ("hail",)
        self.hailed = (hail.nonce, self.nonce)
        body = self.body
        if everybody:
            self.delay_us = SLOT_US * slot_of(body.hardware, hail.nonce, hail.salt, hail.slots)
        answer = messages.HailAnswer(self.nonce, body.hardware, messages.CONTRACT, body.abilities, self._pressed(ticks))
        return envelope.bare(envelope.HAIL_ANSWER, self.address, messages.encode(answer))

    def _add(self, env: envelope.Envelope, ticks: int) -> None:
        add = self._unsealed(env, messages.Add)
        if not isinstance(add, messages.Add):
            return
        if self.hailed is None or not self._pressed(ticks):
            self._count("not-pressed")
            return
        keys = adding.accept_add(self.body.secret, self.body.hardware, *self.hailed, add)
        if keys is None:
            self._count("wrong-proof")
            return
        self.covered = ("added",)
        if keys == self.kept.keys:
            return
        self.held = None
        self.kept = replace(self.kept, keys=keys, generation=0, epoch=0, off=True, strikes=[])
        self.before, self.session = None, self._session(keys)

    # ---- what it says -----------------------------------------------------------------------------------------

    def _flags(self, ticks: int) -> int:
        on = {
            Flags.GATE_ON: self.body.gate_stuck or obey.sends_at(self.held, ticks),
            Flags.GRANTED: self.held is not None,
            Flags.ARMED: self.armed,
            Flags.STRIKES: bool(self.kept.strikes),
            Flags.ALL_OFF: self.kept.off,
            Flags.BATTERY_LOW: not self.body.battery_ok,
            Flags.PRESSED: self._pressed(ticks),
        }
        return sum(int(flag) for flag, is_on in on.items() if is_on)

    def _grant_id(self) -> int:
        return self.held.grant_id if self.held is not None else 0

    def _status(self, number: int, ticks: int) -> Message:
        kept, flags = self.kept, self._flags(ticks)
        if kept.strikes:
            boot, count, at, features = kept.strikes[0]
            return messages.Strike(
                kept.boot, ticks, flags, count, features, len(kept.strikes), kept.dropped, boot, at, number
            )
        if self.held is None:
            return messages.Status(kept.boot, ticks, flags, number)
        since = self.held.from_ if ticks >= self.held.from_ else 0
        return messages.Status(kept.boot, ticks, flags, number, self.held.grant_id, since)

    def _outcome(self, answer: obey.Answer, counter: int, ticks: int) -> Message:
        kept = self.kept
        return messages.Outcome(
            kept.boot,
            ticks,
            self._flags(ticks),
            kept.generation,
            kept.epoch,
            self._grant_id(),
            int(answer.result),
            int(answer.reason),
            min(answer.late, LATE_MAX),
            counter,
        )

    def _trace(self, ask: messages.TraceAsk, counter: int, ticks: int) -> tuple[Message | None, obey.Answer]:
        told = None
        reason = Reason.NO_ABILITY
        if self.body.abilities & messages.Ability.TRACES:
            told = self.traces.told(ask, self.kept.boot, ticks, self._flags(ticks), counter)
            reason = Reason.NO_SUCH_TRACE
        self.covered += (f"TraceAsk: {'told' if told else reason.name.lower().replace('_', ' ')}",)
        return told, obey.Answer(Result.REFUSED, reason)

    def _greeting(self, counter: int, ticks: int) -> Message:
        kept, body = self.kept, self.body
        return messages.Greeting(
            kept.boot,
            ticks,
            self._flags(ticks),
            body.hardware,
            body.firmware,
            messages.CONTRACT,
            body.abilities,
            int(self.why),
            body.turnaround,
            kept.keys.version if kept.keys else 0,
            counter,
        )

    def _report(self, counter: int, ticks: int) -> Message:
        kept, body = self.kept, self.body
        return messages.Report(
            kept.boot,
            ticks,
            self._flags(ticks),
            kept.generation,
            kept.epoch,
            self._grant_id(),
            kept.dropped,
            body.rest_mv,
            body.load_mv,
            body.kelvin10,
            self.pad.noise,
            body.charge,
            self.lost.total(),
            counter,
        )

    def _counters(self, ask: messages.Ask, ticks: int) -> Message:
        kept = self.kept
        assert self.session is not None
        return messages.Counters(
            kept.boot,
            ticks,
            self._flags(ticks),
            kept.generation,
            kept.epoch,
            ask.nonce,
            kept.keys.version if kept.keys else 0,
            self.session.down_high,
        )
