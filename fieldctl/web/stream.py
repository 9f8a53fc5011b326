"""The live stream of a page: a snapshot with its cursor at every connect, then what changes, and a beat each second.

    snapshot   {"host_us", "cursor", "boot", "rows", "ages", "since"}   since: the cursor that the browser knew last
    patch      {"host_us", "cursor", "rows", "gone"}
    beat       {"host_us", "cursor", "ages", "rights"}

Each carries its cursor as its id, so that a browser that dials again says by Last-Event-ID what it knew; it is given a
snapshot all the same, and no backlog. The cursor is the ledger's for who may watch; for others, whom a number that
rises with each strike would tell something, it is that of the rows which they are shown. One browser has one stream
(`browser` names it): a newer one of the same browser ends the older with "elsewhere", and its other tabs listen to the
newest by a channel of their own. Whoever is not signed in has room apart.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Header, Query, Request
from fastapi.responses import Response
from sse_starlette import EventSourceResponse, ServerSentEvent

from fieldctl.web import problems
from fieldctl.web.house import House, house_of
from fieldctl.web.paper import language_of
from fieldctl.web.problems import RightMissing
from fieldctl.web.rights import Who
from fieldctl.web.views import ages

BEAT_S = 1.0
STREAMS_MAX = 64  # phones at once; the one that was open longest is ended, and dials again
STRANGERS_MAX = 64  # the same for whoever is not signed in: a crowd of spectators puts no instructor off

Audience = Literal["everybody", "watch", "searching"]


class Streams:
    """The open streams by browser; a newer one of the same browser ends the older."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._open: dict[str, asyncio.Event] = {}
        self.ended = 0

    def enter(self, browser: str) -> asyncio.Event:
        """Begin; the event that tells that it is elsewhere now."""
        if browser in self._open:
            self._open.pop(browser).set()
        elif len(self._open) >= self._most:
            self._open.pop(next(iter(self._open))).set()
            self.ended += 1
        event = asyncio.Event()
        self._open[browser] = event
        return event

    def leave(self, browser: str, event: asyncio.Event) -> None:
        """End, unless a newer one took its place."""
        if self._open.get(browser) is event:
            del self._open[browser]


def router() -> APIRouter:
    """The route of the stream."""
    routes = APIRouter()
    known, strangers = Streams(STREAMS_MAX), Streams(STRANGERS_MAX)

    @routes.get("/api/v1/live", include_in_schema=False)
    async def live(
        request: Request,
        browser: Annotated[str, Query(min_length=8, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")],
        audience: Audience = "everybody",
        last_event_id: Annotated[str, Header(max_length=20, pattern=r"^\d*$")] = "",
    ) -> Response:
        house = house_of(request)
        who: Who = request.app.state.identify(request)
        if audience == "watch" and not who.may("watch"):
            return problems.answer(request, _barred(who))
        room = strangers if who.person is None else known
        told = _told(request, house, audience, last_event_id, room, browser)
        return EventSourceResponse(told, ping=15, headers={"Cache-Control": "no-store"})

    return routes


def _barred(who: Who) -> RightMissing:
    if who.person is None:
        remedy = "Sign in, or pair this phone with the code that a person in charge shows."
        return RightMissing(
            "live needs the right 'watch', and nobody is signed in.",
            expected="somebody with the right 'watch'",
            remedy=remedy,
        )
    return RightMissing(
        f"live needs the right 'watch', which {who.name or 'this person'} does not have.",
        expected="somebody with the right 'watch'",
        remedy="Ask a person in charge to grant it, for today or for longer.",
    )


async def _told(
    request: Request, house: House, audience: Audience, since: str, streams: Streams, browser: str
) -> AsyncIterator[ServerSentEvent]:
    elsewhere = streams.enter(browser)
    follower = house.board.follow(audience, language_of(request))
    clock = house.controller.outside.clock
    loop = asyncio.get_running_loop()

    def cursor() -> int:
        return house.board.cursor if audience == "watch" else follower.number

    try:
        rows, _ = follower.news()
        yield _event(
            "snapshot",
            house,
            cursor(),
            rows,
            boot=clock.boot,
            wall=clock.wall(),
            ages=ages(house.controller) if audience == "watch" else {},
            since=int(since) if since else None,
        )
        beat_at = loop.time() + BEAT_S
        while not elsewhere.is_set():
            await house.board.changed(max(0.0, beat_at - loop.time()))
            rows, gone = follower.news()
            if rows or gone:
                yield _event("patch", house, cursor(), rows, gone=gone)
            if loop.time() >= beat_at:
                beat_at = loop.time() + BEAT_S
                who: Who = request.app.state.identify(request)
                if audience == "watch" and not who.may("watch"):
                    yield _event("ended", house, cursor())  # the right was taken, or the phone let go
                    return
                seen = ages(house.controller) if audience == "watch" else {}
                yield _event("beat", house, cursor(), ages=seen, rights=sorted(who.rights))
        yield _event("elsewhere", house, cursor())
    finally:
        follower.close()
        streams.leave(browser, elsewhere)


def _event(
    name: str, house: House, cursor: int, rows: Mapping[str, str] | None = None, **values: Any
) -> ServerSentEvent:
    """One event; `rows` are JSON already, as the board keeps them for all who follow."""
    data = {"host_us": house.controller.outside.clock.now(), "cursor": cursor, **values}
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    if rows is not None:
        text = text[:-1] + ',"rows":{' + ",".join(f"{json.dumps(key)}:{row}" for key, row in rows.items()) + "}}"
    return ServerSentEvent(text, event=name, id=str(cursor))
