"""The API: POST /api/v1/<verb> for every verb of the desk, GET as well where nothing is changed and all is plain.

A body holds exactly a verb's arguments; who asks is filled in from the session. Answers are the verb's JSON, or a
problem (RFC 9457). `POST /all-off` is the same order as a plain form, for a page without scripts.
"""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Mapping
from urllib.parse import urlsplit

from fastapi import APIRouter
from pydantic import ValidationError
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from fieldctl.controller.verbs import Verb
from fieldctl.errors import BadInput, Fault, FieldctlError, NotFound
from fieldctl.web import problems
from fieldctl.web.api_models import Asked, asked, by_query
from fieldctl.web.asking import ALL_OFF, Asking, strict_json
from fieldctl.web.guard import ALL_OFF_FORM, BODY_MAX
from fieldctl.web.house import House
from fieldctl.web.problems import TooLong, WrongMethod, WrongRequest
from fieldctl.web.rights import NOBODY, Who

ROOT = "/api/v1/"

Handler = Callable[[Request], Awaitable[Response]]

_log = logging.getLogger(__name__)


def router(house: House) -> APIRouter:
    """The routes of the API."""
    routes = APIRouter()
    asking = Asking(house.desk)
    methods: dict[str, list[str]] = {}
    for name, verb in asking.verbs.items():
        methods[name] = ["GET", "POST"] if by_query(verb) else ["POST"]
        handler = _all_off(asking) if name == ALL_OFF else _verb(asking, verb, asked(verb))
        routes.add_route(ROOT + name, _told(handler), methods[name])
    routes.add_route(ALL_OFF_FORM, _told(_all_off_form(asking)), ["POST"])
    routes.add_route(problems.TYPES + "{code}", problems.meaning, ["GET"])
    routes.routes.append(Route(ROOT + "{rest:path}", _Elsewhere(methods)))
    return routes


def _told(handler: Handler) -> Handler:
    """As `handler`; an error with a remedy is answered as a problem."""

    async def told(request: Request) -> Response:
        try:
            return await handler(request)
        except FieldctlError as error:
            return problems.answer(request, error)

    return told


def whose(request: Request) -> Who:
    """Whose request it is."""
    who: Who = request.app.state.identify(request)
    return who


def _verb(asking: Asking, verb: Verb, model: type[Asked]) -> Handler:
    async def handle(request: Request) -> Response:
        who = whose(request)
        asking.allowed(
            who, verb
        )  # before the body is looked at: a stranger learns nothing of what would be wrong with it
        given = _query(request, model) if request.method != "POST" else _body(await body(request), model)
        answered, again = await asking.ask(who, verb.name, given, request.headers.get("idempotency-key"))
        headers = {"Idempotency-Replayed": "true"} if again else None
        return Response(answered, headers=headers, media_type="application/json")

    return handle


def _all_off(asking: Asking) -> Handler:
    """All off: nothing of the request is looked at before the order is out."""

    async def handle(request: Request) -> Response:
        return Response(await asking.all_off(_whoever(request)), media_type="application/json")

    return handle


def _all_off_form(asking: Asking) -> Handler:
    async def handle(request: Request) -> Response:
        await asking.all_off(_whoever(request))
        return RedirectResponse(_back(request), 303)

    return handle


def _whoever(request: Request) -> Who:
    """Who orders all off; an error in finding out never keeps the order back."""
    try:
        return whose(request)
    except Exception:
        _log.exception("all off was ordered, and by whom could not be found out")
        return NOBODY


def _back(request: Request) -> str:
    """The page of ours that a form came from, else the first page."""
    try:
        came = urlsplit(request.headers.get("referer", ""))
    except ValueError:
        return "/"
    ours = came.netloc == request.headers.get("host") and came.path.startswith("/") and not came.path.startswith("//")
    return (came.path + (f"?{came.query}" if came.query else "")) if ours else "/"


async def body(request: Request) -> bytes:
    """A request's body; TooLong where the door cut it off (or its client went away, and reads nothing of it)."""
    try:
        return await request.body()
    except ClientDisconnect:
        raise TooLong(f"The body has more than {BODY_MAX} bytes.", remedy="Ask for less at once.") from None


def _body(raw: bytes, model: type[Asked]) -> Mapping[str, object]:
    strict_json(raw)
    return _given(model, lambda: model.model_validate_json(raw.strip() or b"{}"))


def _query(request: Request, model: type[Asked]) -> Mapping[str, object]:
    pairs = request.query_params.multi_items()
    found = dict(pairs)
    if len(found) < len(pairs):
        raise BadInput("A name stands in the query twice.", expected="each name once", remedy="Leave one of them out.")
    return _given(model, lambda: model.model_validate_strings(found, strict=False))


def _given(model: type[Asked], make: Callable[[], Asked]) -> Mapping[str, object]:
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


class _Elsewhere:
    """Whatever else is asked under the API's root: a wrong method for a verb, or nothing of that name."""

    def __init__(self, methods: Mapping[str, list[str]]) -> None:
        self._methods = methods

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope, receive)
        name, path = request.path_params["rest"], request.url.path
        error: FieldctlError = NotFound(f"There is nothing at {path}.", remedy=f"Look at the list of verbs: {ROOT}")
        if name in self._methods:
            error = WrongMethod(self._methods[name])
        await problems.answer(request, error)(scope, receive, send)
