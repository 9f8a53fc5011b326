"""The API over a real controller and simulated targets, all in virtual time: what the tests of the API stand on."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import httpx
from fastapi import FastAPI

from fieldctl.units import PersonId
from fieldctl.web import api
from fieldctl.web.guard import Guard
from fieldctl.web.rights import GRANTABLE, NOBODY, Right, Who, all_of
from sims.field import Field, drills_folder, make_field
from sims.network import Network
from sims.world import World

HOST = "larch-hollow.test"
HEADERS = {"X-Fieldctl": "1"}


def somebody(*rights: Right, phone: str = "phone-1", name: str = "Mira") -> Who:
    """A person with rights at a phone."""
    return Who(PersonId(f"p-{name.lower()}"), name, all_of(rights), phone)


EVERYTHING = somebody(*GRANTABLE)


@dataclass
class Web:
    """A field, and the application over the controller that lives now."""

    made: Field
    who: Who = EVERYTHING
    keys: Iterator[int] = field(default_factory=itertools.count)
    app: FastAPI = field(default_factory=FastAPI)

    def put_up(self) -> None:
        """The application over the life of the controller that there is."""
        assert self.made.life is not None
        house: Any = SimpleNamespace(controller=self.made.life.controller, desk=self.made.life.desk)
        self.app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
        self.app.state.house = house
        self.app.state.identify = lambda request: self.who
        self.app.include_router(api.router(house))
        self.app.add_middleware(Guard, hosts={HOST})

    async def send(self, method: str, path: str, **kwargs: Any) -> httpx.Response:
        """Any request."""
        transport = httpx.ASGITransport(app=self.app)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            return await client.request(method, path, **kwargs)

    async def post(self, verb: str, key: str | None = None, **arguments: Any) -> httpx.Response:
        """A verb as a page asks for it; with a key of its own unless one is given."""
        headers = {**HEADERS, "Idempotency-Key": key or f"key-{next(self.keys):08d}"}
        return await self.send("POST", f"/api/v1/{verb}", json=arguments, headers=headers)

    async def raw(self, verb: str, content: bytes, **headers: str) -> httpx.Response:
        """A verb with any body."""
        sent = {
            **HEADERS,
            "Content-Type": "application/json",
            "Idempotency-Key": f"key-{next(self.keys):08d}",
            **headers,
        }
        return await self.send("POST", f"/api/v1/{verb}", content=content, headers=sent)

    async def ok(self, verb: str, key: str | None = None, **arguments: Any) -> dict[str, Any]:
        """As `post`, and it must have worked."""
        answer = await self.post(verb, key, **arguments)
        assert answer.status_code == 200, answer.text
        row: dict[str, Any] = answer.json()
        return row

    async def settle(self) -> None:
        """Wait until what was written is committed."""
        assert self.made.life is not None
        await self.made.life.controller.settle()


Story = Callable[[Web], Awaitable[None]]


@contextlib.contextmanager
def web(seed: int = 1, *, serial: int = 3) -> Iterator[Web]:
    """A field whose controller hears everybody, with its application; nothing is opened yet."""
    with World(seed) as world:
        made = make_field(
            world, Network(world.rng("network")), serial=serial, air=0, grant_s=30, folder=drills_folder()
        )
        found = Web(made)
        world.run(_begin(found))
        yield found
        world.run(made.kill())
        assert made.crashed == []


def tell(story: Story, *, opened: bool = True, serial: int = 3) -> Web:
    """Carry a story out over a fresh field, opened unless said otherwise."""
    with web(serial=serial) as found:
        found.made.world.run(_whole(found, story, opened))
        return found


async def _begin(found: Web) -> None:
    found.made.begin()
    await asyncio.sleep(5)
    found.put_up()


async def _whole(found: Web, story: Story, opened: bool) -> None:
    if opened:
        assert await found.made.open_day()
    await story(found)


def is_problem(answer: httpx.Response, status: int, code: str) -> dict[str, Any]:
    """Check the shape of a problem (RFC 9457 and ours); gives its body."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    row: dict[str, Any] = answer.json()
    assert set(row) == {"type", "title", "status", "detail", "code", "expected", "remedy", "faults", "instance"}
    assert row["status"] == status
    assert row["code"] == code
    assert row["type"] == f"/api/problems/{code}"
    assert row["detail"]
    assert row["remedy"]
    return row


__all__ = ["EVERYTHING", "HEADERS", "HOST", "NOBODY", "Web", "is_problem", "somebody", "tell", "web"]
