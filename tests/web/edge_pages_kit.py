"""The pages of the day and of the walk-in over a real controller and simulated targets, read as a person reads them."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

from api_kit import HEADERS, HOST, Web, somebody
from fastapi import FastAPI

from fieldctl.site.model import ManualUnit, Stake, Zone
from fieldctl.web import api, day_pages, walkin_pages
from fieldctl.web.guard import Guard
from fieldctl.web.rights import NOBODY, Who
from sims.field import Field, drills_folder, make_field
from sims.network import Network
from sims.world import World

ANSEL = somebody("in-charge", name="Ansel")
VOID = {"input", "br", "meta", "link", "hr", "img", "use", "path", "circle", "rect"}


@dataclass
class Node:
    """One element of a page."""

    tag: str
    attrs: dict[str, str] = field(default_factory=dict)
    children: list[Node] = field(default_factory=list)
    said: str = ""

    def every(self, tag: str = "", **attrs: str) -> list[Node]:
        """Every element below with that tag and these attributes ("data_step" is data-step), in order."""
        wanted = {name.replace("_", "-"): value for name, value in attrs.items()}
        found = []
        for child in self.children:
            if (not tag or child.tag == tag) and all(child.attrs.get(n) == v for n, v in wanted.items()):
                found.append(child)
            found += child.every(tag, **attrs)
        return found

    def one(self, tag: str = "", **attrs: str) -> Node:
        """The only such element."""
        (found,) = self.every(tag, **attrs)
        return found

    @property
    def text(self) -> str:
        """Everything that a person reads in it."""
        seen = [c for c in self.children if "hidden" not in c.attrs and c.tag != "script"]
        return " ".join([self.said, *(child.text for child in seen)]).strip()


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = Node("root")
        self.stack = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        made = Node(tag, {name: value or "" for name, value in attrs})
        self.stack[-1].children.append(made)
        if tag not in VOID:
            self.stack.append(made)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.stack.pop().tag == tag, f"</{tag}> closes nothing"

    def handle_data(self, data: str) -> None:
        self.stack[-1].children.append(Node("#text", said=" ".join(data.split())))


def read(html: str) -> Node:
    """A page as a tree; every element closed where it was opened."""
    reader = _Reader()
    reader.feed(html)
    assert [node.tag for node in reader.stack] == ["root"]
    return reader.root


@dataclass
class Pages(Web):
    """The pages as the application serves them, beside the API."""

    def put_up(self) -> None:
        assert self.made.life is not None
        life = self.made.life
        house: Any = SimpleNamespace(controller=life.controller, desk=life.desk, secure=False)
        self.app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
        self.app.state.house = house
        self.app.state.identify = lambda request: self.who
        for routes in (api.router(house), day_pages.router(), walkin_pages.router()):
            self.app.include_router(routes)
        self.app.add_middleware(Guard, hosts={HOST})

    async def page(self, path: str, who: Who | None = None, **headers: str) -> Node:
        """A page, read."""
        self.who = self.who if who is None else who
        answer = await self.send("GET", path, headers=headers)
        assert answer.status_code == 200, answer.text
        return read(answer.text)

    async def lines(self, **choices: Any) -> dict[str, Any]:
        """What is in the way with these choices."""
        answer = await self.send("POST", "/day/lines", json=choices, headers=HEADERS)
        assert answer.status_code == 200, answer.text
        row: dict[str, Any] = answer.json()
        return row


Story = Callable[[Pages], Awaitable[None]]


@contextlib.contextmanager
def pages(change: Callable[[Field], None] = lambda made: None, *, serial: int = 3) -> Iterator[Pages]:
    """A field whose controller hears everybody, closed, with two zones, a stake and two hand-buried units."""
    with World(1) as world:
        made = make_field(
            world, Network(world.rng("network")), serial=serial, air=0, grant_s=30, folder=drills_folder()
        )
        made.site = replace(
            made.site,
            zones=(Zone("upper", "Upper hollow"), Zone("lower", "Lower hollow")),
            stakes=(Stake("red", 1.0, 2.0),),
            manual=(ManualUnit("M1"), ManualUnit("M2")),
        )
        change(made)
        found = Pages(made, who=ANSEL)
        world.run(_begin(found))
        yield found
        world.run(made.kill())
        assert made.crashed == []


async def _begin(found: Pages) -> None:
    found.made.begin()
    await asyncio.sleep(6)
    found.put_up()


def tell(story: Story, *, opened: bool = False, **kwargs: Any) -> None:
    """Carry a story out on such a field."""
    with pages(**kwargs) as found:
        found.made.world.run(_whole(found, story, opened))


async def _whole(found: Pages, story: Story, opened: bool) -> None:
    if opened:
        assert await found.made.open_day()
    await story(found)


__all__ = ["ANSEL", "HEADERS", "NOBODY", "Node", "Pages", "read", "somebody", "tell"]
