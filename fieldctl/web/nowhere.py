"""An address that nobody answers: a page with all off for people, a problem (RFC 9457) for programs."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from fieldctl.errors import BadInput, FieldctlError, NotFound
from fieldctl.web import problems
from fieldctl.web.openapi import ROOT
from fieldctl.web.paper import render
from fieldctl.web.problems import WrongMethod

SHOWN = 80  # characters of an address


def install(app: FastAPI) -> None:
    """Answer whatever no route of this application takes."""
    app.add_exception_handler(HTTPException, _no_route)
    app.add_exception_handler(RequestValidationError, _not_so)


async def _no_route(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 405:
        allowed = (error.headers or {}).get("Allow", "").split(", ")
        return _answer(request, WrongMethod(allowed), 405)
    return await _no_such(request, error)


async def _not_so(request: Request, error: Exception) -> Response:
    """A page with such an address is none; what a program asks for in the wrong form is said to it."""
    assert isinstance(error, RequestValidationError)
    if not request.url.path.startswith(ROOT):
        return await _no_such(request, error)
    wrong = "; ".join(f"{row['loc'][-1]}: {row['msg']}" for row in error.errors())
    return problems.answer(request, BadInput(wrong[: 4 * SHOWN], remedy="Look at the contract: /api/v1/openapi.json."))


async def _no_such(request: Request, _error: Exception) -> Response:
    where = request.url.path[:SHOWN]
    return _answer(request, NotFound(f"There is nothing at {where!r}.", remedy="Look at the start page."), 404)


def _answer(request: Request, error: FieldctlError, status: int) -> Response:
    if problems.wants_page(request) and not request.url.path.startswith(ROOT):
        answer = render(request, "nowhere.html", status=status)
        if isinstance(error, WrongMethod):
            answer.headers["Allow"] = error.allowed
        return answer
    return problems.answer(request, error)
