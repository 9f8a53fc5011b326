"""The debrief on a page, on a screen five metres away, as a file; for the group by a link that dies; the season book.

Everything is read from the ledger in another process: the loop that keeps the field draws no figure.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, Response

from fieldctl.controller.group_links import still_on
from fieldctl.drill.files import drill_from_plan
from fieldctl.errors import FieldctlError, NotFound
from fieldctl.events import ExerciseStarted
from fieldctl.units import PersonId
from fieldctl.web.house import house_of
from fieldctl.web.paper import language_of, render, who_of
from fieldctl.web.sayings import speaker

if TYPE_CHECKING:
    from fieldctl.debrief.show import Audience
    from fieldctl.site.model import Site
    from fieldctl.web.assessment_form import Form

Way = Literal["html", "csv", "json", "timeline.svg", "timeline.png", "map.svg", "map.png"]
WAYS: dict[str, str] = {
    "html": "text/html",
    "csv": "text/csv",
    "json": "application/json",
    "timeline.svg": "image/svg+xml",
    "timeline.png": "image/png",
    "map.svg": "image/svg+xml",
    "map.png": "image/png",
}
# A page that stands alone holds its own style, and no script at all.
ALONE = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'"

Name = Annotated[str, Path(pattern=r"^[A-Za-z0-9]{1,16}$")]


def router() -> APIRouter:
    """Every route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/debrief.css")(_style)
    routes.get("/book.css")(_book_style)
    routes.get("/sheet.css")(_sheet_style)
    routes.get("/exercises/{name}/debrief")(_debrief)
    routes.get("/exercises/{name}/screen")(_screen)
    routes.get("/exercises/{name}/debrief.{way:path}")(_file)
    routes.get("/exercises/{name}/assessment")(_assessment)
    routes.get("/group/{name}/{until}/{seal}")(_group)
    routes.get("/season")(_season)
    routes.get("/season/{person}")(_person)
    return routes


async def _style() -> Response:
    from fieldctl.debrief.report import style

    return Response(style(), media_type="text/css", headers={"Cache-Control": "max-age=3600"})


async def _book_style() -> Response:
    from fieldctl.debrief.season_page import STYLE

    return Response(STYLE, media_type="text/css", headers={"Cache-Control": "max-age=3600"})


async def _sheet_style() -> Response:
    from fieldctl.debrief.assessment_page import SHEET_STYLE

    return Response(SHEET_STYLE, media_type="text/css", headers={"Cache-Control": "max-age=3600"})


async def _shown(request: Request, work: Callable[..., Any], *given: Any) -> Any:
    """What the other process makes of the ledger for this reader."""
    house = house_of(request)
    ledger = house.controller.ledger.where
    return await house.elsewhere.run(work, ledger, house.controller.site, language_of(request), *given)


async def _debrief(request: Request, name: Name) -> Response:
    return await _page(request, name, "crew", screen=False)


async def _screen(request: Request, name: Name) -> Response:
    """Large, for a group that stands five metres away: no full names, as others look on."""
    return await _page(request, name, "group", screen=True)


async def _page(request: Request, name: str, audience: Audience, *, screen: bool) -> Response:
    if not who_of(request).may("watch"):
        return render(request, "debrief.html", right="watch")
    try:
        fragment = await _shown(request, _fragment, name, audience, screen, False)
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=_status(error), error=error)
    return render(
        request, "debrief.html", right="watch", parts=("debrief",), exercise=name, fragment=fragment, screen=screen,
        group=False, hidden=False, candidates=[] if screen else _candidates(request, name),
    )  # fmt: skip


def _candidates(request: Request, name: str) -> list[tuple[str, str]]:
    """Whom an exercise assesses, id and name; none where its drill does not assess."""
    people = house_of(request).controller.people
    started = next(iter(house_of(request).controller.ledger.facts(exercise=name, kinds=(ExerciseStarted,))), None)
    if not isinstance(started, ExerciseStarted) or not drill_from_plan(started.plan).assessed:
        return []
    return [(who, people.get(PersonId(who), who)) for who in started.searchers]


async def _group(request: Request, name: Name, until: int, seal: Annotated[str, Path(max_length=40)]) -> Response:
    """For the group, by its link alone."""
    if not house_of(request).desk.links.counts(name, until, seal):
        gone = NotFound("This link has ended.", remedy="Ask whoever showed the code for a new one.")
        return render(request, "refused.html", status=404, error=gone)
    try:
        fragment, hidden = await _for_group(request, name)
    except FieldctlError as error:
        return render(request, "refused.html", status=_status(error), error=error)
    return render(
        request, "debrief.html", exercise=name, fragment=fragment, screen=False, group=True, hidden=hidden,
        candidates=[],
    )  # fmt: skip


