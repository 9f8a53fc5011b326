"""The API over real sockets: answers leave at once, crowds of connections, halves of requests, all off beside them."""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import people_kit

from fieldctl.events import AllOffOrdered
from fieldctl.site.model import Pages
from fieldctl.web.connections import CONNECTIONS_MAX, Connections
from fieldctl.web.listening import listen
from fieldctl.web.server import serve

PAGES = Pages(listen="127.0.0.1", port=0)
CROWD = 200


@contextlib.asynccontextmanager
async def served() -> AsyncIterator[tuple[people_kit.There, int]]:
    """The API on a port of loopback, as serve puts it there."""
    async with people_kit.there() as t:
        listener = listen(PAGES)
        serving = asyncio.create_task(serve(t.app, listener, Path(), PAGES))
        try:
            yield t, listener.getsockname()[1]
        finally:
            serving.cancel()
            await asyncio.wait([serving])


async def asked(port: int, text: bytes) -> tuple[int, bytes]:
    """Send bytes, read one answer: its status and the rest."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        writer.write(text)
        await writer.drain()
        answer = await reader.read()
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()
    return int(answer.split(b" ", 2)[1]), answer


def request(method: str, path: str, *headers: str, body: bytes = b"", length: int | None = None) -> bytes:
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", "Connection: close", *headers]
    if method != "GET":
        lines.append(f"Content-Length: {len(body) if length is None else length}")
    return "\r\n".join([*lines, "", ""]).encode() + body


ALL_OFF = request("POST", "/all-off")


async def test_what_is_accepted_sends_at_once() -> None:
    """Without TCP_NODELAY head and body of an answer wait for each other: 40 ms for every request of a phone."""
    listener = listen(PAGES)
    accepted: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    async def one(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        found: socket.socket = writer.get_extra_info("socket")
        accepted.set_result(found.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    async with await asyncio.start_server(one, sock=listener):
        _, writer = await asyncio.open_connection(*listener.getsockname())
        assert await accepted
        writer.close()
        await writer.wait_closed()


async def test_all_off_beside_a_crowd_that_says_nothing() -> None:
    """Connections that were opened and say nothing, or half of something, keep no all off out."""
    async with served() as (t, port):
        halves = [b"", b"POST /api/v1/status HT", request("POST", "/api/v1/sign-in", length=50, body=b'{"na')]
        open_ones = []
        for i in range(CROWD):
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(halves[i % len(halves)])
            open_ones.append((reader, writer))
        status, _ = await asked(port, ALL_OFF)
        assert status == 303
        assert t.facts(AllOffOrdered)
        for _, writer in open_ones:
            writer.close()
        assert (await asked(port, request("GET", "/health")))[0] == 200


async def test_who_holds_most_connections_makes_room_and_all_off_gets_in() -> None:
    """More than are taken, all from one address, silent or halfway through a request: each new one still gets in."""
    async with served() as (t, port):
        boss = await t.in_charge()
        half = request(
            "POST", "/api/v1/sign-in", "Content-Type: application/json", "X-Fieldctl: 1", length=50, body=b"{"
        )
        held = []
        for i in range(CONNECTIONS_MAX + 60):
            pair = await asyncio.open_connection("127.0.0.1", port)
            pair[1].write(half if i % 2 else b"")
            held.append(pair)
        status, _ = await asked(port, ALL_OFF)
        assert status == 303
        assert len(t.facts(AllOffOrdered)) == 1
        cookie = f"Cookie: fieldctl_session={boss.token}"
        assert (await asked(port, request("GET", "/api/v1/status", cookie)))[0] == 200
        ended = [reader.at_eof() or reader.exception() is not None for reader, _ in held]
        assert 60 <= sum(ended) <= 70
        assert all(ended[:50]), "those that were silent longest"
        assert not any(ended[-50:])
        for _, writer in held:
            writer.close()


class Stub:
    """A connection without a network."""

    def __init__(self, address: str, *, busy: bool = False) -> None:
        self.address, self.busy, self.ended = address, busy, False

    def end(self) -> None:
        self.ended = True


def test_room_is_made_by_the_address_with_the_most_and_by_who_waits_for_nothing_first() -> None:
    crowd: Any = Connections(5)
    phone = Stub("192.0.2.7")
    guests = [Stub("192.0.2.66", busy=i == 0) for i in range(4)]
    for one in (phone, *guests):
        crowd.enter(one)
    crowd.heard(guests[1])
    crowd.enter(Stub("192.0.2.8"))
    assert [one.ended for one in (phone, *guests)] == [False, False, False, True, False]
    crowd.leave(guests[2])
    crowd.enter(Stub("192.0.2.8"))
    assert crowd.evicted == {"192.0.2.66": 2}
    assert not phone.ended


def test_where_all_wait_for_an_answer_the_one_silent_longest_makes_room() -> None:
    crowd: Any = Connections(3)
    streams = [Stub("192.0.2.7", busy=True) for _ in range(4)]
    for one in streams:
        crowd.enter(one)
    assert [one.ended for one in streams] == [True, False, False, False]


async def test_all_off_beside_a_crowd_that_asks() -> None:
    async with served() as (t, port):
        boss = await t.in_charge()
        cookie = f"Cookie: fieldctl_session={boss.token}"
        crowd = [asyncio.create_task(asked(port, request("GET", "/api/v1/status", cookie))) for _ in range(CROWD)]
        status, _ = await asked(port, ALL_OFF)
        assert status == 303
        assert len(t.facts(AllOffOrdered)) == 1
        statuses = {status for status, _ in await asyncio.gather(*crowd)}
        assert statuses <= {200, 503}, statuses
        assert (await asked(port, request("GET", "/health")))[0] == 200


REFUSED: tuple[tuple[bytes, int, str], ...] = (
    (
        request("POST", "/api/v1/sign-in", "Content-Type: application/json", "X-Fieldctl: 1", length=70_000),
        413,
        "too-long",
    ),
    (request("POST", "/api/v1/sign-in", "X-Fieldctl: 1"), 415, "not-json"),
    (request("POST", "/api/v1/sign-in", "Content-Type: application/json"), 403, "header-missing"),
    (request("POST", "/all-off", "Origin: http://elsewhere.test"), 403, "foreign-page"),
    (request("POST", "/all-off", "Origin: null"), 403, "foreign-page"),
    (request("POST", "/all-off", "Sec-Fetch-Site: cross-site"), 403, "foreign-page"),
    (request("POST", "/api/v1/all-off", "Sec-Fetch-Site: same-site"), 403, "foreign-page"),
    (request("GET", "/api/v1/status").replace(b"Host: 127.0.0.1", b"Host: elsewhere.test"), 421, "other-host"),
    (
        request("GET", "/api/v1/status").replace(b"Host: 127.0.0.1", b"Host: 127.0.0.1.elsewhere.test"),
        421,
        "other-host",
    ),
    (request("GET", "/api/v1/status").replace(b"Host: 127.0.0.1", b"Host: "), 421, "other-host"),
    (request("GET", "/api/v1/status").replace(b"Host: 127.0.0.1", b"Host: ["), 421, "other-host"),
    (request("GET", "/api/v1/%ff%fe"), 404, "not-found"),
    (request("GET", "/api/v1/" + "x" * 4000), 404, "not-found"),
    (request("TRACE", "/api/v1/status", "Content-Type: application/json", "X-Fieldctl: 1"), 405, "method"),
    (request("BREW", "/api/v1/status", "Content-Type: application/json", "X-Fieldctl: 1"), 405, "method"),
)


async def test_what_the_door_and_the_api_refuse_is_told_as_a_problem() -> None:
    async with served() as (t, port):
        for text, status, code in REFUSED:
            found, answer = await asked(port, text)
            assert found == status, answer
            head, _, body = answer.partition(b"\r\n\r\n")
            assert b"application/problem+json" in head, text
            assert json.loads(body)["code"] == code, text
            assert t.facts(AllOffOrdered) == [], text


CARRIED_OUT = (
    request("POST", "/all-off", "Transfer-Encoding: chunked").replace(b"Content-Length: 0\r\n", b"") + b"0\r\n\r\n",
    request("POST", "/all-off", "Content-Type: application/x-www-form-urlencoded", body=b"a=b&" * 30_000),
    request("POST", "/api/v1/all-off", "Content-Type: text/plain", body=b"\xff" * 100),
    request("POST", "/api/v1/all-off", "Content-Type: application/json", "Cookie: fieldctl_session=\xff;;=", body=b"["),
    request("POST", "/all-off", "Origin: http://127.0.0.1", "Sec-Fetch-Site: same-origin", "Idempotency-Key: x"),
)


async def test_all_off_is_carried_out_whatever_else_is_said() -> None:
    async with served() as (t, port):
        for n, text in enumerate(CARRIED_OUT, start=1):
            status, answer = await asked(port, text)
            assert status in (200, 303), answer
            assert len(t.facts(AllOffOrdered)) == n, text
