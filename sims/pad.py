"""Invented pad events: what a target would measure of a probe, of steps beside it, of a vehicle that passes.

Nothing published was found on a probe that strikes a pad; every number here is invented and says so. Steps repeat every
0.50 to 0.69 s and last over 0.12 s each (JASA 129:1306, 2011; seen). Each event is a series of touches: how long after
its begin each comes, and what the target measures of it.
"""

from __future__ import annotations

from random import Random
from typing import Protocol

from fieldctl.strikes.features import LOOK_BACK_MS, StrikeFeatures
from sims.world import Scheduler

INVENTED = True
Touch = tuple[int, StrikeFeatures]
"""Microseconds after the event's begin, and what is measured (invented)."""


class Touched(Protocol):
    """Whoever has a pad."""

    def strike(self, features: tuple[int, ...]) -> tuple[int, int] | None:
        """Somebody touches it now."""


def play(scheduler: Scheduler, node: Touched, touches: list[Touch]) -> None:
    """Let an event happen at a pad, beginning now."""
    now = scheduler.now_us()
    for after_us, features in touches:
        scheduler.call_at(now + after_us, node.strike, features.as_ints())


def probe(rng: Random) -> list[Touch]:
    """One sharp, short blow, far above the noise."""
    rise = rng.randrange(500, 3_000)
    width = rise + rng.randrange(3_000, 25_000)
    envelope = (255, rng.randrange(10, 60), rng.randrange(0, 20), *(rng.randrange(0, 8) for _ in range(5)))
    return [(0, StrikeFeatures(rng.randrange(250, 900), rise, width, rng.randrange(180, 320), 6, envelope=envelope))]


def steps(rng: Random, count: int = 6) -> list[Touch]:
    """Somebody walks past: blows that last as long as steps, at walking pace."""
    pace_us = rng.randrange(520_000, 670_000)
    nearest = (count - 1) / 2
    touches: list[Touch] = []
    at = 0
    for i in range(count):
        gap_us = pace_us + rng.randrange(-15_000, 15_000)
        at += gap_us if i else 0
        recent = [t for t, _ in touches if at - t < LOOK_BACK_MS * 1000]
        rise = rng.randrange(15_000, 50_000)
        touches.append(
            (
                at,
                StrikeFeatures(
                    peak=int(rng.randrange(130, 260) / (1 + abs(i - nearest) / 6)),
                    rise_us=rise,
                    width_us=rise + rng.randrange(125_000, 230_000),
                    energy=rng.randrange(120, 240),
                    slow_percent=rng.randrange(60, 90),
                    repeats=len(recent),
                    repeat_ms=(at - recent[-1]) // 1000 if recent else 0,
                ),
            )
        )
    return touches


def vehicle(rng: Random, count: int = 14) -> list[Touch]:
    """A vehicle passes: many weak, long swells that grow and fade."""
    touches: list[Touch] = []
    at = 0
    nearest = (count - 1) / 2
    for i in range(count):
        recent = [t for t, _ in touches if at - t < LOOK_BACK_MS * 1000]
        rise = rng.randrange(80_000, 300_000)
        level = rng.randrange(110, 160)
        touches.append(
            (
                at,
                StrikeFeatures(
                    peak=int(rng.randrange(130, 170) / (1 + abs(i - nearest) / 14)),
                    rise_us=rise,
                    width_us=rise + rng.randrange(420_000, 700_000),
                    energy=rng.randrange(60, 140),
                    slow_percent=rng.randrange(65, 95),
                    repeats=min(len(recent), 255),
                    repeat_ms=(at - recent[-1]) // 1000 if recent else 0,
                    envelope=(*(level + rng.randrange(0, 40) for _ in range(7)), 255),
                ),
            )
        )
        at += rise + rng.randrange(720_000, 1_100_000)
    return touches
