"""The contract under fire: requests made from it (schemathesis), right and wrong ones, against a real controller.

No server error, no answer that the contract does not name, nothing wrong taken. In virtual time; each operation is met
by a field that is open, released, with an exercise that goes on, and in what the requests before it made of it. The
ways in have threads of their own and are met in real time. FIELDCTL_TESTS_LONG makes many more of them.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import httpx
import people_kit
import pytest
import requests
from api_kit import HOST, NOBODY, Web, web
from fire import LONG, Fire, Words, knowing
from schemathesis import GenerationMode

from fieldctl.drill.corrections import CHANGES
from fieldctl.web.openapi_ways import WAYS

RIGHT, WRONG = (60, 30) if LONG else (14, 6)  # requests of each operation
WAY_PATHS = frozenset(f"/api/v1/{way.name}" for way in WAYS)

WORDS: Words = {
    "drill": ["one", "chain", "mixed"],
    "exercise": ["x1", "x2", "x3"],
    "burial": ["A", "B", "N"],
    "target": ["5ee00001", "5ee00002", "Larch 3"],
    "link": ["bus"],
    "zone": ["upper"],
    "change": list(CHANGES),
    "about": ["A", "x1", "x2"],
    "person": ["Mira", "Jon"],
    "until": ["today", "good"],
    "reason": ["seen (invented)"],
    "why": ["seen (invented)"],
    "unit": ["M3"],
    "release": ["w1"],
    "name": ["coarse"],
}
"""What a request has to say to get further than "there is no such thing"."""


def a_verb(path: str) -> bool:
    """Whether a path is of the API itself: neither a way in nor the stream, which has no end, nor beside the API."""
    return path not in WAY_PATHS and path not in ("/api/v1/live", "/metrics", "/qr.svg")


class Met:
    """A field, and what is sent to it."""

    def __init__(self, w: Web) -> None:
        self.w = w
        self.document: dict[str, Any] = w.made.world.run(w.send("GET", "/api/v1/openapi.json")).json()
        self.known = knowing(self.document, WORDS, a_verb)
        self.fire = Fire(HOST, lambda request: w.made.world.run(self._send(request)), lambda: self._tend())

    async def _send(self, request: requests.PreparedRequest) -> httpx.Response:
        assert request.method
        assert request.url
        headers = dict(request.headers)
        answer = await self.w.send(request.method, request.url, content=request.body or b"", headers=headers)
        await asyncio.sleep(0.3)
        return answer

    def _tend(self) -> None:
        self.w.made.world.run(self._tended())

    async def _tended(self) -> None:
        """An open, released field with an exercise that goes on."""
        life = self.w.made.life
        assert life is not None
        if life.controller.all_off.state.in_force:
            await life.desk.ask("all-off-release", {"by": "Ansel", "reason": "the next one (invented)"})
            await asyncio.sleep(1)
        for target in set(life.controller.day.barred) & set(life.controller.known):
            await life.desk.ask("target-clear", {"target": target, "by": "Ansel", "reason": "dug out (invented)"})
        assert await self.w.made.open_day()
        running = [e for e in life.controller.exercises.running() if e.drill.name != "one"]
        if not running:
            await self.w.made.ask("exercise-start", drill="chain", by="Mira", searchers=("Jon",))
            await asyncio.sleep(3)


@pytest.fixture(scope="module")
def met() -> Iterator[Met]:
    with web(serial=6) as w:
        yield Met(w)


def test_right_requests_meet_no_fault_and_no_answer_that_is_not_named(met: Met) -> None:
    met.fire.run(met.known, GenerationMode.POSITIVE, RIGHT)
    assert met.fire.statuses[200] >= 150, met.fire.statuses
    assert len(met.fire.good) >= 30, "too few operations got through for this to mean anything"


def test_wrong_requests_are_refused_and_meet_no_fault(met: Met) -> None:
    before = met.fire.statuses[422]
    met.fire.run(met.known, GenerationMode.NEGATIVE, WRONG)
    assert met.fire.statuses[422] > before + 50


def test_a_stranger_gets_no_further_than_all_off_and_what_is_for_anybody(met: Met) -> None:
    met.w.who = NOBODY
    before = met.fire.statuses[401]
    met.fire.good.clear()
    met.fire.run(met.known, GenerationMode.POSITIVE, 2)
    assert met.fire.statuses[401] >= before + 50
    operations = {f"{m.upper()} {p}": row for p, ms in met.document["paths"].items() for m, row in ms.items()}
    assert {label for label in met.fire.good if operations[label]["security"]} == set()


def test_the_ways_in_meet_no_fault_and_no_answer_that_is_not_named() -> None:
    with asyncio.Runner() as runner:
        there = people_kit.there()
        t = runner.run(there.__aenter__())
        try:
            boss = runner.run(t.in_charge(password=people_kit.PASSWORD))
            del boss.client.headers["X-Fieldctl"]  # what is sent is what the contract made

            def send(request: requests.PreparedRequest) -> httpx.Response:
                assert request.method
                assert request.url
                wanted = {k: v for k, v in request.headers.items() if k.lower() != "cookie"}
                coming = boss.client.request(request.method, request.url, content=request.body or b"", headers=wanted)
                answer: httpx.Response = runner.run(coming)
                t.clock.pass_by(3600.0)
                return answer

            document = send(requests.Request("GET", f"http://{HOST}/api/v1/openapi.json").prepare()).json()
            fire = Fire(HOST, send)
            words: Words = {"name": ["Ansel"], "password": [people_kit.PASSWORD], "old": [people_kit.PASSWORD]}
            known = knowing(document, words, lambda path: path in WAY_PATHS or path == "/qr.svg")
            for mode in GenerationMode:
                fire.run(known, mode, RIGHT)
            assert {200, 401, 422} <= set(fire.statuses), fire.statuses
            assert fire.good["POST /api/v1/sign-in"]
        finally:
            runner.run(there.__aexit__(None, None, None))
