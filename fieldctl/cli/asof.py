"""What a site's ledger still says while no controller serves: as of its last entry, and not a word more."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from fieldctl.cli import show
from fieldctl.errors import FieldctlError
from fieldctl.site.checks import STEERS_NOBODY
from fieldctl.units import HostTime

if TYPE_CHECKING:
    from fieldctl.controller.memory import Memory
    from fieldctl.events import GrantGiven
    from fieldctl.ledger.store import Ledger
    from fieldctl.site.model import Site


def as_of(folder: Path) -> dict[str, Any] | None:
    """All off, the day, who may still be sending and for how long at most; None where there is no ledger to read."""
    from fieldctl.cli.outside import SystemClock, ledger_path

    if not ledger_path(folder).is_file():
        return None
    from fieldctl.controller.known import RESTORED_GENERATION
    from fieldctl.controller.memory import remember
    from fieldctl.ledger.reader import Reader

    site = _site(folder)
    clock = SystemClock()
    with Reader.read(ledger_path(folder)) as reader:
        memory = remember(cast("Ledger", reader))  # it only reads
        names = reader.names()
        seq = reader.head()[0]
        last = next(reader.entries(after_seq=seq - 1), None) if seq else None
    here = HostTime(clock.boot, clock.now())
    day = memory.day({} if site is None else site.zone_of())
    return {
        "live": False,
        "as_of": None if last is None else last.wall,
        "steers": memory.generation != RESTORED_GENERATION,
        "all_off": {"in_force": memory.all_off, "epoch": memory.epoch},
        "day": {
            "open": day.open,
            "in_charge": None if day.in_charge is None else names.get(day.in_charge, day.in_charge),
            "barred": dict(day.barred),
        },
        "may_still_send": [_grant(g, memory, site, here) for g in memory.open_grants.values()],
        "manual": sorted(day.manual_out),
        "targets": sorted(memory.added),
    }


def _site(folder: Path) -> Site | None:
    from fieldctl.site.files import load_site

    try:
        return load_site(folder)
    except FieldctlError:
        return None  # the ledger speaks for itself; what is wrong with the site's files, `site check` says


def _grant(fact: GrantGiven, memory: Memory, site: Site | None, here: HostTime) -> dict[str, Any]:
    """One grant that nobody saw end; nobody renews it any more, so it runs out by itself."""
    from fieldctl.controller.grants import LEDGER_FRESH_US
    from fieldctl.site.files import GRANT_S

    lease_us = (site.grant_s if site is not None else GRANT_S[1]) * 1_000_000
    left = [lease_us]  # counted from now where it cannot be told when it was renewed
    if fact.limit_at.boot == here.boot:
        left.append(fact.limit_at - here)
    if memory.last_known is not None and memory.last_known.boot == here.boot:
        left.append(memory.last_known.plus(LEDGER_FRESH_US + lease_us) - here)  # a renewal had a fresh commit behind it
    place = next((p for p in site.places if p.target == fact.target), None) if site is not None else None
    return {
        "target": fact.target,
        "name": memory.names.get(fact.target) or (place.name if place is not None else fact.target),
        "place": "place not known" if place is None else f"{place.zone}, x {place.x_m:g} m, y {place.y_m:g} m",
        "exercise": fact.exercise,
        "burial": fact.burial,
        "may_send_for_s": round(max(0, min(left)) / 1e6, 1),
    }


def for_people(row: dict[str, Any]) -> None:
    """As lines on stdout."""
    print(f"Not live; from the ledger, as of {row['as_of'] or 'a time that nobody knows'}:")
    if not row["steers"]:
        print(f"{STEERS_NOBODY.wrong} {STEERS_NOBODY.remedy}")
    print(f"all off: {'IN FORCE' if row['all_off']['in_force'] else 'not in force'} (epoch {row['all_off']['epoch']})")
    day = row["day"]
    print(f"the field: {'open, ' + str(day['in_charge']) + ' in charge' if day['open'] else 'closed'}")
    for g in row["may_still_send"]:
        print(f"  {g['name']} ({g['place']}) was granted to send: may send for {g['may_send_for_s']:g} s more, at most")
    if not row["may_still_send"]:
        print("  no grant was open. Quiet is what targets say: listen with a receiver.")
    for target, why in day["barred"].items():
        print(f"  barred: {target}: {why}")
    show.lines(f"  hand-buried {unit}: cannot be switched off from here" for unit in row["manual"])
