"""The door: hosts that count, headers of every answer, and no order from a page that is not ours.

A hostile web page in some phone's browser can send requests here. So an unsafe request (POST, PUT, PATCH, DELETE)
counts only as JSON with the header X-Fieldctl, which no foreign page can add without being asked first, and only if
Origin or Sec-Fetch-Site, where the browser sends them, say that it comes from our own page. All off needs no login and
works as a plain form too, without scripts: it is never refused for what it lacks, and its body is never looked at. A
foreign page may not send it either.

A name in Host that is not ours would let a foreign page read answers by rebinding its own name to our address; a plain
address cannot be rebound.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fieldctl.errors import FieldctlError
from fieldctl.web import problems
from fieldctl.web.problems import ForeignPage, HeaderMissing, NotJson, OtherHost, TooLong

ALL_OFF_FORM = "/all-off"
ALL_OFF = (ALL_OFF_FORM, "/api/v1/all-off")
BODY_MAX = 64 * 1024  # bytes; the longest request is a day's opening with 256 touched plates, some 6 kB

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # with "no-referrer" a form's Origin is "null": no all off without scripts
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)",
}


class Guard:
    """ASGI middleware around the whole application."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer what is wrong with it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if "cache-control" not in headers:
                    headers["Cache-Control"] = "no-store"
            await send(message)

        wrong = self._wrong(scope, Headers(scope=scope))
        if wrong is not None:
            await problems.answer(Request(scope), wrong)(scope, receive, with_headers)
            return
        await self._app(scope, _bounded(receive), with_headers)

    def _wrong(self, scope: Scope, headers: Headers) -> FieldctlError | None:
        host = headers.get("host", "")
        if not self._is_ours(host):
            return OtherHost(
                f"This field does not answer to the host name {_name(host)!r}.",
                remedy="Use the address that fieldctl serve printed, or add the name to [pages] names in site.toml.",
            )
        if scope["method"] in ("GET", "HEAD", "OPTIONS"):
            return None
        if not _own_page(scope, headers, host):
            return ForeignPage(
                "This request comes from a page that is not of this field.", remedy="Open the field's own page."
            )
        if scope["path"] in ALL_OFF:
            return None
        if _too_long(headers):
            return TooLong(
                "The body is too long.", expected=f"at most {BODY_MAX} bytes", remedy="Ask for less at once."
            )
        if headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
            return NotJson(
                "A request that changes something is JSON.",
                expected="Content-Type: application/json",
                remedy="Send it so.",
            )
        if "x-fieldctl" not in headers:
            return HeaderMissing(
                "The header X-Fieldctl is missing.", expected="X-Fieldctl: 1", remedy="Send it with this header."
            )
        return None

    def _is_ours(self, host: str) -> bool:
        name = _name(host)
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return name in self._hosts
        return True


def _name(host: str) -> str:
    """The name in a Host header without its port; "" where it is none."""
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def _too_long(headers: Headers) -> bool:
    length = headers.get("content-length", "0")
    return not length.isdecimal() or int(length) > BODY_MAX


def _own_page(scope: Scope, headers: Headers, host: str) -> bool:
    """Whether a browser says that the request comes from our own page; who says nothing is no browser's page.

    Sec-Fetch-Site is sent over TLS and to this machine itself only; over plain HTTP it is Origin that tells.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or origin.lower() == f"{scope['scheme']}://{host}".lower()


def _bounded(receive: Receive) -> Receive:
    """As `receive`, but a body without a length that grows too long ends the request."""
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > BODY_MAX:
                return {"type": "http.disconnect"}
        return message

    return bounded
