"""What a place must satisfy wherever it is read from: site.toml or a survey."""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.site.model import Axis, Place, Zone
from fieldctl.tomlfile import Table, suggestion
from fieldctl.units import TargetId, target_id

FAR_M = 20_000.0  # a practice field is a few hundred metres; anything beyond is a slip of the pen
DEEP_M = 10.0


def read_point(table: Table) -> tuple[float, float, bool]:
    """x and y in metres of the site's plane, and whether both are sound."""
    found = len(table.faults.found)
    x_m = table.number("x_m", -FAR_M, FAR_M, unit="metres")
    y_m = table.number("y_m", -FAR_M, FAR_M, unit="metres")
    return x_m, y_m, len(table.faults.found) == found and not table.told


def read_axis(table: Table) -> Axis | None:
    """The way the coil points, or None where neither azimuth nor tilt is given."""
    given = [table.has("azimuth_deg"), table.has("tilt_deg")]
    if not any(given):
        return None
    tilt_deg = table.number("tilt_deg", 0, 90, unit="degrees from upright")
    if tilt_deg == 0 and not given[0]:
        return Axis(0.0, 0.0)  # an upright axis has no azimuth
    return Axis(table.number("azimuth_deg", 0, 360, unit="degrees clockwise from +y"), tilt_deg)


def check_place(table: Table, place: Place, zones: Sequence[Zone], *, measured: bool) -> None:
    """Faults of a place against the zones of its site; where it lies is looked at when it was `measured` soundly."""
    if not place.zone:
        return  # missing or unreadable: said already
    for zone in zones:
        if zone.name == place.zone:
            break
    else:
        near = suggestion(place.zone, [zone.name for zone in zones])
        table.fault(
            "zone",
            f"no zone is called {place.zone!r}" + (f"; did you mean {near!r}?" if near else ""),
            expected="the name of a [[zone]] table of site.toml",
            remedy="Name one of those, or add the zone to site.toml.",
        )
        return
    off_m = zone.off_by_m(place.x_m, place.y_m) if measured else 0.0
    if off_m > place.plus_minus_m:
        table.fault(
            "x_m" if "x_m" in table.values else "",
            f"({place.x_m:.1f}, {place.y_m:.1f}) lies {off_m:.1f} m outside zone {zone.name}",
            expected=f"a point inside the zone's outline, give or take the place's own ± of {place.plus_minus_m:g} m",
            remedy="Mend the coordinates, the zone's outline_m, or the zone's name.",
        )


def target_in(table: Table, key: str) -> TargetId:
    """The target id under a key; an empty one stands in for a faulty one."""
    text = table.text(key, expected="eight hexadecimal digits, such as 5ee00001, in quotes")
    try:
        return target_id(text) if text else TargetId("")
    except ValueError as error:
        table.fault(key, f"{text!r} is no target id", expected=str(error), remedy="Copy it from the target's label.")
        return TargetId("")
