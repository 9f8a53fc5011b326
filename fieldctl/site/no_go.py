"""The line that grooming machines stay outside of: as the site draws it, or around the targets of each zone.

    lines(site)                    the lines of a site
    outside_m(lines, x, y)         how far a point lies outside all of them; below 0: how far inside
    as_geojson, as_gpx, as_csv     for the machine's own map

Where the site draws no line of its own, each zone has the hull of discs around its targets: the site's margin and the
place's own ± wide. So whatever lies within its ± lies inside, and the margin is kept from it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from xml.sax.saxutils import escape, quoteattr

from fieldctl.errors import Refused
from fieldctl.site.earth import to_earth
from fieldctl.site.model import Origin, Site, Zone, to_line_m
from fieldctl.tables import csv_line

Point = tuple[float, float]

CORNERS = 24  # of a disc's outline, drawn around it: at most 0.9 % of its radius beyond
LEAST_M = 0.5  # around a target, so that a line has an inside whatever the margin
EARTH_DIGITS = 7  # after the point, in degrees: about a centimetre


@dataclass(frozen=True, slots=True)
class Line:
    """One closed line, counter-clockwise, without its first point once more at the end."""

    name: str
    title: str
    points_m: tuple[Point, ...]
    drawn: bool  # by the site; otherwise made around its targets


def lines(site: Site) -> tuple[Line, ...]:
    """The no-go lines of a site: those that it draws; where it draws none, one around the targets of each zone."""
    if site.grooming.lines:
        return tuple(
            Line(each.name, each.title, _counter_clockwise(each.outline_m), True) for each in site.grooming.lines
        )
    found = []
    for zone in site.zones:
        discs = [
            (place.x_m, place.y_m, max(LEAST_M, site.grooming.margin_m + place.plus_minus_m))
            for place in site.places
            if place.zone == zone.name
        ]
        if discs:
            found.append(Line(zone.name, zone.title, around(discs), False))
    return tuple(found)


def around(discs: Iterable[tuple[float, float, float]]) -> tuple[Point, ...]:
    """The hull of discs (x, y, radius), as a polygon that holds all of them."""
    reach = 1.0 / cos(pi / CORNERS)  # a polygon with its sides on the circle has its corners so far out
    turns = [2 * pi * k / CORNERS for k in range(CORNERS)]
    return hull([(x + r * reach * cos(a), y + r * reach * sin(a)) for x, y, r in discs for a in turns])


def hull(points: Iterable[Point]) -> tuple[Point, ...]:
    """The convex hull, counter-clockwise (A. M. Andrew's monotone chain, 1979)."""
    rows = sorted(set(points))
    if len(rows) < 3:
        return tuple(rows)

    def chain(order: Iterable[Point]) -> list[Point]:
        kept: list[Point] = []
        for p in order:
            while len(kept) >= 2 and _turn(kept[-2], kept[-1], p) <= 0:
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return tuple(chain(rows) + chain(reversed(rows)))


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def outside_m(among: Sequence[Line], x_m: float, y_m: float) -> float:
    """How far a point lies outside every line; below 0, how far it lies inside the line that it is deepest in."""
    return min((_off(line.points_m, x_m, y_m) for line in among), default=float("inf"))


def _off(outline: tuple[Point, ...], x: float, y: float) -> float:
    off_m = Zone("", "", outline).off_by_m(x, y)
    return off_m if off_m > 0 else -to_line_m(outline, x, y)


def crosses_itself(outline: Sequence[Point]) -> tuple[int, int] | None:
    """Two sides of an outline that cross, counted from 1; None where none do."""
    sides = list(zip(outline, [*outline[1:], *outline[:1]], strict=True))
    for i, (a, b) in enumerate(sides):
        for k in range(i + 2, len(sides)):
            if i == 0 and k == len(sides) - 1:
                continue  # neighbours too
            c, d = sides[k]
            if _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0:
                return i + 1, k + 1
    return None


def as_geojson(site: Site, among: Sequence[Line]) -> str:
    """A FeatureCollection of polygons, rings counter-clockwise (RFC 7946); Refused where the site has no origin."""
    origin = _origin(site)
    features = [
        {
            "type": "Feature",
            "properties": {"name": line.name, "title": line.title, "what": "no grooming machines inside"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[lon, lat] for lat, lon in _ring(origin, line)]],
            },
        }
        for line in among
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1) + "\n"


def as_gpx(site: Site, among: Sequence[Line]) -> str:
    """Closed tracks of a GPX 1.1 file; Refused without an origin."""
    origin = _origin(site)
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="fieldctl" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for line in among:
        rows.append(f"<trk><name>{escape(f'no machines: {line.title}')}</name><trkseg>")
        rows += [f"<trkpt lat={quoteattr(str(lat))} lon={quoteattr(str(lon))}/>" for lat, lon in _ring(origin, line)]
        rows.append("</trkseg></trk>")
    return "\n".join([*rows, "</gpx>"]) + "\n"


def as_csv(among: Sequence[Line]) -> Iterator[str]:
    """One line for each corner in metres of the site's plane, with a heading."""
    yield csv_line(("line", "corner", "x_m", "y_m"))
    for line in among:
        for number, (x, y) in enumerate(line.points_m, start=1):
            yield csv_line((line.name, number, round(x, 2), round(y, 2)))


def _ring(origin: Origin, line: Line) -> list[Point]:
    """The corners as degrees (lat, lon), the first once more at the end."""
    found = [to_earth(origin, x, y) for x, y in (*line.points_m, line.points_m[0])]
    return [(round(lat, EARTH_DIGITS), round(lon, EARTH_DIGITS)) for lat, lon in found]


def _counter_clockwise(outline: tuple[Point, ...]) -> tuple[Point, ...]:
    ends = (*outline[1:], *outline[:1])
    area = sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(outline, ends, strict=True))
    return outline if area >= 0 else tuple(reversed(outline))


def _origin(site: Site) -> Origin:
    if site.origin is None:
        raise Refused(
            "The site has no origin, so nobody knows where on the earth its metres lie.",
            expected="an [origin] table with lat_deg and lon_deg in site.toml",
            remedy="Add the origin, or take the line in plain metres: --csv.",
        )
    return site.origin
