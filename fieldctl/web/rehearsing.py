"""A drill's preview on its page: simulated searchers in a process of their own, progress by asking again.

A preview takes seconds of a core. So each is made once and kept, and nothing of it runs where the field is kept.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Path, Query, Request
from fastapi.responses import JSONResponse, Response

from fieldctl.controller.exercises import SEEDS
from fieldctl.errors import FieldctlError
from fieldctl.web.elsewhere import tell
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import language_of, who_of
from fieldctl.web.sayings import say, say_preview, speaker

if TYPE_CHECKING:
    from fieldctl.drill.pick import Picks
    from fieldctl.drill.plan import Drill
    from fieldctl.site.model import Site

RUNS = 200  # repetitions: a second or two, and the 10th and 90th percentile hold to a few seconds
KEPT = 16

Skill = Literal["novice", "trained", "practised"]
Key = tuple[str, int, Skill, str]  # drill, seed, skill, language
Work = tuple[dict[str, Any], str]  # the preview as JSON, its picture as SVG


@dataclass(slots=True)
class _Made:
    """One preview, made or under way."""

    share: float = 0.0
    found: dict[str, Any] | None = None
    picture: str = ""
    failed: str = ""
    task: asyncio.Task[None] | None = field(default=None, repr=False)


def _wish(
    request: Request,
    name: Annotated[str, Path(max_length=80)],
    seed: Annotated[int, Query(ge=0, lt=SEEDS)] = 0,
    skill: Skill = "trained",
) -> Key:
    """What is asked for; nothing for who may not watch."""
    if not who_of(request).may("watch"):
        raise HTTPException(403)
    return name, seed, skill, language_of(request)


Wish = Annotated[Key, Depends(_wish)]


def router() -> APIRouter:
    """The routes of previews."""
    routes = APIRouter(include_in_schema=False)
    made: OrderedDict[Key, _Made] = OrderedDict()

    def wanted(request: Request, key: Key) -> _Made:
        if key not in made:
            if len(made) >= KEPT:
                made.popitem(last=False)
            made[key] = _Made()
            made[key].task = asyncio.create_task(_make(house_of(request), key, made[key]), name="preview")
        return made[key]

    @routes.get("/drills/{name}/preview")
    async def preview(request: Request, wish: Wish) -> Response:
        found = wanted(request, wish)
        if found.failed:
            return JSONResponse({"detail": found.failed}, 409)
        if found.found is None:
            return JSONResponse({"share": found.share}, 202)
        return JSONResponse(found.found)

    @routes.get("/drills/{name}/preview.svg")
    async def picture(request: Request, wish: Wish) -> Response:
        found = wanted(request, wish)
        if not found.picture:
            raise HTTPException(404)
        return Response(found.picture, media_type="image/svg+xml")

    return routes


async def _make(house: House, key: Key, made: _Made) -> None:
    name, seed, skill, language = key

    def progress(share: float) -> None:
        made.share = share

    try:
        drill, picks = house.desk.staffed(name, seed)
        wish = (house.controller.site, house.controller.ledger.where, drill, picks, seed, skill, language)
        made.found, made.picture = await house.elsewhere.run(_work, *wish, progress=progress)
    except FieldctlError as error:
        made.failed = say(language, str(error))


def _work(site: Site, ledger: str, drill: Drill, picks: Picks, seed: int, skill: Skill, language: str) -> Work:
    """In the other process: the preview beside the site's own times, and its picture."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.rehearsal import beside_recorded, preview
    from fieldctl.rehearsal.picture import picture_of
    from fieldctl.rehearsal.recorded import recorded_times

    found = preview(site, drill, picks, runs=RUNS, skill=skill, seed=seed, progress=tell)
    with Reader.read(ledger) as reader:
        found = beside_recorded(found, recorded_times(reader, drill.name))
    said = speaker(language)
    picture = picture_of(site, drill, picks, said)
    return {**say_preview(said, found.as_json()), "picture_text": picture.text}, picture.svg
