"""A whole simulated field in virtual time: world, bus, air, targets, and the real controller's lives, one by one.

The controller is the product's own, with its own ledger (in memory, committed inline). A kill takes everything from it
between two events: links are severed, its tasks are cancelled, what its pen had not committed is gone; the successor
finds what was committed.
"""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldctl.controller.controller import Controller
from fieldctl.controller.ports import Keys, LinkConfig, Outside
from fieldctl.controller.verbs import Desk
from fieldctl.errors import FieldctlError, LedgerFailed, Unreachable
from fieldctl.events import TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.links.link import Link, Receiver
from fieldctl.site.model import Axis, MqttLink, Place, Polling, SerialLink, Site, Zone
from fieldctl.units import PersonId, TargetId, target_from_address
from sims.air import Air, AirLink
from sims.hub import Hub, HubLink
from sims.network import Network
from sims.node import Node
from sims.storage import Storage
from sims.targets import maker
from sims.world import World

SITE_KEY = b"an invented key."
SECRET = b"invented secret."
FIRST_ADDRESS = 0x5EE0_0001

DRILLS = {
    "one": """
title = "One burial (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "start"
""",
    "chain": """
title = "Two, the second switched on by the first find (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "start"
[[burial]]
name = "B"
signal = "after-find"
after = "A"
""",
    "mixed": """
title = "One delayed and quiet once found, one that drops out and is called, one that never sends (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "delay"
delay_s = 12
after_find = "falls-quiet"
[[burial]]
name = "B"
signal = "start"
find = "call"
drop_on_s = 4
drop_off_s = 2
[[burial]]
name = "N"
signal = "never"
""",
}


@dataclass
class Life:
    """One life of a controller."""

    controller: Controller
    desk: Desk
    task: asyncio.Task[None]


@dataclass
class Field:
    """Everything of one simulated field; `life` is the controller that lives now, None while there is none."""

    world: World
    site: Site
    network: Network
    hub: Hub
    air: Air
    nodes: dict[TargetId, Node]
    ledger: Ledger
    folder: Path
    life: Life | None = None
    links: list[Link] = field(default_factory=list)
    adapter_until_us: int = 0
    full: bool = False  # the disk takes no more
    crashed: list[BaseException] = field(default_factory=list)

    # ---- controllers -----------------------------------------------------------------------------------------

    def outside(self) -> Outside:
        """What a controller of this field is given."""
        nonces = self.world.rng("nonces")
        return Outside(
            self.site, self.folder, self.world.clock, Keys(SITE_KEY), lambda: nonces.randbytes(8), self._open_link
        )

    async def _open_link(self, config: LinkConfig, receiver: Receiver) -> Link:
        link: Link
        if isinstance(config, SerialLink):
            if self.world.now_us() < self.adapter_until_us:
                raise Unreachable("The adapter is unplugged.", remedy="Plug it in.")
            link = HubLink(self.hub, receiver, self.world.clock.now)
        else:
            link = AirLink(self.air, receiver, self.world.clock.now)
        self.links.append(link)
        return link

    def begin(self) -> Life:
        """A controller starts."""
        assert self.life is None
        controller = Controller(self.outside(), self.ledger)
        task = asyncio.get_running_loop().create_task(controller.run(), name="controller")
        self.life = Life(controller, Desk(controller), task)
        return self.life

    async def kill(self) -> None:
        """SIGKILL: nothing more leaves, nothing more is written."""
        life, self.life = self.life, None
        if life is None:
            return
        life.controller.pen.broken = life.controller.pen.broken or LedgerFailed("killed", remedy="-")
        life.controller._unsubscribe()
        links, self.links = self.links, []
        for link in links:
            await link.close()
        await self._cancel(life)

    async def stop(self) -> None:
        """SIGTERM: switches off first."""
        life = self.life
        if life is None:
            return
        await life.controller.stop("SIGTERM")
        self.life = None
        life.controller._unsubscribe()
        await self._cancel(life)
        self.links.clear()

    async def _cancel(self, life: Life) -> None:
        life.task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            try:
                await life.task
            except BaseExceptionGroup as group:
                self.crashed.extend(group.exceptions)

    def unplug(self, for_us: int) -> None:
        """The adapter of the bus is gone for a while."""
        self.adapter_until_us = self.world.now_us() + for_us
        for link in self.links:
            if isinstance(link, HubLink) and link.alive:
                link.unplug()

    # ---- what people do --------------------------------------------------------------------------------------

    async def ask(self, verb: str, **arguments: Any) -> dict[str, Any] | FieldctlError:
        """Ask for a verb; what it refuses is an answer too."""
        if self.life is None:
            return Unreachable("no controller", remedy="Start one.")
        try:
            return await self.life.desk.ask(verb, arguments)
        except FieldctlError as error:
            return error

    async def open_day(self) -> bool:
        """Open the field as a person in charge would, signing for what may be signed for."""
        found = await self.ask("day-check")
        if isinstance(found, FieldctlError) or found["open"]:
            return not isinstance(found, FieldctlError)
        signed = tuple(p["key"] for p in found["problems"] if p["may_sign"])
        opened = await self.ask(
            "day-open",
            by="Ansel",
            hazard="low, decided with the patrol (invented)",
            snow_m=2.0,
            stray_sweep="walked by Mira, nothing heard",
            exceptions=signed,
        )
        return not isinstance(opened, FieldctlError)


def make_field(
    world: World, network: Network, *, serial: int, air: int, grant_s: int, folder: Path, targets: str = "python"
) -> Field:
    """A field with so many targets on a bus and over the air, each with keys of the site, and added to its ledger."""
    hub = Hub(world, network, rng=world.rng("hub"))
    broker = Air(world, network, world.rng("air"))
    ids = [target_from_address(FIRST_ADDRESS + i) for i in range(serial + air)]
    places = tuple(
        Place(t, f"Larch {i + 1}", "upper", 20.0 * i, 10.0 * (i % 3), 1.0 + 0.1 * i, Axis(20.0 * i, 80.0))
        for i, t in enumerate(ids)
    )
    site = Site(
        "larch-hollow",
        "Larch Hollow (invented)",
        zones=(Zone("upper", "Upper hollow"),),
        places=places,
        serial=(SerialLink("bus", "simulated"),) if serial else (),
        mqtt=(MqttLink("broker", "simulated"),) if air else (),
        grant_s=grant_s,
        polling=Polling(1.0, 0.1, 0.2),
    )
    keys = Keys(SITE_KEY)
    make = maker(targets)
    nodes: dict[TargetId, Node] = {}
    for i, target in enumerate(ids):
        storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(target, 1))
        node = make(world, world.rng(f"node {target}"), storage)
        (hub if i < serial else broker).attach(node)
        nodes[target] = node
    ledger = Ledger.open(":memory:", inline=True, durable=False, clock=world.clock.now)
    outside = Outside(site, folder, world.clock, keys, lambda: b"", _no_link)
    added = [
        TargetAdded(t, nodes[t].storage.hardware.hex(), "bus" if i < serial else "broker", 1, PersonId("p-ansel"))
        for i, t in enumerate(ids)
    ]
    ledger.append(added, at=outside.here())
    return Field(world, site, network, hub, broker, nodes, ledger, folder)


async def _no_link(_config: LinkConfig, _receiver: Receiver) -> Link:
    raise AssertionError("this is not a controller's")


def drills_folder() -> Path:
    """A folder with the swarm's drills, made once a process."""
    folder = Path(tempfile.mkdtemp(prefix="fieldctl-drills-"))
    (folder / "drills").mkdir()
    for name, text in DRILLS.items():
        (folder / "drills" / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder
