"""Surveys: where targets lie, as measured on one day, in plain metres (CSV), GeoJSON (RFC 7946) or GPX 1.1 waypoints.

    read_survey(SurveyText, Known) -> places      all faults of the file at once
    as_toml(places)                -> text        [[target]] tables to paste into site.toml

Every format is first turned into rows of the same keys (`target name zone x_m y_m depth_m azimuth_deg tilt_deg
plus_minus_m snow_m surveyed_on method note`), with the line each row stands on; then one function judges them all.
What a survey leaves out (zone, depth, axis) stays as it was known before; what was never known is a fault. A row names
its target by id, or by the name the target has in site.toml. The day comes from the row or from the file's name
(2026-01-31-upper.csv), since the later survey wins.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fieldctl.site.earth import to_plane
from fieldctl.site.gpx import NotGpx, waypoints
from fieldctl.site.model import Axis, Origin, Place, Site, Zone
from fieldctl.site.placing import DEEP_M, FAR_M, check_place, read_axis, target_in
from fieldctl.tomlfile import SIZE_LIMIT, Faults, Path, Table, json_lines, suggestion
from fieldctl.units import TargetId, target_id

SURVEY_KINDS = (".csv", ".geojson", ".gpx")
ROWS_MOST = 4096

KEYS = (
    "target",
    "name",
    "zone",
    "x_m",
    "y_m",
    "depth_m",
    "azimuth_deg",
    "tilt_deg",
    "plus_minus_m",
    "snow_m",
    "surveyed_on",
    "method",
    "note",
)
_TEXTS = ("target", "name", "zone", "surveyed_on", "method", "note")
_DAY = re.compile(r"(\d{4}-\d{2}-\d{2})")
USUAL_PLUS_MINUS_M = {".csv": 0.5, ".geojson": 5.0, ".gpx": 5.0}  # a tape from a stake; a hand-held receiver


@dataclass(frozen=True, slots=True)
class SurveyText:
    """One survey file: its name, which tells the format and often the day, and its text."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Known:
    """What a survey is read against."""

    origin: Origin | None
    zones: tuple[Zone, ...]
    places: Mapping[TargetId, Place]

    @classmethod
    def of(cls, site: Site) -> Known:
        """What the site file itself says."""
        return cls(site.origin, site.zones, {place.target: place for place in site.places})


def read_survey(survey: SurveyText, known: Known) -> tuple[Place, ...]:
    """The places of one survey; FileFaults with all its faults."""
    faults = Faults(survey.name)
    kind = survey.name[survey.name.rfind(".") :].lower()
    readers = {".csv": _csv_rows, ".geojson": _geojson_rows, ".gpx": _gpx_rows}
    places: list[Place] = []
    if kind not in readers:
        faults.add(
            0,
            "(the file)",
            f"{kind!r} is no kind of survey",
            expected=" or ".join(SURVEY_KINDS),
            remedy="Give the file the ending of what it holds.",
        )
    elif len(survey.text) > SIZE_LIMIT:
        faults.add(
            0,
            "(the file)",
            f"it has {len(survey.text)} characters",
            expected=f"at most {SIZE_LIMIT}",
            remedy="Take out what is no target: tracks, pictures, contour lines.",
        )
    else:
        rows = readers[kind](survey.text, faults, known)
        if len(rows) > ROWS_MOST:
            faults.add(
                0,
                "(the file)",
                f"it has {len(rows)} rows",
                expected=f"at most {ROWS_MOST}",
                remedy="Check that this is the right file.",
            )
        for row in rows[:ROWS_MOST]:
            place = _place(row, known, survey.name, kind, {p.target for p in places})
            if place is not None:
                places.append(place)
    faults.raise_if_any()
    return tuple(places)


