"""A simulated field with a controller for tests, in virtual time, and the smallest story that needs one."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from typing import Any

from fieldctl.controller.controller import Controller
from fieldctl.errors import FieldctlError
from fieldctl.events import Fact
from sims import pad
from sims.field import Field, make_field
from sims.network import Network
from sims.swarm import _drills
from sims.world import World

Story = Callable[[Field], Awaitable[None]]


@contextmanager
def field(seed: int = 1, *, serial: int = 3, air: int = 0, grant_s: int = 30) -> Iterator[Field]:
    with World(seed) as world:
        network = Network(world.rng("network"))
        yield make_field(world, network, serial=serial, air=air, grant_s=grant_s, folder=_drills())


def tell(story: Story, seed: int = 1, **kwargs: Any) -> Field:
    """Carry a story out on a fresh field."""
    with field(seed, **kwargs) as made:
        made.world.run(_whole(made, story))
        assert made.crashed == []
        return made


async def _whole(made: Field, story: Story) -> None:
    await story(made)
    await made.kill()


async def ready(made: Field) -> Controller:
    """A controller that hears everybody, and an open field."""
    life = made.begin()
    await asyncio.sleep(5)
    assert await made.open_day()
    return life.controller


async def ask(made: Field, verb: str, **arguments: Any) -> dict[str, Any]:
    answer = await made.ask(verb, **arguments)
    assert not isinstance(answer, FieldctlError), answer
    return answer


async def refused(made: Field, verb: str, **arguments: Any) -> FieldctlError:
    answer = await made.ask(verb, **arguments)
    assert isinstance(answer, FieldctlError), answer
    return answer


async def started(made: Field, drill: str = "one", **arguments: Any) -> str:
    row = await ask(made, "exercise-start", drill=drill, by="Mira", searchers=("Jon",), **arguments)
    await asyncio.sleep(6)
    return str(row["exercise"])


def probe(made: Field, target: str) -> None:
    node = made.nodes[target]  # type: ignore[index]
    pad.play(made.world, node, pad.probe(made.world.rng("probe")))


def facts(made: Field, *kinds: type[Fact]) -> list[Any]:
    return list(made.ledger.facts(kinds=kinds))


def sends(made: Field, target: str) -> bool:
    node = made.nodes[target]  # type: ignore[index]
    return node.on and node.gate.ordered(node.ticks(made.world.now_us()))
