"""kit-read: one thing said of one item, once, on a day that has been; figures that cannot be are refused in words."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import pytest
from kit import ask, ready, refused, tell

from fieldctl.errors import BadInput, NotFound
from fieldctl.events import KitRead
from fieldctl.site.model import Battery, Kit
from fieldctl.web.api_answers import ANSWERS
from sims.field import Field

KIT = (
    Kit("base", "base", battery=Battery("lead-acid", 6, 7.0)),
    Kit("T1", "transceiver"),
    Kit("P1", "probe", "the long one"),
)


def with_kit(story: Callable[[Field], Awaitable[None]]) -> None:
    async def whole(made: Field) -> None:
        made.site = replace(made.site, kit=KIT)
        await ready(made)
        await story(made)

    tell(whole)


def facts(made: Field) -> list[KitRead]:
    return [fact for fact in made.ledger.facts(kinds=(KitRead,)) if isinstance(fact, KitRead)]


def test_what_was_said_is_written_once_and_names_who_said_it() -> None:
    async def story(made: Field) -> None:
        for _ in range(2):
            row = await ask(made, "kit-read", item="BASE", volts=12.4, celsius=-5.0, by="Mira", day="2020-01-24")
            assert row == {"item": "base", "kind": "base", "found": "read", "day": "2020-01-24"}
            ANSWERS["kit-read"].model_validate_json(json.dumps(row), strict=True, extra="forbid")
        (fact,) = facts(made)
        assert made.life is not None
        people = made.life.controller.people
        assert (fact.item, fact.volts, fact.celsius, people[fact.by]) == ("base", 12.4, -5.0, "Mira")
        await ask(made, "kit-read", item="base", volts=12.3, by="Mira", day="2020-01-24")
        await ask(made, "kit-read", item="base", volts=12.4, celsius=-5.0, by="Mira", day="2020-01-24")
        assert len(facts(made)) == 3  # the same again, but not twice in a row

    with_kit(story)


def test_each_way_to_say_something() -> None:
    async def story(made: Field) -> None:
        said: list[tuple[dict[str, Any], str]] = [
            ({"percent": 60.0}, "read"),
            ({"fine": True}, "fine"),
            ({"broken": "  strap   torn "}, "broken"),
            ({"lent_to": "Jon"}, "lent"),
            ({"missing": True}, "missing"),
        ]
        for arguments, found in said:
            row = await ask(made, "kit-read", item="T1", by="Mira", day="2020-01-24", **arguments)
            assert row["found"] == found
        assert [fact.found for fact in facts(made)] == [found for _, found in said]
        assert facts(made)[2].notes == "strap torn"
        assert made.life is not None
        assert made.life.controller.people[facts(made)[3].lent_to] == "Jon"  # the ledger holds an id, no name
        assert "Jon" not in facts(made)[3].lent_to

    with_kit(story)


@pytest.mark.parametrize(
    ("arguments", "kind", "words"),
    [
        ({"item": "T9", "fine": True}, NotFound, "base, T1, P1"),
        ({"item": "T1"}, BadInput, "Nothing was said"),
        ({"item": "T1", "fine": True, "percent": 50.0}, BadInput, "Two things"),
        ({"item": "base", "volts": -12.4}, BadInput, "the wrong way round"),
        ({"item": "base", "volts": 230.0}, BadInput, "no battery here"),
        ({"item": "base", "volts": float("nan")}, BadInput, "no number"),
        ({"item": "base", "volts": 12.4, "celsius": 60.0}, BadInput, "°C has no battery here"),
        ({"item": "base", "volts": 12.4, "celsius": -80.0}, BadInput, "°C has no battery here"),
        ({"item": "T1", "percent": 60.0, "celsius": -5.0}, BadInput, "A temperature alone"),
        ({"item": "T1", "percent": 140.0}, BadInput, "140 % is no charge"),
        ({"item": "T1", "percent": -1.0}, BadInput, "-1 % is no charge"),
        ({"item": "T1", "volts": 4.2}, BadInput, "Nobody said what battery"),
        ({"item": "P1", "percent": 60.0}, BadInput, "runs on nothing"),
        ({"item": "T1", "fine": True, "day": "24.1.2020"}, BadInput, "is no day"),
        ({"item": "T1", "fine": True, "day": "9020-01-01"}, BadInput, "still to come"),
        ({"item": "T1", "broken": "x" * 501}, BadInput, "too long"),
    ],
)
def test_what_is_refused(arguments: dict[str, Any], kind: type[Exception], words: str) -> None:
    async def story(made: Field) -> None:
        error = await refused(made, "kit-read", by="Mira", **{"day": "2020-01-24", **arguments})
        assert isinstance(error, kind)
        assert words in f"{error.what} {error.expected}"
        assert error.remedy
        assert facts(made) == []

    with_kit(story)
