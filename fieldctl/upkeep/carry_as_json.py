"""The carry list for other programs: JSON with its schema, and CSV with one row for each thing to do.

    as_row(carry) -> dict      csv_lines(carry)      SCHEMA    JSON Schema (draft 2020-12)

Metres and degrees of the site's own plane; null where nothing is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fieldctl.site.whereabouts import as_row as where_row
from fieldctl.tables import csv_line, list_of, object_of
from fieldctl.upkeep.carry import Carry, Job, Since, Stop
from fieldctl.upkeep.visits import BATTERY
from fieldctl.upkeep.words import advice_words, finding_words

NUMBER = 1  # of the schema
COLUMNS = (
    "nth", "target", "name", "zone", "item", "to_do", "chemistry", "cells", "stake", "bearing_deg", "distance_m", "x_m",
    "y_m", "depth_m",
)  # fmt: skip


def as_row(carry: Carry) -> dict[str, Any]:
    """The list as JSON-able values."""
    return {
        "what": "fieldctl upkeep carry",
        "carry_schema": NUMBER,
        "today": carry.today.isoformat(),
        "start": carry.start,
        "way_m": round(carry.way_m, 1),
        "stops": [_stop(stop, carry) for stop in carry.stops],
        "cells": [
            {
                "chemistry": c.chemistry,
                "capacity_ah": c.capacity_ah,
                "targets": c.targets,
                "needed": c.needed,
                "spare": c.spare,
            }
            for c in carry.cells
        ],
        "parts": dict(carry.parts),
        "tools": list(carry.tools),
        "probe_m": carry.probe_m,
        "desk": [
            {"target": row.place.target, "name": row.place.name, "key": finding.key, "says": says, "remedy": remedy}
            for row, finding in carry.desk
            for says, remedy in [finding_words(finding, row)]
        ],
        "in_box": [{"target": target, "name": name, "day": day} for target, name, day in carry.box],
        "since": None if carry.since is None else _since(carry.since),
        "items": list(carry.items),
        "found": list(carry.found),
    }


def _stop(stop: Stop, carry: Carry) -> dict[str, Any]:
    return {
        "target": stop.target,
        "name": stop.name,
        "zone": stop.zone,
        "where": None if stop.where is None else where_row(stop.where),
        "barred": stop.barred,
        "jobs": [{"item": job.item, "key": job.key, "to_do": _to_do(job, stop, carry)} for job in stop.jobs],
    }


def _to_do(job: Job, stop: Stop, carry: Carry) -> str:
    if stop.row is None or (not job.findings and job.key != BATTERY):
        return stop.barred
    if job.key == BATTERY:
        return advice_words(stop.row, carry.upkeep)
    return finding_words(job.findings[0], stop.row)[1]


def _since(since: Since) -> dict[str, Any]:
    before = since.before
    return {
        "visit": before.visit,
        "day": before.day,
        "new": list(since.new),
        "gone": list(since.gone),
        "swapped": [{"target": target, "day": day} for target, day in before.swapped],
        "added": list(before.added),
        "taken_out": list(before.taken_out),
        "barred": list(before.barred),
    }


def csv_lines(carry: Carry) -> Iterator[str]:
    """One line for each thing to do, in walking order, with a heading; unknown is empty."""
    yield csv_line(COLUMNS)
    for nth, stop in enumerate(carry.stops, start=1):
        where = {} if stop.where is None else where_row(stop.where)
        stake = (where.get("from_stakes") or [{}])[0]
        battery = None if stop.row is None else stop.row.battery
        for job in stop.jobs:
            kind = battery if job.key == BATTERY and battery is not None else None
            values = {
                **where, **stake, "nth": nth, "target": stop.target, "name": stop.name, "zone": stop.zone,
                "item": job.item, "to_do": _to_do(job, stop, carry),
                "chemistry": None if kind is None else kind.chemistry, "cells": None if kind is None else kind.cells,
            }  # fmt: skip
            yield csv_line(tuple(values.get(name) for name in COLUMNS))


_TEXT = {"type": "string"}
_NUMBER = {"type": "number"}
_COUNT = {"type": "integer", "minimum": 0}
_TEXTS = list_of(_TEXT)
_JOB = object_of(item=_TEXT, key=_TEXT, to_do=_TEXT)
_SINCE = object_of(
    visit=_TEXT, day=_TEXT, new=_TEXTS, gone=_TEXTS, swapped=list_of(object_of(target=_TEXT, day=_TEXT)), added=_TEXTS,
    taken_out=_TEXTS, barred=_TEXTS,
)  # fmt: skip

SCHEMA: dict[str, Any] = {
    "title": "fieldctl upkeep carry",
    **object_of(
        schema={"const": 1},
        what={"const": "fieldctl upkeep carry"},
        carry_schema={"const": NUMBER},
        site=_TEXT,
        version=_TEXT,
        today=_TEXT,
        start=_TEXT,
        way_m=_NUMBER,
        stops=list_of(
            object_of(
                target=_TEXT, name=_TEXT, zone=_TEXT, where={"type": ["object", "null"]}, barred=_TEXT,
                jobs=list_of(_JOB),
            )
        ),
        cells=list_of(
            object_of(chemistry=_TEXT, capacity_ah=_NUMBER, targets=_COUNT, needed=_COUNT, spare=_COUNT)
        ),
        parts={"type": "object", "additionalProperties": _COUNT},
        tools=_TEXTS,
        probe_m=_NUMBER,
        desk=list_of(object_of(target=_TEXT, name=_TEXT, key=_TEXT, says=_TEXT, remedy=_TEXT)),
        in_box=list_of(object_of(target=_TEXT, name=_TEXT, day=_TEXT)),
        since={"anyOf": [_SINCE, {"type": "null"}]},
        items=_TEXTS,
        found=_TEXTS,
    ),
}  # fmt: skip
"""What `fieldctl upkeep carry --json` prints; site and version are put in by the command."""
