"""What the day's page tells of places before opening, in the reader's language, and what the map has of the line."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace

import pytest
from edge_pages_kit import HEADERS, Pages, tell

from fieldctl.controller.known import RESTORED_GENERATION
from fieldctl.web import pages
from fieldctl.web.views import watch
from fieldctl.web.words import LANGUAGES
from sims.field import Field


def surveyed(made: Field) -> None:
    places = tuple(replace(p, snow_m=2.0, surveyed_on=datetime.date(2031, 1, 10)) for p in made.site.places)
    made.site = replace(made.site, places=places)


@pytest.mark.parametrize(
    ("language", "word"), [("en", "may lie bare"), ("de", "vielleicht frei"), ("fr", "à nu"), ("it", "scoperto")]
)
def test_the_days_page_tells_of_places_with_the_snow_that_is_being_entered(language: str, word: str) -> None:
    async def story(w: Pages) -> None:
        headers = {**HEADERS, "Accept-Language": language}
        answer = await w.send("POST", "/day/lines", json={"snow_m": 0.0}, headers=headers)
        found = answer.json()
        assert len(found["warnings"]) == len(w.made.site.places)
        assert all(word in row["wrong"] for row in found["warnings"])
        assert not any(row["may_sign"] for row in found["warnings"])
        page = await w.page("/day", **{"Accept-Language": language})
        assert "hidden" in page.one("details", data_part="to-know").attrs  # with the snow as it was there is nothing
        moved = await w.ok("target-moved", target=w.made.site.targets[0])
        page = await w.page("/day", **{"Accept-Language": language})
        fold = page.one("details", data_part="to-know")
        assert "hidden" not in fold.attrs
        assert moved["day"] in fold.one("ul", data_part="warnings").text

    tell(story, change=surveyed)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_field_page_says_first_that_a_restored_controller_steers_nobody(language: str) -> None:
    async def story(w: Pages) -> None:
        w.app.include_router(pages.router())
        page = await w.page("/field", None, **{"Accept-Language": language})
        assert "hidden" in page.one("p", id="steers-nobody").attrs
        assert w.made.life is not None
        controller = w.made.life.controller
        assert watch(controller)["field"]["steers"]
        controller.grants.generation = RESTORED_GENERATION
        assert not watch(controller)["field"]["steers"]
        page = await w.page("/field", None, **{"Accept-Language": language})
        said = page.one("p", id="steers-nobody")
        assert "hidden" not in said.attrs
        assert "fieldctl generation raise" in said.text

    tell(story)


def test_the_maps_ground_holds_the_line_around_every_target() -> None:
    async def story(w: Pages) -> None:
        w.app.include_router(pages.router())
        page = await w.page("/field")
        ground = json.loads(page.one("div", id="map").attrs["data-ground"])
        (line,) = ground["no_go"]
        for place in w.made.site.places:
            assert min(x for x, _ in line) < place.x_m < max(x for x, _ in line)
            assert min(y for _, y in line) < place.y_m < max(y for _, y in line)

    tell(story, change=surveyed)
