"""Coming in and going out: the first one by the machine's code, a phone by a QR code, a person by name and password.

    GET  /first[/CODE]  /pair[/CODE]  /sign-in  /sign-out      the pages; none of them changes anything
    POST /api/v1/first  pair  sign-in  sign-out                 what they ask for
    GET  /api/v1/own    POST /api/v1/own-phone-code  own-phone-end  own-password      one's own phones and password

These are no verbs of the desk: they need an address to count guesses by, and answer with a cookie. The cookie holds a
random token and says how long the browser may keep it; when it ends is decided here.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import StringConstraints
from starlette.requests import Request
from starlette.responses import Response

from fieldctl.controller.codes import LIVES_S
from fieldctl.errors import FieldctlError
from fieldctl.web import problems, qr
from fieldctl.web.accounts import COOKIE, Accounts, Entered
from fieldctl.web.api_models import Asked
from fieldctl.web.given import body, in_body, whose
from fieldctl.web.house import House
from fieldctl.web.paper import render
from fieldctl.web.problems import NotSignedIn
from fieldctl.web.rights import Who, all_of

BROWSER_KEEPS_S = 400 * 24 * 3600  # as long as browsers allow; a phone's own end is 90 days after it was seen last

Code = Annotated[str, StringConstraints(min_length=1, max_length=40)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Secret = Annotated[str, StringConstraints(min_length=1, max_length=400)]


class FirstAsked(Asked):
    """The one who is in charge from now on."""

    code: Code
    name: Name
    password: Secret | None = None


class PairAsked(Asked):
    """A phone's code."""

    code: Code


class SignInAsked(Asked):
    """A person and a password."""

    name: Name
    password: Secret


class PhoneAsked(Asked):
    """A phone of one's own."""

    phone: Code


class PasswordAsked(Asked):
    """One's own password: the old one where there is one, and the new one, or none any more."""

    old: Secret | None = None
    new: Secret | None = None


class NothingAsked(Asked):
    """Nothing besides who asks."""


Given = Mapping[str, Any]
Work = Callable[[Request, Given], Awaitable[Response]]


def router(house: House) -> APIRouter:
    """Every route of this module; it comes before the API's own, which answers for all that is left."""
    routes, ways = APIRouter(), _Ways(house)
    table: tuple[tuple[str, type[Asked], Work], ...] = (
        ("first", FirstAsked, ways.first),
        ("pair", PairAsked, ways.pair),
        ("sign-in", SignInAsked, ways.sign_in),
        ("sign-out", NothingAsked, ways.sign_out),
        ("own-phone-code", NothingAsked, ways.own_phone_code),
        ("own-phone-end", PhoneAsked, ways.own_phone_end),
        ("own-password", PasswordAsked, ways.own_password),
    )
    for name, model, work in table:
        routes.add_route(f"/api/v1/{name}", _carried(work, model), ["POST"])
    routes.add_route("/api/v1/own", _told(ways.own), ["GET"])
    routes.add_route("/qr.svg", qr.drawing, ["GET"])
    for path in ("/first", "/first/{code}"):
        routes.add_route(path, _first_page, ["GET"])
    for path in ("/pair", "/pair/{code}"):
        routes.add_route(path, _pair_page, ["GET"])
    routes.add_route("/sign-in", _sign_in_page, ["GET"])
    routes.add_route("/sign-out", _sign_out_page, ["GET"])
    return routes


