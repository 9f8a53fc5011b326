"""What the API has beside the verbs: the list of them, the contract, and the log for programs that read it."""

from __future__ import annotations

import asyncio
import html
import json
from collections.abc import Awaitable, Callable, Iterator, Mapping
from typing import Annotated, Any

from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from fieldctl.ledger.codec import encode, kind_of
from fieldctl.ledger.entry import Entry
from fieldctl.web import problems
from fieldctl.web.api_models import Asked
from fieldctl.web.asking import Asking
from fieldctl.web.given import in_query, whose
from fieldctl.web.house import House
from fieldctl.web.openapi import LOG_MOST, LOG_USUAL, ROOT, SEQ_MOST, summary

AT_ONCE = 25  # entries read without a pause: some 5 ms

Handler = Callable[[Request], Awaitable[Response]]


class LogAsked(Asked):
    """Which part of the log."""

    after: Annotated[int, Field(ge=0, le=SEQ_MOST, description="Entries after this number.")] = 0
    limit: Annotated[int, Field(ge=1, le=LOG_MOST, description="At most so many.")] = LOG_USUAL


def always(body: bytes) -> Handler:
    """The same JSON for everybody."""

    async def handle(_request: Request) -> Response:
        return Response(body, media_type="application/json")

    return handle


def listed(asking: Asking, models: Mapping[str, type[Asked]], methods: Mapping[str, list[str]]) -> Handler:
    """Every verb in short: a page for people, JSON for programs."""
    rows: list[dict[str, Any]] = [
        {
            "verb": name,
            "right": verb.right,
            "summary": summary(verb),
            "methods": methods[name],
            "takes": [f"{key}{'' if info.is_required() else '?'}" for key, info in models[name].model_fields.items()],
        }
        for name, verb in asking.verbs.items()
    ]
    answered = problems.plain({"verbs": rows, "openapi": f"{ROOT}openapi.json"})

    async def handle(request: Request) -> Response:
        if not problems.wants_page(request):
            return Response(answered, media_type="application/json")
        said = problems.words_of(request)
        cells = "".join(
            f"<tr><th scope=row><code>{row['verb']}</code></th><td>{row['right']}</td>"
            f"<td>{html.escape(said(row['summary']))}</td><td><code>{' '.join(row['takes'])}</code></td></tr>"
            for row in rows
        )
        contract = f'<p><a href="{ROOT}openapi.json">openapi.json</a></p>'
        return problems.page(request, ROOT, f"{contract}<table>{cells}</table>")

    return handle


def log(house: House, asking: Asking) -> Handler:
    """Entries of the log after a number, oldest first; needs what `status` needs."""
    right = asking.verbs["status"]

    async def handle(request: Request) -> Response:
        asking.allowed(whose(request), right)
        asked = LogAsked(**in_query(request, LogAsked))
        rows: list[dict[str, Any]] = []
        after, left = asked.after, asked.limit
        while left:
            some = list(house.controller.ledger.entries(after_seq=after, limit=min(left, AT_ONCE)))
            rows += [_row(entry) for entry in some]
            if len(some) < min(left, AT_ONCE):
                break
            after, left = some[-1].seq, left - len(some)
            await asyncio.sleep(0)  # whatever waits, an all off among it, comes between
        names: Mapping[str, str] = house.controller.people  # type: ignore[assignment]  # a PersonId is a str
        people = {text: names[text] for row in rows for text in _texts(row["fact"]) if text in names}
        following = after if left == 0 else None
        answered = problems.plain({"entries": rows, "people": people, "next": following})
        return Response(answered, media_type="application/json")

    return handle


def _row(entry: Entry) -> dict[str, Any]:
    return {
        "seq": entry.seq,
        "kind": kind_of(entry.fact),
        "wall": entry.wall,
        "at_us": entry.at.us,
        "boot": entry.at.boot,
        "hash": entry.hash,
        "fact": json.loads(encode(entry.fact)),
    }


def _texts(value: Any) -> Iterator[str]:
    """Every text in a JSON value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _texts(inner)
