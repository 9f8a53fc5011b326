"""Addresses that nobody answers: a page for people, with all off on it; a problem for programs."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from api_kit import HEADERS, Web, tell
from edge_pages_kit import read

from fieldctl.web.app import make_app
from fieldctl.web.rights import NOBODY, Who

PAGE = {"Accept": "text/html,application/xhtml+xml;q=0.9"}


def whole(w: Web, who: Who = NOBODY) -> None:
    """The application as it is served."""
    life: Any = w.made.life
    accounts = SimpleNamespace(identify=lambda request: who, access=life.desk.access, make=None)
    house: Any = SimpleNamespace(
        controller=life.controller, desk=life.desk, secure=True, hosts={"larch-hollow.test"}, accounts=accounts
    )
    w.app = make_app(house)
    w.app.state.identify = lambda request: who


@pytest.mark.parametrize(
    "path", ["/nowhere", "/exercises/no-such-name!/debrief", "/static/1/none.js", "/drills/three/x"]
)
def test_a_browser_gets_a_page_with_all_off_and_the_start(path: str) -> None:
    async def story(w: Web) -> None:
        whole(w)
        answer = await w.send("GET", path, headers=PAGE)
        assert answer.status_code == 404
        assert answer.headers["content-type"].startswith("text/html")
        page = read(answer.text)
        assert page.one("h1").text == "There is no such page"
        assert page.one("form", action="/all-off")
        assert page.one("main").one("a", href="/")
        german = await w.send("GET", path, headers={**PAGE, "Accept-Language": "de"})
        assert read(german.text).one("h1").text == "Diese Seite gibt es nicht"

    tell(story, opened=False)


@pytest.mark.parametrize("path", ["/nowhere", "/exercises/no-such-name!/debrief", "/api/v1/nothing", "/api/nothing"])
def test_a_program_gets_a_problem(path: str) -> None:
    async def story(w: Web) -> None:
        whole(w)
        answer = await w.send("GET", path, headers={"Accept": "application/json", "Accept-Language": "en"})
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
        row = answer.json()
        assert (row["code"], row["status"], row["instance"]) == ("not-found", 404, path)
        assert row["remedy"]

    tell(story, opened=False)


def test_a_method_that_an_address_does_not_take_says_which_it_does() -> None:
    async def story(w: Web) -> None:
        whole(w)
        answer = await w.send("POST", "/field", json={}, headers=HEADERS)
        assert (answer.status_code, answer.json()["code"]) == (405, "method")
        assert answer.headers["allow"] == "GET"
        page = await w.send("GET", "/all-off", headers=PAGE)
        assert page.status_code == 405
        assert page.headers["allow"] == "POST"
        assert read(page.text).one("form", action="/all-off")
        api = await w.send("GET", "/api/v1/nothing", headers=PAGE)
        assert api.headers["content-type"] == "application/problem+json"

    tell(story, opened=False)
