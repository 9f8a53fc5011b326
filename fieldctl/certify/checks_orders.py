"""Which order is carried out, and what a grant lets it do."""

from __future__ import annotations

from dataclasses import replace

from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import Failed, Talk
from fieldctl.keying import OFF_MIN_MS, ON_MIN_MS, PERIOD_MAX_MS, PERIOD_MIN_MS, longest_on_ms
from fieldctl.units import US_PER_S
from fieldctl.wire import messages, obey
from fieldctl.wire.messages import Ability, Flags, Reason, Result, Status

ROWS: list[Requirement] = []
TX = int(Ability.TRANSMITTER)
REFUSED = Result.REFUSED
CORNERS = (
    (PERIOD_MIN_MS, ON_MIN_MS),
    (PERIOD_MIN_MS, longest_on_ms(PERIOD_MIN_MS)),
    (1000, 100),
    (PERIOD_MAX_MS, ON_MIN_MS),
    (PERIOD_MAX_MS, longest_on_ms(PERIOD_MAX_MS)),
)
BEYOND = (
    (PERIOD_MIN_MS - 1, ON_MIN_MS),
    (PERIOD_MAX_MS + 1, ON_MIN_MS),
    (1000, ON_MIN_MS - 1),
    (PERIOD_MIN_MS, longest_on_ms(PERIOD_MIN_MS) + 1),
    (PERIOD_MAX_MS, PERIOD_MAX_MS - OFF_MIN_MS + 1),
    (0, 0),
    (1000, 1000),
)


def off(t: Talk, after: str) -> None:
    """It has to say that nothing is granted and the gate is off."""
    flags = t.flags()
    if flags & (Flags.GRANTED | Flags.GATE_ON):
        raise Failed(f"after {after} it says {said(flags)}")


def said(flags: Flags) -> str:
    """Flags in words."""
    return ", ".join(str(f.name).lower().replace("_", " ") for f in Flags if f & flags) or "nothing set"


# ---- which order ------------------------------------------------------------------------------------------------


@row(ROWS, "it obeys any generation")
def generation(t: Talk) -> None:
    """A lower generation than the highest seen is answered superseded."""
    t.token()
    t.expect(t.quiet(), Result.DONE, what="Quiet under the generation in force")
    pad, tx = bool(t.abilities & Ability.PAD), bool(t.abilities & TX)
    orders: list[messages.Message] = [messages.Quiet(0, t.generation - 1, 0)]
    orders += [messages.Arm(t.boot, t.generation - 1, True, 0)] if pad else []
    orders += [t.grant(generation=t.generation - 1)] if tx else []
    for order in orders:
        answer = t.expect(t.outcome(order), Result.SUPERSEDED, what="an order of the generation before")
        if answer.generation != t.generation:
            raise Failed(f"superseded names generation {answer.generation}, in force is {t.generation}")
    if t.flags() & (Flags.ARMED | Flags.GRANTED):
        raise Failed("a superseded order was carried out")


@row(ROWS, "it obeys any epoch", needs=TX)
def epoch_older(t: Talk) -> None:
    """Orders of an older all-off epoch are refused for ever."""
    if t.epoch == 0:
        t.epoch = 1
        t.outcome(messages.AllOff(t.epoch))
        t.wait(700_000)
    t.token()
    t.expect(t.outcome(t.grant(epoch=t.epoch - 1)), REFUSED, Reason.OLDER_EPOCH, what="a grant of the epoch before")
    held = t.granted(0.3, 1.5)
    late = t.renew(held, held.until + US_PER_S, epoch=t.epoch - 1)
    t.expect(t.outcome(late), REFUSED, Reason.OLDER_EPOCH, what="a renewal of the epoch before")


@row(ROWS, "it takes orders of a boot that is still to come", needs=TX)
def other_boot(t: Talk) -> None:
    """An order that names a boot that never was is refused."""
    t.token()
    orders = [t.grant(boot=t.boot + 1), t.grant(boot=0xFFFF_FFFF)]
    for order in orders:
        t.expect(t.outcome(order), REFUSED, Reason.OTHER_BOOT, what=f"a grant of boot {order.boot}")
    off(t, "a grant of another boot")


@row(ROWS, "it says late by 0", needs=TX)
def late(t: Talk) -> None:
    """A grant that comes after its begin is answered late, by how much, and starts nothing."""
    for by_us in (300_000, 1_500_000):
        t.token()
        t.until(2 * US_PER_S)  # old enough for an order to be late
        t.token()
        order = replace(t.grant(0.0, 5.0), from_=t.ticks() - by_us)
        asked = t.bench.now()
        answer = t.expect_late(t.outcome(order), "a grant that came after its begin")
        way_us = t.bench.now() - asked + t.bench.answer_us
        if not by_us - t.bench.answer_us <= answer.late <= by_us + way_us:
            raise Failed(f"late by {answer.late} µs, though it came {by_us} to {by_us + way_us} µs after its begin")
        off(t, "a late grant")


