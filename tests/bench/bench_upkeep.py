"""Upkeep over a season: 24 targets, 150 days, a status a minute while open; how fast the page opens, how big it gets.

The winter is invented (sims/winter.py, sims/winter_health.py) and its ledger thinned as a serving controller thins it;
its strikes, exercises and calls and 20 000 other entries lie beside. The page is opened through the real server
(`upkeep_page`), by the wall, and shows the list that was worked out last with its age, or that the first one is on its
way; how long that takes in a process of its own stands beside. What is read is the first row of each hour, which
thinning keeps, so that the account before and after is the same; that is checked here too.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "upkeep"))

from health_kit import health_samples, write_facts
from upkeep_kit import BOOT, site_text, swapped
from upkeep_page import PAGES, opened, serveable

from fieldctl.events import TargetOdd
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import read_site
from fieldctl.units import HostTime
from fieldctl.upkeep.as_json import as_row
from fieldctl.upkeep.read import read_upkeep
from fieldctl.upkeep.readings import date_of
from sims.winter import DAYS, FIRST_DAY, Winter
from sims.winter_health import Health

FILE_MB = 200.0
AGAIN = 9
OTHERS = 20_000
DAY_US = 86_400_000_000


def show(figure: str, limit: str, ratio: float) -> bool:
    """Print one line; whether the limit is kept."""
    print(f"{figure} | {limit} | {ratio:.3f}")
    return ratio <= 1


def build(path: Path, winter: Winter) -> tuple[float, int]:
    """A season's ledger, thinned once a week as it grows; the most megabytes that it had, and the rows left."""
    most, health = 0.0, Health.of(winter)
    with Ledger.open(path, inline=True, durable=False) as ledger:
        for begin in range(0, DAYS, 5):
            ledger.put_telemetry(list(health_samples(winter, health, 1, range(begin, min(DAYS, begin + 5)))))
            ledger.flush_telemetry()
            ledger.thin_telemetry(HostTime(BOOT, (begin + 5) * DAY_US))
            most = max(most, sum(each.stat().st_size for each in path.parent.iterdir()) / 1e6)
        write_facts(ledger, health)
        ledger.append([swapped(target, day) for target, day in winter.ticks], at=HostTime(BOOT, 1))
        targets = [row for row, _ in winter.ticks]
        odd = [
            TargetOdd(
                swapped(targets[n % len(targets)], 0).target, "invented", "An entry. To do: nothing.", HostTime(BOOT, n)
            )
            for n in range(OTHERS)
        ]
        for begin in range(0, OTHERS, 500):
            ledger.append(odd[begin : begin + 500], at=HostTime(BOOT, begin))
    with Reader.read(path) as reader:
        return most, len(reader.telemetry_hours())


def main() -> int:
    """Measure and print; 1 where a limit is not kept."""
    winter = Winter.of(77)
    text = site_text(winter, f"{PAGES}[upkeep]\nclosing_day = 2026-05-10\n")
    site = read_site(text)
    kept = []
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "ledger.sqlite"
        began = time.perf_counter()
        most, rows = build(path, winter)
        with Reader.read(path) as reader:
            strikes = sum(1 for _ in reader.entries(kinds=("StrikeRecorded",)))
        print(f"made in {time.perf_counter() - began:.0f} s, {rows} hours and {strikes} strikes to read")
        cpu, wall = [], []
        today = date_of(FIRST_DAY + DAYS - 1)
        for _ in range(AGAIN):
            begun, at = time.process_time(), time.perf_counter()
            with Reader.read(path) as reader:
                found = read_upkeep(reader, site, today)
            assert len(as_row(found)["batteries"]) == len(winter.make)
            cpu.append((time.process_time() - begun) * 1e3)
            wall.append((time.perf_counter() - at) * 1e3)
        cpu.sort()
        wall.sort()
        middle, slowest, by_wall = cpu[AGAIN // 2], cpu[-1], wall[AGAIN // 2]
        print(f"the list is worked out elsewhere in {middle:.0f} ms, slowest {slowest:.0f}, by the wall {by_wall:.0f}")
        kept.append(show(f"the database takes {most:.0f} MB at most", f"{FILE_MB:g} MB", most / FILE_MB))
        with Ledger.open(path, inline=True, durable=False) as ledger:
            gone = ledger.thin_telemetry(HostTime(BOOT, (DAYS + 30) * DAY_US))
        with Reader.read(path) as reader:
            same = as_row(read_upkeep(reader, site, today)) == as_row(found)
        kept.append(
            show(f"thinning of {gone} rows changes the list: {'no' if same else 'yes'}", "no", 0.0 if same else 2.0)
        )
        serveable(path, path.parent / "served")
        (path.parent / "served" / "site.toml").write_text(text, encoding="utf-8")
        kept += [show(*row) for row in asyncio.run(opened(path.parent / "served"))]
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
