"""Invented winters as the product would read them, and a site with a ledger full of one."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldctl.events import BatterySwapped
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.site.model import Battery
from fieldctl.units import HostTime, PersonId, TargetId
from fieldctl.upkeep.energy import Calendar, Use, use_of
from fieldctl.upkeep.estimate import Belief, believe
from fieldctl.upkeep.readings import Daily, Hours, clean, daily, date_of
from fieldctl.upkeep.swaps import History, history
from sims.winter import DAYS, FIRST_DAY, HOURS, LOAD_A, Pack, Winter

CALENDAR = Calendar(8.0, 2.0, sleeps=False)
BOOT = "invented-winter"
OPENS_AT_H = 9


def target_of(number: int) -> TargetId:
    return TargetId(f"5ee0{number + 1:04x}")


def battery_of(winter: Winter, target: int) -> Battery:
    make = winter.make[target]
    return Battery(
        make.chemistry, make.cells, float(winter.capacity_ah[target]), LOAD_A, round(make.cells * make.end_v, 3)
    )


def hours_of_winter(winter: Winter, target: int) -> Hours:
    day = (FIRST_DAY + np.arange(DAYS)[:, None] + (OPENS_AT_H + np.arange(HOURS)) / 24).ravel()
    values = [each[target].ravel() for each in (winter.rest_v, winter.load_v, winter.celsius, winter.counted_mas)]
    said = ~np.isnan(values[0])
    return Hours(day[said], *(each[said] for each in values))


def days_of_winter(winter: Winter, target: int) -> Daily:
    return daily(clean(hours_of_winter(winter, target), battery_of(winter, target)).hours, LOAD_A)


@dataclass(frozen=True, slots=True)
class Seen:
    """What the product makes of one target up to one day."""

    days: Daily
    history: History
    belief: Belief
    use: Use


def seen(winter: Winter, target: int, whole: Daily, day: int) -> Seen | None:
    """As of the evening of a day; None where nothing was reported by then."""
    upto = whole.part(0, int(np.searchsorted(whole.day, FIRST_DAY + day + 1)))
    if upto.size < 3:
        return None
    battery = battery_of(winter, target)
    ticks = [float(FIRST_DAY + tick) for other, tick in winter.ticks if other == target and tick <= day]
    found = history(upto, battery, ticks)
    mine = upto.part(found.first, upto.size)
    return Seen(mine, found, believe(battery, mine, found.fresh), use_of(mine, CALENDAR))


def packs(winter: Winter) -> Iterator[tuple[Pack, Daily]]:
    """Every battery of a winter, with the days of its target."""
    for target in range(len(winter.make)):
        days = days_of_winter(winter, target)
        yield from ((pack, days) for pack in winter.packs if pack.target == target)


def samples(winter: Winter, minutes: int, days: range) -> Iterator[Telemetry]:
    """What targets would have said, every so many minutes of the open hours, of some days."""
    for day in days:
        for hour in range(HOURS):
            for minute in range(0, 60, minutes):
                us = ((day * 24 + OPENS_AT_H + hour) * 60 + minute) * 60_000_000
                moment = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC) + datetime.timedelta(
                    days=FIRST_DAY + day, hours=OPENS_AT_H + hour, minutes=minute
                )
                wall = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
                for target in range(len(winter.make)):
                    at = (target, day, hour)
                    if np.isnan(winter.rest_v[at]):
                        continue
                    yield Telemetry(
                        target_of(target),
                        HostTime(BOOT, us),
                        wall,
                        float(winter.rest_v[at]),
                        float(winter.load_v[at]),
                        round(float(winter.celsius[at]), 2),
                        3.0,
                        {"charge_mas": int(winter.counted_mas[at]), "bad_frames": 0},
                    )


def site_text(winter: Winter, extra: str = "", battery: bool = True) -> str:
    """site.toml of an invented site with the targets of a winter."""
    text = 'name = "larch-hollow"\ntitle = "Larch Hollow (invented)"\n' + extra + '\n[[zone]]\nname = "upper"\n'
    for target in range(len(winter.make)):
        kind = battery_of(winter, target)
        text += (
            f'\n[[target]]\nid = "{target_of(target)}"\nname = "Larch {target + 1}"\nzone = "upper"\n'
            f"x_m = {2.0 * target}\ny_m = 1.0\ndepth_m = 1.0\n"
        )
        if battery:
            text += (
                f'[target.battery]\nchemistry = "{kind.chemistry}"\ncells = {kind.cells}\n'
                f"capacity_ah = {kind.capacity_ah:.4f}\nload_a = {kind.load_a}\nleast_v = {kind.least_v}\n"
            )
    return text


def swapped(target: int, day: int) -> BatterySwapped:
    when = date_of(FIRST_DAY + day).isoformat()
    return BatterySwapped(target_of(target), when, "", 0, 0.0, PersonId("p-mira"), HostTime(BOOT, day * 86_400_000_000))


def write_site(folder: Path, winter: Winter, upto: int, extra: str = "", minutes: int = 60) -> Path:
    """A site's folder whose ledger holds a winter up to a day."""
    folder.mkdir(exist_ok=True)
    (folder / "site.toml").write_text(site_text(winter, extra), encoding="utf-8")
    with Ledger.open(folder / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.put_telemetry(list(samples(winter, minutes, range(upto))))
        at = HostTime(BOOT, 1)
        facts = [swapped(target, day) for target, day in winter.ticks if day < upto]
        if facts:
            ledger.append(facts, at=at)
    return folder
