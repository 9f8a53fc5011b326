"""Where a target lies now and how to find it again: coordinates, bearings from the nearest stakes, depth today, trust.

    whereabouts(site, target, snow, today) -> Whereabouts    everything about one target; KeyError for no target of it
    as_row(found), in_words(row)                             for programs, and of that for people

`Snow` is what the log says: readings of the snow, and targets that were put elsewhere without a survey. Of those the
last place is told as such, and no depth: until a newer survey comes nobody knows where they lie.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import atan2, degrees, hypot
from types import MappingProxyType
from typing import Any

from fieldctl.events import TargetMoved
from fieldctl.site.earth import to_earth
from fieldctl.site.model import Place, Site, Stake
from fieldctl.site.resurvey import Move, way_between
from fieldctl.site.snow import Burial, Reading, Readings, Why, burial_now
from fieldctl.units import TargetId

STAKES_SHOWN = 2  # a third tells no more than two do
LATER = datetime.timedelta(days=1)  # the wall's label counts in UTC: elsewhere it may be tomorrow
DEGREES_SHOWN = 7  # digits after the point: about a centimetre

WHY: Mapping[Why, str] = MappingProxyType(
    {
        "no-day": "nobody wrote down on which day it was surveyed",
        "no-snow-then": "nobody wrote down how deep the snow was on the day of its survey",
        "no-reading": "the snow was not measured since its survey",
        "old-reading": "the last reading of the snow is more than a week old",
        "whole-site": "the snow was measured for the whole site, not for its zone",
        "settling": "nobody knows how far the snow under it has settled",
        "no-clock": "this machine has no clock set: the days since are not counted",
    }
)
"""What widens a depth's ± or keeps it from being said."""


@dataclass(frozen=True, slots=True)
class Snow:
    """What the log says of snow and place. `undated`: openings left out, since nobody can tell their day."""

    readings: tuple[Reading, ...] = ()
    moved: Mapping[TargetId, TargetMoved] = field(default_factory=lambda: MappingProxyType({}))
    undated: int = 0


