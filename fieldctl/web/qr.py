"""Addresses of this field as QR codes: for a phone's camera from a page or from the terminal."""

from __future__ import annotations

import io
import re
from functools import lru_cache

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from fieldctl.errors import BadInput
from fieldctl.web import problems
from fieldctl.web.given import whose
from fieldctl.web.problems import NotSignedIn

OWN_PATH = re.compile(r"/[A-Za-z0-9/_.~-]{0,80}\Z")
KEPT = 32  # drawings; pages ask for the same few again and again
QUIET_ZONE = 4  # modules of white around it, as ISO/IEC 18004 asks for


@lru_cache(KEPT)
def svg(text: str) -> bytes:
    """A QR code as a drawing: black on white whatever the page's colours, since cameras read that best."""
    import segno

    out = io.BytesIO()
    made = segno.make(text, error="m", micro=False)
    made.save(out, kind="svg", scale=8, border=QUIET_ZONE, dark="#000", light="#fff", xmldecl=False, nl=False)
    return out.getvalue()


def terminal(text: str) -> str:
    """A QR code in half blocks, for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(out, border=QUIET_ZONE, compact=True)
    return out.getvalue()


def is_own_path(path: str) -> bool:
    """Whether this is a plain path of ours, and nothing that leads elsewhere."""
    return OWN_PATH.match(path) is not None and not path.startswith("//")


async def drawing(request: Request) -> Response:
    """GET /qr.svg?to=/path: that page of ours as a QR code, under the name by which this very page was asked for.

    For whoever is signed in, since it is work; drawn on a thread, since on a small board it takes longer than the loop
    may stand still.
    """
    if whose(request).person is None:
        error = NotSignedIn("QR codes are drawn for whoever is signed in.", remedy="Sign in, or pair this phone.")
        return problems.answer(request, error)
    path = request.query_params.get("to", "")
    if not is_own_path(path):
        return problems.answer(
            request,
            BadInput(
                f"{path[:80]!r} is no page of this field.", expected="a plain path", remedy="Give such as to=/now."
            ),
        )
    where = f"{request.url.scheme}://{request.headers['host']}{path}"
    return Response(await run_in_threadpool(svg, where), media_type="image/svg+xml")
