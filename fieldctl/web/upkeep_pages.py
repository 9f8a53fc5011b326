"""Upkeep on a small screen: which batteries to change, what is sick and where it lies; the history of one target.

The list comes from `upkeep_kept`, and no page waits for it to be worked out; a history comes from the other process.
Every change goes through a verb: battery-swapped, target-locate, target-bar, target-clear. Nothing here tells of an
exercise that goes on.
"""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import JSONResponse, Response

from fieldctl.errors import FieldctlError, NotFound
from fieldctl.site.model import Site
from fieldctl.units import TargetId
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import language_of, render, who_of
from fieldctl.web.upkeep_kept import day_of_wall

LOOKS = {"online": "found", "overdue": "not-heard"}  # shapes that two states share; their words differ

Target = Annotated[str, Path(pattern=r"^[0-9a-f]{8}$")]


def router() -> APIRouter:
    """Every route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/upkeep")(_list)
    routes.get("/upkeep/coming")(_coming)
    routes.get("/upkeep/target/{target}")(_history)
    return routes


async def _list(request: Request) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "upkeep.html", right="watch")
    house = house_of(request)
    try:
        standing, coming = await house.upkeep.shown(house)
    except FieldctlError as error:
        return _refused(request, error)
    shown, made = (None, None) if standing is None else (standing.made.said[language_of(request)], standing.wall)
    return render(
        request, "upkeep.html", right="watch", parts=("upkeep",), shown=shown, made=made, coming=coming,
        states=lambda target: _states(house, target),
    )  # fmt: skip


async def _coming(request: Request) -> Response:
    """What the list is still to be given; a page that waits for it asks until it is there."""
    if not who_of(request).may("watch"):
        return JSONResponse({"coming": ""}, status_code=403)
    house = house_of(request)
    return JSONResponse({"coming": house.upkeep.coming(house)})


async def _history(request: Request, target: Target) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "upkeep_target.html", right="watch")
    house = house_of(request)
    c = house.controller
    wall = c.outside.clock.wall()
    try:
        name, markup = await house.elsewhere.run(
            _made, c.ledger.where, c.site, language_of(request), TargetId(target), day_of_wall(wall)
        )
    except FieldctlError as error:
        return _refused(request, error)
    return render(
        request, "upkeep_target.html", right="watch", parts=("upkeep", "carry"), target=target, name=name,
        fragment=markup, made=wall, today=(wall or "")[:10], states=_states(house, TargetId(target)),
        barred=c.day.barred.get(TargetId(target)),
    )  # fmt: skip


def _states(house: House, target: TargetId) -> list[dict[str, str]]:
    """In which states a target is as the page is opened: word, shape, and since when where that is known."""
    c = house.controller
    known = c.known.get(target)
    if known is None:
        return []
    return [
        {"word": word, "look": LOOKS.get(word, word), "since": row["since"] or ""}
        for row in c.states.rows(known, c.outside.clock.now())
        for word in [row["state"].replace(" ", "-")]
    ]


def _refused(request: Request, error: FieldctlError) -> Response:
    status = 404 if isinstance(error, NotFound) else 409
    return render(request, "refused.html", right="watch", status=status, error=error)


# ---- in the other process ----------------------------------------------------------------------------------------


def _made(ledger: str, site: Site, language: str, target: TargetId, today: datetime.date | None) -> tuple[str, str]:
    from fieldctl.web.upkeep_made import make_history

    return make_history(ledger, site, language, target, today)
