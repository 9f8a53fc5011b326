"""A field with two zones and a post at the edge of each: on the bus at the upper, over the air at the lower."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from kit import ask, field

from fieldctl.controller.ports import Keys
from fieldctl.events import TargetAdded
from fieldctl.site.model import MqttLink, Post, Zone
from fieldctl.units import PersonId, TargetId, target_from_address
from sims.field import SECRET, SITE_KEY, Field
from sims.node import ABILITIES_OF_A_POST, Node
from sims.storage import Storage

UPPER, LOWER = target_from_address(0x5EE0_00A1), target_from_address(0x5EE0_00A2)
POSTS = {UPPER: ("upper", "bus"), LOWER: ("lower", "broker")}
Story = Callable[[Field], Awaitable[None]]


def with_posts(made: Field) -> None:
    """Targets by turns in two zones, and a post at the edge of each."""
    zones = ("upper", "lower")
    made.site = replace(
        made.site,
        zones=(Zone("upper", "Upper hollow"), Zone("lower", "Lower hollow")),
        places=tuple(replace(p, zone=zones[i % 2]) for i, p in enumerate(made.site.places)),
        posts=tuple(Post(target, f"Post {zone}", zone) for target, (zone, _) in POSTS.items()),
        mqtt=(MqttLink("broker", "simulated"),),
    )
    keys = Keys(SITE_KEY)
    for target, (_, link) in POSTS.items():
        storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(target, 1))
        node = Node(made.world, made.world.rng(f"post {target}"), storage, abilities=ABILITIES_OF_A_POST)
        (made.hub if link == "bus" else made.air).attach(node)
        made.nodes[target] = node
        added = TargetAdded(target, storage.hardware.hex(), link, 1, PersonId("p-ansel"))
        made.ledger.append([added], at=made.outside().here())


def tell(story: Story, *, serial: int = 4, grant_s: int = 30, opened: bool = True, **kwargs: Any) -> Field:
    """Carry a story out on such a field, opened unless said otherwise."""
    with field(serial=serial, grant_s=grant_s, **kwargs) as made:
        with_posts(made)
        made.world.run(_whole(made, story, opened))
        assert made.crashed == []
        return made


async def _whole(made: Field, story: Story, opened: bool) -> None:
    made.begin()
    await asyncio.sleep(6)
    if opened:
        assert await made.open_day()
    await story(made)
    await made.kill()


async def released(made: Field, **arguments: Any) -> str:
    """A walk-in of one burial in both zones for two hours; its name."""
    given = {"drill": "one", "zones": ("upper", "lower"), "ends_in_min": 120.0, "by": "Ansel", **arguments}
    return str((await ask(made, "walkin-release", **given))["release"])


async def press(made: Field, post: TargetId, *, held: bool = False) -> None:
    """Somebody presses a post's button; as long as it takes to be heard."""
    node = made.nodes[post]
    (node.hold if held else node.press)()
    await asyncio.sleep(4)


async def zone(made: Field, name: str = "upper") -> dict[str, Any]:
    rows = (await ask(made, "walkin-status"))["zones"]
    return next((row for row in rows if row["zone"] == name), {})
