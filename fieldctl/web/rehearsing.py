"""A drill's preview on its page: simulated searchers in a process of their own, progress by asking again.

A preview takes seconds of a core. So each is made once and kept, and nothing of it runs where the field is kept. It is
kept by all that it was made from (plan, targets, their depths today, the site's own times), so that a change to any of
these makes a new one; what failed is not kept.
"""

from __future__ import annotations

import asyncio
import logging
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Path, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import TypeAdapter, ValidationError

from fieldctl.controller.exercises import SEEDS
from fieldctl.errors import FieldctlError, Refused
from fieldctl.web.elsewhere import tell
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import language_of, who_of
from fieldctl.web.sayings import say, say_preview, speaker

if TYPE_CHECKING:
    from fieldctl.drill.pick import Picks
    from fieldctl.drill.plan import Drill
    from fieldctl.site.model import Site
    from fieldctl.units import TargetId

log = logging.getLogger(__name__)

RUNS = 200  # repetitions: a second or two, and the 10th and 90th percentile hold to a few seconds
KEPT = 16
GROUP_MOST = 30  # as the rehearsal has it; more than search one drill together
SAME_MOST = 2000  # letters: the targets of eight burials, and room
TO_A_CM = 2  # places of a depth: the snow settles all day, and no preview changes by less

Skill = Literal["novice", "trained", "practised"]
_TARGETS = TypeAdapter(dict[str, str])
Depths = tuple[tuple["TargetId", float], ...]
Work = tuple[dict[str, Any], str]  # the preview as JSON, its picture as SVG


@dataclass(frozen=True, slots=True)
class _Wish:
    """What a reader asks for."""

    name: str
    seed: int
    same: tuple[tuple[str, str], ...]  # the targets of an earlier exercise, by burial
    skill: Skill
    searchers: int
    language: str


@dataclass(frozen=True, slots=True)
class _From:
    """All that a preview is made from."""

    drill: Drill
    targets: tuple[tuple[str, TargetId], ...]
    depths: Depths
    recorded: tuple[tuple[str, str, int], ...]  # of each exercise of the drill: its state, and how much was written
    wish: _Wish


@dataclass(slots=True)
class _Made:
    """One preview, made or under way."""

    nth: int
    share: float = 0.0
    found: dict[str, Any] | None = None
    picture: str = ""
    failed: str = ""
    task: asyncio.Task[None] | None = field(default=None, repr=False)


def _wish(
    request: Request,
    name: Annotated[str, Path(max_length=80)],
    seed: Annotated[int, Query(ge=0, lt=SEEDS)] = 0,
    same: Annotated[str, Query(max_length=SAME_MOST)] = "{}",
    skill: Skill = "trained",
    searchers: Annotated[int, Query(ge=1, le=GROUP_MOST)] = 1,
) -> _Wish:
    """What is asked for, `same` as JSON; nothing for who may not watch."""
    if not who_of(request).may("watch"):
        raise HTTPException(403)
    try:
        targets = tuple(_TARGETS.validate_json(same).items())
    except ValidationError:
        raise HTTPException(422) from None
    return _Wish(name, seed, targets, skill, searchers, language_of(request))


Wish = Annotated[_Wish, Depends(_wish)]


def router() -> APIRouter:
    """The routes of previews."""
    routes = APIRouter(include_in_schema=False)
    made: OrderedDict[_From, _Made] = OrderedDict()
    count = 0

    def wanted(house: House, key: _From, picks: Picks) -> _Made:
        nonlocal count
        if key not in made:
            if len(made) >= KEPT:
                made.popitem(last=False)
            count += 1
            made[key] = _Made(count)
            made[key].task = asyncio.create_task(_make(house, key, picks, made[key]), name="preview")
        return made[key]

    @routes.get("/drills/{name}/preview")
    async def preview(request: Request, wish: Wish) -> Response:
        try:
            key, picks = _from(house_of(request), wish)
        except FieldctlError as error:
            return JSONResponse({"detail": say(wish.language, str(error))}, 409)
        found = wanted(house_of(request), key, picks)
        if found.failed:
            del made[key]
            return JSONResponse({"detail": found.failed}, 409)
        if found.found is None:
            return JSONResponse({"share": found.share}, 202)
        return JSONResponse({**found.found, "picture": found.nth})

    @routes.get("/drills/{name}/preview.svg")
    async def picture(_wish: Wish, nth: Annotated[int, Query(ge=1)]) -> Response:
        found = next((each for each in made.values() if each.nth == nth and each.picture), None)
        if found is None:
            raise HTTPException(404)
        return Response(found.picture, media_type="image/svg+xml")

    return routes


def _from(house: House, wish: _Wish) -> tuple[_From, Picks]:
    """What a preview would be made from now: the targets are those that the drill's page shows."""
    controller = house.controller
    drill, picks = house.desk.staffed(wish.name, wish.seed, dict(wish.same))
    places = [place for place in controller.site.places if place.target in picks.targets.values()]
    lies = [(place.target, burial.depth_m) for place in places if (burial := controller.snow.burial(place))]
    depths = tuple((target, round(deep, TO_A_CM)) for target, deep in lies if deep is not None)
    played = [e for e in controller.exercises.all.values() if e.drill.name == drill.name]
    recorded = tuple((e.id, e.status, len(e.facts)) for e in played if e.status not in ("running", "interrupted"))
    return _From(drill, tuple(picks.targets.items()), depths, recorded, wish), picks


async def _make(house: House, key: _From, picks: Picks, made: _Made) -> None:
    def progress(share: float) -> None:
        made.share = share

    given = (house.controller.site, house.controller.ledger.where, key, picks)
    try:
        made.found, made.picture = await house.elsewhere.run(_work, *given, progress=progress)
    except FieldctlError as error:
        made.failed = say(key.wish.language, str(error))
    except Exception:  # what nobody foresaw must not leave a page waiting for ever
        log.exception("a preview of %s", key.wish.name)
        said = Refused("The preview could not be worked out.", remedy="Try again; look at the log.")
        made.failed = say(key.wish.language, str(said))


def _work(site: Site, ledger: str, key: _From, picks: Picks) -> Work:
    """In the other process: the preview beside the site's own times, and its picture."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.rehearsal import beside_recorded, preview
    from fieldctl.rehearsal.picture import picture_of
    from fieldctl.rehearsal.recorded import recorded_times

    drill, wish, depths = key.drill, key.wish, dict(key.depths) or None
    found = preview(
        site,
        drill,
        picks,
        runs=RUNS,
        skill=wish.skill,
        searchers=wish.searchers,
        seed=wish.seed,
        progress=tell,
        depths_m=depths,
    )
    with Reader.read(ledger) as reader:
        recorded = recorded_times(reader, drill)
    found = beside_recorded(found, recorded.times, recorded.left_out)
    said = speaker(wish.language)
    picture = picture_of(site, drill, picks, said, depths)
    return {**say_preview(said, found.as_json()), "picture_text": picture.text}, picture.svg
