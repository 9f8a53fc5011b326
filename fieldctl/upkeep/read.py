"""From a site and its ledger to the account of its batteries; only reads, beside a running writer or from a copy.

Days of opening and exercises are taken from the latest entries alone: what was usual in October tells little of March.
As of an earlier day means by what was told and written down until then; an entry without a wall's label counts.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from fieldctl.events import (
    BatterySwapped,
    DayClosed,
    DayOpened,
    ExerciseStarted,
    Fact,
    KitRead,
    SwapTakenBack,
    TargetAdded,
    TargetGreeted,
    TargetNamed,
    TargetTakenOut,
)
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Battery, Site, UpkeepRules
from fieldctl.site.whereabouts import LATER
from fieldctl.units import TargetId
from fieldctl.upkeep.account import Field, Finding, Place, Upkeep, field_account
from fieldctl.upkeep.curves import CHEMISTRIES
from fieldctl.upkeep.energy import Calendar
from fieldctl.upkeep.health import health_findings
from fieldctl.upkeep.kit import kit_account
from fieldctl.upkeep.read_health import read_pasts
from fieldctl.upkeep.readings import day_number, hours_of
from fieldctl.upkeep.snow import place_findings
from fieldctl.upkeep.snow_log import read_snow
from fieldctl.upkeep.told import Log, told_of
from fieldctl.upkeep.visits import BATTERY, KINDS, fold, swaps_in_force

LATEST_ENTRIES = 20_000
DAYS_LEAST = 3  # days with exercises, below which the site's plan stands


def read_upkeep(reader: Reader, site: Site, today: datetime.date) -> Upkeep:
    """The account of every target of the site as of today, and of the base's supply and the club's kit."""
    reads = [fact for fact in _facts(reader, (KitRead,), today) if isinstance(fact, KitRead)]
    kit = kit_account(site.kit, reads, site.upkeep, today, reader.names())
    return replace(field_account(read_field(reader, site, today)), kit=kit)


def read_field(reader: Reader, site: Site, today: datetime.date, log: Log | None = None) -> Field:
    """What the account is made from; `log` is what targets told by then, where it was read already."""
    log = told_of(reader.telemetry_hours()).upto(today) if log is None else log
    hours = {target: hours_of(told) for target, told in log.targets.items()}
    swaps, disputed = _swaps(reader, today)
    batteries = {}
    for place in site.places:
        battery = site.battery(place.target)
        if battery is not None:
            batteries[place.target] = battery
    kinds = (ExerciseStarted, DayOpened, DayClosed, TargetAdded, TargetGreeted, TargetNamed, TargetTakenOut)
    latest = _by(reader.entries(max(0, reader.head()[0] - LATEST_ENTRIES), kinds=kinds), today)
    names = {e.fact.target: e.fact.name for e in latest if isinstance(e.fact, TargetNamed)}
    there = {
        e.fact.target: isinstance(e.fact, TargetAdded)
        for e in latest
        if isinstance(e.fact, TargetAdded | TargetTakenOut)
    }
    places = tuple(
        Place(place.target, names.get(place.target, place.name), place.zone)
        for place in site.places
        if there.get(place.target, True)
    )
    ticks = {target: sorted(day for day, _ in found) for target, found in swaps.items()}
    for target, found in swaps.items():
        if target in batteries:
            batteries[target] = _as_put_in(batteries[target], max(found, key=lambda each: each[0])[1])
    day = float(day_number(today))
    pasts = read_pasts(reader, site, log, today)
    sick = health_findings([pasts[place.target] for place in places], day)
    lies = place_findings(site, read_snow(reader), today)
    also = {
        place.target: (*disputed.get(place.target, ()), *sick.get(place.target, ()), *lies.get(place.target, ()))
        for place in places
    }
    return Field(day, site.upkeep, places, batteries, hours, ticks, calendars(latest, site), log.lost, also)


def _by(entries: Iterable[Entry], today: datetime.date) -> list[Entry]:
    """Entries that were written by the end of a day."""
    last = today.isoformat()
    return [entry for entry in entries if entry.wall is None or entry.wall[:10] <= last]


def _facts(reader: Reader, kinds: tuple[type[Fact], ...], today: datetime.date) -> list[Fact]:
    return [entry.fact for entry in _by(reader.entries(kinds=kinds), today)]


def _swaps(
    reader: Reader, today: datetime.date
) -> tuple[dict[TargetId, list[tuple[float, BatterySwapped]]], dict[TargetId, tuple[Finding, ...]]]:
    """Changes of battery in force with their days; and those of which two ticks say different things, as questions."""
    facts = _facts(reader, (*KINDS, SwapTakenBack), today)
    disputed = {
        (item.target, tick.said.day)
        for visit in fold(facts).values()
        for item in visit.items
        if item.key == BATTERY and item.two_say
        for tick in item.ticks
        if tick.said.done
    }
    found: dict[TargetId, list[tuple[float, BatterySwapped]]] = {}
    asked: dict[TargetId, tuple[Finding, ...]] = {}
    for fact in swaps_in_force(facts):
        day = float(day_number(datetime.date.fromisoformat(fact.day)))
        if day > day_number(today + LATER):
            continue
        if (fact.target, fact.day) in disputed:
            asked[fact.target] = (*asked.get(fact.target, ()), Finding("two-say", "sure", day))
        else:
            found.setdefault(fact.target, []).append((day, fact))
    return found, asked


def _as_put_in(battery: Battery, fact: BatterySwapped) -> Battery:
    """The battery as it was put in last; the file's limits stand."""
    if fact.chemistry not in CHEMISTRIES:
        return battery
    return Battery(fact.chemistry, fact.cells, fact.capacity_ah, battery.load_a, battery.least_v, battery.change_at)


def calendars(entries: Iterable[Entry], site: Site) -> dict[TargetId, Calendar]:
    """A usual day of each target, as carried out; the site's plan where the log has too few days."""
    started: Counter[TargetId] = Counter()
    links: dict[TargetId, str] = {}
    can: dict[TargetId, tuple[str, ...]] = {}
    days: set[str] = set()
    opened: str | None = None
    lengths: list[float] = []
    for entry in entries:
        fact, wall = entry.fact, entry.wall
        if isinstance(fact, TargetAdded):
            links[fact.target] = fact.link
        elif isinstance(fact, TargetGreeted):
            can[fact.target] = fact.abilities
        elif wall is None:
            continue
        elif isinstance(fact, ExerciseStarted):
            days.add(wall[:10])
            started.update(TargetId(target) for target in fact.picks.values())
        elif isinstance(fact, DayOpened):
            opened = wall
            days.add(wall[:10])
        elif isinstance(fact, DayClosed) and opened is not None:
            begin, end = (datetime.datetime.fromisoformat(each) for each in (opened, wall))
            lengths.append((end - begin).total_seconds() / 3600.0)
            opened = None
    wired = {link.name for link in site.serial}  # whoever is on the air is powered, and never sleeps
    sleep = {target for target, link in links.items() if link in wired and "sleep" in can.get(target, ())}
    rules: UpkeepRules = site.upkeep
    usual = sorted(hours for hours in lengths if 0 < hours <= 24)
    hours = usual[len(usual) // 2] if len(usual) >= DAYS_LEAST else rules.open_hours
    if len(days) < DAYS_LEAST:
        each = rules.exercises / max(1, len(site.places)) * 2  # two or three burials an exercise
        return {place.target: Calendar(hours, each, place.target in sleep) for place in site.places}
    return {
        place.target: Calendar(hours, started[place.target] / len(days), place.target in sleep, from_log=True)
        for place in site.places
    }
