"""Readings of the snow from a CSV file: date, snow_m, and zone where a reading is of one zone alone.

read_readings(text, file, zones, today) -> Readings     all faults of the file at once, each with its line
as_csv(readings)                                        the same again, in parts as they are sent
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence

from fieldctl.site.snow import Reading
from fieldctl.site.survey_rows import read_csv
from fieldctl.tables import csv_line
from fieldctl.tomlfile import SIZE_LIMIT, Faults, Table, suggestion

KEYS = ("date", "snow_m", "zone")
READINGS_MOST = 10_000  # a winter of 200 days in all of 50 zones
SNOW_MOST_M = 30.0  # as at the opening of a day
LATER = datetime.timedelta(days=1)  # the wall's label counts in UTC: elsewhere it may be tomorrow


def read_readings(text: str, file: str, zones: Sequence[str], today: datetime.date | None) -> tuple[Reading, ...]:
    """The readings of a file; FileFaults with everything that is wrong with it."""
    faults = Faults(file)
    if len(text) > SIZE_LIMIT:
        faults.add(
            0,
            "(the file)",
            f"it has {len(text)} characters",
            expected=f"at most {SIZE_LIMIT}",
            remedy="Check that this is the right file.",
        )
        faults.raise_if_any()
    rows = read_csv(text, faults, KEYS, ("date", "zone"), "one line for each reading")
    if len(rows) > READINGS_MOST:
        faults.add(
            0,
            "(the file)",
            f"it has {len(rows)} rows",
            expected=f"at most {READINGS_MOST}",
            remedy="Check that this is the right file, or import it in parts.",
        )
    seen: dict[tuple[datetime.date, str | None], int] = {}
    found = [_reading(row, zones, today, file, seen) for row in rows[:READINGS_MOST]]
    faults.raise_if_any()
    if not rows:
        faults.add(
            0,
            "(the file)",
            "it holds no reading",
            expected="one line for each reading, under the header",
            remedy="Check that this is the right file.",
        )
        faults.raise_if_any()
    return tuple(each for each in found if each is not None)


def _reading(
    row: Table,
    zones: Sequence[str],
    today: datetime.date | None,
    file: str,
    seen: dict[tuple[datetime.date, str | None], int],
) -> Reading | None:
    snow_m = row.number("snow_m", 0, SNOW_MOST_M, unit="metres")
    zone = row.slug("zone") if row.has("zone") else None
    day = row.date("date")
    if "date" not in row.values:
        row.fault("date", "it is missing", expected="a date such as 2026-01-31", remedy="Say the day of each reading.")
    if zone and zone not in zones:
        near = suggestion(zone, zones)
        row.fault(
            "zone",
            f"no zone is called {zone!r}" + (f"; did you mean {near!r}?" if near else ""),
            expected="the name of a [[zone]] table of site.toml, or nothing for the whole site",
            remedy="Name one of those, or leave it out.",
        )
    row.done()
    if day is None:
        return None
    if today is not None and day > today + LATER:
        row.fault(
            "date", f"{day} is still to come", expected=f"{today} or before", remedy="Mend the day of this reading."
        )
    if (day, zone) in seen:
        row.fault(
            "date",
            f"{day} stands in line {seen[day, zone]} already" + (f" for zone {zone}" if zone else ""),
            expected="one reading a day for each zone, and one for the whole site",
            remedy="Take one of the two out.",
        )
    seen.setdefault((day, zone), row.line())
    return Reading(day, snow_m, zone, file)


def as_csv(readings: Iterable[Reading]) -> str:
    """Readings as such a file."""
    return csv_line(KEYS) + "".join(csv_line((each.day.isoformat(), each.snow_m, each.zone)) for each in readings)