def _place(row: Table, known: Known, file: str, kind: str, seen: set[TargetId]) -> Place | None:
    """One row judged; None when its target cannot be told."""
    target = _target(row, known)
    if target and target in seen:
        row.fault(
            "target",
            f"target {target} stands in this survey a second time",
            expected="each target once in a survey",
            remedy="Take one of the two out.",
        )
    before = known.places.get(target)
    name = row.text("name", before.name if before else target)
    given = {"x": row.number("x_m", -FAR_M, FAR_M, unit="metres"), "y": row.number("y_m", -FAR_M, FAR_M, unit="metres")}
    zone = row.slug("zone", before.zone if before else _zone_around(known.zones, given["x"], given["y"]))
    if not zone and not row.has("zone"):
        row.fault(
            "zone",
            "it is missing, and no zone's outline holds this point",
            expected="the name of a [[zone]] table of site.toml",
            remedy="Name the zone of this target.",
        )
    day_in_name = _DAY.search(file)
    day = row.date("surveyed_on")
    if day is None and "surveyed_on" not in row.values:
        try:
            day = datetime.date.fromisoformat(day_in_name.group(1)) if day_in_name else None
        except ValueError:
            day = None
        if day is None:
            row.fault(
                "surveyed_on",
                "nothing says on which day this was measured",
                expected="a date such as 2026-01-31 in the row, or at the beginning of the file's name",
                remedy=f"Call the file 2026-01-31-{file.rsplit('/', 1)[-1]}, with the day it was measured.",
            )
    place = Place(
        target=target or TargetId(""),
        name=name or target,
        zone=zone,
        x_m=given["x"],
        y_m=given["y"],
        depth_m=row.number("depth_m", 0, DEEP_M, *([before.depth_m] if before else []), unit="metres"),
        axis=read_axis(row) or (before.axis if before else None),
        plus_minus_m=row.number("plus_minus_m", 0, 50, USUAL_PLUS_MINUS_M[kind], unit="metres"),
        snow_m=row.number("snow_m", 0, 30, None, unit="metres"),
        surveyed_on=day,
        method=row.text("method", kind[1:]),
        note=row.text("note", before.note if before else ""),
        source=file,
    )
    if before and "depth_m" not in row.values:
        place = replace(place, snow_m=before.snow_m)  # the depth is that of the earlier day, so is its snow
    if "x_m" in row.values and "y_m" in row.values:
        check_place(row, place, known.zones)
    row.done()
    return place if target else None


def _target(row: Table, known: Known) -> TargetId:
    if row.has("target"):
        return target_in(row, "target")
    name = str(row.values.get("name", "")).strip()
    row.has("name")
    for place in known.places.values():
        if name and place.name == name:
            return place.target
    try:
        return target_id(name)
    except ValueError:
        near = suggestion(name, [place.name for place in known.places.values()])
        row.fault(
            "target",
            (f"it is missing, and no target is called {name!r}" if name else "it is missing")
            + (f"; did you mean {near!r}?" if near else ""),
            expected="a target id such as 5ee00001, or the name of a target of site.toml",
            remedy="Copy the id from the target's label.",
        )
        return TargetId("")


def _zone_around(zones: Sequence[Zone], x_m: float, y_m: float) -> str:
    around = [zone.name for zone in zones if zone.outline_m and zone.off_by_m(x_m, y_m) == 0]
    return around[0] if len(around) == 1 else ""


# ---- the three formats, each as rows of the same keys ---------------------------------------------------------