@row(ROWS, "it answers a grant that is over with done", needs=TX)
def expiry(t: Talk) -> None:
    """An order whose end has passed starts nothing, whenever it comes."""
    t.token()
    t.until(4 * US_PER_S)  # old enough for an order to be over
    t.token()
    t.expect_late(t.outcome(t.grant(-3.0, -1.0)), "a grant that was over")
    off(t, "a grant that was over")
    held = t.granted(0.3, 1.5)
    t.expect_late(t.outcome(t.renew(held, t.ticks() - 500_000)), "a renewal up to a tick that had passed")


@row(ROWS, "it answers an empty grant with done", needs=TX)
def empty(t: Talk) -> None:
    """A grant whose end is not after its begin is refused as empty."""
    t.token()
    for until_s in (0.5, 0.3):
        order = t.grant(0.5, until_s)
        t.expect(t.outcome(order), REFUSED, Reason.EMPTY, what="a grant that ends when it begins, or before")
    off(t, "an empty grant")


@row(ROWS, "it takes a grant and a renewal of any length", needs=TX)
def lease_too_long(t: Talk) -> None:
    """Nothing sends longer than 120 s unrenewed: a longer grant or renewal is refused."""
    t.token()
    most_s = obey.LEASE_MAX_US / US_PER_S
    order = t.grant(0.3, most_s + 2, 1000.0)
    t.expect(t.outcome(order), REFUSED, Reason.LEASE_TOO_LONG, what=f"a grant of {most_s + 1.7:g} s")
    held = t.granted(0.3, 1.5, limit=t.ticks() + 1000 * US_PER_S)
    longer = t.renew(held, t.ticks() + obey.LEASE_MAX_US + 2 * US_PER_S)
    t.ends_us = t.bench.now() + 2 * US_PER_S
    t.expect(t.outcome(longer), REFUSED, Reason.LEASE_TOO_LONG, what=f"a renewal for {most_s + 2:g} s")


@row(ROWS, "it compares neither a grant's end with its limit nor its limit with 4 h", needs=TX)
def limit(t: Talk) -> None:
    """A grant that ends past its own hard limit, or may be renewed for more than 4 h, is refused."""
    t.token()
    t.expect(t.outcome(t.grant(0.3, 2.0, 1.0)), REFUSED, Reason.LIMIT, what="a grant that ends past its limit")
    beyond_s = obey.LIMIT_MAX_US / US_PER_S + 1
    t.expect(t.outcome(t.grant(0.3, 1.0, beyond_s + 0.3)), REFUSED, Reason.LIMIT, what="a limit of more than 4 h")
    off(t, "a grant past its limit")


@row(ROWS, "it takes a renewal up to a second past the limit", needs=TX)
def limit_renew(t: Talk) -> None:
    """A renewal past the hard limit is refused, and one up to it is taken."""
    t.token()
    held = t.granted(0.3, 1.2, limit=t.ticks() + 2 * US_PER_S)
    t.expect(t.outcome(t.renew(held, held.limit + 1)), REFUSED, Reason.LIMIT, what="a renewal past the limit")
    t.expect(t.outcome(t.renew(held, held.limit)), Result.DONE, what="a renewal up to the limit")


@row(ROWS, "it takes an on-time of 69 ms", needs=TX)
def keying_refused(t: Talk) -> None:
    """A pattern outside EN 300 718-1 is refused, be it by one millisecond."""
    for period, on in BEYOND:
        t.token()
        answer = t.outcome(t.grant(period=period, on=on))
        t.expect(answer, REFUSED, Reason.KEYING, what=f"{on} ms in {period} ms")


@row(ROWS, "it refuses a period of 1300 ms", needs=TX)
def keying_legal(t: Talk) -> None:
    """Every legal corner of EN 300 718-1 is taken."""
    for period, on in CORNERS:
        t.token()
        t.expect(t.outcome(t.grant(period=period, on=on)), Result.DONE, what=f"{on} ms in {period} ms")


# ---- what a grant lets it do ------------------------------------------------------------------------------------


