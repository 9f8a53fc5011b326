"""A far zone behind a bridge: a bus and its targets on one side, a broker on the other, no key in between."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from kit import Field, ask, facts, field, probe, ready, sends, started

from fieldctl.controller.bridge import Bridge
from fieldctl.errors import LinkDown
from fieldctl.events import StrikeRecorded
from fieldctl.links.link import Link
from fieldctl.site.model import MqttLink
from fieldctl.units import HostUs, TargetId
from sims.air import Air
from sims.hub import Hub, HubLink
from sims.node import Node


class Uplink:
    """The bridge's end of the virtual broker: stands for one target and hands everything to the bridge."""

    kind = "mqtt"
    name = "uplink"
    alive = True

    def __init__(self, air: Air, far: FarTarget) -> None:
        self._air = air
        self._far = far

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        at = self._far.now()
        self._air.speak(self._far, data, at + 1)
        return HostUs(at)

    def clear_unsent(self) -> int:
        return 0

    def counts(self) -> dict[str, int]:
        return {}

    async def close(self) -> None:
        pass


class FarTarget:
    """What the virtual broker sees in a far target's stead."""

    def __init__(self, made: Field, target: TargetId) -> None:
        self.target = target
        self.name = str(target)
        self.address = int(target, 16)
        self._made = made
        self.bridge: Bridge | None = None
        self.link: Link | None = None

    def now(self) -> int:
        return self._made.world.now_us()

    def attached(self, medium: object) -> None:
        pass

    def connected(self) -> None:
        pass

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        if self.bridge is not None and self.link is not None:
            everybody = payload[1:5] == b"\xff\xff\xff\xff"
            at = self._made.world.clock.now()
            self.bridge.message_arrived(self.link, None if everybody else self.target, payload, at)


@contextmanager
def far_field() -> Iterator[tuple[Field, Hub, list[FarTarget]]]:
    """One target on the near bus, one behind the bridge."""
    with field(5, serial=1, air=1) as made:
        node = list(made.nodes.values())[1]
        node.power_off()
        made.air._ports.clear()
        hub = Hub(made.world, made.network, rng=made.world.rng("far hub"))
        hub.attach(node)
        far = FarTarget(made, node.target)
        made.air.attach(far)
        made.site = replace(made.site, mqtt=(MqttLink("broker", "simulated"),))
        yield made, hub, [far]


def bridged(made: Field, hub: Hub, far: FarTarget) -> Bridge:
    bridge = Bridge(made.world.clock, [far.target])
    wire = HubLink(hub, bridge, made.world.clock.now, name="far bus")
    far.bridge, far.link = bridge, Uplink(made.air, far)
    bridge.use(wire, far.link)
    return bridge


def node_of(made: Field, far: FarTarget) -> Node:
    return made.nodes[far.target]


def test_a_strike_behind_a_bridge_is_found_and_stamped_and_all_off_passes_at_once() -> None:
    with far_field() as (made, hub, (far,)):

        async def story() -> None:
            bridge = bridged(made, hub, far)
            await asyncio.sleep(5)
            c = await ready(made)
            assert c.known[far.target].life(made.world.clock.now()) == "online"
            name = await started(made, targets={"A": far.target})
            assert sends(made, far.target)
            struck = made.world.now_us()
            probe(made, far.target)
            await asyncio.sleep(1)
            row = await ask(made, "exercise-show", exercise=name)
            assert row["state"] == "complete"
            (fact,) = facts(made, StrikeRecorded)
            assert abs(fact.at.at - made.world.clock.of(struck)) <= fact.at.plus_minus_us <= 15_000
            await ask(made, "all-off")
            await asyncio.sleep(0.15)
            assert node_of(made, far).storage.off  # the shout passed before any answer could come
            await asyncio.sleep(2)
            off = (await ask(made, "status"))["all_off"]
            assert far.target in off["confirmed"]
            assert bridge.counts["all-off"] > 0
            assert bridge.counts["overflow"] == 0
            await made.kill()

        made.world.run(story())
        assert made.crashed == []


def test_what_is_not_its_own_is_counted_and_a_lost_bus_is_told() -> None:
    with far_field() as (made, hub, (far,)):

        async def story() -> None:
            bridge = bridged(made, hub, far)
            await asyncio.sleep(1)
            link = bridge._wire
            assert isinstance(link, HubLink)
            bridge.bytes_arrived(link, made.world.rng("junk").randbytes(4096), made.world.clock.now())
            assert far.link is not None
            bridge.message_arrived(far.link, TargetId("0badbeef"), b"x", made.world.clock.now())
            bridge.message_arrived(far.link, far.target, b"x" * 200, made.world.clock.now())
            assert bridge.counts["not-ours"] == 2
            link.unplug()
            await asyncio.sleep(1)
            assert bridge.lost.is_set()
            assert isinstance(bridge.why, LinkDown)

        made.world.run(story())
