"""The pad: arming, strikes told until acknowledged, what is kept of them, what is measured of them, raw traces."""

from __future__ import annotations

import itertools
import math

from fieldctl.certify.row import Requirement, row
from fieldctl.certify.side_door import MANY, PAD_A_LINE
from fieldctl.certify.talk import Failed, Silent, Talk, words
from fieldctl.strikes.features import BEGIN_NOISE, ENVELOPE_SLOT_US, ENVELOPE_SLOTS, SAMPLE_US, StrikeFeatures
from fieldctl.wire import messages, trace
from fieldctl.wire.messages import Ability, Flags, Reason, Result, Strike, Trace

ROWS: list[Requirement] = []
PAD = int(Ability.PAD)
TRACES = int(Ability.TRACES)
BLOW_US = 400_000  # from one blow to the next: a strike is over, and the pad listens again
LEARNS_US = 1_000_000  # from arming to the first blow: half of what baseline and noise are taken over
TOLD_TIMES = 8
LOG_MOST = 512
PUSHES_WITHIN_US = 6_000_000
WRITES = 3  # power goes at each of so many writes, before and after
ROUNDS = 5
NOISE_STEPS = 1.2  # of the invented pad signal: under a seventh of where a pad that was at rest would begin
BLOW_NOISE = 50  # its peak, in times the noise
TRACED_NOISE = (60, 40, 1_200, 90, 300)  # peaks of five blows, so that their traces need scales of their own
TRACED_AFTER, TRACED_EVERY = 6_000, 2_400  # samples before the first of them, and from one to the next
TRACED_REST = 1_600  # samples before each from which its baseline and noise are known here
SHIFTED_MOST = 4  # samples: the noise is known to some per cent, so that a blow may begin a little sooner or later


def _armed(t: Talk, touches: int = 0) -> None:
    t.expect(t.arm(), Result.DONE, what="Arm")
    t.wait(LEARNS_US)
    for _ in range(touches):
        _touch(t)


def _touch(t: Talk) -> None:
    t.door("touch")
    t.wait(BLOW_US)


def _told(t: Talk) -> Strike:
    told = t.token()
    if not isinstance(told, Strike):
        raise Failed(f"the pad was struck, and it tells no strike but a {type(told).__name__.lower()}")
    return told


def _ack(t: Talk, strike: Strike) -> None:
    t.expect(t.outcome(messages.Ack(strike.strike_boot, strike.number)), Result.DONE, what="an acknowledgement")


def _none_left(t: Talk) -> None:
    told = t.token()
    if isinstance(told, Strike):
        raise Failed(f"all strikes were acknowledged, and it tells number {told.number} of boot {told.strike_boot}")


@row(ROWS, "it logs strikes though it is not armed", needs=PAD, door=("touch",))
def arming(t: Talk) -> None:
    """A pad that is not armed notices nothing; armed it says so and notices; disarmed again it does not."""
    _touch(t)
    if t.flags() & (Flags.STRIKES | Flags.ARMED):
        raise Failed("a pad that was not armed noticed a blow")
    _armed(t)
    if not t.flags() & Flags.ARMED:
        raise Failed("it was armed and does not say so")
    _touch(t)
    _ack(t, _told(t))
    t.arm(False)
    _touch(t)
    if t.flags() & (Flags.STRIKES | Flags.ARMED):
        raise Failed("a pad that is no longer armed noticed a blow")


@row(ROWS, "the strikes of a boot are numbered from 0", needs=PAD, door=("touch",))
def strike_numbered(t: Talk) -> None:
    """Strikes are numbered from 1 within a boot, told oldest first, and each says how many wait."""
    fresh = next((word for word in ("power", "reboot") if word in t.bench.door.offers), "")
    if fresh:
        t.door(fresh, *([300] if fresh == "power" else []))
        t.open()
    _armed(t, touches=3)
    seen = []
    for _ in range(3):
        told = _told(t)
        seen.append((told.strike_boot - t.boot, told.number, told.pending))
        _ack(t, told)
    first = 1 if fresh else seen[0][1]
    if seen != (wanted := [(0, first + n, 3 - n) for n in range(3)]):
        raise Failed(f"(boots back, number, waiting) of three strikes were {seen}, not {wanted}")
    _none_left(t)


@row(ROWS, "a strike is stamped half a second late", needs=PAD, door=("touch",))
def strike_stamped(t: Talk) -> None:
    """A strike is stamped with the target's own ticks of the moment when it happened."""
    _armed(t)
    t.token()
    before = t.ticks() - t.bench.answer_us
    t.door("touch")
    after = t.ticks() + t.bench.answer_us
    t.wait(max(BLOW_US, 2 * t.bench.answer_us) + 400_000)
    told = _told(t)
    if not before <= told.strike_ticks <= after:
        raise Failed(f"struck between ticks {before} and {after}, stamped {told.strike_ticks}")


