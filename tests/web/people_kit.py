"""A field without targets, its real accounts and pages, and phones with cookies of their own; the clock is ours."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from fastapi import FastAPI

from fieldctl.controller.controller import Controller
from fieldctl.controller.ports import Keys, Outside
from fieldctl.controller.verbs import Desk
from fieldctl.errors import Refused
from fieldctl.events import Fact
from fieldctl.ledger.store import Ledger
from fieldctl.links.link import Link, Receiver
from fieldctl.site.model import Pages, Site, Zone
from fieldctl.units import HostUs
from fieldctl.web import api, people_pages, signing
from fieldctl.web.accounts import Accounts
from fieldctl.web.guard import Guard
from fieldctl.web.house import House
from fieldctl.web.passwords import Passwords

HOST = "larch-hollow.test"
MORNING = datetime(2031, 1, 18, 8, 0, tzinfo=UTC).timestamp()
PASSWORD = "four larches in a row"


@dataclass
class Clock:
    """Time that moves when a test says so."""

    boot: str = "boot-1"
    us: int = 20_000_000
    wall_s: float | None = MORNING

    def now(self) -> HostUs:
        return HostUs(self.us)

    def wall(self) -> str | None:
        if self.wall_s is None:
            return None
        return datetime.fromtimestamp(self.wall_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def pass_by(self, seconds: float) -> None:
        self.us += round(seconds * 1e6)
        if self.wall_s is not None:
            self.wall_s += seconds

    def reboot(self, boot: str, away_s: float = 60.0, *, knows_time: bool = True) -> None:
        self.boot, self.us = boot, 5_000_000
        self.wall_s = None if self.wall_s is None or not knows_time else self.wall_s + away_s


_drawn = itertools.count(1)


def entropy() -> bytes:
    """Eight bytes that never come twice; tests need no more."""
    import hashlib

    return hashlib.blake2s(f"drawn {next(_drawn)}".encode(), digest_size=8).digest()


@dataclass
class There:
    """One life of a controller with its pages."""

    controller: Controller
    desk: Desk
    accounts: Accounts
    clock: Clock
    app: FastAPI
    secure: bool
    keys: Any = field(default_factory=itertools.count)

    def facts(self, *kinds: type[Fact]) -> list[Any]:
        return list(self.controller.ledger.facts(kinds=kinds))

    async def in_charge(self, name: str = "Ansel", password: str | None = None) -> Phone:
        """The first one, by the code of the terminal."""
        phone = Phone(self)
        code = self.accounts.first_code()
        assert code is not None
        await phone.ok("first", code=code, name=name, **({} if password is None else {"password": password}))
        return phone

    async def somebody(self, boss: Phone, name: str, right: str, until: str = "good") -> Phone:
        """Somebody with one right and a phone that was paired by code."""
        await boss.ok("right-give", person=name, right=right, until=until)
        made = await boss.ok("phone-code", person=name)
        phone = Phone(self)
        await phone.ok("pair", code=made["code"])
        return phone


class Phone:
    """A browser: its address and its cookies."""

    def __init__(self, there: There, address: str = "192.0.2.7", **headers: str) -> None:
        self.there = there
        transport = httpx.ASGITransport(app=there.app, client=(address, 50_000))
        scheme = "https" if there.secure else "http"
        self.client = httpx.AsyncClient(
            transport=transport, base_url=f"{scheme}://{HOST}", headers={"X-Fieldctl": "1", **headers}
        )

    async def post(self, ask: str, /, **arguments: Any) -> httpx.Response:
        key = f"press-{next(self.there.keys):08d}"
        return await self.client.post(f"/api/v1/{ask}", json=arguments, headers={"Idempotency-Key": key})

    async def ok(self, ask: str, /, **arguments: Any) -> dict[str, Any]:
        answer = await self.post(ask, **arguments)
        assert answer.status_code == 200, answer.text
        row: dict[str, Any] = answer.json()
        return row

    async def no(self, status: int, kind: str, ask: str, /, **arguments: Any) -> dict[str, Any]:
        answer = await self.post(ask, **arguments)
        assert (answer.status_code, answer.json()["code"]) == (status, kind), answer.text
        assert answer.json()["remedy"]
        row: dict[str, Any] = answer.json()
        return row

    async def may(self) -> list[str]:
        """What this phone may do; nothing when it speaks for nobody."""
        answer = await self.client.get("/api/v1/own")
        return list(answer.json()["may"]) if answer.status_code == 200 else []

    async def row(self) -> dict[str, Any]:
        answer = await self.client.get("/api/v1/own")
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    @property
    def token(self) -> str:
        return str(self.client.cookies["fieldctl_session"])


@contextlib.asynccontextmanager
async def there(
    path: Path | str = ":memory:", clock: Clock | None = None, *, secure: bool = False, strong: bool = False
) -> AsyncIterator[There]:
    """A serving controller; `strong` hashes as the product does, else as cheaply as the algorithm allows."""
    clock = clock or Clock()
    site = Site("larch-hollow", "Larch Hollow (invented)", zones=(Zone("upper", "Upper"),))

    async def no_link(_config: Any, _receiver: Receiver) -> Link:
        raise Refused("There is no link.", remedy="None is needed.")

    folder = Path(path).parent if path != ":memory:" else Path()
    outside = Outside(site, folder, clock, Keys(b"an invented key."), entropy, no_link)
    with Ledger.open(path, inline=True, durable=False, clock=clock.now) as ledger:
        controller = Controller(outside, ledger)
        desk = Desk(controller)
        cost = {} if strong else {"memory_kib": 64, "passes": 1}
        accounts = Accounts(controller, desk.access, Passwords(entropy, **cost))
        board: Any = None
        house = House(controller, desk, accounts, board, Pages(), frozenset({HOST}), secure)
        app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
        app.state.house = house
        app.state.identify = accounts.identify
        for router in (signing.router(house), people_pages.router(house), api.router(house)):
            app.include_router(router)
        app.add_middleware(Guard, hosts=house.hosts)
        running = asyncio.create_task(controller.run())
        await controller.ready.wait()
        try:
            yield There(controller, desk, accounts, clock, app, secure)
        finally:
            accounts.passwords.close()
            await controller.settle()
            running.cancel()
            await asyncio.wait([running])
