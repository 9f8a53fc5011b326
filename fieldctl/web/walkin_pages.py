"""The walk-in: a public page to start an exercise that nobody leads, and the panel that releases it."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fieldctl.web.house import House, house_of
from fieldctl.web.paper import render, who_of

HOURS = (1, 2, 3, 4, 6)  # for how long it is released by one tap
PAUSES_S = (30, 60, 120, 300)
LIMITS_MIN = (10, 15, 20, 30)


def router() -> APIRouter:
    """The route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/walk-in")(_walk_in)
    return routes


async def _walk_in(request: Request) -> Response:
    house = house_of(request)
    state = await house.desk.ask("walkin-status", {})
    may = who_of(request).may("in-charge")
    return render(
        request,
        "walkin.html",
        parts=("walkin",),
        state=state,
        drills=await _fit(house) if may else [],
        taken={zone for row in state["released"] for zone in row["zones"]},
        titles={zone.name: zone.title for zone in house.controller.site.zones},
        hours=HOURS,
        pauses_s=PAUSES_S,
        limits_min=LIMITS_MIN,
    )


async def _fit(house: House) -> list[dict[str, Any]]:
    """The drills that need nobody beside them: without faults, not assessed, every find by a hit."""
    found = []
    for row in (await house.desk.ask("drill-list", {}))["drills"]:
        if "faults" in row or any(burial["find"] == "call" for burial in row["burials"]):
            continue
        if not (await house.desk.ask("drill-show", {"drill": row["drill"]}))["assessed"]:
            found.append(row)
    return found