async def _for_group(request: Request, name: str) -> tuple[str, bool]:
    """What a group may see now, and whether the places are left out of it; Refused for an exercise that goes on."""
    links = house_of(request).desk.links
    if links.goes_on(name):
        raise still_on(name)
    hidden = links.plays_again(name)
    fragment = await _shown(request, _fragment, name, "group", False, hidden)
    # Asked again after the reading: meanwhile an end may have been taken back, or the same targets begun to play.
    if links.goes_on(name):
        raise still_on(name)
    if links.plays_again(name) and not hidden:
        hidden, fragment = True, await _shown(request, _fragment, name, "group", False, True)
    return fragment, hidden


async def _file(request: Request, name: Name, way: str) -> Response:
    """A debrief as a file of its own."""
    if way not in WAYS or not who_of(request).may("watch"):
        error = NotFound(f"There is no debrief.{way[:40]}.", expected=", ".join(WAYS), remedy="Ask for one of these.")
        return render(request, "refused.html", right="watch", status=404, error=error)
    try:
        made = await _shown(request, _as_file, name, way)
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=_status(error), error=error)
    answer = Response(made, media_type=WAYS[way])
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}-debrief.{way}"'
    return _alone(answer)


async def _assessment(request: Request, name: Name, candidate: str | None = None, file: bool = False) -> Response:
    if file:
        return await _alone_page(request, f"{name}-assessment.html", _sheet, name, candidate)
    if not who_of(request).may("watch"):
        return render(request, "assessment.html", right="watch")
    candidates = _candidates(request, name)
    fragment, form = "", None
    if candidate is not None or len(candidates) < 2:  # of several, one is chosen first
        try:
            fragment, form = await _shown(request, _sheet_body, name, candidate)
        except FieldctlError as error:
            return render(request, "refused.html", right="watch", status=_status(error), error=error)
    query = f"{request.url.query}&" if request.url.query else ""
    return render(
        request, "assessment.html", right="watch", fragment=fragment, exercise=name, candidates=candidates,
        candidate=form["candidate"] if form else candidate, form=form if who_of(request).may("instruct") else None,
        file=f"{request.url.path}?{query}file=true",
    )  # fmt: skip


async def _season(request: Request, file: bool = False) -> Response:
    if file:
        return await _alone_page(request, "season.html", _book, None)
    return await _inside(request, _book_body, "season", None)


async def _person(request: Request, person: Annotated[str, Path(max_length=40)], file: bool = False) -> Response:
    if file:
        return await _alone_page(request, "season.html", _book, person)
    return await _inside(request, _book_body, "person", person)


async def _inside(
    request: Request, work: Callable[..., Any], what: Literal["season", "person"], *given: Any
) -> Response:
    """A book inside a page that has the ways on and all off."""
    if not who_of(request).may("watch"):
        return render(request, "book.html", right="watch")
    try:
        fragment, others = await _shown(request, work, *given)
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=_status(error), error=error)
    query = f"{request.url.query}&" if request.url.query else ""
    return render(
        request, "book.html", right="watch", parts=("debrief",), fragment=fragment, others=others, what=what,
        file=f"{request.url.path}?{query}file=true",
    )  # fmt: skip


async def _alone_page(request: Request, called: str, work: Callable[..., Any], *given: Any) -> Response:
    """A whole page from the other process, with its own style, as a file to keep."""
    if not who_of(request).may("watch"):
        return render(request, "book.html", right="watch")
    try:
        answer = _alone(HTMLResponse(await _shown(request, work, *given)))
    except FieldctlError as error:
        return render(request, "refused.html", right="watch", status=_status(error), error=error)
    answer.headers["Content-Disposition"] = f'attachment; filename="{called}"'
    return answer


def _alone(answer: Response) -> Response:
    answer.headers["Content-Security-Policy"] = ALONE
    return answer


def _status(error: FieldctlError) -> int:
    return 404 if isinstance(error, NotFound) else 409


# ---- in the other process ----------------------------------------------------------------------------------------


def _fragment(
    ledger: str, site: Site, language: str, name: str, audience: Audience, screen: bool, placeless: bool
) -> str:
    from fieldctl.debrief.read import read_debrief
    from fieldctl.debrief.report import page_fragment
    from fieldctl.debrief.show import without_places
    from fieldctl.debrief.texts import texts_of
    from fieldctl.ledger.reader import Reader
    from fieldctl.web.debrief_said import in_language

    with Reader.read(ledger) as reader:
        made = in_language(speaker(language), read_debrief(reader, site, name))
    if placeless:
        made = without_places(made)
    return page_fragment(made, texts_of("debrief", language), audience, language=language, screen=screen)


