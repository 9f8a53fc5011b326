"""Targets that break what is required of the line, the seal, the counters and the contract."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import cbor2
from broken_base import Broken, Hooked, breaks
from cobs import cobs

from fieldctl.wire import envelope, frames, messages, obey, seal
from fieldctl.wire.messages import Ability, Message, Reason, Result, What
from fieldctl.wire.session import Session, Taken
from sims import node_orders as orders
from sims import node_words as words
from sims.hub import Hub

SPEAKS_EVERY_US = 1_000_000


# ---- frames -----------------------------------------------------------------------------------------------------


class _Spoilt(Broken):
    """After some pieces the next frame is lost."""

    deaf = False
    rest = b""
    empty = 0  # empty pieces in a row

    def spoils(self, piece: bytes) -> bool:
        """Whether the next frame is lost after this piece, which is no frame."""
        raise NotImplementedError

    def hear_bytes(self, data: bytes, at_us: int) -> None:
        """See `Node`."""
        self.deframer.feed(data)  # counts
        *pieces, self.rest = (self.rest + data).split(b"\0")
        for piece in pieces:
            found = frames.Deframer().feed(b"\0" + piece + b"\0")
            if found:
                self.empty = 0
            else:
                self.deaf = self.deaf or self.spoils(piece)
            for payload in found:
                self.hear(payload, at_us)

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        """See `Node`."""
        if self.deaf:
            self.deaf = False
        else:
            super().hear(payload, at_us, retained=retained)


@breaks("framing-junk")
class FramingJunk(_Spoilt):
    def spoils(self, piece: bytes) -> bool:
        return 20 <= len(piece) <= frames.FRAME_MAX


@breaks("framing-half")
class FramingHalf(_Spoilt):
    def spoils(self, piece: bytes) -> bool:
        return 0 < len(piece) < 12


@breaks("framing-zeros")
class FramingZeros(_Spoilt):
    def attached(self, medium: Any) -> None:
        super().attached(medium)
        medium._down = medium._down_raw  # the hub would give it the frame without the zeros

    def spoils(self, piece: bytes) -> bool:
        self.empty = 0 if piece else self.empty + 1
        return self.empty > 2


@breaks("framing-long")
class FramingLong(_Spoilt):
    def spoils(self, piece: bytes) -> bool:
        return len(piece) > frames.FRAME_MAX


@breaks("framing-longest")
class FramingLongest(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        env = envelope.read(payload)
        if env is None or len(env.body) <= 96:
            super().hear(payload, at_us, retained=retained)


@breaks("framing-two")
class FramingTwo(Broken):
    def hear_bytes(self, data: bytes, at_us: int) -> None:
        for payload in self.deframer.feed(data)[:1]:
            self.hear(payload, at_us)


@breaks("framing-sum")
class FramingSum(Broken):
    def hear_bytes(self, data: bytes, at_us: int) -> None:
        super().hear_bytes(data, at_us)
        for piece in data.split(b"\0"):
            try:
                body = bytes(cobs.decode(piece))
            except cobs.DecodeError:
                continue
            whole = frames.encode(body[:-2])[1:-1] if 3 <= len(body) <= frames.PAYLOAD_MAX else b""
            right = bytes(cobs.decode(whole)) if whole else b""
            if right and right != body and right[:-1] == body[:-1]:
                self.hear(body[:-2], at_us)


@breaks("framing-answer")
class FramingAnswer(Broken):
    def send(self, payload: bytes, at_us: int) -> None:
        hub = self.medium
        assert isinstance(hub, Hub)
        self.scheduler.call_at(at_us + words.TURNAROUND_US + 50, hub.babble, self, frames.encode(payload)[1:])


@breaks("bus-silent")
class BusSilent(Broken):
    def _boot(self) -> None:
        super()._boot()
        self.scheduler.call_at(self.scheduler.now_us() + SPEAKS_EVERY_US, self._speak, self.storage.boot)

    def _speak(self, boot: int) -> None:
        if self.on and self.storage.boot == boot:
            now = self.scheduler.now_us()
            if self.session is not None and not self.asleep_until:
                ticks = self.ticks(now)
                self.say(messages.Status(boot, ticks, words.flags_now(self, ticks, now)), 0, now)
            self.scheduler.call_at(now + SPEAKS_EVERY_US, self._speak, boot)


class _Anybody(dict[bytes, Any]):
    """An index that finds everybody at any address."""

    def get(self, key: bytes, default: Any = None) -> Any:
        return super().get(key) or tuple(port for ports in self.values() for port in ports)[:1] or default


@breaks("bus-address")
class BusAddress(Broken):
    def attached(self, medium: Any) -> None:
        super().attached(medium)
        if isinstance(medium, Hub):
            medium._by_address = _Anybody(medium._by_address)

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        if payload[:1] == bytes([envelope.TOKEN]):
            payload = payload[:1] + self.address.to_bytes(4, "big") + payload[5:]
        super().hear(payload, at_us, retained=retained)


@breaks("losses-counted")
class LossesCounted(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, bad_frames=0) if isinstance(message, messages.Report) else message


# ---- the seal ---------------------------------------------------------------------------------------------------

Holds = Callable[[Any, envelope.Envelope], bool]


class _Lenient(seal.Sealer):
    """Takes more than it should."""

    more: Holds

    def __init__(self, key: bytes, more: Holds) -> None:
        super().__init__(key)
        self.more = more

    def holds(self, env: envelope.Envelope) -> bool:
        return super().holds(env) or (env.form == envelope.DOWN and self.more(self, env))


class _Seal(Broken):
    """Its own key's sealer is lenient."""

    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        """What else it takes for a right tag."""
        raise NotImplementedError

    def session_for(self, keys: seal.TargetKeys | None) -> Session | None:
        session = super().session_for(keys)
        if session is not None and keys is not None:
            session._sealer = _Lenient(keys.own, self.more)
        return session


