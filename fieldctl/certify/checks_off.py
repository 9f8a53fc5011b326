"""All off, retained messages, and the gate of the transmitter."""

from __future__ import annotations

import itertools
from collections.abc import Callable

from fieldctl.certify.checks_orders import CORNERS, off, said
from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import Failed, Silent, Talk, words
from fieldctl.keying import ON_MIN_MS
from fieldctl.units import US_PER_S
from fieldctl.wire import envelope, messages
from fieldctl.wire.messages import Ability, Flags, Outcome, Reason, Result

ROWS: list[Requirement] = []
TX = int(Ability.TRANSMITTER)
EDGE_US = 1_000  # how exactly a pulse is kept
CYCLES = 4  # of each pattern measured


def _new_epoch(t: Talk) -> int:
    t.epoch += 1
    return t.epoch


def _shout(t: Talk, payload: bytes) -> None:
    """Say it to everybody, and see that nobody answers."""
    t.nothing(payload, "an all off for everybody", everybody=True)


@row(ROWS, "the answer to all off names the epoch before")
def alloff_answered(t: Talk) -> None:
    """All off under its own key is answered with the epoch that is latched and the gate read back off."""
    if t.abilities & TX:
        t.sending(2.0)
    epoch = _new_epoch(t)
    answer = t.expect(t.outcome(messages.AllOff(epoch)), Result.DONE, what="all off")
    if answer.epoch != epoch:
        raise Failed(f"the answer to all off of epoch {epoch} names epoch {answer.epoch}")
    flags = Flags(answer.flags)
    if flags & (Flags.GATE_ON | Flags.GRANTED) or not flags & Flags.ALL_OFF:
        raise Failed(f"the answer to all off says {said(flags)}")


@row(ROWS, "it obeys all off for everybody only while it does not send", needs=TX)
def alloff_everybody(t: Talk) -> None:
    """All off under the all-off key is obeyed from every state, latched, and answered by nobody."""
    states: dict[str, Callable[[], object]] = {
        "at rest": lambda: None,
        "with a grant that has not begun": lambda: t.granted(1.5, 3.0),
        "sending": lambda: t.sending(3.0),
        "dropping out": lambda: t.until(t.granted(0.3, 4.0, drop_on=2, drop_off=20).from_ + 500_000),
    }
    if t.abilities & Ability.PAD:
        states["armed"] = t.arm
    for state, reach in states.items():
        reach()
        epoch = _new_epoch(t)
        _shout(t, t.all_off_payload(epoch))
        flags = t.flags()
        if flags & (Flags.GATE_ON | Flags.GRANTED) or not flags & Flags.ALL_OFF:
            raise Failed(f"after all off for everybody, {state}, it says {said(flags)}")
        if (latched := t.open().epoch) != epoch:
            raise Failed(f"after all off of epoch {epoch}, {state}, it has latched {latched}")


@row(ROWS, "it does not compare the epoch inside with the one outside")
def alloff_forged(t: Talk) -> None:
    """All off with a wrong tag, or with another epoch inside than outside, is nothing."""
    before = t.open().epoch
    payload = bytearray(t.all_off_payload(t.epoch + 3))
    payload[-envelope.TAG_BYTES] ^= 0x40
    _shout(t, bytes(payload))
    _shout(t, t.all_off_payload(t.epoch + 5, inside=t.epoch + 4))
    if (latched := t.open().epoch) != before:
        raise Failed(f"a forged all off changed its epoch from {before} to {latched}")


@row(ROWS, "it obeys an all off for everybody of an epoch that was released", needs=TX)
def alloff_recorded(t: Talk) -> None:
    """An all off that was released is a recording: heard again it changes nothing."""
    payload = t.all_off_payload(_new_epoch(t))
    _shout(t, payload)
    t.granted(0.3, 3.0)
    _shout(t, payload)
    flags = t.flags()
    if not flags & Flags.GRANTED or flags & Flags.ALL_OFF:
        raise Failed(f"after an all off that was released before it says {said(flags)}")


@row(ROWS, "the next greeting releases all off")
def alloff_released(t: Talk) -> None:
    """All off stays latched until a grant under its epoch is accepted: questions and other orders leave it."""
    t.outcome(messages.AllOff(_new_epoch(t)))
    t.greeting()
    t.report()
    if t.abilities & Ability.PAD:
        t.arm()
    t.quiet()
    if not t.flags() & Flags.ALL_OFF:
        raise Failed("all off was released by a question or another order than a grant")
    if t.abilities & TX:
        t.granted()
        if t.flags() & Flags.ALL_OFF:
            raise Failed("a grant under the latched epoch was accepted and all off is still said")


