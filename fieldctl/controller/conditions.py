"""What holds when an exercise starts: frozen in the ledger, so that no later survey or version changes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl import __version__
from fieldctl.controller import snapshot
from fieldctl.controller.known import Known
from fieldctl.drill.pick import Picks
from fieldctl.units import HostUs

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]


def conditions_of(c: Controller, picks: Picks, request: str) -> Row:
    """Snow, hazard decision, versions; by burial where its target lies that day, how fresh it is and what it runs."""
    day, now = c.day, c.outside.clock.now()
    places: Row = {}
    units: Row = {}
    for burial, target in picks.targets.items():
        place, known = c.site.place(target), c.known.get(target)
        units[burial] = None if known is None else _unit(known, now)
        places[burial] = {
            "x_m": place.x_m,
            "y_m": place.y_m,
            "depth_m": round(c.snow.depth_m(place), 2),
            "azimuth_deg": None if place.axis is None else place.axis.azimuth_deg,
            "tilt_deg": None if place.axis is None else place.axis.tilt_deg,
            "struck": day.struck_since_renewed(target),
            "name": place.name,
            "zone": place.zone,
            "plus_minus_m": place.plus_minus_m,
            "surveyed_on": None if place.surveyed_on is None else place.surveyed_on.isoformat(),
            "surveyed_snow_m": place.snow_m,
        }
    return {
        "version": __version__,
        "site": c.site.title,
        "wall": c.outside.clock.wall(),
        "snow_m": day.snow_m,
        "hazard": day.hazard,
        "in_charge": day.in_charge,
        "places": places,
        "targets": units,
        "request": request,
    }


def _unit(k: Known, now: HostUs) -> Row:
    """A target as it is at the start."""
    return {
        "firmware": None if k.greeting is None else k.greeting.firmware,
        "hardware": None if k.greeting is None else k.greeting.hardware.hex(),
        "contract": None if k.greeting is None else k.greeting.contract,
        "boot": k.boot,
        "plus_minus_ms": snapshot.plus_minus_ms(k, now),
        "volts_load": None if k.report is None else k.report.load_mv / 1000,
        "celsius": None if k.report is None else round(k.report.kelvin10 / 10 - 273.15, 1),
    }