def _csv_rows(text: str, faults: Faults, _known: Known) -> list[Table]:
    """Plain metres: a header of keys, one target a line; commas, or semicolons with decimal commas."""
    first = text.lstrip("\r\n").split("\n", 1)[0]
    semicolons = first.count(";") > first.count(",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if semicolons else ",", strict=True)
    header: list[str] = []
    rows: list[Table] = []
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if not header:
                header = cells
                continue
            if len(cells) > len(header):
                faults.add(
                    reader.line_num,
                    "(the row)",
                    f"it has {len(cells)} cells, the header {len(header)}",
                    expected="one cell for each key of the header",
                    remedy="Put a text that holds the separator in double quotes.",
                )
                continue
            values = {key: cell for key, cell in zip(header, cells, strict=False) if cell}
            rows.append(_row(values, faults, ("row", len(rows)), reader.line_num, comma=semicolons))
    except csv.Error as error:
        faults.add(
            reader.line_num,
            "(the row)",
            f"this is not CSV: {error}",
            expected="cells with a separator between them",
            remedy="Mend this line; what follows it was not read.",
        )
    if not header:
        faults.add(
            1,
            "(the file)",
            "it holds nothing",
            expected="a header: " + ",".join(KEYS[:9]),
            remedy="Begin with that line, then one line for each target.",
        )
    return rows


def _gpx_rows(text: str, faults: Faults, known: Known) -> list[Table]:
    """Waypoints of GPX 1.1; keys come from extensions, or from key=value words in the description."""
    if known.origin is None:
        _no_origin(faults)
        return []
    rows: list[Table] = []
    try:
        for line, values in waypoints(text, KEYS):
            rows.append(_on_earth(dict(values), faults, ("wpt", len(rows)), line, known.origin))
    except NotGpx as error:
        faults.add(error.line, "(the file)", error.wrong, expected=error.expected, remedy=error.remedy)
    return rows


def _geojson_rows(text: str, faults: Faults, known: Known) -> list[Table]:
    """Points of a GeoJSON FeatureCollection; coordinates are longitude, latitude (RFC 7946, section 3.1.1)."""
    if known.origin is None:
        _no_origin(faults)
        return []
    try:
        data = json.loads(text)
        lines: Mapping[Path, int] = json_lines(text)
    except (ValueError, RecursionError) as error:
        wrong = error.msg if isinstance(error, json.JSONDecodeError) else "it is nested too deeply"
        line = error.lineno if isinstance(error, json.JSONDecodeError) else 0
        faults.add(
            line,
            "(the file)",
            f"this is not JSON: {wrong}",
            expected="a GeoJSON FeatureCollection (RFC 7946)",
            remedy="Export it again.",
        )
        return []
    features = data.get("features") if isinstance(data, dict) else None
    if not isinstance(data, dict) or data.get("type") != "FeatureCollection" or not isinstance(features, list):
        faults.add(
            1,
            "type",
            "this is no FeatureCollection",
            expected='{"type": "FeatureCollection", "features": [...]} (RFC 7946)',
            remedy="Export the points as a FeatureCollection.",
        )
        return []
    rows: list[Table] = []
    for index, feature in enumerate(features):
        path: Path = ("features", index)
        line = lines[path]
        geometry = feature.get("geometry") if isinstance(feature, dict) else None
        point = geometry.get("coordinates") if isinstance(geometry, dict) and geometry.get("type") == "Point" else None
        if not isinstance(point, list) or not 2 <= len(point) <= 3:
            faults.add(
                line,
                f"features[{index + 1}].geometry",
                "this is no Point",
                expected='{"type": "Point", "coordinates": [longitude, latitude]}',
                remedy="Keep only the targets' points in this file.",
            )
            continue
        given = feature.get("properties")
        values = dict(given) if isinstance(given, dict) else {}
        values = {key: value for key, value in values.items() if value is not None}
        values |= {"lon": point[0], "lat": point[1]}
        rows.append(_on_earth(values, faults, path, line, known.origin))
    return rows


def _no_origin(faults: Faults) -> None:
    faults.add(
        0,
        "(the file)",
        "it holds degrees, and the site has no origin to measure metres from",
        expected="an [origin] table with lat_deg and lon_deg in site.toml",
        remedy="Add the origin, or survey in plain metres (CSV) from a stake.",
    )


def _on_earth(values: dict[str, Any], faults: Faults, path: Path, line: int, origin: Origin) -> Table:
    """A row whose lat and lon have become metres of the plane."""
    row = _row(values, faults, path, line)
    found = len(faults.found)
    lat, lon = row.number("lat", -85, 85, unit="degrees north"), row.number("lon", -180, 180, unit="degrees east")
    rest = {key: value for key, value in row.values.items() if key not in ("lat", "lon")}
    if len(faults.found) == found:
        rest["x_m"], rest["y_m"] = to_plane(origin, lat, lon)
        if max(abs(rest["x_m"]), abs(rest["y_m"])) > FAR_M:
            km = max(abs(rest["x_m"]), abs(rest["y_m"])) / 1000
            row.fault(
                "lat",
                f"lat {lat:g}, lon {lon:g} lies {km:.0f} km from the origin",
                expected=f"a point within {FAR_M / 1000:g} km; GeoJSON writes the longitude first",
                remedy="Check the order of the two numbers, and the site's origin.",
            )
            rest["x_m"], rest["y_m"] = 0.0, 0.0
    else:
        rest["x_m"], rest["y_m"] = 0.0, 0.0
    return Table(rest, {path: line}, faults, path)


def _row(values: Mapping[str, Any], faults: Faults, path: Path, line: int, *, comma: bool = False) -> Table:
    """A row of a survey; texts under keys that want numbers become numbers where they can."""
    read: dict[str, Any] = {}
    for key, value in values.items():
        if isinstance(value, str) and key not in _TEXTS:
            try:
                read[key] = float(value.replace(",", ".") if comma else value)
                continue
            except ValueError:
                pass
        read[key] = value
    return Table(read, {path: line}, faults, path)


# ---- the way back --------------------------------------------------------------------------------------------


def as_toml(places: Iterable[Place]) -> str:
    """The places as [[target]] tables to paste into site.toml."""
    blocks = []
    for place in places:
        axis = place.axis or Axis(0.0, 0.0)
        rows: list[tuple[str, object]] = [
            ("id", place.target),
            ("name", place.name),
            ("zone", place.zone),
            ("link", place.link or None),
            ("x_m", round(place.x_m, 3)),
            ("y_m", round(place.y_m, 3)),
            ("depth_m", place.depth_m),
            ("azimuth_deg", axis.azimuth_deg if place.axis else None),
            ("tilt_deg", axis.tilt_deg if place.axis else None),
            ("plus_minus_m", place.plus_minus_m),
            ("snow_m", place.snow_m),
            ("surveyed_on", place.surveyed_on),
            ("method", place.method or None),
            ("note", place.note or None),
        ]
        # a JSON string is a TOML basic string, once DEL is escaped too
        texts = [
            f"{key} = {json.dumps(value, ensure_ascii=False).replace(chr(127), chr(92) + 'u007f')}"
            if isinstance(value, str)
            else f"{key} = {value}"
            for key, value in rows
            if value is not None
        ]
        blocks.append("\n".join(["[[target]]", *texts]) + "\n")
    return "\n".join(blocks)
