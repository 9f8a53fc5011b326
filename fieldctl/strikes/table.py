"""What a strike is taken for: a table of rules with reasons; the first that holds decides.

Doubts stand above claims, and where nothing holds the answer is `unsure`: it goes on the list for a person to judge.
Nothing is ever dropped here. To take a step for a probe ends a burial that was not found; to take a probe for a step
hides a find. Both are worse than asking.

Sources. Steps repeat every 0.50 to 0.69 s and last over 0.12 s each, and are impulsive against vehicles and wind: JASA
129:1306, 2011 (seen, in its abstract; not about pads in snow). A hammer's pulse lasts about 1 ms with a medium tip and
4 ms with a soft one (second-hand); that a probe's tip is as hard as that is our assumption, and a plate rings on, so
that `width_us` may be longer. Nothing published was found on a probe striking a pad. Every limit below that names no
source is our own, chosen with wide gaps between claims, and has to be checked on a real field.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from fieldctl.strikes.features import LOOK_BACK_MS, StrikeFeatures

PACE_MS = (500, 690)  # JASA 129:1306: from one step to the next
STEP_LASTS_US = 120_000  # JASA 129:1306: a step lasts longer
KNOCK_RISE_US = 5_000  # our own: a soft hammer's pulse is over in 4 ms; one sample and the sensor's delay more
KNOCK_LASTS_US = 60_000  # our own: half the shortest step, room for a plate that rings
CLEAR_PEAK = 120  # our own: twelve times the noise
FAINT_PEAK = 80  # our own: eight times; a strike begins at seven
RUMBLE_LASTS_US = 400_000  # our own: longer than a step and its echo, shorter than anything that drives past
RUMBLE_RISE_US = 50_000  # our own: an engine comes nearer, it does not strike
SLOW_PERCENT = 50  # our own: half the energy below 40 Hz
LOOK_BACK_US = LOOK_BACK_MS * 1_000


class Kind(StrEnum):
    """What a strike may be taken for."""

    PROBE = "probe"
    STEP = "step"
    VEHICLE = "vehicle"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class RecentStrike:
    """An earlier strike on the same pad in the same boot: `ago_us` of the target's own ticks before this one."""

    ago_us: int
    features: StrikeFeatures


@dataclass(frozen=True, slots=True)
class Taken:
    """What a strike is taken for, by which rule, and the reason for people."""

    kind: Kind
    rule: str
    reason: str


@dataclass(frozen=True, slots=True)
class _Company:
    """What came before a strike: how many at walking pace in a row, and whether the last of them lasted as steps do."""

    at_pace: int
    like_steps: bool


@dataclass(frozen=True, slots=True)
class Rule:
    """One row: a name that never changes once it stands in a ledger, the kind, when it holds, and why."""

    name: str
    kind: Kind
    holds: Callable[[StrikeFeatures, _Company], bool]
    why: str


def _sharp(f: StrikeFeatures) -> bool:
    return f.rise_us <= KNOCK_RISE_US and f.width_us <= KNOCK_LASTS_US and f.slow_percent < SLOW_PERCENT


def _dies_away(f: StrikeFeatures) -> bool:
    """Whether the envelope, where there is one, falls as a blow does: after 75 ms never above half."""
    return max(f.envelope[3:], default=0) <= 127


def _goes_on(f: StrikeFeatures) -> bool:
    """Whether the envelope, where there is one, shows no blow: its first 50 ms at most three times the rest."""
    return not f.envelope or max(f.envelope[:2]) <= 3 * max(f.envelope[2:])


