"""A drill's preview on its page: simulated searchers in a process of their own, progress by asking again.

A preview takes seconds of a core. So each is made once and kept, at most one is under way, and nothing of it runs in
the process that keeps the field: its process is nice, and a strike never waits for it.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
from collections import OrderedDict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Path, Query, Request
from fastapi.responses import JSONResponse, Response

from fieldctl.errors import FieldctlError
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import who_of

if TYPE_CHECKING:
    from multiprocessing.sharedctypes import Synchronized

    from fieldctl.drill.pick import Picks
    from fieldctl.drill.plan import Drill
    from fieldctl.site.model import Site

RUNS = 200  # repetitions: a second or two, and the 10th and 90th percentile hold to a few seconds
KEPT = 16
LOOK_EVERY_S = 0.2

Skill = Literal["novice", "trained", "practised"]
Key = tuple[str, int, Skill]
Work = tuple[dict[str, Any], str]  # the preview as JSON, its picture as SVG
Wish = tuple["Site", str, "Drill", "Picks", int, Skill]


@dataclass(slots=True)
class _Made:
    """One preview, made or under way."""

    share: float = 0.0
    found: dict[str, Any] | None = None
    picture: str = ""
    failed: str = ""
    task: asyncio.Task[None] | None = field(default=None, repr=False)


def router() -> APIRouter:
    """The routes of previews."""
    routes = APIRouter(include_in_schema=False)
    made: OrderedDict[Key, _Made] = OrderedDict()
    alone = asyncio.Lock()

    def wanted(request: Request, key: Key) -> _Made:
        if not who_of(request).may("watch"):
            raise HTTPException(403)
        if key not in made:
            if len(made) >= KEPT:
                made.popitem(last=False)
            made[key] = _Made()
            made[key].task = asyncio.create_task(_make(house_of(request), key, made[key], alone), name="preview")
        return made[key]

    @routes.get("/drills/{name}/preview")
    async def preview(
        request: Request,
        name: Annotated[str, Path(max_length=80)],
        seed: Annotated[int, Query(ge=0, lt=1_000_000)] = 0,
        skill: Skill = "trained",
    ) -> Response:
        found = wanted(request, (name, seed, skill))
        if found.failed:
            return JSONResponse({"detail": found.failed}, 409)
        if found.found is None:
            return JSONResponse({"share": found.share}, 202)
        return JSONResponse(found.found)

    @routes.get("/drills/{name}/preview.svg")
    async def picture(
        request: Request,
        name: Annotated[str, Path(max_length=80)],
        seed: Annotated[int, Query(ge=0, lt=1_000_000)] = 0,
        skill: Skill = "trained",
    ) -> Response:
        found = wanted(request, (name, seed, skill))
        if not found.picture:
            raise HTTPException(404)
        return Response(found.picture, media_type="image/svg+xml")

    return routes


async def _make(house: House, key: Key, made: _Made, alone: asyncio.Lock) -> None:
    name, seed, skill = key
    async with alone:
        try:
            drill, picks = house.desk.staffed(name, seed)
            wish = (house.controller.site, house.controller.ledger.where, drill, picks, seed, skill)
            made.found, made.picture = await _in_a_process(made, wish)
        except FieldctlError as error:
            made.failed = str(error)


async def _in_a_process(made: _Made, wish: Wish) -> Work:
    """Work it out elsewhere; its share done is looked at meanwhile."""
    context = multiprocessing.get_context("spawn")  # nothing of this process goes along: no link, no ledger
    share = context.Value("d", 0.0)
    loop = asyncio.get_running_loop()
    with ProcessPoolExecutor(1, context, _begin, (share,)) as pool:  # it leaves when the pool is closed
        working = loop.run_in_executor(pool, _work, *wish)
        while not working.done():
            await asyncio.wait([working], timeout=LOOK_EVERY_S)
            made.share = share.value
        return working.result()


_share: Synchronized[float] | None = None  # of the process that works


def _begin(share: Synchronized[float]) -> None:
    global _share
    _share = share
    os.nice(10)


def _work(site: Site, ledger: str, drill: Drill, picks: Picks, seed: int, skill: Skill) -> Work:
    """In the process: the preview beside the site's own times, and its picture."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.rehearsal import beside_recorded, preview
    from fieldctl.rehearsal.picture import picture_of
    from fieldctl.rehearsal.recorded import recorded_times

    def progress(done: float) -> None:
        assert _share is not None
        _share.value = done

    found = preview(site, drill, picks, runs=RUNS, skill=skill, seed=seed, progress=progress)
    with Reader.read(ledger) as reader:
        found = beside_recorded(found, recorded_times(reader, drill.name))
    picture = picture_of(site, drill, picks)
    return {**found.as_json(), "picture_text": picture.text}, picture.svg
