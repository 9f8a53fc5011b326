"""Clock, reboots, losses of power, sleep, and junk from whoever."""

from __future__ import annotations

import itertools
from dataclasses import replace

from fieldctl.certify.checks_orders import off, said
from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import Failed, Talk, is_answer
from fieldctl.units import US_PER_S
from fieldctl.wire import envelope, frames, messages
from fieldctl.wire.messages import Ability, Ask, Flags, Reason, Result, What, Why

ROWS: list[Requirement] = []
TX = int(Ability.TRANSMITTER)
DRIFT_PPM = 150
SPAN_S = {"bus": 10, "radio": 120}  # over how long the clock is watched: radio knows each moment 20 times worse
SAMPLES = 12  # at either end
UNSURE_US = 3_000  # within a bus's question a target may note the tick a little early or late
JUNK = 60
NO_MAPS = (b"\x01", b"\x82\x01\x02", b"\x63abc", b"\xf6")  # sound CBOR all the same
SLEEP_S = 6
WAKE_S = 2
CALL_EVERY_US = 100_000  # oftener than a sleeper listens for


@row(ROWS, "every tenth answer names ticks 20 ms behind")
def clock_monotonic(t: Talk) -> None:
    """Its ticks never go back or leap within a boot."""
    t.token()
    t.samples.clear()
    for _ in range(30):
        t.token()
        t.wait(100_000)
    boots = {boot for boot, _ in t.samples}
    if len(boots) != 1:
        raise Failed(f"within 3 s it answered under the boots {sorted(boots)}")
    pairs = [(sample.interval_ns(), sample.ticks) for _, sample in t.samples]
    for ((lo, hi), ticks), ((next_lo, next_hi), next_ticks) in itertools.pairwise(pairs):
        least, most = (next_lo - hi) // 1000 - UNSURE_US, (next_hi - lo) // 1000 + UNSURE_US
        if not max(1, least) <= next_ticks - ticks <= most:
            raise Failed(f"its ticks went on by {next_ticks - ticks} while {max(0, least)} to {most} µs went by")


