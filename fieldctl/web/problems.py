"""What went wrong, as RFC 9457 says it over HTTP: one table from an error's code to status, title and meaning.

    {"type": "/api/problems/refused", "title", "status": 409, "detail", "code": "refused", "expected", "remedy",
     "faults": [{"file", "line", "key", "wrong", "expected", "remedy"}], "instance": the path that was asked}

`type` is a reference that can be opened: it says what a problem of that kind means. Every sentence passes through
`words_of`, so that a reader's language is put in at one place.
"""

from __future__ import annotations

import html
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from fieldctl.errors import BadInput, Fault, FieldctlError, FileFaults, NotFound
from fieldctl.web.paper import language_of
from fieldctl.web.sayings import ENGLISH, speaker

MEDIA = "application/problem+json"
TYPES = "/api/problems/"
REQUEST = "request"  # what stands as `file` where a fault lies in the request itself


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of problem: its HTTP status, and what it means whatever the detail."""

    status: int
    title: str
    means: str


KINDS: dict[str, Kind] = {
    "bad-input": Kind(422, "The request cannot be used", "A value is missing, of the wrong kind or out of bounds."),
    "file-faults": Kind(422, "A file has faults", "A drill or another file of the site has faults, each one listed."),
    "not-found": Kind(404, "Nothing of that name", "What was named is not there; `expected` names what is."),
    "refused": Kind(409, "The field may not do that now", "Something stands in the way; the remedy says what helps."),
    "in-use": Kind(409, "Somebody else has it", "Another one holds what was asked for."),
    "unreachable": Kind(503, "No answer", "A target, a link or a device did not answer."),
    "timeout": Kind(504, "No answer in time", "Somebody is there and did not answer in time."),
    "link-down": Kind(503, "A link is down", "The link was lost; the controller opens it again by itself."),
    "ledger-failed": Kind(503, "The log takes no entries", "Nothing can be recorded, so nothing may send."),
    "ledger-broken": Kind(503, "The log does not hold together", "Its chain of hashes is broken; restore a good copy."),
    "backup-broken": Kind(503, "The backup is not what was written", "It is cut, damaged or altered; none was used."),
    "failed": Kind(500, "A fault of fieldctl itself", "Nobody foresaw this; it was logged."),
    "not-signed-in": Kind(401, "Nobody is signed in", "This needs a person with a right: sign in, or pair the phone."),
    "right-missing": Kind(403, "The right is missing", "The person who is signed in may not do that."),
    "wrong-secret": Kind(401, "The secret is not right", "A name with its password, or a code, is not good."),
    "too-soon": Kind(429, "Too many tries", "Wait as long as Retry-After says. Paired phones and all off never wait."),
    "key-missing": Kind(
        400, "The header Idempotency-Key is missing", "It keeps a press that was sent twice one press."
    ),
    "key-reused": Kind(422, "This key named another request", "One Idempotency-Key names one request, for good."),
    "busy": Kind(503, "Too many requests at once", "Nothing was begun; ask again after a moment. All off never waits."),
    "method": Kind(405, "Not in this way", "The address is right, the method is not; the header Allow names those."),
    "late": Kind(409, "It came too late", "It was pressed too long before it came; nothing was done."),
    "too-long": Kind(413, "The request is too long", "Ask for less at once."),
    "not-json": Kind(415, "Not JSON", "A request that changes something is JSON."),
    "foreign-page": Kind(403, "Not from a page of this field", "Requests of other pages are not taken."),
    "header-missing": Kind(403, "The header X-Fieldctl is missing", "It keeps out pages that are not of this field."),
    "other-host": Kind(421, "Not the name of this field", "The field answers to its own names and addresses only."),
}
"""Every kind of problem by its stable code."""


class NotSignedIn(FieldctlError):
    """The verb needs a right, and nobody is signed in."""

    code = "not-signed-in"


class RightMissing(FieldctlError):
    """Who is signed in lacks the right that the verb needs."""

    code = "right-missing"


class WrongSecret(FieldctlError):
    """A password or a code that is not right; which part of it, nobody is told."""

    code = "wrong-secret"


class TooSoon(FieldctlError):
    """Too many tries before this one, which was not looked at."""

    code = "too-soon"

    def __init__(self, after_s: float) -> None:
        self.after_s = max(1, math.ceil(after_s))
        super().__init__(
            "Too many tries were wrong.",
            expected=f"a pause of {self.after_s} s",
            remedy="Wait that long. A phone that is paired goes on working, and all off needs no login.",
        )


class KeyMissing(FieldctlError):
    """A request that changes something has no usable Idempotency-Key."""

    code = "key-missing"


class KeyReused(FieldctlError):
    """The key named another request before."""

    code = "key-reused"


class Busy(FieldctlError):
    """More requests at once than are taken; nothing was begun."""

    code = "busy"


class TooLate(FieldctlError):
    """An order that was pressed too long before it came; nothing was begun."""

    code = "late"

    def __init__(self, what: str) -> None:
        super().__init__(what, remedy="Look at what the screen shows now, and press again.")


class WrongMethod(FieldctlError):
    """The path is there, and does not take this method."""

    code = "method"

    def __init__(self, allowed: Sequence[str]) -> None:
        self.allowed = ", ".join(allowed)
        super().__init__("This address does not take that method.", expected=self.allowed, remedy="Use one of these.")


class TooLong(FieldctlError):
    """The body is longer than is taken."""

    code = "too-long"


class NotJson(FieldctlError):
    """A request that changes something is no JSON."""

    code = "not-json"


class ForeignPage(FieldctlError):
    """A request of a page that is not ours."""

    code = "foreign-page"


class HeaderMissing(FieldctlError):
    """A request without the header that no foreign page can add."""

    code = "header-missing"


class OtherHost(FieldctlError):
    """A request to a host name that is not ours."""

    code = "other-host"


class WrongRequest(BadInput):
    """A request whose values cannot be used: all its faults at once."""

    def __init__(self, what: str, faults: Sequence[Fault], remedy: str) -> None:
        super().__init__(what, expected="; ".join(f.expected for f in faults if f.expected), remedy=remedy)
        self.faults = tuple(faults)


def words_of(request: Request) -> Callable[[str], str]:
    """The reader's words for an English sentence; the sentence itself where nobody serves the request."""
    return speaker(_language_of(request))


