"""What a request gives: whose it is, its body or its query, held to a verb's model with all faults at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pydantic import ValidationError
from starlette.requests import ClientDisconnect, Request

from fieldctl.errors import BadInput, Fault
from fieldctl.units import HostTime
from fieldctl.web import problems
from fieldctl.web.api_models import Asked
from fieldctl.web.asking import strict_json
from fieldctl.web.guard import BODY_MAX
from fieldctl.web.pressed import HEADER, Pressed, read_pressed
from fieldctl.web.problems import TooLong, WrongRequest
from fieldctl.web.rights import Who


def whose(request: Request) -> Who:
    """Whose request it is."""
    who: Who = request.app.state.identify(request)
    return who


def phone_of(request: Request, who: Who) -> str:
    """Which phone sent it: the paired one, else the address that it came from."""
    return who.phone or who.person or (request.client.host if request.client is not None else "")


def key_of(request: Request) -> str | None:
    """The client's own id of what it asks for."""
    return request.headers.get("idempotency-key")


def moment_of(request: Request, here: HostTime) -> Pressed | None:
    """When it was pressed, where the client says so; BadInput for what that cannot be."""
    return read_pressed(request.headers.get(HEADER), here)


async def body(request: Request) -> bytes:
    """A request's body; TooLong where the door cut it off (or its client went away, and reads nothing of it)."""
    try:
        return await request.body()
    except ClientDisconnect:
        raise TooLong(
            "The body is too long.", expected=f"at most {BODY_MAX} bytes", remedy="Ask for less at once."
        ) from None


def in_body(raw: bytes, model: type[Asked]) -> Mapping[str, Any]:
    """What a body gives, by name; BadInput or WrongRequest say what is wrong with it."""
    strict_json(raw)
    return _given(model, lambda: model.model_validate_json(raw.strip() or b"{}"))


def in_query(request: Request, model: type[Asked]) -> Mapping[str, Any]:
    """What a query gives, by name; BadInput or WrongRequest say what is wrong with it."""
    pairs = request.query_params.multi_items()
    found = dict(pairs)
    if len(found) < len(pairs):
        raise BadInput("A name stands in the query twice.", expected="each name once", remedy="Leave one of them out.")
    return _given(model, lambda: model.model_validate_strings(found, strict=False))


def _given(model: type[Asked], make: Callable[[], Asked]) -> Mapping[str, Any]:
    """What was given, by name; WrongRequest lists everything that is wrong with it."""
    try:
        made = make()
    except ValidationError as wrong:
        faults = [_fault(row["loc"], row["msg"], model) for row in wrong.errors(include_url=False, include_input=False)]
        first = faults[0]
        raise WrongRequest(
            f"{first.key}: {first.wrong}." if first.key else f"{first.wrong}.",
            faults,
            remedy="Mend what is listed and ask again; nothing was done.",
        ) from None
    return {name: getattr(made, name) for name in made.model_fields_set}


def _fault(where: tuple[int | str, ...], wrong: str, model: type[Asked]) -> Fault:
    info = model.model_fields.get(str(where[0])) if where else None
    expected = info.description if info is not None else "one of: " + (", ".join(model.model_fields) or "nothing")
    return Fault(problems.REQUEST, 0, ".".join(str(part) for part in where), wrong, expected or "", "Mend it.")