def _as_file(ledger: str, site: Site, language: str, name: str, way: str) -> bytes:
    from fieldctl.debrief.as_json import as_csv, as_json
    from fieldctl.debrief.read import read_debrief
    from fieldctl.debrief.report import figures, sheet
    from fieldctl.debrief.texts import texts_of
    from fieldctl.ledger.reader import Reader
    from fieldctl.web.debrief_said import in_language

    words = texts_of("debrief", language)
    with Reader.read(ledger) as reader:
        made = in_language(speaker(language), read_debrief(reader, site, name))
    if way == "html":
        return sheet(made, words, language=language).encode()
    if way == "csv":
        return "".join(as_csv(made, words)).encode()
    if way == "json":
        return json.dumps(as_json(made, words), ensure_ascii=False, indent=1).encode()
    which, _, kind = way.partition(".")
    picture = figures(made, words).get(which)
    if picture is None:
        raise NotFound(f"{name} has no {which}: no place of it is known.", remedy="Survey the targets.")
    return picture.png if kind == "png" else picture.svg.encode()


def _sheet(ledger: str, site: Site, language: str, name: str, candidate: str | None) -> str:
    from fieldctl.debrief.assessment_page import sheet_page

    return sheet_page(*_of_sheet(ledger, site, language, name, candidate))


def _sheet_body(ledger: str, site: Site, language: str, name: str, candidate: str | None) -> tuple[str, Form | None]:
    """A sheet, and what can be pressed under it; nothing where this version cannot read the exercise any more."""
    from fieldctl.debrief.assessment_list import read_sheet_now
    from fieldctl.debrief.assessment_page import sheet_body
    from fieldctl.ledger.reader import Reader
    from fieldctl.web.assessment_form import form_of

    shown, names, about, started, words = _of_sheet(ledger, site, language, name, candidate)
    with Reader.read(ledger) as reader:
        now = read_sheet_now(reader, name, shown.sheet["candidate"])
    form = None if now is None else form_of(shown, now, names, words)
    return sheet_body(shown, names, about, started, words), form


def _of_sheet(ledger: str, site: Site, language: str, name: str, candidate: str | None) -> tuple[Any, ...]:
    """What a sheet is made of, in the order in which its page takes it."""
    from fieldctl.debrief.assessment_list import read_standing
    from fieldctl.debrief.season_page import About
    from fieldctl.debrief.texts import texts_of
    from fieldctl.ledger.reader import Reader
    from fieldctl.web.debrief_said import sheet_in_language

    with Reader.read(ledger) as reader:
        standing, started = read_standing(reader, name, candidate)
        names, head = reader.names(), reader.head()[0]
    about, shown = About(site.title, head, language), sheet_in_language(speaker(language), standing)
    return shown, names, about, started, texts_of("assessment", language)


def _book(ledger: str, site: Site, language: str, person: str | None) -> str:
    from fieldctl.debrief.season_page import person_page, season_page

    season, one, *rest = _of_book(ledger, site, language, person)
    return season_page(season, *rest) if one is None else person_page(season, one, *rest)


def _book_body(ledger: str, site: Site, language: str, person: str | None) -> tuple[str, list[tuple[str, str]]]:
    """The book or one person's page of it, and whose other pages there are: id and name."""
    from fieldctl.debrief.season_page import person_body, season_body
    from fieldctl.debrief.season_words import name_of

    season, one, *rest = _of_book(ledger, site, language, person)
    if one is not None:
        return person_body(season, one, *rest, images=True), []
    return season_body(season, *rest, images=True), [
        (row.person, name_of(row.person, rest[0])) for row in season.people
    ]


def _of_book(ledger: str, site: Site, language: str, person: str | None) -> tuple[Any, ...]:
    """The season, the person or None, and what their pages take beside them."""
    from fieldctl.debrief.season import season_of
    from fieldctl.debrief.season_page import About
    from fieldctl.debrief.summary_kept import read_summaries
    from fieldctl.debrief.texts import texts_of
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger) as reader:
        kept = read_summaries(reader)
        names, about = reader.names(), About(site.title, reader.head()[0], language)
    season, words = season_of(kept.rows, kept.unreadable), texts_of("season", language)
    one = None if person is None else season.person(person)
    if person is not None and one is None:
        raise NotFound(f"Nobody {person!r} is in this season.", remedy="Choose somebody from the season book.")
    return season, one, names, about, words
