"""The carry list and the retrieval on a phone: ticked up there without network, sent when the field answers again.

What a page shows is worked out in the other process; what is ticked goes through the verbs visit-… and retrieval-….
The self-test stands beside them: it needs the field, and so it is not ticked without it.
`?file=true` gives the sheet to print.
"""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from fieldctl.errors import FieldctlError, NotFound, Refused
from fieldctl.site.model import Site
from fieldctl.units import TargetId
from fieldctl.web.debrief_pages import ALONE
from fieldctl.web.house import House, house_of
from fieldctl.web.on_page import on_page
from fieldctl.web.paper import language_of, render, who_of
from fieldctl.web.upkeep_kept import day_of_wall

Row = dict[str, Any]


def router() -> APIRouter:
    """Every route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/upkeep/carry")(_carry)
    routes.get("/upkeep/retrieval")(_retrieval)
    routes.get("/upkeep/self-test")(_self_test)
    return routes


async def _carry(request: Request, file: bool = False) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "carry.html", right="watch")
    house, language = house_of(request), language_of(request)
    visit = await _latest(house)
    items = tuple(item["item"] for item in visit["items"]) if visit is not None and visit["open"] else None
    try:
        said, going_on = await house.elsewhere.run(_said, *_given(house, language), items)
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=409, error=error)
    if file:
        return await _sheet(house, "carry.html", _carry_sheet, said, language)
    return render(
        request, "carry.html", right="watch", parts=("carry",), shown=said, going_on=going_on, visit=visit,
        boot=house.controller.outside.clock.boot, stops=said["stops"] if going_on is None else going_on["stops"],
        labels=_labels(said["stops"] if going_on is None else going_on["stops"], language),
    )  # fmt: skip


async def _latest(house: House) -> Row | None:
    """The visit that goes on, or the last one that was; None before the first."""
    try:
        return await house.desk.ask("visit-show", {})
    except NotFound:
        return None


def _labels(stops: list[Row], language: str) -> dict[str, list[str]]:
    """What each item is called, for the page's scripts: name and what."""
    return {job["item"]: [stop["name"], on_page(language, job["what"])] for stop in stops for job in stop["jobs"]}


async def _retrieval(request: Request, file: bool = False) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "retrieval.html", right="watch")
    house, language = house_of(request), language_of(request)
    row = await house.desk.ask("retrieval-show", {})
    if file:
        return await _sheet(house, "retrieval.html", _retrieval_sheet, row, language, house.controller.site.title)
    targets = tuple(one["target"] for one in row["targets"])
    try:
        places = await house.elsewhere.run(_places, *_given(house, language), targets)
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=409, error=error)
    by_target = {one["target"]: one for one in row["targets"]}
    return render(
        request, "retrieval.html", right="watch", parts=("carry",), row=row, places=places, by_target=by_target,
        boot=house.controller.outside.clock.boot,
    )  # fmt: skip


async def _self_test(request: Request, file: bool = False) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "self_test.html", right="watch")
    house = house_of(request)
    row = await house.desk.ask("self-test-show", {})
    if file:
        title = house.controller.site.title
        return await _sheet(house, "self-test.html", _self_test_sheet, row, language_of(request), title)
    return render(request, "self_test.html", right="watch", parts=("carry",), row=row)


async def _sheet(house: House, called: str, work: Any, *given: Any) -> Response:
    """A sheet as a file of its own, which holds its style and no script."""
    answer = HTMLResponse(await house.elsewhere.run(work, *given))
    answer.headers["Content-Security-Policy"] = ALONE
    answer.headers["Content-Disposition"] = f'attachment; filename="{called}"'
    return answer


def _given(house: House, language: str) -> tuple[str, Site, str, datetime.date | None]:
    c = house.controller
    return c.ledger.where, c.site, language, day_of_wall(c.outside.clock.wall())


# ---- in the other process ----------------------------------------------------------------------------------------


def _said(
    ledger: str, site: Site, language: str, today: datetime.date | None, items: tuple[str, ...] | None
) -> tuple[Row, Row | None]:
    """The list as it is now, and as it was for a visit that goes on."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.upkeep.carry_read import last_day, read_carry, read_names
    from fieldctl.web.carry_said import said_carry, stops_of

    with Reader.read(ledger) as reader:
        day = today or last_day(reader)
        if day is None:
            raise Refused("Nobody knows which day it is.", remedy="Set this machine's clock, and open the page again.")
        carry, names = read_carry(reader, site, day), read_names(reader, site)
    going_on = None if items is None else stops_of(items, carry, site, language, names)
    return said_carry(carry, site, language, names), going_on


def _places(
    ledger: str, site: Site, language: str, today: datetime.date | None, targets: tuple[TargetId, ...]
) -> dict[TargetId, Row]:
    from fieldctl.ledger.reader import Reader
    from fieldctl.upkeep.carry_read import last_day, read_places
    from fieldctl.web.carry_said import said_places

    with Reader.read(ledger) as reader:
        there = read_places(reader, site, today or last_day(reader) or datetime.date.min)
    return said_places(targets, there, site, language)


def _carry_sheet(said: Row, language: str) -> str:
    from fieldctl.web.carry_sheet import carry_sheet

    return carry_sheet(said, language)


def _retrieval_sheet(row: Row, language: str, title: str) -> str:
    from fieldctl.web.carry_sheet import retrieval_sheet

    return retrieval_sheet(row, language, title)


def _self_test_sheet(row: Row, language: str, title: str) -> str:
    from fieldctl.web.carry_sheet import self_test_sheet

    return self_test_sheet(row, language, title)
