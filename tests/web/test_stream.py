"""The live stream, chunk by chunk as it leaves: snapshot, patches, beats; one for each browser; no backlog; no hint."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

from api_kit import EVERYTHING, HOST, NOBODY, Web, somebody, web
from fastapi import FastAPI
from test_views import burials, probe, started

from fieldctl.web import stream
from fieldctl.web.board import LOOK_EVERY_S, Board
from fieldctl.web.guard import Guard
from fieldctl.web.rights import Who
from fieldctl.web.stream import STRANGERS_MAX, STREAMS_MAX

Event = tuple[str, str, dict[str, Any]]
"""Its name, its id, what it holds."""


@dataclass
class Listener:
    """A browser that listens; `dark()` takes nothing more until `back()`, and says nothing about it."""

    app: FastAPI
    events: list[Event] = field(default_factory=list)
    status: int = 0
    ended: bool = False
    _text: str = ""
    _clear: asyncio.Event = field(default_factory=asyncio.Event)
    _task: asyncio.Task[None] | None = None

    async def dial(self, audience: str = "watch", browser: str = "browser-0001", last: str | None = None) -> Listener:
        headers = [(b"host", HOST.encode())]
        headers += [] if last is None else [(b"last-event-id", last.encode())]
        query = f"audience={audience}&browser={browser}".encode()
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
            "path": "/api/v1/live", "raw_path": b"/api/v1/live", "query_string": query, "headers": headers,
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "root_path": "", "app": self.app,
        }  # fmt: skip
        self._clear.set()
        self._task = asyncio.create_task(self._run(scope))
        await asyncio.sleep(0.05)
        return self

    async def _run(self, scope: dict[str, Any]) -> None:
        asked = [{"type": "http.request", "body": b"", "more_body": False}]

        async def receive() -> MutableMapping[str, Any]:
            if asked:
                return asked.pop()
            await asyncio.Event().wait()
            raise AssertionError

        await self.app(scope, receive, self._send)
        self.ended = True

    async def _send(self, message: MutableMapping[str, Any]) -> None:
        await self._clear.wait()
        if message["type"] == "http.response.start":
            self.status = message["status"]
            return
        self._text += message.get("body", b"").decode()
        *whole, self._text = self._text.replace("\r\n", "\n").split("\n\n")
        for block in whole:
            parts = dict(line.split(": ", 1) for line in block.split("\n") if not line.startswith(":"))
            if "event" in parts:
                self.events.append((parts["event"], parts["id"], json.loads(parts["data"])))

    def dark(self) -> None:
        self._clear.clear()

    def back(self) -> None:
        self._clear.set()

    async def gone(self) -> None:
        assert self._task is not None
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task

    def named(self, name: str) -> list[dict[str, Any]]:
        return [data for event, _, data in self.events if event == name]


@dataclass
class Air:
    """A field with its board and its stream."""

    w: Web
    board: Board
    app: FastAPI
    listeners: list[Listener] = field(default_factory=list)

    async def dial(self, audience: str = "watch", browser: str = "browser-0001", last: str | None = None) -> Listener:
        one = Listener(self.app)
        self.listeners.append(one)
        return await one.dial(audience, browser, last)


def tell(story: Callable[[Air], Awaitable[None]], *, who: Who = EVERYTHING) -> None:
    async def whole(w: Web) -> None:
        assert w.made.life is not None
        assert await w.made.open_day()
        controller = w.made.life.controller
        board = Board(controller)
        app = FastAPI()
        app.state.house = SimpleNamespace(controller=controller, desk=w.made.life.desk, board=board)
        app.state.identify = lambda request: w.who
        app.include_router(stream.router())
        app.add_middleware(Guard, hosts={HOST})
        air = Air(w, board, app)
        looking = asyncio.create_task(board.run())
        try:
            await story(air)
        finally:
            for one in air.listeners:
                await one.gone()
            looking.cancel()
            await asyncio.wait([looking])
        assert board.followers == 0

    with web() as w:
        w.who = who
        w.made.world.run(whole(w))


def test_a_snapshot_at_connect_then_what_changes_and_a_beat_each_second() -> None:
    async def story(air: Air) -> None:
        one = await air.dial()
        assert one.status == 200
        ((name, number, first),) = one.events
        assert name == "snapshot"
        assert number == str(air.board.cursor) == str(first["cursor"])
        assert first["since"] is None
        assert set(first["rows"]) == {"field", "alarms", *(f"target:{t}" for t in air.w.made.nodes)}
        assert set(first["ages"]) == set(air.w.made.nodes)
        await asyncio.sleep(10.2)
        beats = one.named("beat")
        assert len(beats) == 10
        gaps = [b["host_us"] - a["host_us"] for a, b in itertools.pairwise(beats)]
        assert max(gaps) < 1_100_000
        assert beats[0]["rights"] == sorted(EVERYTHING.rights)
        before = len(one.events)
        exercise = (await air.w.ok("exercise-start", drill="one"))["exercise"]
        await asyncio.sleep(LOOK_EVERY_S)
        patches = [data for event, _, data in one.events[before:] if event == "patch"]
        assert f"exercise:{exercise}" in patches[0]["rows"]
        assert "field" not in patches[0]["rows"]  # only what changed
        assert patches[0]["cursor"] > first["cursor"]

    tell(story)


def test_who_dials_again_is_given_all_as_it_is_and_nothing_old() -> None:
    async def story(air: Air) -> None:
        name = await started(air.w)
        one = await air.dial()
        known = one.events[-1][1]
        await one.gone()
        probe(air.w, burials(air.w, name)["A"])
        await asyncio.sleep(5)
        again = await air.dial(last=known)
        ((event, number, data),) = again.events
        assert event == "snapshot"
        assert data["since"] == int(known) < int(number) == data["cursor"]
        assert [b["find"] is not None for b in data["rows"][f"exercise:{name}"]["burials"]] == [True, False, False]

    tell(story)


def test_a_phone_gone_dark_is_played_nothing_back() -> None:
    async def story(air: Air) -> None:
        name = await started(air.w)
        one = await air.dial()
        await asyncio.sleep(1.5)
        one.dark()
        before = len(one.events)
        key = f"exercise:{name}"
        for _ in range(20):
            await air.w.ok("exercise-split", exercise=name, burial="B", name="coarse")
            await asyncio.sleep(3)
        one.back()
        await asyncio.sleep(0.5)
        told = [data["rows"][key] for event, _, data in one.events[before:] if event == "patch" and key in data["rows"]]
        splits = [len(next(b for b in row["burials"] if b["burial"] == "B")["splits"]) for row in told]
        assert splits[-1] == 20
        assert len(splits) <= 2, "what was on its way already, and then what is"
        assert len(one.events) - before <= 4  # no minute of beats either

    tell(story)


def test_one_stream_for_each_browser_the_newest() -> None:
    async def story(air: Air) -> None:
        first = await air.dial(browser="browser-aaaa")
        other = await air.dial(browser="browser-bbbb")
        newest = await air.dial(browser="browser-aaaa")
        await asyncio.sleep(2)
        assert first.events[-1][0] == "elsewhere"
        assert first.ended
        for one in (other, newest):
            assert not one.ended
            assert one.events[-1][0] in ("beat", "patch")
        assert air.board.followers == 2

    tell(story)


def test_more_phones_than_there_is_room_end_the_one_that_was_open_longest() -> None:
    async def story(air: Air) -> None:
        everyone = [await air.dial("searching", f"browser-{n:04d}") for n in range(STREAMS_MAX + 1)]
        await asyncio.sleep(2)
        assert [n for n, one in enumerate(everyone) if one.ended] == [0]
        assert everyone[0].events[-1][0] == "elsewhere"

    tell(story)


def test_a_crowd_that_is_not_signed_in_ends_no_stream_of_somebody_who_is() -> None:
    async def story(air: Air) -> None:
        instructor = await air.dial("searching", "browser-aaaa")
        air.w.who = NOBODY
        crowd = [await air.dial("searching", f"browser-{n:04d}") for n in range(STRANGERS_MAX + 1)]
        await asyncio.sleep(0.5)
        assert [n for n, one in enumerate(crowd) if one.ended] == [0]
        assert not instructor.ended

    tell(story)


def test_a_right_that_is_taken_ends_the_stream_within_a_beat() -> None:
    async def story(air: Air) -> None:
        one = await air.dial()
        await asyncio.sleep(1.5)
        air.w.who = NOBODY
        await asyncio.sleep(1.1)
        assert one.events[-1][0] == "ended"
        assert one.ended
        assert (await air.dial(browser="browser-0002")).status == 403
        seen = len(one.events)
        await air.w.made.ask("exercise-start", drill="one", by="Mira")
        await asyncio.sleep(3)
        assert len(one.events) == seen

    tell(story, who=somebody("watch"))


def test_a_right_that_is_given_is_told_with_the_next_beat() -> None:
    async def story(air: Air) -> None:
        one = await air.dial("everybody")
        await asyncio.sleep(1.5)
        assert one.named("beat")[-1]["rights"] == ["anybody"]
        air.w.who = somebody("watch")
        await asyncio.sleep(1.1)
        assert one.named("beat")[-1]["rights"] == ["anybody", "watch"]

    tell(story, who=NOBODY)


def test_before_the_call_a_stream_of_those_who_search_says_nothing_but_its_beat() -> None:
    async def story(air: Air) -> None:
        name = await started(air.w)
        looking, inside = await air.dial("searching", "browser-look"), await air.dial("watch", "browser-boss")
        await asyncio.sleep(2.5)
        before = len(looking.events)
        of = burials(air.w, name)
        for target in (of["A"], of["B"]):
            probe(air.w, target)
            await asyncio.sleep(4)
        told = looking.events[before:]
        assert {event for event, _, _ in told} == {"beat"}
        assert {(number, data["cursor"]) for _, number, data in told} == {
            (looking.events[0][1], looking.events[0][2]["cursor"])
        }
        assert all(set(data) == {"host_us", "cursor", "ages", "rights"} and not data["ages"] for _, _, data in told)
        assert len(inside.named("patch")) >= 2
        before = len(looking.events)
        await air.w.made.ask("exercise-call", exercise=name, burial="B", by="Mira")
        await asyncio.sleep(0.5)
        (patch,) = [data for event, _, data in looking.events[before:] if event == "patch"]
        assert list(patch["rows"]) == [f"exercise:{name}"]
        assert len(patch["rows"][f"exercise:{name}"]["called_s"]) == 1

    tell(story)


def test_what_is_asked_for_wrongly_is_refused() -> None:
    async def story(air: Air) -> None:
        for audience, browser, last in (("all", "browser-0001", None), ("watch", "short", None),
                                        ("watch", "browser-0001", "x1")):  # fmt: skip
            assert (await air.dial(audience, browser, last)).status == 422

    tell(story)
