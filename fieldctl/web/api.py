"""The API: POST /api/v1/<verb> for every verb of the desk, GET as well where nothing is changed and all is plain.

A body holds exactly a verb's arguments; who asks is filled in from the session. Answers are the verb's JSON, or a
problem (RFC 9457). `POST /all-off` is the same order as a plain form, for a page without scripts. GET /api/v1/ lists
the verbs, /api/v1/openapi.json is the contract, /api/v1/log reads the log. This router comes after every other one
under /api/v1/: whatever it does not know there is answered as a problem.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
from collections.abc import AsyncIterator, Mapping
from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route
from starlette.types import Receive, Scope, Send

from fieldctl.controller.socket import fault_of_ours
from fieldctl.controller.verbs import Verb
from fieldctl.errors import FieldctlError, NotFound
from fieldctl.web import health, problems, sayings
from fieldctl.web.accounts import COOKIE
from fieldctl.web.api_models import Asked, asked, by_query
from fieldctl.web.api_reading import Handler, always, listed, log
from fieldctl.web.asking import ALL_OFF, Asking, reads
from fieldctl.web.given import body, in_body, in_query, key_of, moment_of, phone_of, whose
from fieldctl.web.guard import ALL_OFF_FORM
from fieldctl.web.health import Lag
from fieldctl.web.house import House
from fieldctl.web.openapi import ROOT, document
from fieldctl.web.pressed import NEVER_LATE
from fieldctl.web.problems import WrongMethod
from fieldctl.web.rights import NOBODY, Who

_log = logging.getLogger(__name__)


def router(house: House) -> APIRouter:
    """The routes of the API, and of `/health` and `/ready`; its lifespan measures the loop and lets verbs end."""
    asking, lag = Asking(house.desk), Lag()

    @contextlib.asynccontextmanager
    async def alive(_app: object) -> AsyncIterator[None]:
        measuring = asyncio.create_task(lag.run(), name="loop lag")
        try:
            yield
        finally:
            measuring.cancel()
            await asking.settle()

    routes = APIRouter(lifespan=alive)
    models = {name: asked(verb) for name, verb in asking.verbs.items()}
    methods = {name: ["GET", "POST"] if by_query(verb) else ["POST"] for name, verb in asking.verbs.items()}
    for name, verb in asking.verbs.items():
        handler = _all_off(asking) if name == ALL_OFF else _verb(house, asking, verb, models[name])
        routes.add_route(ROOT + name, _told(handler), methods[name])
    contract = problems.plain(document(asking.verbs, models, COOKIE))
    others: dict[str, Handler] = {
        "": listed(asking, models, methods),
        "openapi.json": always(contract),
        "log": log(house, asking),
    }
    for name, handler in others.items():
        methods[name] = ["GET"]
        routes.add_route(ROOT + name, _told(handler), methods[name])
    routes.include_router(health.router(house, lag, asking.all_counts))
    routes.add_route(ALL_OFF_FORM, _told(_all_off_form(asking)), ["POST"])
    routes.add_route(problems.TYPES + "{code}", problems.meaning, ["GET"])
    routes.routes.append(Route(ROOT + "{rest:path}", _Elsewhere(methods)))
    return routes


def _told(handler: Handler) -> Handler:
    """As `handler`; an error with a remedy is answered as a problem, and one that nobody foresaw is logged."""

    async def told(request: Request) -> Response:
        try:
            return await handler(request)
        except FieldctlError as error:
            return problems.answer(request, error)
        except Exception as error:
            _log.exception("%s failed", request.url.path)
            return problems.answer(request, fault_of_ours(error))

    return told


def _verb(house: House, asking: Asking, verb: Verb, model: type[Asked]) -> Handler:
    async def handle(request: Request) -> Response:
        who = whose(request)
        asking.allowed(who, verb)  # before the body: a stranger learns nothing of what would be wrong with it
        given = in_query(request, model) if request.method != "POST" else in_body(await body(request), model)
        timeless = reads(verb) or verb.name in NEVER_LATE
        pressed = None if timeless else moment_of(request, house.controller.outside.here())
        answered, again = await asking.ask(who, verb.name, given, phone_of(request, who), key_of(request), pressed)
        if verb.name in sayings.ANSWERS:
            answered = problems.plain(sayings.ANSWERS[verb.name](problems.words_of(request), json.loads(answered)))
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