def _told(handle: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
    async def told(request: Request) -> Response:
        try:
            return await handle(request)
        except FieldctlError as error:
            return problems.answer(request, error)

    return told


def _carried(work: Work, model: type[Asked]) -> Callable[[Request], Awaitable[Response]]:
    async def handle(request: Request) -> Response:
        return await work(request, in_body(await body(request), model))

    return _told(handle)


class _Ways:
    """What the pages of signing in ask for."""

    def __init__(self, house: House) -> None:
        self._house = house

    @property
    def _accounts(self) -> Accounts:
        return self._house.accounts

    async def first(self, request: Request, given: Given) -> Response:
        entered = await self._accounts.first(
            given["code"], given["name"], given.get("password"), label_of(request), address_of(request)
        )
        return await self._entered(request, entered)

    async def pair(self, request: Request, given: Given) -> Response:
        entered = await self._accounts.pair(given["code"], label_of(request), address_of(request))
        return await self._entered(request, entered)

    async def sign_in(self, request: Request, given: Given) -> Response:
        entered = await self._accounts.sign_in(given["name"], given["password"], label_of(request), address_of(request))
        return await self._entered(request, entered)

    async def _entered(self, request: Request, entered: Entered) -> Response:
        """Give the token to the browser; whom this phone spoke for before, it speaks for no more."""
        await self._accounts.sign_out(whose(request))
        rights = sorted(all_of(self._accounts.access.rights_of(entered.person)))  # type: ignore[arg-type]
        answer = _json({"person": entered.person, "name": entered.name, "rights": rights})
        answer.set_cookie(
            COOKIE, entered.token, max_age=BROWSER_KEEPS_S, path="/", secure=self._house.secure, httponly=True,
            samesite="strict",
        )  # fmt: skip
        return answer

    async def sign_out(self, request: Request, _given: Given) -> Response:
        await self._accounts.sign_out(whose(request))
        answer = _json({"signed_out": True})
        answer.delete_cookie(COOKIE, path="/", secure=self._house.secure, httponly=True, samesite="strict")
        return answer

    async def own(self, request: Request) -> Response:
        who = _somebody(request)
        assert who.person is not None
        return _json({**self._accounts.access.row(who.person), "this_phone": who.phone, "may": sorted(who.rights)})

    async def own_phone_code(self, request: Request, _given: Given) -> Response:
        who = _somebody(request)
        assert who.person is not None
        text = await self._accounts.access.code("phone", who.person, who.person)
        return _json({"code": text, "path": f"/pair/{text}", "ends_s": LIVES_S, "person": who.person, "name": who.name})

    async def own_phone_end(self, request: Request, given: Given) -> Response:
        who = _somebody(request)
        assert who.person is not None
        phone = self._accounts.access.own_phone(who.person, given["phone"])
        await self._accounts.access.end_phone(phone.id, who.person, "ended")
        return await self.own(request) if phone.id != who.phone else _json({"signed_out": True})

    async def own_password(self, request: Request, given: Given) -> Response:
        who = _somebody(request)
        await self._accounts.set_password(who, given.get("old"), given.get("new"), address_of(request))
        return await self.own(request)


def _somebody(request: Request) -> Who:
    who = whose(request)
    if who.person is None:
        raise NotSignedIn(
            "Nobody is signed in on this phone.",
            expected="a phone that is paired",
            remedy="Sign in, or pair this phone with the code that a person in charge shows.",
        )
    return who


def _json(row: Mapping[str, Any]) -> Response:
    return Response(problems.plain(row), media_type="application/json")


def address_of(request: Request) -> str:
    """Where a request comes from, as far as this machine sees it."""
    return "" if request.client is None else request.client.host


# What a browser says of its machine; the first that fits. Only the kind of it is kept.
MACHINES = (
    ("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android"), ("CrOS", "Chromebook"), ("Windows", "Windows"),
    ("Macintosh", "Mac"), ("Linux", "Linux"),
)  # fmt: skip


def label_of(request: Request) -> str:
    """What kind of machine a phone is, so that its owner finds it in the list."""
    says = request.headers.get("user-agent", "")
    return next((label for word, label in MACHINES if word in says), "")


# ---- pages -------------------------------------------------------------------------------------------------------


async def _first_page(request: Request) -> Response:
    return render(request, "first.html", parts=("sign",), code=_code(request))


async def _pair_page(request: Request) -> Response:
    return render(request, "pair.html", parts=("sign",), code=_code(request))


async def _sign_in_page(request: Request) -> Response:
    to = request.query_params.get("next", "/")
    return render(request, "sign_in.html", parts=("sign",), to=to if qr.is_own_path(to) else "/")


async def _sign_out_page(request: Request) -> Response:
    return render(request, "sign_out.html", parts=("sign",))


def _code(request: Request) -> str:
    """The code of the address, for the field of the page; nothing is looked up for it."""
    return str(request.path_params.get("code", ""))[:40]
