"""Where a pad's threshold could lie, judged by the strikes that it has told of.

A threshold only decides what begins a strike, so that stored strikes can show what a higher one would have cost, and
nothing of what a lower one would have brought: none below the target's own is ever proposed. Pure; changes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fieldctl.strikes.features import BEGIN_NOISE
from fieldctl.strikes.table import Kind

OWN = 10 * BEGIN_NOISE  # the target's own threshold, in tenths of the noise as `Arm` has it
HIGHEST = 1000  # tenths of the noise: the weakest probe of the invented corpus has 130 and more
PROBES_LEAST = 20  # under so many strikes taken for probes nobody knows how weak the weakest is
MARGIN = 0.5  # our own: half the weakest probe so far, since the next one may be weaker


@dataclass(frozen=True, slots=True)
class Effect:
    """What a threshold would have done: stored strikes by kind, and how many of them would not have begun."""

    threshold: int
    stored: dict[str, int]
    not_begun: dict[str, int]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A threshold in tenths of the noise, why, and what it and some others would have done."""

    threshold: int
    why: str
    effects: tuple[Effect, ...]


def effect(strikes: Iterable[tuple[str, Sequence[int]]], threshold: int) -> Effect:
    """What a threshold would have done; `strikes` as (taken for, features), of which the first number is the peak."""
    stored: Counter[str] = Counter()
    lost: Counter[str] = Counter()
    for kind, features in strikes:
        stored[kind] += 1
        lost[kind] += bool(features) and features[0] < threshold
    return Effect(threshold, dict(stored), dict(lost))


def propose(strikes: Sequence[tuple[str, Sequence[int]]]) -> Proposal:
    """The highest threshold that keeps clear of every probe so far, or the target's own with the reason for it."""
    probes = sorted(features[0] for kind, features in strikes if kind == Kind.PROBE and features)
    others = [features[0] for kind, features in strikes if kind != Kind.PROBE and features]
    if len(probes) < PROBES_LEAST:
        return _stay(strikes, f"{len(probes)} strikes taken for probes are too few to tell: {PROBES_LEAST} at least")
    clear = int(probes[0] * MARGIN)
    if clear <= OWN:
        return _stay(
            strikes, f"the weakest probe so far had {probes[0] / 10:.1f} × the noise: no room above the own one"
        )
    quieter = sum(peak < clear for peak in others)
    if not quieter:
        return _stay(
            strikes, f"nothing that was no probe lies below {clear / 10:.1f} × the noise: it would change nothing"
        )
    why = f"half of the weakest of {len(probes)} probes; {quieter} of {len(others)} others had not begun"
    steps = sorted({OWN, (OWN + clear) // 2, clear})
    return Proposal(clear, why, tuple(effect(strikes, threshold) for threshold in steps))


def _stay(strikes: Sequence[tuple[str, Sequence[int]]], why: str) -> Proposal:
    return Proposal(OWN, why, (effect(strikes, OWN),))
