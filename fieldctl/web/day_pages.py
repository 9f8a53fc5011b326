"""The day: opening and closing on a small screen, the surface renewed, hand-buried units counted.

What stands in the way is told line by line in the reader's language (`/day/lines`, which changes nothing); whatever
changes something goes through the verbs day-touch, day-open, day-close, day-renewed, manual-out and manual-in.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fieldctl.controller import snapshot
from fieldctl.errors import BadInput, FieldctlError
from fieldctl.units import PersonId, TargetId
from fieldctl.web import problems, words
from fieldctl.web.given import body
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import language_of, render, who_of
from fieldctl.web.sayings import say
from fieldctl.web.words import Words

DANGER = (1, 2, 3, 4, 5)  # the five degrees of the avalanche bulletins of Europe and North America
STEPS_CM = (-10, -1, 1, 10)  # of the snow depth, by one tap

Row = dict[str, Any]


class Choices(BaseModel):
    """What the reader has chosen so far: the arguments of day-open or day-close that the page can have."""

    model_config = ConfigDict(extra="forbid", strict=True)

    hazard: str = Field(default="", max_length=2000)
    snow_m: float | None = Field(default=None, ge=0, le=30, allow_inf_nan=False)
    stray_sweep: str = Field(default="", max_length=2000)
    own_units_back: bool = False
    listening_walk: str = Field(default="", max_length=2000)
    heard_sending: list[str] = Field(default_factory=list, max_length=256)
    exceptions: list[str] = Field(default_factory=list, max_length=1024)
    signed: str = Field(default="", max_length=80)


def router() -> APIRouter:
    """Every route of this module."""
    routes = APIRouter(include_in_schema=False)
    routes.get("/day")(_day)
    routes.post("/day/lines")(_lines)
    return routes


async def _day(request: Request) -> Response:
    house, who = house_of(request), who_of(request)
    if not who.may("watch"):
        return render(request, "day.html", right="watch")
    c = house.controller
    out = set(c.day.manual_out)
    return render(
        request,
        "day.html",
        right="watch",
        parts=("day",),
        day=c.day,
        in_charge=snapshot.person(c, c.day.in_charge) or "",
        fresh=c.day.fresh_left(c.site),
        closed_with=[words_of_key(house, words.words(language_of(request)), key) for key in c.day.closed_with],
        found=await said(house, language_of(request), who.person, Choices(signed=who.name)),
        running=[(e.id, e.drill.title) for e in c.exercises.running()],
        snow_m=c.day.snow_m,
        danger=DANGER,
        steps_cm=STEPS_CM,
        units_in=[unit.name for unit in c.site.manual if unit.name not in out],
        unseen=sorted(c.day.manual_unseen),
        targets=[(place.target, place.name) for place in c.site.places],
    )


async def _lines(request: Request) -> Response:
    """What is in the way with these choices, in the reader's language; changes nothing."""
    house, who = house_of(request), who_of(request)
    if not who.may("watch"):
        return RedirectResponse("/sign-in", 303)
    try:
        choices = _read(await body(request))
        found = await said(house, language_of(request), who.person, choices)
    except FieldctlError as error:
        return problems.answer(request, error)
    return Response(problems.plain(found), media_type="application/json")


def _read(raw: bytes) -> Choices:
    """The choices in a request; BadInput for what is none."""
    try:
        return Choices.model_validate_json(raw.strip() or b"{}")
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "the request"
        raise BadInput(f"{where}: {first['msg']}.", remedy="Open the page again, and choose once more.") from None


async def said(house: House, language: str, by: PersonId | None, choices: Choices) -> Row:
    """The check of the day with each line in words, and how far roll-call and plates are."""
    c, t = house.controller, words.words(language)
    asked = {name: tuple(v) if isinstance(v, list) else v for name, v in choices.model_dump().items()}
    check = await house.desk.ask("day-check", {**asked, "by": by or ""})
    usable = [target for target in _everybody(house) if c.day.usable(target)]
    heard = [target for target in usable if target in check["heard"]]
    touched = [target for target in heard if target in check["touched"]]
    asked_for = {str(t) for t in c.site.targets if t not in c.day.taken_out}  # who was taken out says nothing
    quiet = {key.partition(":")[2] for key in (p["key"] for p in check["problems"]) if key.startswith("quiet:")}
    quiet |= {key.partition(":")[2] for key in choices.exceptions if key.startswith("quiet:")}
    return {
        "open": check["open"],
        "lines": [_line(house, language, problem) for problem in check["problems"]],
        "warnings": [_line(house, language, problem) for problem in check["warnings"]],
        "signed": [{"key": key, "wrong": words_of_key(house, t, key)} for key in choices.exceptions],
        "heard": len(heard),
        "of": len(usable),
        "touched": [_name(house, target) for target in touched],
        "untouched": len(heard) - len(touched),
        "listens_until_us": check["listens_until_us"],
        "armed": len(check["armed"]),
        "quiet": len(asked_for) - len(quiet & asked_for),
        "targets": len(asked_for),
    }


def _everybody(house: House) -> tuple[TargetId, ...]:
    site = house.controller.site
    return (*site.targets, *(post.target for post in site.posts))


def _line(house: House, language: str, problem: Mapping[str, Any]) -> Row:
    """One line in the words of this page; what it has none for is said as it is said elsewhere."""
    key, t = str(problem["key"]), words.words(language)
    kind = _kind(house, key)
    known = f"day.wrong_{kind}" in words.catalogue("en")
    return {
        "key": key,
        "may_sign": problem["may_sign"],
        "wrong": words_of_key(house, t, key) if known else say(language, problem["wrong"]),
        "remedy": t(f"day.remedy_{kind}") if known else say(language, problem["remedy"]),
    }


def words_of_key(house: House, t: Words, key: str) -> str:
    """What a problem's key is about, in words: "roll-call:5ee00001" names the target."""
    kind = _kind(house, key)
    about = key.partition(":")[2]
    if f"day.wrong_{kind}" not in words.catalogue("en"):
        return key
    return t(f"day.wrong_{kind}", name=_name(house, about), about=about, place=_where(house, kind, about))


def _kind(house: House, key: str) -> str:
    """The sentence of a key: its first word; a post has sentences of its own."""
    kind, _, about = key.partition(":")
    posts = {post.target for post in house.controller.site.posts}
    return f"post-{kind}" if about in posts and kind in ("roll-call", "touch") else kind


def _name(house: House, about: str) -> str:
    """A target or post as people call it, with its zone."""
    c = house.controller
    at = {p.target: (p.name, p.zone) for p in c.site.places} | {p.target: (p.name, p.zone) for p in c.site.posts}
    if about not in at:
        return about
    name, zone = at[TargetId(about)]
    return f"{c.names.get(TargetId(about), name)} ({c.site.zone(zone).title})"


def _where(house: House, kind: str, about: str) -> str:
    out = house.controller.day.manual_out.get(about) if kind == "manual-out" else None
    return "" if out is None else f"{out.zone}, {out.place}"
