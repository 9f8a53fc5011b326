"""All off on a real pseudo-terminal: nothing comes back, and a gate that is stuck on; in real time, a few seconds."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random
from typing import Any

from fieldctl.cli.outside import SystemClock
from fieldctl.controller.controller import Controller
from fieldctl.controller.ports import Keys, Outside
from fieldctl.controller.verbs import Desk
from fieldctl.events import TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.links.serial_bus import open_serial_bus
from fieldctl.site.model import Place, SerialLink, Site, Zone
from fieldctl.units import PersonId, TargetId
from sims.field import SECRET, SITE_KEY
from sims.hub import Hub
from sims.network import Network
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely
from sims.storage import Storage
from sims.swarm import _drills

TARGETS = tuple(TargetId(f"5ee0000{n}") for n in (1, 2, 3))


class Mountain:
    def __init__(self, bus: PtyBus, network: Network, nodes: dict[TargetId, Node], desk: Desk) -> None:
        self.bus, self.network, self.nodes, self.desk = bus, network, nodes, desk

    async def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        return await self.desk.ask(verb, arguments)

    async def until(self, holds: Any, within_s: float = 20.0) -> dict[str, Any]:
        async with asyncio.timeout(within_s):
            while not holds(status := await self.ask("status")):
                await asyncio.sleep(0.05)
        return status


@asynccontextmanager
async def mountain(tmp_path: Path) -> AsyncIterator[Mountain]:
    scheduler, network, clock = RealScheduler(), Network(Random(1)), SystemClock()
    hub = Hub(scheduler, network, rng=Random(2))
    keys = Keys(SITE_KEY)
    nodes = {}
    for target in TARGETS:
        storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(target, 1))
        nodes[target] = Node(scheduler, Random(target), storage)
        hub.attach(nodes[target])
    with PtyBus(hub) as bus, Ledger.open(tmp_path / "ledger.sqlite", inline=False) as ledger:
        places = tuple(Place(t, f"Larch {i}", "upper", 20.0 * i, 0.0, 1.0) for i, t in enumerate(TARGETS))
        site = Site(
            "larch-hollow", "-", zones=(Zone("upper", "-"),), places=places, serial=(SerialLink("bus", bus.path),)
        )

        async def open_link(config: Any, receiver: Any) -> Any:
            return await open_serial_bus(config.port, receiver, now=clock.now, site=site.name)

        rng = Random(3)
        outside = Outside(site, _drills(), clock, keys, lambda: rng.randbytes(8), open_link)
        ledger.append([TargetAdded(t, "", "bus", 1, PersonId("p")) for t in TARGETS], at=outside.here())
        controller = Controller(outside, ledger)
        running = asyncio.create_task(controller.run())
        made = Mountain(bus, network, nodes, Desk(controller))
        try:
            await controller.ready.wait()
            await made.until(lambda s: all(t["life"] == "online" and t["plus_minus_ms"] for t in s["targets"]))
            problems = (await made.ask("day-check"))["problems"]
            signed = tuple(p["key"] for p in problems if p["may_sign"])
            await made.ask("day-open", by="Ansel", hazard="low", snow_m=1.9, stray_sweep="nothing", exceptions=signed)
            await made.ask("exercise-start", drill="one", by="Mira")
            await made.until(lambda s: any(t["signal"] == "sending" for t in s["targets"]))
            yield made
        finally:
            running.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await running
    scheduler.close()


def test_with_every_answer_dropped_nothing_is_confirmed_and_grants_count_down(tmp_path: Path) -> None:
    async def story() -> None:
        async with mountain(tmp_path) as made:
            for node in made.nodes.values():
                made.network.line(f"{node.name}/up", ordered=True).cut(raw_us(), raw_us() + 60_000_000)
            await made.ask("all-off")
            await asyncio.sleep(1)
            first = (await made.ask("status"))["all_off"]
            await asyncio.sleep(1)
            second = (await made.ask("status"))["all_off"]
            assert first["confirmed"] == second["confirmed"] == []
            assert len(second["unconfirmed"]) == len(TARGETS)
            before = max(u["may_send_for_s"] for u in first["unconfirmed"])
            after = max(u["may_send_for_s"] for u in second["unconfirmed"])
            assert 0.8 <= before - after <= 1.6
            assert 0 < after <= 30

    run_precisely(story())


def test_a_gate_stuck_on_is_shown_as_not_quiet(tmp_path: Path) -> None:
    async def story() -> None:
        async with mountain(tmp_path) as made:
            node = made.nodes[TARGETS[1]]
            node.break_gate(stuck=True)
            await made.ask("all-off")
            status = await made.until(lambda s: len(s["all_off"]["confirmed"]) == 2)
            (row,) = status["all_off"]["unconfirmed"]
            assert row["target"] == node.target
            status = await made.until(
                lambda s: next(t for t in s["targets"] if t["target"] == node.target)["life"] == "barred"
            )
            shown = next(t for t in status["targets"] if t["target"] == node.target)
            assert shown["signal"].startswith("not quiet")

    run_precisely(story())