@row(ROWS, "a strike is told five times and then forgotten", needs=PAD, door=("touch",))
def strike_resent(t: Talk) -> None:
    """A strike is told again, unchanged, until it is acknowledged, and then no more."""
    _armed(t, touches=1)
    first = _told(t)
    for n in range(1, TOLD_TIMES):
        told = t.token()
        if not isinstance(told, Strike):
            raise Failed(f"a strike that nobody acknowledged was told {n} times and no more")
        if _what(told) != _what(first):
            raise Failed(f"a strike was told as {_what(first)} and then as {_what(told)}")
        t.wait(50_000)
    _ack(t, first)
    _none_left(t)


def _what(strike: Strike) -> tuple[object, ...]:
    return strike.strike_boot, strike.number, strike.strike_ticks, strike.features


@row(ROWS, "an acknowledgement also takes out all strikes before it", needs=PAD, door=("touch",))
def strike_acknowledged_singly(t: Talk) -> None:
    """An acknowledgement takes out that strike of that boot and no other."""
    _armed(t, touches=3)
    first = _told(t)
    for boot, number in ((first.strike_boot - 1, first.number), (first.strike_boot, first.number + 1)):
        t.outcome(messages.Ack(boot & 0xFFFF_FFFF, number))
    left = _told(t)
    if (left.number, left.pending) != (first.number, 2):
        raise Failed(
            f"of strikes {first.number} to {first.number + 2} the middle one and one of another boot were taken; "
            f"told is {left.number}, and {left.pending} wait"
        )
    _ack(t, left)
    if (last := _told(t)).number != first.number + 2:
        raise Failed(f"left is strike {last.number}, not {first.number + 2}")
    _ack(t, last)


@row(ROWS, "it pushes a strike once", needs=PAD, medium="radio", door=("touch",))
def strike_pushed(t: Talk) -> None:
    """Over radio a strike is pushed by itself, and again with longer pauses until it is acknowledged."""
    _armed(t)
    t.hear()
    t.door("touch")
    told = [s for s in t.wait(PUSHES_WITHIN_US) if isinstance(s.message, Strike) and s.message.re is None]
    if len(told) < 3:
        raise Failed(f"within {PUSHES_WITHIN_US // 1_000_000} s it pushed a strike {len(told)} times")
    pauses = [b.at_us - a.at_us for a, b in itertools.pairwise(told)]
    if pauses[-1] < pauses[0]:
        raise Failed(f"its pauses do not grow: {[round(p / 1e6, 1) for p in pauses]} s")
    strike = told[0].message
    assert isinstance(strike, Strike)
    _ack(t, strike)
    t.hear()
    t.wait(t.bench.answer_us)
    if any(isinstance(s.message, Strike) for s in t.wait(PUSHES_WITHIN_US)):
        raise Failed("it pushed a strike that was acknowledged")


@row(ROWS, "its log of strikes is lost with the power", needs=PAD, door=("touch", "power"))
def strike_kept(t: Talk) -> None:
    """Strikes that nobody acknowledged are kept over a loss of power, with boot, number and ticks unchanged."""
    _armed(t, touches=2)
    before = _told(t)
    t.door("power", 300)
    t.open()
    after = _told(t)
    if _what(after) != _what(before) or after.pending != 2:
        raise Failed(f"{_what(before)} and one more before, {_what(after)} and {after.pending - 1} more after it")
    _ack(t, after)
    second = _told(t)
    if (second.strike_boot, second.number) != (before.strike_boot, before.number + 1):
        raise Failed(f"the second strike is told as number {second.number} of boot {second.strike_boot}")
    _ack(t, second)


@row(ROWS, "an acknowledged strike is told again after power went at a write", needs=PAD, door=("touch", "cut"))
def strike_cut(t: Talk) -> None:
    """Power that goes at any write loses no strike that was told, doubles none and brings none back."""
    went = 0
    for nth in range(1, WRITES + 1):
        for after in (0, 1):
            went += _cut_at(t, nth, after)
    if went < WRITES:
        raise Failed(f"the power was to go {2 * WRITES} times and went {went} times")