@row(ROWS, "it obeys retained orders", medium="radio", door=("retain",))
def retained(t: Talk) -> None:
    """An order that arrives as a retained message is refused, or not heard at all."""
    t.token()
    orders: list[messages.Message] = [messages.Quiet(0, t.generation, 0)]
    orders += [t.grant(0.5, 2.0)] if t.abilities & TX else []
    orders += [messages.Arm(t.boot, t.generation, True, 0)] if t.abilities & Ability.PAD else []
    for order in orders:
        counter = t.next()
        try:
            answer = t.deliver(t.sealed(order, counter=counter), counter, retained=True, tries=1)
        except Silent:
            continue
        if not isinstance(answer, Outcome):
            raise Failed(f"a retained order was answered {words(answer)}")
        t.expect(answer, Result.REFUSED, Reason.RETAINED, what="a retained order")
    if t.flags() & (Flags.GATE_ON | Flags.GRANTED | Flags.ARMED):
        raise Failed("a retained order was carried out")


# ---- the gate ---------------------------------------------------------------------------------------------------


@row(ROWS, "it says of its gate what was ordered, not what is read back", needs=TX, door=("stuck",))
def gate_read_back(t: Talk) -> None:
    """The gate is read back: stuck on, it says so with every answer, refuses grants, and is not confirmed off."""
    try:
        t.door("stuck", 1)
        t.wait(50_000)
        if not t.flags() & Flags.GATE_ON:
            raise Failed("its gate is on and it does not say so")
        t.expect(t.outcome(t.grant()), Result.REFUSED, Reason.GATE_STUCK, what="a grant with the gate stuck on")
        if not t.outcome(messages.AllOff(t.epoch)).flags & Flags.GATE_ON:
            raise Failed("the answer to all off says that the gate is off, and it is on")
    finally:
        t.door("stuck", 0)
        t.wait(50_000)
    off(t, "its gate came free")


def _spans(t: Talk) -> list[tuple[int, int]]:
    """When the carrier was on since the last time."""
    edges = t.door("gate")
    if len(edges) % 2:
        raise Failed("the carrier is still on")
    return list(zip(edges[::2], edges[1::2], strict=True))


@row(ROWS, "a pulse of 100 ms is sent half a second after all off under its own key", needs=TX, door=("gate",))
def gate_inside_grant(t: Talk) -> None:
    """The carrier is on inside a grant and at no other time."""
    t.wait(1_200_000)
    t.door("gate")
    held = t.granted(0.8, 4.0)
    t.until(held.from_ - 100_000)
    if spans := _spans(t):
        raise Failed(f"{len(spans)} pulses before the begin of its grant")
    t.until(held.from_ + 1_450_000)
    inside = _spans(t)
    t.outcome(messages.AllOff(t.epoch))
    t.wait(1_500_000)
    if not inside:
        raise Failed("no pulse within 1.4 s of its grant")
    if spans := _spans(t):
        raise Failed(f"{len(spans)} pulses after all off")


@row(ROWS, "every pulse lasts 5 ms too long", needs=TX, door=("gate",))
def keying_measured(t: Talk) -> None:
    """Each pulse and each period is as ordered, to a millisecond, at every legal corner."""
    for period, on in CORNERS:
        t.door("gate")
        t.token()
        held = t.grant(0.3, 0.3 + (CYCLES * period + on + 20) / 1000, period=period, on=on)
        if t.outcome(held).result != Result.DONE:
            continue  # which patterns are taken is another requirement
        t.until(held.until)
        t.quiet()
        spans = _spans(t)[: CYCLES + 1]
        if len(spans) <= CYCLES:
            raise Failed(f"{on} ms in {period} ms: {len(spans)} pulses in {CYCLES} periods and one more")
        for begin, end in spans:
            if abs(end - begin - on * 1000) > EDGE_US or end - begin < ON_MIN_MS * 1000 - EDGE_US:
                raise Failed(f"{on} ms in {period} ms: a pulse of {(end - begin) / 1000:.1f} ms")
        for (begin, _), (again, _) in itertools.pairwise(spans):
            if abs(again - begin - period * 1000) > EDGE_US:
                raise Failed(f"{on} ms in {period} ms: a period of {(again - begin) / 1000:.1f} ms")


@row(ROWS, "it does not look at its battery before it sends", needs=TX, door=("battery",))
def battery(t: Talk) -> None:
    """With a battery too weak it refuses to send and says so."""
    try:
        t.door("battery", 1)
        t.wait(US_PER_S)
        answer = t.outcome(t.grant())
        t.expect(answer, Result.REFUSED, Reason.BATTERY, what="a grant with the battery too weak")
        if not t.flags() & Flags.BATTERY_LOW:
            raise Failed("its battery is too weak to send and it does not say that it is low")
    finally:
        t.door("battery", 0)
        t.wait(US_PER_S)
    t.granted()
