"""Where a target lies now and how to find it again: coordinates, bearings from the nearest stakes, depth today, trust.

    whereabouts(site, target, snow, today) -> Whereabouts    everything about one target; KeyError for no target of it
    as_row(found), in_words(found)                           for programs, and for people

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
from fieldctl.site.snow import Burial, Reading, Why, burial_now
from fieldctl.units import TargetId

STAKES_SHOWN = 2  # a third tells no more than two do
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


def whereabouts(site: Site, target: TargetId, snow: Snow, today: datetime.date | None) -> Whereabouts:
    """Where a target of this site lies now; KeyError where it has no place here."""
    place = site.place(target)
    lat, lon = (None, None) if site.origin is None else to_earth(site.origin, place.x_m, place.y_m)
    moved = put_elsewhere(place, snow.moved.get(target))
    burial = burial_now(place, snow.readings, today) if moved is None else None
    return Whereabouts(
        place, lat, lon, from_stakes(site.stakes, place), burial, moved, _came(site, place, snow.moved.get(target))
    )


def put_elsewhere(place: Place, moved: TargetMoved | None) -> TargetMoved | None:
    """What was said of a move, while the place is not newer than it: of one day, while it is the very place of then."""
    if moved is None:
        return None
    surveyed = "" if place.surveyed_on is None else place.surveyed_on.isoformat()
    same = (place.x_m, place.y_m, surveyed) == (moved.was_x_m, moved.was_y_m, moved.was_surveyed_on)
    return moved if same or surveyed < moved.day else None


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


def in_words(found: Whereabouts, *, north: bool) -> list[str]:
    """The same as lines for people; `north` where the site's y goes to the north."""
    place = found.place
    lines = []
    if found.moved is not None:
        notes = f" ({found.moved.notes})" if found.moved.notes else ""
        lines.append(
            f"It was put elsewhere on {found.moved.day} without a survey{notes}: what follows is its last place."
        )
    lines.append(f"{place.zone}, x {place.x_m:.2f} m, y {place.y_m:.2f} m, ± {place.plus_minus_m:g} m")
    if found.lat_deg is not None and found.lon_deg is not None:
        lines.append(f"lat {found.lat_deg:.{DEGREES_SHOWN}f}, lon {found.lon_deg:.{DEGREES_SHOWN}f} (WGS 84)")
    of = "from true north" if north else "clockwise from the site's y"
    lines += [
        f"from {way.stake.name}: {way.bearing_deg % 360:.0f}° {of}, {way.distance_m:.2f} m level"
        + (f" ({way.stake.note})" if way.stake.note else "")
        for way in found.stakes
    ]
    lines.append(depth_words(found.burial, place) if found.moved is None else "How deep it lies cannot be said.")
    surveyed = "nobody knows when" if place.surveyed_on is None else f"on {place.surveyed_on}"
    lines.append(f"surveyed {surveyed}" + (f": {place.method}" if place.method else ""))
    if found.came is not None and found.came.beyond:
        lines.append(came_words(found.came))
    return [*lines, f"note: {place.note}"] if place.note else lines


def came_words(move: Move) -> str:
    """How far a target has come as a sentence, against both ±."""
    days = "" if move.days is None else f" in {move.days} days"
    way = f"It came {move.distance_m:.2f} m towards {move.bearing_deg % 360:.0f}°{days}"
    both = f"both ± together are {move.plus_minus_m:.2f} m"
    return f"{way}; {both}." if move.beyond else f"{way}; {both}, so it may not have moved at all."


def depth_words(burial: Burial | None, place: Place) -> str:
    """The depth today as a sentence, with what its ± comes from."""
    if burial is None:
        return "How deep it lies cannot be said."
    why = "; ".join(WHY[each] for each in burial.why)
    if burial.middle_m is None:
        most = "" if burial.most_m is None else f"; at most all of the snow, {burial.most_m:.1f} m"
        return f"How deep it lies today cannot be said: {why}. {place.depth_m:g} m at its survey{most}."
    if (burial.most_m or 0.0) <= 0.0:
        return "It lies bare, or stands out of the snow" + (f" ({why})." if why else ".")
    said = f"{burial.depth_m:.1f} m deep today, {burial.least_m:.1f} to {burial.most_m:.1f} m"
    return said + (f" ({why})." if why else ".")


def _metres(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