def _cut_at(t: Talk, nth: int, after: int) -> bool:
    boot = t.open().boot
    _armed(t)
    t.door("cut", nth, after)
    told: dict[tuple[int, int], tuple[object, ...]] = {}
    acknowledged: set[tuple[int, int]] = set()
    asked: set[tuple[int, int]] = set()

    def hear_one() -> bool:
        strike = t.token()
        if not isinstance(strike, Strike):
            return False
        key = (strike.strike_boot, strike.number)
        if key in acknowledged:
            raise Failed(f"acknowledged strike {key[1]} of boot {key[0]} came back (power gone at write {nth})")
        if told.setdefault(key, _what(strike)) != _what(strike):
            raise Failed(f"two strikes are number {key[1]} of boot {key[0]} (power gone at write {nth})")
        asked.add(key)
        _ack(t, strike)
        acknowledged.add(key)
        return True

    try:
        for _ in range(ROUNDS):
            _touch(t)
            hear_one()
            if t.boot != boot:
                break
    except Silent:
        pass
    went = t.open().boot != boot
    while hear_one():
        pass
    if lost := told.keys() - acknowledged - asked:
        raise Failed(f"strikes {sorted(lost)} were told and lost (power gone at write {nth})")
    return went


@row(ROWS, "a full log drops what comes and does not count it", needs=PAD, door=("touch", MANY))
def strike_full(t: Talk) -> None:
    """A full log drops what comes, counts it and says so; what was in it is told."""
    _armed(t)
    dropped = t.report().dropped
    for n in range(LOG_MOST):
        t.door("touch")
        t.wait(BLOW_US)
        if n % 8 == 7 and t.report().dropped > dropped:
            break
    else:
        raise Failed(f"after {LOG_MOST} blows nothing was counted as dropped, and {_told(t).pending} wait")
    told = _told(t)
    lost = t.report().dropped - dropped
    if told.pending + lost != n + 1:
        raise Failed(f"of {n + 1} blows {told.pending} wait and {lost} were counted as dropped")


# ---- what is measured -------------------------------------------------------------------------------------------


def blow(t: Talk) -> tuple[list[int], int]:
    """An invented pad signal of 8 s of noise, a blow and 0.6 s of noise, in steps; and the sample of the blow."""
    samples = _noise(t, 34_400)
    at = 32_000
    _strike(samples, at, BLOW_NOISE)
    return samples, at


def _noise(t: Talk, count: int) -> list[int]:
    drawn = t.entropy(12 * count)
    noise = [
        sum(drawn[n : n + 12]) for n in range(0, len(drawn), 12)
    ]  # nearly Gaussian: 12 bytes, mean 1530, deviation 256
    return [round((value - 1530) / 256 * NOISE_STEPS) for value in noise]


def _strike(samples: list[int], at: int, peak_noise: float) -> None:
    """Lay a blow that rings off over the noise; its peak in times the noise."""
    for n in range(400):
        up, down = min(1.0, n / 4), math.exp(-max(0, n - 4) / 24)
        samples[at + n] += round(peak_noise * NOISE_STEPS * up * down * math.cos(math.pi * max(0, n - 4) / 10))


def _play(t: Talk, samples: list[int]) -> None:
    for n in range(0, len(samples), PAD_A_LINE):
        t.door("pad", *samples[n : n + PAD_A_LINE])
    t.wait(len(samples) * SAMPLE_US + BLOW_US)


def measured(samples: list[int], at: int) -> StrikeFeatures:
    """Peak, rise, width and envelope of the one blow, as the contract defines them (others are not compared)."""
    before = samples[at - 8000 : at]
    base = sum(before) / len(before)
    noise = max(1.0, math.sqrt(sum((s - base) ** 2 for s in before) / len(before)))
    away = [abs(s - base) for s in samples[at - 40 : at + 2000]]
    begin = next(n for n, a in enumerate(away) if a > BEGIN_NOISE * noise)
    peak = max(away[begin:])
    top = begin + away[begin:].index(peak)
    last = max(n for n, a in enumerate(away) if a >= peak / 4)
    slot = ENVELOPE_SLOT_US // SAMPLE_US
    envelope = tuple(
        min(255, round(255 * max(away[begin + n * slot : begin + (n + 1) * slot]) / peak))
        for n in range(ENVELOPE_SLOTS)
    )
    return StrikeFeatures(
        round(10 * peak / noise), (top - begin) * SAMPLE_US, (last + 1 - begin) * SAMPLE_US, envelope=envelope
    )