@dataclass(frozen=True, slots=True)
class FromStake:
    """The way from a stake: degrees clockwise from +y (north where the site has an origin), and level metres."""

    stake: Stake
    bearing_deg: float
    distance_m: float


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where one target lies. `moved` tells that it was put elsewhere since its survey: then `burial` is None. `came`
    is the way from its place of an earlier day, where nobody put it elsewhere between the two."""

    place: Place
    lat_deg: float | None
    lon_deg: float | None
    stakes: tuple[FromStake, ...]
    burial: Burial | None
    moved: TargetMoved | None = None
    came: Move | None = None


def whereabouts(
    site: Site, target: TargetId, snow: Snow, today: datetime.date | None, known: Readings | None = None
) -> Whereabouts:
    """Where a target of this site lies now; KeyError where it has no place here. `known`: the readings of `snow` up to
    today, for whoever asks of many targets."""
    place = site.place(target)
    lat, lon = (None, None) if site.origin is None else to_earth(site.origin, place.x_m, place.y_m)
    said = snow.moved.get(target)
    later = said is not None and today is not None and said.day > (today + LATER).isoformat()
    moved = None if later else put_elsewhere(place, said)
    burial = burial_now(place, known or Readings(snow.readings, today), today) if moved is None else None
    return Whereabouts(
        place, lat, lon, from_stakes(site.stakes, place), burial, moved, _came(site, place, snow.moved.get(target))
    )


def survey_days(site: Site) -> dict[TargetId, str]:
    """The day on which each place was surveyed, "" where nobody noted it."""
    return {p.target: "" if p.surveyed_on is None else p.surveyed_on.isoformat() for p in site.places}


def put_elsewhere(place: Place, moved: TargetMoved | None) -> TargetMoved | None:
    """What was said of a move, while the place is not newer than it: of one day, while it is the very place of then."""
    if moved is None:
        return None
    surveyed = "" if place.surveyed_on is None else place.surveyed_on.isoformat()
    left = (place.x_m, place.y_m, surveyed) == (moved.was_x_m, moved.was_y_m, moved.was_surveyed_on)
    return moved if surveyed < moved.day or (surveyed == moved.day and left) else None


def _came(site: Site, place: Place, moved: TargetMoved | None) -> Move | None:
    """The way from the survey of an earlier day, if snow and ground alone can have brought it here."""
    if place.surveyed_on is None:
        return None
    for old in reversed(site.history):
        if old.target == place.target and old.surveyed_on is not None and old.surveyed_on < place.surveyed_on:
            carried = moved is not None and old.surveyed_on.isoformat() <= moved.day
            return None if carried else way_between(old, place)
    return None


def from_stakes(stakes: Sequence[Stake], place: Place) -> tuple[FromStake, ...]:
    """The way to a place from the nearest stakes, nearest first."""
    ways = [
        FromStake(
            stake,
            degrees(atan2(place.x_m - stake.x_m, place.y_m - stake.y_m)) % 360.0,
            hypot(place.x_m - stake.x_m, place.y_m - stake.y_m),
        )
        for stake in stakes
    ]
    return tuple(sorted(ways, key=lambda way: way.distance_m)[:STAKES_SHOWN])


def as_row(found: Whereabouts) -> dict[str, Any]:
    """As JSON-able values: metres, degrees, days; null where nothing is known."""
    place, burial = found.place, found.burial
    return {
        "zone": place.zone,
        "x_m": round(place.x_m, 3),
        "y_m": round(place.y_m, 3),
        "plus_minus_m": place.plus_minus_m,
        "lat_deg": None if found.lat_deg is None else round(found.lat_deg, DEGREES_SHOWN),
        "lon_deg": None if found.lon_deg is None else round(found.lon_deg, DEGREES_SHOWN),
        "surveyed_on": None if place.surveyed_on is None else place.surveyed_on.isoformat(),
        "note": place.note,
        "from_stakes": [
            {
                "stake": way.stake.name,
                "bearing_deg": round(way.bearing_deg, 1) % 360.0,
                "distance_m": round(way.distance_m, 2),
                "note": way.stake.note,
            }
            for way in found.stakes
        ],
        "depth_m": _metres(None if burial is None else burial.depth_m),
        "depth_least_m": _metres(None if burial is None else burial.least_m),
        "depth_most_m": _metres(None if burial is None else burial.most_m),
        "surveyed_depth_m": place.depth_m,
        "depth_why": [] if burial is None else list(burial.why),
        "snow_m": None if burial is None or burial.snow is None else burial.snow.snow_m,
        "snow_on": None if burial is None or burial.snow is None else burial.snow.day.isoformat(),
        "came_m": None if found.came is None else round(found.came.distance_m, 2),
        "came_bearing_deg": None if found.came is None else round(found.came.bearing_deg) % 360,
        "came_days": None if found.came is None else found.came.days,
        "came_plus_minus_m": None if found.came is None else round(found.came.plus_minus_m, 2),
        "moved_on": None if found.moved is None else found.moved.day,
        "moved_notes": "" if found.moved is None else found.moved.notes,
    }


def in_words(row: Mapping[str, Any]) -> list[str]:
    """What `as_row` gives as lines for people."""
    lines = []
    if row["moved_on"] is not None:
        notes = f" ({row['moved_notes']})" if row["moved_notes"] else ""
        lines.append(f"It was put elsewhere on {row['moved_on']} without a survey{notes}. Its last place was:")
    lines.append(f"{row['zone']}, x {row['x_m']:.2f} m, y {row['y_m']:.2f} m, ± {row['plus_minus_m']:.2f} m")
    if row["lat_deg"] is not None:
        lines.append(f"lat {row['lat_deg']:.{DEGREES_SHOWN}f}, lon {row['lon_deg']:.{DEGREES_SHOWN}f} (WGS 84)")
    of = "from true north" if row["lat_deg"] is not None else "clockwise from the site's y"
    lines += [
        f"from {way['stake']}: {way['bearing_deg']:.1f}° {of}, {way['distance_m']:.2f} m level"
        + (f" ({way['note']})" if way["note"] else "")
        for way in row["from_stakes"]
    ]
    lines.append(depth_words(row))
    lines.append(f"surveyed {'on a day that nobody wrote down' if row['surveyed_on'] is None else row['surveyed_on']}")
    if row["came_m"] is not None and row["came_m"] > row["came_plus_minus_m"]:
        lines.append(came_words(row))
    return [*lines, f"note: {row['note']}"] if row["note"] else lines


def depth_words(row: Mapping[str, Any]) -> str:
    """The depth today as a sentence, with what its ± comes from."""
    why = "; ".join(WHY[each] for each in row["depth_why"])
    if row["depth_m"] is None:
        most = "" if row["depth_most_m"] is None else f"; at most all of the snow, {row['depth_most_m']:.1f} m"
        because = f": {why}" if why else ""
        return f"How deep it lies today cannot be said{because}. {row['surveyed_depth_m']:g} m at its survey{most}."
    ends = f"{row['depth_least_m']:.1f} to {row['depth_most_m']:.1f} m"
    return f"{row['depth_m']:.1f} m deep today, {ends}" + (f" ({why})." if why else ".")


def came_words(row: Mapping[str, Any]) -> str:
    """How far it has come since its place of an earlier day, against both ±."""
    way = f"{row['came_m']:.2f} m towards {row['came_bearing_deg']}° in {row['came_days']} days"
    both = f"both ± together are {row['came_plus_minus_m']:.2f} m"
    if row["came_m"] > row["came_plus_minus_m"]:
        return f"It has come {way}; {both}."
    return f"It lies {way} from its place before; {both}, so it may not have moved at all."


def _metres(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
