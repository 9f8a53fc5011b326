"""Surveys: where targets lie, as measured on one day, in plain metres (CSV), GeoJSON (RFC 7946) or GPX 1.1 waypoints.

    read_survey(SurveyText, Known) -> places      all faults of the file at once
    as_toml(places)                -> text        [[target]] tables to paste into site.toml

Every format is first turned into rows of the same keys (`target name zone x_m y_m depth_m azimuth_deg tilt_deg
plus_minus_m snow_m surveyed_on method note`), with the line each row stands on; then one function judges them all.
Exports carry other properties too: in GeoJSON and GPX only those that look like a slip of one of these keys are faults.
What a survey leaves out (zone, depth, axis) stays as it was known before; what was never known is a fault. A row names
its target by id, or by the name the target has in site.toml. The day comes from the row or from the file's name
(2026-01-31-upper.csv), since the later survey wins.
"""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldctl.site.model import Axis, Origin, Place, Site, Zone
from fieldctl.site.placing import DEEP_M, check_place, read_axis, read_point, target_in
from fieldctl.site.survey_rows import READERS
from fieldctl.tomlfile import SIZE_LIMIT, Faults, Table, suggestion
from fieldctl.units import TargetId, target_id

SURVEY_KINDS = tuple(READERS)
ROWS_MOST = 4096

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

    def also(self, places: Iterable[Place]) -> Known:
        """This, and what one more survey found."""
        return replace(self, places={**self.places, **{place.target: place for place in places}})


def read_survey(survey: SurveyText, known: Known) -> tuple[Place, ...]:
    """The places of one survey; FileFaults with all its faults."""
    faults = Faults(survey.name)
    kind = survey.name[survey.name.rfind(".") :].lower()
    places: list[Place] = []
    if kind not in READERS:
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
        rows = READERS[kind](survey.text, faults, known.origin)
        if len(rows) > ROWS_MOST:
            faults.add(
                0,
                "(the file)",
                f"it has {len(rows)} rows",
                expected=f"at most {ROWS_MOST}",
                remedy="Check that this is the right file.",
            )
        seen: set[TargetId] = set()
        for row in rows[:ROWS_MOST]:
            place = _place(row, known, survey.name, kind, seen)
            if place is not None:
                places.append(place)
                seen.add(place.target)
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
    if target and any(other.name == name and other.target != target for other in known.places.values()):
        row.fault(
            "name",
            f"another target is called {name!r} too",
            expected="a name of its own for each target",
            remedy="Give one of the two another name.",
        )
    x_m, y_m, measured = read_point(row)
    zone = row.slug("zone", before.zone if before else _zone_around(known.zones, x_m, y_m))
    if not zone and measured and not row.has("zone"):
        row.fault(
            "zone",
            "it is missing, and no zone's outline holds this point",
            expected="the name of a [[zone]] table of site.toml",
            remedy="Name the zone of this target.",
        )
    usual_depth = [before.depth_m] if before else [] if target else [0.0]  # without a target that is fault enough
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
        x_m=x_m,
        y_m=y_m,
        depth_m=row.number("depth_m", 0, DEEP_M, *usual_depth, unit="metres"),
        axis=read_axis(row) or (before.axis if before else None),
        plus_minus_m=row.number("plus_minus_m", 0, 50, USUAL_PLUS_MINUS_M[kind], unit="metres"),
        snow_m=row.number("snow_m", 0, 30, None, unit="metres"),
        surveyed_on=day,
        method=row.text("method", kind[1:]),
        note=row.text("note", before.note if before else ""),
        source=file,
    )
    if before and "depth_m" not in row.values:
        # the depth is that of the earlier day, so is its snow
        place = replace(place, snow_m=before.snow_m, depth_on=before.depth_on or before.surveyed_on)
    check_place(row, place, known.zones, measured=measured)
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
