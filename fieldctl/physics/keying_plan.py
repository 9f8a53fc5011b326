"""Picks periods and on-times within EN 300 718-1: pulses kept apart, left to fall as they may, or made to clash.

Two targets' clocks part by up to twice their drift, so that whatever is arranged at the start holds for a time only;
each plan says for how long. Trains begin at the ticks that their grants name, which is how a phase can be chosen.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from fieldctl.keying import OFF_MIN_MS, ON_MIN_MS, PERIOD_MAX_MS, PERIOD_MIN_MS, Keying, longest_on_ms
from fieldctl.physics.pulses import Train

USUAL_PERIOD_MS = 1000
USUAL_ON_MS = 100
CLOCK_DRIFT_PPM = 150.0
"""What a cold tuning-fork crystal is allowed before it was observed (design, section 4)."""
OVERLAP_AT_MOST_S = 20.0  # pulses that fall as they may: long enough to be met, short enough to wait for


class Wish(Enum):
    """How the pulses of a drill are to lie."""

    APART = "apart"
    FALL = "fall"
    CLASH = "clash"


@dataclass(frozen=True, slots=True)
class Planned:
    """Trains for a wish; `met` whether it can be had, `said` which part could not and what was taken instead (empty
    when met), `holds_s` how long it holds at the clocks' drift."""

    trains: tuple[Train, ...]
    met: bool
    said: str
    holds_s: float


def plan_keying(
    count: int, wish: Wish, *, lasts_s: float = 900.0, drift_ppm: float = CLOCK_DRIFT_PPM, seed: int = 0
) -> Planned:
    """Legal trains for `count` transmitters that hold a wish through `lasts_s`, or the nearest that can be had.

    `drift_ppm` is each clock's own; `seed` draws the phases of pulses that fall as they may.
    """
    if count < 1 or lasts_s <= 0.0 or drift_ppm < 0.0:
        raise ValueError("a plan needs at least one transmitter, some time, and a drift of 0 or more")
    part_per_s = 2.0 * drift_ppm * 1e-3  # ms by which two clocks part in a second
    if count == 1:
        return Planned((Train(Keying(USUAL_PERIOD_MS, USUAL_ON_MS)),), True, "", np.inf)
    if wish is Wish.APART:
        return _apart(count, lasts_s, part_per_s)
    if wish is Wish.CLASH:
        return _clash(count, lasts_s, part_per_s)
    return _fall(count, seed)


def _holds(slack_ms: float, part_per_s: float) -> float:
    return np.inf if part_per_s == 0.0 else max(0.0, slack_ms) / part_per_s


def _apart(count: int, lasts_s: float, part_per_s: float) -> Planned:
    """One period for all, phases evenly round it: the widest gap that there is."""
    choices = (
        (USUAL_PERIOD_MS, USUAL_ON_MS),
        (USUAL_PERIOD_MS, ON_MIN_MS),
        (PERIOD_MAX_MS, USUAL_ON_MS),
        (PERIOD_MAX_MS, ON_MIN_MS),
    )
    period, on = next(((p, o) for p, o in choices if p / count - o > lasts_s * part_per_s), choices[-1])
    slack = period / count - on
    trains = tuple(Train(Keying(period, on), i * period / count) for i in range(count))
    holds = _holds(slack, part_per_s)
    if slack > lasts_s * part_per_s:
        return Planned(trains, True, "", holds)
    if slack <= 0.0:
        most = int(PERIOD_MAX_MS / ON_MIN_MS)
        said = (
            f"{count} pulses of {on} ms cannot stand apart within {period} ms: {most} are the most; "
            "they overlap as little as can be had"
        )
    else:
        said = f"{count} pulses stay apart for {holds:.0f} s only, not for {lasts_s:.0f} s, as the clocks drift"
    return Planned(trains, False, said, holds)


def _clash(count: int, lasts_s: float, part_per_s: float) -> Planned:
    """One period and one phase; on-times long enough that drift does not part them."""
    wanted = int(np.ceil(lasts_s * part_per_s)) + 1
    for period in (USUAL_PERIOD_MS, PERIOD_MAX_MS):
        if max(USUAL_ON_MS, wanted) <= longest_on_ms(period):
            on = max(USUAL_ON_MS, wanted)
            return Planned((Train(Keying(period, on)),) * count, True, "", _holds(on, part_per_s))
    on = PERIOD_MAX_MS - OFF_MIN_MS
    holds = _holds(on, part_per_s)
    said = f"pulses of {on} ms, the longest allowed, clash for {holds:.0f} s only, not for {lasts_s:.0f} s"
    return Planned((Train(Keying(PERIOD_MAX_MS, on)),) * count, False, said, holds)


def _fall(count: int, seed: int) -> Planned:
    """Periods far enough from each other that no overlap of two lasts long, at phases drawn by the seed."""
    room = PERIOD_MAX_MS - PERIOD_MIN_MS
    # An overlap of two lasts (τ₁+τ₂)/|T₁−T₂| cycles of about a second.
    wanted = int(np.ceil(2 * USUAL_ON_MS * USUAL_PERIOD_MS / 1000 / OVERLAP_AT_MOST_S))
    step = min(wanted, room // max(1, count - 1))
    if step < 1:
        step, said = 0, f"only {room + 1} different periods are lawful; some of {count} share one"
    elif step < wanted:
        said = f"{count} transmitters leave {step} ms between periods: an overlap of two may last longer than wished"
    else:
        said = ""
    periods = USUAL_PERIOD_MS + step * (np.arange(count) - (count - 1) // 2)
    phases = np.random.default_rng(seed).uniform(0.0, 1.0, count)
    trains = tuple(
        Train(Keying(int(period), USUAL_ON_MS), float(phase * period))
        for period, phase in zip(periods, phases, strict=True)
    )
    return Planned(trains, not said, said, np.inf)