RULES: tuple[Rule, ...] = (
    Rule(
        "contradiction",
        Kind.UNSURE,
        lambda f, _: f.rise_us > f.width_us or (f.repeats == 0) != (f.repeat_ms == 0),
        "its numbers contradict one another",
    ),
    Rule("faint", Kind.UNSURE, lambda f, _: f.peak < FAINT_PEAK, "it hardly stands out of the noise"),
    Rule(
        "knock-at-walking-pace",
        Kind.UNSURE,
        lambda f, company: _sharp(f) and company.at_pace >= 2,
        "sharp as a probe, but one of several at walking pace: steps on hard snow, or quick probing",
    ),
    Rule(
        "knock-with-afterplay",
        Kind.UNSURE,
        lambda f, _: _sharp(f) and not _dies_away(f),
        "sharp as a probe, but something as strong came right after it",
    ),
    Rule(
        "knock-not-clear",
        Kind.UNSURE,
        lambda f, _: _sharp(f) and f.peak < CLEAR_PEAK,
        "sharp as a probe, but weak: a touch, or a blow beside the pad",
    ),
    Rule("knock", Kind.PROBE, lambda f, _: _sharp(f), "one sharp, short blow well above the noise"),
    Rule(
        "rumble",
        Kind.VEHICLE,
        lambda f, _: (
            f.width_us >= RUMBLE_LASTS_US
            and f.rise_us >= RUMBLE_RISE_US
            and f.slow_percent >= SLOW_PERCENT
            and _goes_on(f)
        ),
        "a long, slow swell without a blow in it",
    ),
    Rule(
        "walk",
        Kind.STEP,
        lambda f, company: (
            STEP_LASTS_US <= f.width_us < RUMBLE_LASTS_US
            and f.rise_us > KNOCK_RISE_US
            and company.at_pace >= 1
            and company.like_steps
        ),
        "it lasts as long as a step, and another like it came one pace before",
    ),
    Rule(
        "tread",
        Kind.STEP,
        lambda f, _: (
            STEP_LASTS_US <= f.width_us < RUMBLE_LASTS_US
            and f.rise_us > 2 * KNOCK_RISE_US
            and f.slow_percent >= SLOW_PERCENT
        ),
        "soft, slow and as long as a step",
    ),
    Rule("neither", Kind.UNSURE, lambda _f, _c: True, "neither a clear knock nor a clear step nor a vehicle"),
)


def take_for(features: StrikeFeatures, recent: Sequence[RecentStrike]) -> Taken:
    """What a strike is taken for, given the earlier ones on the same pad (any order; older than 3 s do not matter)."""
    company = _company(features, recent)
    rule = next(rule for rule in RULES if rule.holds(features, company))
    return Taken(rule.kind, rule.name, f"{rule.why} ({_figures(features, company)})")


def take_for_ints(ints: Sequence[int], recent: Sequence[tuple[int, Sequence[int]]]) -> Taken:
    """As `take_for`, from numbers as they came or as the ledger keeps them, `recent` as (ago_us, ints).

    Numbers that are none are `unsure` and for a person to judge; an unreadable earlier strike is passed over.
    """
    before = []
    for ago_us, earlier in recent:
        try:
            before.append(RecentStrike(ago_us, StrikeFeatures.from_ints(earlier)))
        except ValueError:
            continue
    try:
        features = StrikeFeatures.from_ints(ints)
    except ValueError as wrong:
        return Taken(Kind.UNSURE, "unreadable", f"its numbers cannot be read: {wrong}")
    return take_for(features, before)


def _company(features: StrikeFeatures, recent: Sequence[RecentStrike]) -> _Company:
    """Count back from now, pace by pace; where no earlier strike is known, ask the target's own count."""
    before = sorted((r for r in recent if 0 < r.ago_us <= LOOK_BACK_US), key=lambda r: r.ago_us)
    if not before:
        paced = PACE_MS[0] <= features.repeat_ms <= PACE_MS[1]
        return _Company(features.repeats if paced else 0, like_steps=False)
    at_pace, from_us = 0, 0
    like_steps = False
    for strike in before:
        gap_us = strike.ago_us - from_us
        if gap_us < PACE_MS[0] * 1_000:
            continue  # the ringing of a step, or somebody else's: look for one a whole pace before
        if gap_us > PACE_MS[1] * 1_000:
            break
        if at_pace == 0:
            like_steps = strike.features.width_us >= STEP_LASTS_US
        at_pace, from_us = at_pace + 1, strike.ago_us
    return _Company(at_pace, like_steps)


def _figures(f: StrikeFeatures, company: _Company) -> str:
    """The numbers that decide, for people."""
    words = f"{f.peak / 10:.1f} × the noise, up in {f.rise_us / 1000:g} ms, over in {f.width_us / 1000:g} ms"
    return words + (f", {company.at_pace} at walking pace before it" if company.at_pace else "")
