"""The page of people: one's own phones; for whoever is in charge everybody's rights and phones, and who searches."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from fieldctl.web.house import House
from fieldctl.web.paper import render, who_of
from fieldctl.web.rights import GRANTABLE

LOOPBACK = ("localhost", "127.", "[::1]")


def _known(house: House) -> list[tuple[str, str]]:
    """Everybody who has a name here, id and name, in the order of names."""
    return sorted(house.controller.people.items(), key=lambda row: (row[1].casefold(), row[0]))


def router(house: House) -> APIRouter:
    """The route of this module."""
    routes = APIRouter()

    async def people(request: Request) -> Response:
        who, access = who_of(request), house.accounts.access
        all_of_them = access.rows() if who.may("in-charge") else []
        return render(
            request,
            "people.html",
            right="watch",
            parts=("people",),
            own=access.row(who.person) if who.person is not None else None,
            everybody=[row for row in all_of_them if row["person"] != who.person],
            roster=sorted(house.controller.people.values(), key=str.casefold) if who.may("in-charge") else [],
            known=_known(house) if who.may("in-charge") else [],
            grantable=GRANTABLE,
            knows_time=house.controller.outside.clock.wall() is not None,
            only_here=request.headers.get("host", "").startswith(LOOPBACK),
        )

    routes.add_route("/people", people, ["GET"])
    return routes
