"""What the log says of snow and place: each day's readings, and targets put elsewhere. Only reads.

    read_snow(reader) -> Snow             all of it
    take(snow, entry) -> Snow             one more entry

An opening without a wall clock counts as of the last day known before it, since it came no earlier: its ± is then wider
than it need be, never narrower. One before any known day is left out and counted.
"""

from __future__ import annotations

import datetime
from dataclasses import replace
from types import MappingProxyType

from fieldctl.events import DayOpened, Fact, SnowMeasured, TargetMoved
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.reader import Reader
from fieldctl.site.snow import Reading
from fieldctl.site.whereabouts import Snow

KINDS: tuple[type[Fact], ...] = (DayOpened, SnowMeasured, TargetMoved)
OPENING = "opening"
"""The source of a reading that the person in charge gave when the field opened."""


def read_snow(reader: Reader) -> Snow:
    """Everything that the log says of snow and place."""
    snow = Snow()
    for entry in reader.entries(kinds=KINDS):
        snow = take(snow, entry)
    return snow


def take(snow: Snow, entry: Entry) -> Snow:
    """What is known after one more entry."""
    match entry.fact:
        case DayOpened() as fact:
            day = _day(entry.wall) or max((each.day for each in snow.readings), default=None)
            if day is None:
                return replace(snow, undated=snow.undated + 1)
            return replace(snow, readings=(*snow.readings, Reading(day, fact.snow_m, None, OPENING)))
        case SnowMeasured() as fact:
            day = _day(fact.day)
            if day is None:
                return replace(snow, undated=snow.undated + 1)
            return replace(snow, readings=(*snow.readings, Reading(day, fact.snow_m, fact.zone, fact.source)))
        case TargetMoved() as fact:
            return replace(snow, moved=MappingProxyType({**snow.moved, fact.target: fact}))
        case _:
            return snow


def _day(text: str | None) -> datetime.date | None:
    try:
        return None if text is None else datetime.date.fromisoformat(text[:10])
    except ValueError:
        return None
