"""The account for other programs: JSON with its schema, and CSV with one row for each battery and piece of kit.

    as_row(upkeep) -> dict      what `fieldctl upkeep --json` prints beside the schema number
    csv_lines(upkeep)           for a club's own table         SCHEMA    JSON Schema (draft 2020-12)

Shares are 0 to 1, charge is ampere-hours, volts are those of the whole battery. Null where nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, get_args

import numpy as np

from fieldctl.tables import csv_line, list_of, object_of
from fieldctl.upkeep.account import ORDER, About, Row, Sure, Upkeep
from fieldctl.upkeep.curves import CHEMISTRIES
from fieldctl.upkeep.kit_words import KIT_SCHEMA, kit_rows
from fieldctl.upkeep.words import advice_words, basis_words, day_of, finding_words, last_words

NUMBER = 1  # of the schema
DAYS_SHOWN = 60  # of the charge ahead
COLUMNS = (
    "what",
    "target", "name", "zone", "state", "change_by", "to_do", "chemistry", "cells", "capacity_ah", "share", "share_low",
    "share_high", "basis", "volts_rest", "volts_load", "celsius", "ohm", "ohm_20c", "used_ah_a_day", "last_day",
    "last_day_low", "last_day_high", "lasts", "last_heard", "findings",
)  # fmt: skip


def as_row(upkeep: Upkeep) -> dict[str, Any]:
    """The account as JSON-able values."""
    return {
        "what": "fieldctl upkeep",
        "upkeep_schema": NUMBER,
        "today": upkeep.today.isoformat(),
        "closing_day": None if upkeep.closing is None else upkeep.closing.isoformat(),
        "unplaced": upkeep.unplaced,
        "batteries": [_battery(row, upkeep) for row in upkeep.rows],
        "kit": kit_rows(upkeep.kit),
    }


def _battery(row: Row, upkeep: Upkeep) -> dict[str, Any]:
    said, ahead, battery = row.estimate, row.forecast, row.battery
    return {
        "target": row.place.target,
        "name": row.place.name,
        "zone": row.place.zone,
        "state": row.state,
        "change_by": _day(row.by),
        "to_do": advice_words(row, upkeep),
        "chemistry": None if battery is None else battery.chemistry,
        "cells": None if battery is None else battery.cells,
        "capacity_ah": None if battery is None else battery.capacity_ah,
        "share": None if said is None else _round(said.share, 3),
        "share_low": None if said is None else _round(said.low, 3),
        "share_high": None if said is None else _round(said.high, 3),
        "basis": None if said is None else said.basis,
        "basis_words": basis_words(row),
        "flat": None if said is None else said.flat,
        "volts_rest": _round(row.volts_rest, 3),
        "volts_load": _round(row.volts_load, 3),
        "celsius": _round(row.celsius, 1),
        "ohm": None if said is None else _round(said.ohm, 3),
        "ohm_20c": None if said is None else _round(said.ohm_20c, 3),
        "ohm_over_begin": None if said is None else _round(said.age, 2),
        "used_ah_a_day": None if row.use is None else _round(row.use.ah_a_day, 4),
        "use_counted": None if row.use is None else row.use.counted,
        "began": _day(row.began),
        "fresh": row.fresh,
        "last_heard": _day(row.last_heard),
        "last_day": None if ahead is None else _day(ahead.last),
        "last_day_50": [None, None] if ahead is None else [_day(ahead.low_50), _day(ahead.high_50)],
        "last_day_90": [None, None] if ahead is None else [_day(ahead.low_90), _day(ahead.high_90)],
        "last_day_words": last_words(row),
        "lasts": None if ahead is None else _round(ahead.lasts, 3),
        "ahead": _ahead(row),
        "findings": [
            {"key": f.key, "about": f.about, "sure": f.sure, "since": _day(f.since), "says": says, "remedy": remedy}
            for f in row.findings
            for says, remedy in [finding_words(f, row)]
        ],
    }


def _ahead(row: Row) -> list[dict[str, Any]]:
    ahead = row.forecast
    if ahead is None:
        return []
    days = np.arange(0, DAYS_SHOWN + 1)
    middle, low, high = (np.interp(days, ahead.ahead, v) for v in (ahead.share, ahead.share_low, ahead.share_high))
    return [
        {"day": day_of(ahead.today + d), "share": _round(m, 3), "low": _round(a, 3), "high": _round(b, 3)}
        for d, m, a, b in zip(days, middle, low, high, strict=True)
    ]


def csv_lines(upkeep: Upkeep) -> Iterator[str]:
    """One line for each battery and piece of kit, with a heading; unknown, and what kit does not have, is empty.

    `what` is "target", "base", or the kind of kit, whose `last_heard` is the day on which somebody saw it.
    """
    yield csv_line(COLUMNS)
    for row in upkeep.rows:
        values = _battery(row, upkeep)
        values["last_day_low"], values["last_day_high"] = values["last_day_90"]
        values["findings"] = " ".join(f"{f['says']} {f['remedy']}" for f in values["findings"])
        yield csv_line(("target", *(values[name] for name in COLUMNS[1:])))
    for item in kit_rows(upkeep.kit):
        item |= {"what": item["kind"], "volts_rest": item["volts"], "last_heard": item["seen_on"]}
        item["findings"] = " ".join(f"{f['says']} {f['remedy']}" for f in item["findings"])
        yield csv_line(tuple(item.get(name) for name in COLUMNS))


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)


def _day(number: float | None) -> str | None:
    return None if number is None else day_of(number)


_TEXT = {"type": "string"}
_FLAG = {"type": "boolean"}
_DAY = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_NUMBER = {"type": ["number", "null"]}
_SHARE = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
_BAND = list_of(_DAY, minItems=2, maxItems=2)
_BATTERY = object_of(
    target=_TEXT, name=_TEXT, zone=_TEXT, state={"enum": list(ORDER)}, change_by=_DAY, to_do=_TEXT,
    chemistry={"enum": [*CHEMISTRIES, None]}, cells={"type": ["integer", "null"]}, capacity_ah=_NUMBER, share=_SHARE,
    share_low=_SHARE, share_high=_SHARE, basis={"enum": ["volts-and-count", "volts", "count", "nothing", None]},
    basis_words=_TEXT, flat={"type": ["boolean", "null"]}, volts_rest=_NUMBER, volts_load=_NUMBER, celsius=_NUMBER,
    ohm=_NUMBER, ohm_20c=_NUMBER, ohm_over_begin=_NUMBER, used_ah_a_day=_NUMBER,
    use_counted={"type": ["boolean", "null"]}, began=_DAY, fresh=_FLAG, last_heard=_DAY, last_day=_DAY,
    last_day_50=_BAND, last_day_90=_BAND, last_day_words=_TEXT, lasts=_SHARE,
    ahead=list_of(object_of(day=_DAY, share=_SHARE, low=_SHARE, high=_SHARE), maxItems=DAYS_SHOWN + 1),
    findings=list_of(
        object_of(
            key=_TEXT, about={"enum": list(get_args(About))}, sure={"enum": list(get_args(Sure))}, since=_DAY,
            says=_TEXT, remedy=_TEXT,
        )
    ),
)  # fmt: skip

SCHEMA: dict[str, Any] = {
    "title": "fieldctl upkeep",
    **object_of(
        schema={"const": 1},
        what={"const": "fieldctl upkeep"},
        upkeep_schema={"const": NUMBER},
        site=_TEXT,
        version=_TEXT,
        today=_DAY,
        closing_day=_DAY,
        unplaced={"type": "integer", "minimum": 0},
        batteries=list_of(_BATTERY),
        kit=KIT_SCHEMA,
    ),
}
"""What `fieldctl upkeep --json` prints; site and version are put in by the command."""