@row(ROWS, "its status names no grant", needs=TX)
def grant_begins(t: Talk) -> None:
    """It sends from the ordered tick on and says so: granted, gate on, which grant and since when."""
    held = t.granted(0.8, 2.0)
    before = t.token()
    if before.flags & Flags.GATE_ON or not before.flags & Flags.GRANTED:
        raise Failed(f"before the begin of its grant it says {said(Flags(before.flags))}")
    t.until(held.from_ + 200_000)
    after = t.token()
    if not after.flags & Flags.GATE_ON:
        raise Failed(f"200 ms after the begin of its grant it says {said(Flags(after.flags))}")
    if isinstance(before, Status) and isinstance(after, Status):
        told = (before.grant_id, before.since, after.grant_id, after.since)
        if told != (held.grant_id, 0, held.grant_id, held.from_):
            raise Failed(f"its status named (grant, since) {told[:2]} before the begin and {told[2:]} after it")


@row(ROWS, "it sends on for one second after its grant has run out (not after Quiet), and says so", needs=TX)
def grant_runs_out(t: Talk) -> None:
    """With the controller gone, sending ends at the tick that the grant names."""
    held = t.sending(1.5)
    t.until(held.until + 60_000)
    off(t, "the end of its grant, which nobody renewed,")
    t.wait(500_000)
    off(t, "the end of its grant and half a second")


@row(ROWS, "a renewal with an earlier end shortens the grant", needs=TX)
def grant_renewed(t: Talk) -> None:
    """A renewal lets it send on; one that was overtaken by a later one shortens nothing."""
    held = t.sending(1.2)
    t.expect(t.outcome(t.renew(held, held.until + 1_600_000)), Result.DONE, what="a renewal")
    t.expect(t.outcome(t.renew(held, held.until + 300_000)), Result.DONE, what="a renewal that was overtaken")
    t.until(held.until + 900_000)
    if not t.flags() & Flags.GATE_ON:
        raise Failed("it fell quiet before the end of its renewed grant")


@row(ROWS, "it does not drop out", needs=TX)
def grant_dropping_out(t: Talk) -> None:
    """A signal that drops out is on and off as the grant says."""
    held = t.granted(0.3, 4.0, drop_on=8, drop_off=8)
    for n in range(4):
        t.until(held.from_ + n * 800_000 + 400_000)
        on = bool(t.flags() & Flags.GATE_ON)
        if on == bool(n % 2):
            raise Failed(f"{0.8 * n + 0.4:g} s after its begin the gate is {'on' if on else 'off'}")


@row(ROWS, "a renewal within 5 s of the end of its grant lets it send again", needs=TX)
def renew_starts_nothing(t: Talk) -> None:
    """A renewal of a grant that has run out, or of another one, is refused and starts nothing."""
    held = t.granted(0.3, 0.8)
    other = t.renew(held, held.until + 500_000, grant_id=held.grant_id ^ 1)
    t.expect(t.outcome(other), REFUSED, Reason.NO_SUCH_GRANT, what="a renewal of another grant")
    t.until(held.until + 1_400_000)
    t.token()
    late = t.renew(held, t.ticks() + US_PER_S)
    t.expect(t.outcome(late), REFUSED, Reason.NO_SUCH_GRANT, what="a renewal of a grant that had run out")
    off(t, "a renewal of a grant that had run out")


@row(ROWS, "Quiet for now is answered with done and the grant goes on", needs=TX)
def quiet(t: Talk) -> None:
    """Quiet ends a grant at once, be it named or not."""
    for named in (True, False):
        held = t.sending(2.5)
        t.expect(t.quiet(held.grant_id if named else 0), Result.DONE, what="Quiet")
        off(t, "Quiet")


@row(ROWS, "Quiet for a tick to come does nothing", needs=TX)
def quiet_tick(t: Talk) -> None:
    """Quiet at a tick ends a grant at that tick, and nothing renews it beyond."""
    held = t.sending(4.0)
    end = t.ticks() + 800_000
    t.expect(t.quiet(held.grant_id, end), Result.DONE, what="Quiet at a tick")
    if not t.flags() & Flags.GATE_ON:
        raise Failed("Quiet at a later tick ended the grant at once")
    t.expect(t.outcome(t.renew(held, end + 2_000_000)), REFUSED, Reason.LIMIT, what="a renewal beyond that tick")
    t.until(end + 60_000)
    flags = t.flags()
    if flags & Flags.GATE_ON:
        raise Failed(f"after the tick that Quiet named it says {said(flags)}")


@row(ROWS, "Quiet for another grant ends its own", needs=TX)
def quiet_other(t: Talk) -> None:
    """Quiet for a grant that it does not hold is refused and ends nothing."""
    held = t.sending(2.0)
    t.expect(t.quiet(held.grant_id ^ 2), REFUSED, Reason.NO_SUCH_GRANT, what="Quiet for another grant")
    if not t.flags() & Flags.GATE_ON:
        raise Failed("Quiet for another grant ended this one")
    t.quiet()