@row(ROWS, "its clock runs 400 parts in a million fast")
def clock_drift(t: Talk) -> None:
    """Its clock runs within 150 parts in a million of true."""
    ends = []
    for wait_s in (SPAN_S[t.bench.medium], 0):
        t.samples.clear()
        for _ in range(SAMPLES):
            t.token()
        # each sample bounds when the counter read its first; the middle ones, since a leap is not this subject
        first = t.samples[0][1].ticks
        bounds = [(s.interval_ns(), (s.ticks - first) * 1000) for _, s in t.samples]
        los, his = sorted(lo - on for (lo, _), on in bounds), sorted(hi - on for (_, hi), on in bounds)
        ends.append((first, los[len(los) // 2], his[len(his) // 2]))
        t.wait(wait_s * US_PER_S)
    (begin, lo0, hi0), (end, lo1, hi1) = ends
    went_ns = (end - begin) * 1000
    slow, fast = (hi1 - lo0) / 1e6 * DRIFT_PPM, (lo1 - hi0) / 1e6 * DRIFT_PPM
    if not (lo1 - hi0) - abs(fast) <= went_ns <= (hi1 - lo0) + abs(slow):
        middle = ((lo1 + hi1) - (lo0 + hi0)) / 2
        raise Failed(f"its clock runs {(went_ns - middle) / middle * 1e6:+.0f} parts in a million off")


# ---- junk -------------------------------------------------------------------------------------------------------


@row(ROWS, "it reboots after a sealed body that is no map")
def survives_junk(t: Talk) -> None:
    """Whatever arrives, it stays alive in the same boot, does not send, and answers."""
    boot = t.open().boot
    for n in range(JUNK):
        noise = t.entropy(1 + n * 2)
        match n % 4:
            case 0 if t.bench.medium == "bus":
                t.bench.write(noise)
            case 1:
                t.bench.say(t.sealed(noise[: envelope.BODY_MAX]))
                t.wait(t.bench.answer_us)
                t.bench.say(t.sealed(NO_MAPS[n // 4 % len(NO_MAPS)]))
            case 2:
                t.bench.say(bytes([0x10 * (n % 7)]) + t.address.to_bytes(4, "big") + noise[: frames.PAYLOAD_MAX - 5])
            case _:
                t.bench.say(t.sealed(messages.encode(Ask(bytes(8), int(What.REPORT)))[: 3 + n % 9]))
        t.wait(t.bench.answer_us)
    t.token()
    if (now := t.open().boot) != boot:
        raise Failed(f"it rebooted: boot {boot} before, {now} now")
    flags = t.flags()
    if flags & (Flags.GATE_ON | Flags.GRANTED | Flags.ARMED):
        raise Failed(f"after junk it says {said(flags)}")


@row(ROWS, "asleep it does not wake before the end of its sleep", needs=int(Ability.SLEEP))
def sleep(t: Talk) -> None:
    """Asleep it holds no grant, says so before, and wakes to its address within the ordered time."""
    if t.abilities & TX:
        t.sending(3.0)
    t.token()
    order = messages.Sleep(t.boot, t.generation, t.ticks() + SLEEP_S * US_PER_S, WAKE_S)
    answer = t.expect(t.outcome(order), Result.DONE, what="Sleep")
    flags = Flags(answer.flags)
    if flags & (Flags.GATE_ON | Flags.GRANTED) or not flags & Flags.ASLEEP_SOON:
        raise Failed(f"the answer to Sleep says {said(flags)}")
    patient_until = t.bench.now() + WAKE_S * US_PER_S + t.bench.answer_us + CALL_EVERY_US
    while not any(is_answer(said.message) for said in t.wait(CALL_EVERY_US)):
        if t.bench.now() > patient_until:
            raise Failed(f"asleep with {WAKE_S} s to wake it did not answer within them")
        t.bench.say(envelope.token(t.address, 1))
    flags = t.flags()
    if flags & (Flags.GATE_ON | Flags.GRANTED):
        raise Failed(f"awake again it says {said(flags)}")


# ---- reboots and losses of power --------------------------------------------------------------------------------


@row(ROWS, "it says that it lost its power, whatever made it reboot", door=("reboot",))
def reboot_named(t: Talk) -> None:
    """A reboot has a boot id of its own, higher than the last, and says why."""
    before = t.open().boot
    t.door("reboot")
    t.open()
    said_ = t.greeting()
    if said_.boot <= before:
        raise Failed(f"boot {before} before the reboot and {said_.boot} after it")
    if said_.why == Why.POWER:
        raise Failed("its watchdog made it reboot, and it says that it lost its power")


@row(ROWS, "it goes on with its grant after a reboot", needs=TX, door=("reboot",))
def reboot_quiet(t: Talk) -> None:
    """A reboot ends every grant: nothing sends because of it."""
    t.sending(8.0)
    t.door("reboot")
    t.open()
    off(t, "a reboot")
    t.wait(1_500_000)
    off(t, "a reboot and a second")


@row(ROWS, "it also takes orders of the boot just before its own", needs=TX, door=("reboot",))
def reboot_order_in_flight(t: Talk) -> None:
    """An order made before a reboot and heard after it is refused."""
    t.token()
    old = t.grant(0.2, 6.0)
    t.door("reboot")
    t.open()
    old = replace(old, from_=t.ticks() + 300_000, until=t.ticks() + US_PER_S)
    t.expect(t.outcome(old), Result.REFUSED, Reason.OTHER_BOOT, what="an order of the boot before")
    off(t, "an order of the boot before")


@row(ROWS, "it forgets the generation when the power goes", door=("power",))
def generation_kept(t: Talk) -> None:
    """The generation is latched over a loss of power."""
    t.token()
    t.expect(t.quiet(), Result.DONE, what="Quiet under the generation in force")
    before = t.open().generation
    t.door("power", 300)
    if (after := t.open().generation) != before:
        raise Failed(f"generation {before} before the loss of power, {after} after it")


@row(ROWS, "it forgets that all off is latched when the power goes", door=("power",))
def alloff_kept(t: Talk) -> None:
    """All off and its epoch are latched over a loss of power."""
    t.epoch += 1
    t.outcome(messages.AllOff(t.epoch))
    t.door("power", 300)
    if (after := t.open().epoch) != t.epoch:
        raise Failed(f"all off of epoch {t.epoch} before the loss of power, {after} after it")
    if not t.flags() & Flags.ALL_OFF:
        raise Failed("all off was latched before the loss of power, and is not after it")
