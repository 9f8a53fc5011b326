"""The three formats of a survey, each as rows of the same keys with the line that each row stands on."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fieldctl.site.earth import to_plane
from fieldctl.site.gpx import NotGpx, waypoints
from fieldctl.site.model import Origin
from fieldctl.site.placing import FAR_M
from fieldctl.textlines import Path, json_lines
from fieldctl.tomlfile import Faults, Table, suggestion

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


def csv_rows(text: str, faults: Faults, _origin: Origin | None) -> list[Table]:
    """Plain metres: a header of keys, one target a line; commas, or semicolons with decimal commas."""
    return read_csv(text, faults, KEYS[:9], _TEXTS, "one line for each target")


def read_csv(text: str, faults: Faults, keys: Sequence[str], texts: Sequence[str], each: str) -> list[Table]:
    """Rows under a header of keys, each with its line; `texts` are the keys whose values stay texts."""
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
            rows.append(_row(values, faults, ("row", len(rows)), reader.line_num, texts, comma=semicolons))
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
            expected="a header: " + ",".join(keys),
            remedy=f"Begin with that line, then {each}.",
        )
    return rows


def gpx_rows(text: str, faults: Faults, origin: Origin | None) -> list[Table]:
    """Waypoints of GPX 1.1; keys come from extensions, or from key=value words in the description."""
    if origin is None:
        _no_origin(faults)
        return []
    rows: list[Table] = []
    try:
        for line, values in waypoints(text, is_ours):
            rows.append(_on_earth(dict(values), faults, ("wpt", len(rows)), line, origin))
    except NotGpx as error:
        faults.add(error.line, "(the file)", error.wrong, expected=error.expected, remedy=error.remedy)
    return rows


def geojson_rows(text: str, faults: Faults, origin: Origin | None) -> list[Table]:
    """Points of a GeoJSON FeatureCollection; coordinates are longitude, latitude (RFC 7946, section 3.1.1)."""
    if origin is None:
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
        values = {key: value for key, value in values.items() if value is not None and is_ours(key)}
        values |= {"lon": point[0], "lat": point[1]}
        rows.append(_on_earth(values, faults, path, line, origin))
    return rows


def is_ours(key: str) -> bool:
    """Whether a property of an export is one of our keys, or so like one that it must be a slip."""
    keys = [known for known in KEYS if known not in ("x_m", "y_m")]  # on the earth, metres come from degrees
    return key in keys or suggestion(key, keys) != ""


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
    row = _row(values, faults, path, line, _TEXTS)
    found = len(faults.found)
    lat, lon = row.number("lat", -85, 85, unit="degrees north"), row.number("lon", -180, 180, unit="degrees east")
    rest = {key: value for key, value in row.values.items() if key not in ("lat", "lon")}
    sound = len(faults.found) == found
    x_m, y_m = to_plane(origin, lat, lon) if sound else (0.0, 0.0)
    off_m = max(abs(x_m), abs(y_m))
    if off_m > FAR_M:
        row.fault(
            "lat",
            f"lat {lat:g}, lon {lon:g} lies {off_m / 1000:.0f} km from the origin",
            expected=f"a point within {FAR_M / 1000:g} km of the origin; GeoJSON writes the longitude first",
            remedy="Check the order of the two numbers, and the site's origin.",
        )
    if not sound or off_m > FAR_M:
        return Table(rest, {path: line}, faults, path, told=frozenset(("x_m", "y_m")))
    return Table(rest | {"x_m": x_m, "y_m": y_m}, {path: line}, faults, path)


def _row(
    values: Mapping[str, Any], faults: Faults, path: Path, line: int, texts: Sequence[str], *, comma: bool = False
) -> Table:
    """A row of a file; texts under keys that want numbers become numbers where they can."""
    read: dict[str, Any] = {}
    for key, value in values.items():
        if isinstance(value, str) and key not in texts:
            try:
                read[key] = float(value.replace(",", ".") if comma else value)
                continue
            except ValueError:
                pass
        read[key] = value
    return Table(read, {path: line}, faults, path)


READERS: dict[str, Callable[[str, Faults, Origin | None], list[Table]]] = {
    ".csv": csv_rows,
    ".geojson": geojson_rows,
    ".gpx": gpx_rows,
}
