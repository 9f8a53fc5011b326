"""The upkeep account of a served field, once an hour, in another process: what it is sure of becomes an alarm.

What is told otherwise is left out: a target that says nothing is an alarm of its own, and a battery that the site's
file does not name is a matter of that file.
"""

from __future__ import annotations

import asyncio
import datetime
import logging
import math
from numbers import Integral, Real
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.controller.alarms import Found

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.upkeep.account import Finding, Row

FIRST_AFTER_S = 90.0  # by then the field is heard, and whoever switched it on is done with it
EVERY_S = 3600.0  # the account is made of hours
SURE = ("sure", "likely")
TOLD_OTHERWISE = ("kind-unknown", "never-read", "silent")
SICK_ABOUT = ("pad", "housing")
SICK_KEYS = ("loses", "resists", "wrong-way-round")

_log = logging.getLogger(__name__)


async def run_account(controller: Controller, folder: Path) -> None:
    """Let the account be made again and again until cancelled; one that cannot be made is logged."""
    from fieldctl.web.elsewhere import Elsewhere

    elsewhere = Elsewhere()
    wait_s = FIRST_AFTER_S
    try:
        while True:
            await asyncio.sleep(wait_s)
            wait_s = EVERY_S
            wall = controller.outside.clock.wall()
            if wall is None:
                continue  # nobody knows the day
            try:
                controller.alarms.account(await elsewhere.run(found_today, str(folder), wall[:10]))
            except Exception:
                _log.exception("the upkeep account could not be made")
            elsewhere.close()
    finally:
        elsewhere.close()


def found_today(folder: str, day: str) -> list[Found]:
    """What the account of a site shows as of a day that is worth an alarm; only reads."""
    from fieldctl.cli.outside import ledger_path
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.upkeep.read import read_upkeep

    site = load_site(Path(folder))
    with Reader.read(ledger_path(Path(folder))) as reader:
        account = read_upkeep(reader, site, datetime.date.fromisoformat(day))
    return [found for row in account.rows for finding in row.findings if (found := worth(finding, row)) is not None]


def worth(finding: Finding, row: Row) -> Found | None:
    """A finding as an alarm; None for one that is not sure enough, or is told otherwise."""
    from fieldctl.upkeep.words import day_of, finding_words

    if finding.sure not in SURE or finding.key in TOLD_OTHERWISE:
        return None
    says, remedy = finding_words(finding, row)
    since = "" if finding.since is None else day_of(finding.since)
    values = {name: _plain(value) for name, value in finding.values.items()}
    values |= {"name": row.place.name, "target": row.place.name, "day": since or "-", "remedy": finding.remedy}
    sick = finding.about in SICK_ABOUT or finding.key in SICK_KEYS
    return Found(row.place.target, finding.key, f"{row.place.name}: {says}", remedy, since, sick, values)


def _plain(value: object) -> object:
    """A value as the ledger can hold it: an array's own numbers are none."""
    match value:
        case bool() | str():
            return value
        case Integral():
            return int(value)
        case Real() if math.isfinite(value):
            return float(value)
        case _:
            return str(value)