@breaks("seal-tag")
class SealTag(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        right: bytes = sealer._tag(env.form, env.address, env.counter, env.body)
        return env.tag[:7] == right[:7]


@breaks("seal-body")
class SealBody(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        body = env.body[:-1] + bytes([env.body[-1] ^ 3])
        return bool(env.tag == sealer._tag(env.form, env.address, env.counter, body))


@breaks("seal-counter")
class SealCounter(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        return bool(env.tag == sealer._tag(env.form, env.address, 0, env.body))


@breaks("seal-direction")
class SealDirection(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        return bool(env.tag == sealer._tag(envelope.UP, env.address, env.counter, env.body))


@breaks("seal-target")
class SealTarget(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        return bool(env.tag == sealer._tag(env.form, env.address ^ 1, env.counter, env.body))


@breaks("seal-alloff-key")
class SealAllOffKey(_Seal):
    def more(self, sealer: Any, env: envelope.Envelope) -> bool:
        assert self.storage.keys is not None
        return seal.Sealer(self.storage.keys.all_off).holds(env)


@breaks("seal-answers")
class SealAnswers(Broken):
    wrong = False

    def said(self, message: Message) -> Message:
        self.wrong = isinstance(message, messages.Greeting)
        return message

    def send(self, payload: bytes, at_us: int) -> None:
        if self.wrong:
            payload = payload[:-1] + bytes([payload[-1] ^ 1])
        self.wrong = False
        super().send(payload, at_us)


@breaks("seal-rising")
class SealRising(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Report) and self.session is not None:
            self.session._used.value -= 1
        return message


# ---- replay and counters ----------------------------------------------------------------------------------------


class _Again(Hooked):
    def _take_down(self, env: envelope.Envelope, now: int) -> Taken | None:
        if self._cached is not None and self._cached[0] == env.counter:
            message = self._open_body(env, self._sealer)
            return None if message is None else Taken(message, counter=env.counter)
        return super()._take_down(env, now)


@breaks("replay-cached")
class ReplayCached(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        env, session = envelope.read(payload), self.session
        cached = getattr(session, "_cached", None)
        if (
            env is not None
            and session is not None
            and env.form == envelope.DOWN
            and cached
            and cached[0] == env.counter
        ):
            taken = _Again._take_down(session, env, at_us)  # type: ignore[arg-type]
            if taken is not None and taken.message is not None and not isinstance(taken.message, messages.Rekey):
                orders.order(self, taken.message, taken.counter, at_us, retained)
                return
        super().hear(payload, at_us, retained=retained)


class _Windowed(Broken):
    """Its replay window is another one."""

    def window(self, high: int) -> seal.ReplayWindow:
        """The window that it uses."""
        raise NotImplementedError

    def session_for(self, keys: seal.TargetKeys | None) -> Session | None:
        session = super().session_for(keys)
        if session is not None:
            session._window = self.window(session._window.high)
        return session


class _Forgetful(seal.ReplayWindow):
    def fresh(self, counter: int) -> bool:
        return super().fresh(counter) or 3 <= self.high - counter <= 8


@breaks("replay-older")
class ReplayOlder(_Windowed):
    def window(self, high: int) -> seal.ReplayWindow:
        return _Forgetful(seal.STRICT, high)


@breaks("replay-overtaken")
class ReplayOvertaken(_Windowed):
    def window(self, high: int) -> seal.ReplayWindow:
        return seal.ReplayWindow(2, high)


@breaks("replay-window")
class ReplayWindow(_Windowed):
    def window(self, high: int) -> seal.ReplayWindow:
        return seal.ReplayWindow(seal.STRICT, high)


@breaks("counters-asked")
class CountersAsked(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Counters):
            return replace(message, nonce=bytes(byte ^ 0xFF for byte in message.nonce))
        return message


@breaks("counters-high")
class CountersHigh(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Counters):
            return replace(message, down_high=max(0, message.down_high - 1))
        return message


@breaks("counters-form")
class CountersForm(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        env = envelope.read(payload)
        if env is not None and env.form == envelope.ASKED and self.storage.keys is not None:
            message = messages.decode(env.body)
            asks = isinstance(message, messages.Ask) and message.what == What.COUNTERS
            if not asks and seal.Sealer(self.storage.keys.own).holds(env):
                orders.order(self, message, 0, at_us, retained)
                return
        super().hear(payload, at_us, retained=retained)


@breaks("counters-kept")
class CountersKept(Broken):
    def power_off(self) -> None:
        super().power_off()
        self.storage.seen = 0


# ---- the contract -----------------------------------------------------------------------------------------------


@breaks("greeting")
class Greeting(Broken):
    def said(self, message: Message) -> Message:
        if isinstance(message, messages.Greeting):
            return replace(message, hardware=message.hardware[:-1] + bytes([message.hardware[-1] ^ 1]))
        return message


@breaks("contract-version")
class ContractVersion(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, contract=messages.CONTRACT + 1) if isinstance(message, messages.Greeting) else message


@breaks("abilities-true")
class AbilitiesTrue(Broken):
    _all = 0

    @property
    def abilities(self) -> int:  # type: ignore[override]
        """What it declares, except while it decides about Sleep."""
        return self._all if isinstance(self.last, messages.Sleep) else self._all & ~int(Ability.SLEEP)

    @abilities.setter
    def abilities(self, value: int) -> None:
        self._all = value


@breaks("report")
class Report(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, generation=0, epoch=0) if isinstance(message, messages.Report) else message


@breaks("turnaround")
class Turnaround(Broken):
    def said(self, message: Message) -> Message:
        return replace(message, turnaround=20_000) if isinstance(message, messages.Greeting) else message


@breaks("unknown-keys")
class UnknownKeys(Broken):
    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        env = envelope.read(payload)
        if env is not None and env.form == envelope.DOWN:
            try:
                body = cbor2.loads(env.body)
            except (ValueError, EOFError, cbor2.CBORError):
                body = None
            if isinstance(body, dict) and any(isinstance(v, list) for k, v in body.items() if k not in range(50)):
                return
        super().hear(payload, at_us, retained=retained)


@breaks("unknown-kind")
class UnknownKind(Broken):
    def not_understood(self, env: envelope.Envelope) -> Message | None:
        try:
            messages.decode(env.body)
        except messages.Malformed as error:
            if error.kind == "unknown-kind":
                now = self.scheduler.now_us()
                refused = obey.Answer(Result.REFUSED, Reason.NO_ABILITY)
                self.say(words.outcome(self, refused, env.counter, now), 0, now)
        return None


@breaks("ill-formed")
class IllFormed(Broken):
    def not_understood(self, env: envelope.Envelope) -> Message | None:
        try:
            body = cbor2.loads(env.body)
        except (ValueError, EOFError, cbor2.CBORError):
            return None
        if isinstance(body, dict) and set(body) == {0, 3, 5} and body[0] == messages.Quiet.KIND:
            return messages.Quiet(body[3], body[5], 0)
        return None
