"""The pages of the field: now, field, drills, a drill with its ready check, an exercise, those who look on."""

from __future__ import annotations

from importlib import resources
from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import APIRouter, HTTPException, Path, Query, Request
from fastapi.responses import FileResponse, RedirectResponse, Response

from fieldctl.controller import snapshot
from fieldctl.controller.exercises import SEEDS, draw_seed
from fieldctl.errors import FieldctlError, FileFaults, NotFound
from fieldctl.events import AssessmentListed
from fieldctl.site.no_go import lines
from fieldctl.web import carry_pages, day_pages, rehearsing, upkeep_pages, walkin_pages, words
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import render, who_of

KINDS = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
FOR_EVER = "public, max-age=31536000, immutable"
LANGUAGE_FOR_S = 400 * 24 * 3600

Name = Annotated[str, Path(max_length=80)]
Seed = Annotated[int, Query(ge=0, lt=SEEDS)]


def router() -> APIRouter:
    """Every route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/static/{_version}/{file}")(_static)
    routes.get("/language/{code}")(_language)
    routes.get("/")(_now)
    routes.get("/field")(_field)
    routes.get("/drills")(_drills)
    routes.get("/drills/{name}")(_drill)
    routes.get("/exercises/{name}")(_exercise)
    routes.get("/spectators")(_spectators)
    routes.get("/searchers")(_searchers)
    routes.get("/limited")(_limited)
    for part in (rehearsing, day_pages, walkin_pages, carry_pages, upkeep_pages):
        routes.include_router(part.router())
    return routes


async def _static(file: Name) -> Response:
    """One of our own files; the name of its version lets browsers keep it."""
    path = resources.files("fieldctl.web").joinpath("static", file)
    kind = KINDS.get("." + file.rpartition(".")[2])
    if "/" in file or kind is None or not path.is_file():
        raise HTTPException(404)
    return FileResponse(str(path), media_type=kind, headers={"Cache-Control": FOR_EVER})


async def _language(code: Name, to: str = "/") -> Response:
    """Keep the language that the reader chose, and go back."""
    parts = urlsplit(to)
    own = not parts.scheme and not parts.netloc and to.startswith("/") and not to.startswith("//") and "\\" not in to
    answer = RedirectResponse(to if own else "/", 303)
    if code in words.LANGUAGES:
        answer.set_cookie(words.COOKIE, code, max_age=LANGUAGE_FOR_S, samesite="lax", httponly=True)
    return answer


async def _now(request: Request) -> Response:
    house = house_of(request)
    may = who_of(request).may("watch")
    drills = (await house.desk.ask("drill-list", {}))["drills"] if may else []
    return render(request, "now.html", parts=("now", "exercise", "alarms"), drills=drills)


async def _field(request: Request) -> Response:
    site = house_of(request).controller.site
    outlines = [{"name": z.name, "title": z.title, "outline_m": z.outline_m} for z in site.zones]
    stakes = [{"name": stake.name, "x_m": stake.x_m, "y_m": stake.y_m} for stake in site.stakes]
    no_go = [[[round(x, 1), round(y, 1)] for x, y in line.points_m] for line in lines(site)]
    ground = {"zones": outlines, "stakes": stakes, "no_go": no_go}
    steers = snapshot.steers(house_of(request).controller)
    return render(request, "field.html", right="watch", parts=("field",), ground=ground, steers=steers)


async def _drills(request: Request) -> Response:
    rows = (await house_of(request).desk.ask("drill-list", {}))["drills"] if who_of(request).may("watch") else []
    return render(request, "drills.html", right="watch", drills=rows)


async def _drill(request: Request, name: Name, seed: Seed = 0, again: str = "") -> Response:
    """A drill: what it asks for, who would play what, what is in the way, the cards, and the press that starts it."""
    if not who_of(request).may("watch"):
        return render(request, "drill.html", right="watch")
    house = house_of(request)
    if not seed:
        seed = draw_seed(house.controller.outside)
    earlier = house.controller.exercises.all.get(again)
    same = {} if earlier is None else {n: str(b.target) for n, b in earlier.burials.items()}
    try:
        plan = await house.desk.ask("drill-show", {"drill": name})
        check = await house.desk.ask("exercise-check", {"drill": name, "seed": seed, "targets": same})
    except (FileFaults, NotFound) as error:
        return render(request, "refused.html", right="watch", status=404, error=error)
    people = sorted(house.controller.people.values(), key=str.casefold)
    return render(
        request, "drill.html", right="watch", parts=("drill",), plan=plan, check=check, same=same, people=people,
        labels=_labels(house, check["picks"]), listed=_listed(house, plan["drill"]) if plan["assessed"] else [],
    )  # fmt: skip


def _listed(house: House, drill: str) -> list[str]:
    """The names of those whom a drill is to assess, by its latest list."""
    facts = house.controller.ledger.facts(kinds=(AssessmentListed,))
    lists = [fact for fact in facts if isinstance(fact, AssessmentListed) and fact.drill == drill]
    latest = max(lists, key=lambda fact: fact.nth, default=None)
    return [house.controller.people.get(who, who) for who in (() if latest is None else latest.candidates)]


def _labels(house: House, picks: dict[str, Any]) -> dict[str, str]:
    """The names for people of the targets that a check picked."""
    names = house.controller.names
    return {burial: names.get(target) or str(target) for burial, target in picks.items()}


async def _exercise(request: Request, name: Name) -> Response:
    try:
        row = await house_of(request).desk.ask("exercise-show", {"exercise": name})
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=404, error=error)
    return render(request, "exercise.html", right="watch", parts=("exercise",), row=row)


async def _spectators(request: Request) -> Response:
    return render(request, "looking_on.html", parts=("looking",), audience="searching", searchers=False)


async def _searchers(request: Request) -> Response:
    return render(request, "looking_on.html", parts=("looking",), audience="searching", searchers=True)


async def _limited(request: Request) -> Response:
    return render(request, "limited_mode.html")