def _language_of(request: Request) -> str:
    app = request.scope.get("app")
    return language_of(request) if app is not None and hasattr(app.state, "house") else ENGLISH


def kind_of(error: FieldctlError) -> tuple[str, Kind]:
    """The code and the kind of an error; one whose code the table does not name counts as its nearest kin that is."""
    for cls in type(error).__mro__:
        code = getattr(cls, "code", "failed")
        if code in KINDS:
            return code, KINDS[code]
    return "failed", KINDS["failed"]


def problem(request: Request, error: FieldctlError) -> dict[str, Any]:
    """The body of an error's answer."""
    code, kind = kind_of(error)
    said = words_of(request)
    faults = error.faults if isinstance(error, FileFaults | WrongRequest) else ()
    return {
        "type": TYPES + code,
        "title": said(kind.title),
        "status": kind.status,
        "detail": said(error.what),
        "code": code,
        "expected": said(error.expected),
        "remedy": said(error.remedy),
        "faults": [
            {
                "file": f.file,
                "line": f.line,
                "key": f.key,
                "wrong": said(f.wrong),
                "expected": said(f.expected),
                "remedy": said(f.remedy),
            }
            for f in faults
        ],
        "instance": request.url.path,
    }


def answer(request: Request, error: FieldctlError) -> Response:
    """An error as the answer to a request."""
    body = problem(request, error)
    headers = {}
    if isinstance(error, NotSignedIn | WrongSecret):
        headers["WWW-Authenticate"] = 'Session realm="field"'
    elif isinstance(error, WrongMethod):
        headers["Allow"] = error.allowed
    elif isinstance(error, TooSoon):
        headers["Retry-After"] = str(error.after_s)
    elif isinstance(error, Busy):
        headers["Retry-After"] = "1"
    return Response(plain(body), body["status"], headers, MEDIA)


def plain(row: Any) -> bytes:
    """JSON in UTF-8; ValueError for what JSON cannot hold. A path may hold half a character: it is written escaped."""
    text = json.dumps(row, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    try:
        return text.encode()
    except UnicodeEncodeError:
        return json.dumps(row, allow_nan=False, separators=(",", ":")).encode()


async def meaning(request: Request) -> Response:
    """What one kind of problem means: a small page for people, JSON for programs."""
    code = request.path_params["code"]
    kind = KINDS.get(code)
    if kind is None:
        named = NotFound(f"There is no problem {code!r}.", expected=", ".join(KINDS), remedy="Look at one of these.")
        return answer(request, named)
    said = words_of(request)
    row = {"type": TYPES + code, "title": said(kind.title), "status": kind.status, "means": said(kind.means)}
    if wants_page(request):
        means = f"<p>{html.escape(row['means'])}</p><p>HTTP {kind.status}, <code>{code}</code></p>"
        return page(request, row["title"], means)
    return Response(plain(row), media_type="application/json")


def wants_page(request: Request) -> bool:
    """Whether a person's browser asks, who reads pages rather than JSON."""
    return "text/html" in request.headers.get("accept", "")


def page(request: Request, title: object, inside: str) -> Response:
    """A small page of the API's own, in the reader's language; `inside` is HTML already."""
    name = html.escape(str(title))
    return HTMLResponse(
        f'<!doctype html><html lang="{_language_of(request)}"><head><meta charset="utf-8"><title>{name}</title>'
        '<meta name="viewport" content="width=device-width"></head>'
        f"<body><main><h1>{name}</h1>{inside}</main></body></html>"
    )
