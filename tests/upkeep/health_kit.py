"""The pads, links and housings of invented winters as the product would read them, day by day."""

from __future__ import annotations

from collections import defaultdict
from functools import cache

import numpy as np
from upkeep_kit import target_of

from fieldctl.strikes import Kind
from fieldctl.upkeep.account import Finding
from fieldctl.upkeep.health import findings_of
from fieldctl.upkeep.past import Joined, Past, Start, Strikes, Turn
from fieldctl.upkeep.series import Season, season_of
from fieldctl.upkeep.told import Told
from sims.winter import DAYS, FIRST_DAY, HOURS, TARGETS, Winter
from sims.winter_health import LINES, OPENS_AT_H, Health


def told(winter: Winter, health: Health, target: int) -> Told:
    day = (FIRST_DAY + np.arange(DAYS)[:, None] + (OPENS_AT_H + np.arange(HOURS)) / 24).ravel()
    arrays = (
        winter.rest_v, winter.load_v, health.celsius, health.noise, winter.counted_mas, health.asked, health.answered,
        health.resent, health.orders_lost, health.plus_minus_us, np.full(health.noise.shape, np.nan),
    )  # fmt: skip
    values = [each[target].ravel() for each in arrays]
    said = ~np.isnan(values[0])
    return Told(day[said], *(each[said] for each in values))


def pasts(winter: Winter, health: Health) -> list[Past]:
    """Every target's past, as the ledger of that winter would give it."""
    strikes = defaultdict(list)
    felt = set()
    for blow in health.blows:
        peak, rise, width, repeats = (blow.features[n] for n in (0, 1, 2, 5))
        sharp = rise <= 5_000 and width <= 60_000
        kind = blow.taken_for
        strikes[blow.target].append((FIRST_DAY + blow.day, peak, sharp, kind == "probe", kind == "unsure", repeats))
        if blow.exercise is not None and kind in (Kind.PROBE, Kind.UNSURE):
            felt.add((blow.exercise, blow.target))
    turns = defaultdict(list)
    for played in health.exercises:
        known = bool(played.called)
        for burial, target in played.picks.items():
            called = burial in played.called if known and played.called is not None else None
            turns[target].append(Turn(FIRST_DAY + played.day, (played.name, target) in felt, called))
    starts = defaultdict(list)
    for target, day, boot, why in health.starts:
        starts[target].append(Start(FIRST_DAY + day, boot, why))
    return [
        Past(
            target_of(n),
            told(winter, health, n),
            Strikes(*np.array(strikes[n], dtype=np.float64).reshape(-1, 6).T),
            tuple(turns[n]),
            tuple(FIRST_DAY + day for day, touched in health.openings if n in touched),
            tuple(starts[n]),
            (Joined(float(FIRST_DAY), f"line-{n % LINES}"),),
        )
        for n in range(TARGETS)
    ]


class Invented:
    """One winter, looked at on any evening."""

    def __init__(self, seed: int) -> None:
        self.winter = Winter.of(seed)
        self.health = Health.of(self.winter)
        self.pasts = pasts(self.winter, self.health)
        self.season: Season = season_of(self.pasts, FIRST_DAY + DAYS - 1.0)

    def found(self, day: int) -> list[tuple[Finding, ...]]:
        """Findings of each target on the evening of a day."""
        today = float(FIRST_DAY + day)
        return list(findings_of(self.pasts, self.season.upto(today), today).values())


@cache
def invented(seed: int) -> Invented:
    """The winter of a seed."""
    return Invented(seed)