@row(ROWS, "the peak is half of what it is", needs=PAD, door=("pad",))
def strike_features(t: Talk) -> None:
    """Peak, rise, width and envelope of a known blow are measured as the contract says."""
    _armed(t)
    samples, at = blow(t)
    _play(t, samples)
    told = _told(t)
    try:
        got = StrikeFeatures.from_ints(told.features)
    except ValueError as error:
        raise Failed(f"its numbers cannot be read: {error}") from None
    wanted = measured(samples, at)
    wrong = [
        f"{name} {getattr(got, name)}, not {getattr(wanted, name)}"
        for name, within in (("peak", wanted.peak // 10), ("rise_us", 500), ("width_us", 3_000))
        if abs(getattr(got, name) - getattr(wanted, name)) > within
    ]
    if got.envelope and any(abs(a - b) > 16 for a, b in zip(got.envelope, wanted.envelope, strict=True)):
        wrong.append(f"envelope {got.envelope}, not {wanted.envelope}")
    _ack(t, told)
    if wrong:
        raise Failed("; ".join(wrong))
    if isinstance(extra := t.token(), Strike):
        raise Failed(f"one blow was told as two strikes: {words(extra)}")


# ---- raw traces -------------------------------------------------------------------------------------------------


@row(ROWS, "it tells the parts of a trace in the opposite order", needs=PAD | TRACES, door=("pad",))
def strike_traced(t: Talk) -> None:
    """The raw traces of the last four strikes are told part by part, as often as they are asked for, and are what the
    pad was shown; of any other strike there is none."""
    _armed(t)
    samples = _noise(t, TRACED_AFTER + TRACED_EVERY * len(TRACED_NOISE))
    begins = [TRACED_AFTER + n * TRACED_EVERY for n in range(len(TRACED_NOISE))]
    for at, peak in zip(begins, TRACED_NOISE, strict=True):
        _strike(samples, at, peak)
    _play(t, samples)
    oldest = _told(t)
    boot, last = oldest.strike_boot, oldest.number + oldest.pending - 1
    for back, at in enumerate(reversed(begins[1:])):
        first, values = _traced(t, boot, last - back)
        if wrong := _differs(first, values, samples, at):
            raise Failed(f"the trace of the {_BACK[back]} of five blows is not what the pad was shown: {wrong}")
    again, _ = _traced(t, boot, last)
    for what, ask in (
        ("of the fifth strike back", messages.TraceAsk((last - len(_BACK)) & 0xFFFF_FFFF, boot, 0)),
        ("of a strike to come", messages.TraceAsk(last + 1, boot, 0)),
        ("of another boot", messages.TraceAsk(last, boot + 1, 0)),
        ("beyond the last part", messages.TraceAsk(last, boot, again.parts)),
    ):
        t.expect(t.outcome(ask), Result.REFUSED, Reason.NO_SUCH_TRACE, what=f"a question for a trace {what}")


_BACK = ("last", "last but one", "third", "second")


def _traced(t: Talk, boot: int, number: int) -> tuple[Trace, list[int]]:
    """The first part of a trace, and all of it in steps of the converter about the baseline."""
    parts: list[Trace] = []
    while not parts or len(parts) < parts[0].parts:
        told = t.order(messages.TraceAsk(number, boot, len(parts)))
        if not isinstance(told, Trace):
            raise Failed(f"part {len(parts)} of the trace of strike {number} was answered {words(told)}")
        if (told.strike_boot, told.number, told.part) != (boot, number, len(parts)):
            raise Failed(f"asked for part {len(parts)} of strike {number} it told {told.part} of {told.number}")
        parts.append(told)
        if not trace.fits(parts[0], told):
            raise Failed(f"part {told.part} of the trace of strike {number} says other things of it than part 0")
    return parts[0], [step for told in parts for step in trace.in_steps(told.samples, told.scale)]


def _differs(told: Trace, values: list[int], samples: list[int], at: int) -> str:
    """What is wrong with a trace of the blow at this sample; nothing when it fits there."""
    rest = samples[at - TRACED_REST : at]
    base = sum(rest) / len(rest)
    noise = max(1.0, math.sqrt(sum((s - base) ** 2 for s in rest) / len(rest)))
    if told.every % SAMPLE_US or not told.every or not 0 < told.before < len(values):
        return f"a sample every {told.every} µs, {told.before} of {len(values)} before the begin"
    if abs(told.begins - BEGIN_NOISE * noise) > 2 + BEGIN_NOISE * noise / 4:
        return f"it says that the begin had to exceed {told.begins} steps, not {BEGIN_NOISE * noise:.0f}"
    begin = next(n for n in range(at, len(samples)) if abs(samples[n] - base) > BEGIN_NOISE * noise)
    stride = told.every // SAMPLE_US
    within = 2**told.scale + 2  # rounded down, and a baseline of its own
    off = min(
        max(abs(value - samples[begin + shift + (n - told.before) * stride] + base) for n, value in enumerate(values))
        for shift in range(-SHIFTED_MOST, SHIFTED_MOST + 1)
    )
    return f"off by {off:.0f} steps, where {within} are allowed" if off > within else ""
