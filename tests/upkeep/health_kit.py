"""The pads, links and housings of invented winters as the product would read them, day by day."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
from upkeep_kit import BOOT, samples, target_of

from fieldctl.events import (
    CallMade,
    DayOpened,
    ExerciseStarted,
    Fact,
    StrikeRecorded,
    TargetAdded,
    TargetGreeted,
)
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import DAY_US, Telemetry
from fieldctl.strikes import Kind
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp
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
            tuple(sorted(turns[n], key=lambda turn: turn.day)),
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


def write_facts(ledger: Ledger, health: Health) -> None:
    """Put into a ledger what it would hold of a winter: strikes, exercises, calls, openings, boots, targets added."""
    for minute, together in sorted(facts(health).items()):
        moment = datetime.datetime.fromtimestamp((FIRST_DAY * 1440 + minute) * 60, datetime.UTC)
        wall = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        ledger.append(together, at=HostTime(BOOT, minute * 60_000_000), wall=wall)


def facts(health: Health) -> dict[int, list[Fact]]:
    """The facts by the minute of the winter in which they were written down."""
    by_minute: dict[int, list[Fact]] = defaultdict(list)

    def note(day: float, fact: Fact) -> None:
        by_minute[int(day * 1440)].append(fact)

    who, zero = PersonId("p-mira"), HostTime(BOOT, 0)
    for n in range(TARGETS):
        note(0.0, TargetAdded(target_of(n), f"{n:016x}", f"line-{n % LINES}", 1, who))
    for n, blow in enumerate(health.blows):
        stamp = Stamp(HostTime(BOOT, int(blow.day * DAY_US)), 800)
        burial = None if blow.exercise is None else "A"
        note(blow.day, StrikeRecorded(
            target_of(blow.target), BootId(1), n, NodeTicks(n), stamp, blow.features, blow.taken_for, blow.rule,
            blow.exercise, burial, f"line-{blow.target % LINES}", (1, 2, 3, 4, 5, 6, 7, 8),
        ))  # fmt: skip
    for played in health.exercises:
        picks = {burial: target_of(target) for burial, target in played.picks.items()}
        start = Stamp(HostTime(BOOT, int(played.day * DAY_US)), 0)
        plan = {"title": "One (invented)", "limit_min": 15}
        note(played.day - 0.002, ExerciseStarted(played.name, "one", plan, 1, picks, ("p-jon",), who, start))
        for burial in played.called or ():
            note(played.day + 0.002, CallMade(played.name, f"{played.name}-{burial}", burial, "p-jon", start, who))
    for day, touched in health.openings:
        plates = tuple(target_of(n) for n in touched)
        note(day, DayOpened(who, zero, "low", 1.9, (), (), plates, "none"))
    for target, day, boot, why in health.starts:
        note(day, TargetGreeted(target_of(target), BootId(boot), why, "", "1", 1, ("pad",), zero))
    return by_minute


def health_samples(winter: Winter, health: Health, minutes: int, days: range) -> Iterator[Telemetry]:
    """As `upkeep_kit.samples`, with what a controller notes of pad and link."""
    for row in samples(winter, minutes, days):
        at = (int(row.target, 16) - int(target_of(0), 16), *divmod(row.at.us // 3_600_000_000, 24))
        at = (at[0], at[1], at[2] - OPENS_AT_H)
        counts = {
            name: int(getattr(health, name)[at])
            for name in ("asked", "answered", "resent", "orders_lost", "plus_minus_us")
        }
        yield replace(
            row,
            noise=float(health.noise[at]),
            temperature_c=round(float(health.celsius[at]), 2),
            extra={**row.extra, **counts},
        )
