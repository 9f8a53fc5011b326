"""The door by itself: hosts that count, where a request comes from, headers of each answer, bodies that are cut off."""

from __future__ import annotations

from typing import Any

import pytest
from api_kit import is_problem
from httpx import ASGITransport, AsyncClient, Response
from starlette.types import Message, Receive, Scope, Send

from fieldctl.web.guard import ALL_OFF, BODY_MAX, HEADERS, Guard

OURS = "larch-hollow.test"
JSON = {"Content-Type": "application/json", "X-Fieldctl": "1"}


class Inside:
    """What stands behind the door: says what it was asked, and how much of a body it was given."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, int, bool]] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken, cut = 0, False
        while True:
            message: Message = await receive()
            if message["type"] == "http.disconnect":
                cut = True
                break
            taken += len(message["body"])
            if not message["more_body"]:
                break
        self.asked.append((scope["path"], taken, cut))
        await send({"type": "http.response.start", "status": 200, "headers": [(b"x-own", b"kept")]})
        await send({"type": "http.response.body", "body": b"inside"})


async def ask(method: str, path: str = "/api/v1/x", host: str = OURS, **kwargs: Any) -> tuple[Response, Inside]:
    inside = Inside()
    scheme = kwargs.pop("scheme", "http")
    transport = ASGITransport(app=Guard(inside, {OURS, "localhost"}))
    headers = {"Host": host, **kwargs.pop("headers", {})}
    async with AsyncClient(transport=transport, base_url=f"{scheme}://{OURS}") as client:
        return await client.request(method, path, headers=headers, **kwargs), inside


@pytest.mark.parametrize(
    "host",
    [
        OURS,
        f"{OURS}:8457",
        "LARCH-HOLLOW.test",
        f"{OURS}.",
        "localhost",
        "192.0.2.7",
        "192.0.2.7:80",
        "[2001:db8::1]:80",
    ],
)
async def test_our_own_names_and_plain_addresses_count(host: str) -> None:
    answer, inside = await ask("GET", host=host)
    assert answer.text == "inside"
    assert len(inside.asked) == 1


@pytest.mark.parametrize(
    "host",
    [
        "",
        "elsewhere.test",
        f"{OURS}.elsewhere.test",
        f"elsewhere.test#{OURS}",
        f"{OURS}@elsewhere.test",
        "192.0.2.7.elsewhere.test",
        "0x7f000001.elsewhere.test",
        "[",
        "[]",
        "2130706433",
        ":80",
    ],
)
async def test_any_other_host_is_told_so_and_gets_no_further(host: str) -> None:
    """A foreign name that resolves to our address would let a foreign page read answers as its own."""
    for method, path in (("GET", "/api/v1/x"), ("POST", "/api/v1/x"), ("POST", "/all-off")):
        answer, inside = await ask(method, path, host=host, headers=JSON)
        is_problem(answer, 421, "other-host")
        assert inside.asked == []


FROM: tuple[tuple[dict[str, str], bool], ...] = (
    ({}, True),  # no browser: a program of one's own
    ({"Origin": f"http://{OURS}"}, True),
    ({"Origin": f"HTTP://{OURS.upper()}"}, True),
    ({"Sec-Fetch-Site": "same-origin"}, True),
    ({"Sec-Fetch-Site": "none"}, True),  # a person typed it
    ({"Sec-Fetch-Site": "same-origin", "Origin": "null"}, True),  # a form of ours under "no-referrer"
    ({"Origin": "null"}, False),
    ({"Origin": ""}, False),
    ({"Origin": "http://elsewhere.test"}, False),
    ({"Origin": f"http://{OURS}:81"}, False),
    ({"Origin": f"https://{OURS}"}, False),
    ({"Origin": f"http://{OURS}.elsewhere.test"}, False),
    ({"Sec-Fetch-Site": "cross-site"}, False),
    ({"Sec-Fetch-Site": "same-site"}, False),
    ({"Sec-Fetch-Site": "cross-site", "Origin": f"http://{OURS}"}, False),
)


@pytest.mark.parametrize(("headers", "ours"), FROM)
async def test_only_our_own_page_changes_anything(headers: dict[str, str], ours: bool) -> None:
    for method in ("POST", "PUT", "PATCH", "DELETE", "BREW"):
        answer, inside = await ask(method, headers={**JSON, **headers}, content=b"{}")
        assert (answer.text == "inside") == ours
        assert bool(inside.asked) == ours
    for path in ALL_OFF:
        answer, inside = await ask("POST", path, headers=headers)
        assert (answer.text == "inside") == ours
        if not ours:
            is_problem(answer, 403, "foreign-page")
    answer, _ = await ask("GET", headers=headers)
    assert answer.text == "inside", "to look is no order"


async def test_over_tls_our_own_page_is_the_one_over_tls() -> None:
    answer, _ = await ask("POST", scheme="https", headers={**JSON, "Origin": f"https://{OURS}"}, content=b"{}")
    assert answer.text == "inside"
    answer, _ = await ask("POST", scheme="https", headers={**JSON, "Origin": f"http://{OURS}"}, content=b"{}")
    is_problem(answer, 403, "foreign-page")


@pytest.mark.parametrize(
    "kind",
    ["", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "application/jsonp", "text/json"],
)
async def test_what_a_foreign_form_can_send_is_never_taken(kind: str) -> None:
    answer, inside = await ask("POST", headers={"Content-Type": kind, "X-Fieldctl": "1"}, content=b"{}")
    is_problem(answer, 415, "not-json")
    assert inside.asked == []


@pytest.mark.parametrize("kind", ["application/json", "Application/JSON; charset=utf-8", " application/json ;x=y"])
async def test_json_is_taken_however_it_is_spelt(kind: str) -> None:
    answer, _ = await ask("POST", headers={"Content-Type": kind, "X-Fieldctl": "1"}, content=b"{}")
    assert answer.text == "inside"


async def test_a_long_body_is_refused_by_its_length_and_cut_off_without_one() -> None:
    answer, inside = await ask("POST", headers=JSON, content=b"x" * (BODY_MAX + 1))
    is_problem(answer, 413, "too-long")
    assert inside.asked == []
    _, inside = await ask("POST", headers=JSON, content=b"x" * BODY_MAX)
    assert inside.asked == [("/api/v1/x", BODY_MAX, False)]

    async def pieces() -> Any:
        for _ in range(100):
            yield b"x" * 1000

    _, inside = await ask("POST", headers=JSON, content=pieces())
    ((_, taken, cut),) = inside.asked
    assert cut
    assert taken <= BODY_MAX


@pytest.mark.parametrize("length", ["-1", "+5", "1e3", "0x10", "²", " "])
async def test_a_length_that_is_none_is_refused(length: str) -> None:
    headers = [(b"host", OURS.encode()), (b"content-length", length.encode("latin-1")), (b"x-fieldctl", b"1")]
    headers.append((b"content-type", b"application/json"))
    said: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        said.append(message)

    inside = Inside()
    scope = {"type": "http", "method": "POST", "path": "/x", "scheme": "http", "query_string": b"", "headers": headers}
    await Guard(inside, {OURS})(scope, receive, send)
    assert said[0]["status"] == 413
    assert inside.asked == []


async def test_every_answer_carries_the_headers_the_refused_ones_too() -> None:
    for answer in ((await ask("GET"))[0], (await ask("GET", host="elsewhere.test"))[0], (await ask("POST"))[0]):
        for name, value in HEADERS.items():
            assert answer.headers[name] == value
        assert answer.headers["cache-control"] == "no-store"
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == policy["form-action"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"


async def test_a_form_of_ours_keeps_its_origin() -> None:
    """Fetch, "append a request Origin header": under no-referrer a form's Origin is null (seen in Chromium)."""
    assert HEADERS["Referrer-Policy"] == "same-origin"
