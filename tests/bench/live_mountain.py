"""The targets' process of `bench_live`: pseudo-terminal buses, targets on a broker, touches at pads on demand.

One JSON line in: site, site_key, buses (lists of ids), mqtt (id: login), truth (path). One out: {"ports": [...]}. Then
a line {"targets", "every_s", "seconds"} has armed pads of these touched at random; "end", or the end of input, writes
what really happened, by CLOCK_MONOTONIC_RAW, to the truth's path.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from pathlib import Path
from random import Random
from typing import Any

from fieldctl.controller.ports import Keys
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.mqtt import open_mqtt
from fieldctl.units import HostUs, TargetId
from sims import pad
from sims.demo_targets import Radio
from sims.hub import Hub
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely
from sims.storage import Storage


async def mountain(order: dict[str, Any]) -> None:
    scheduler = RealScheduler()
    keys = Keys(bytes.fromhex(order["site_key"]))
    nodes: dict[str, Node] = {}

    def node(target: str) -> Node:
        storage = Storage(b"invd" + bytes.fromhex(target), b"invented secret.", keys.of(TargetId(target), 1))
        nodes[target] = Node(scheduler, Random(f"node {target}"), storage)
        return nodes[target]

    radios = []
    for target, at in order["mqtt"].items():
        radio = Radio(scheduler)
        login = BrokerAt(at["host"], at["port"], at["user"], at["password"])
        radio.link = await open_mqtt(
            order["site"], login, radio, now=lambda: HostUs(raw_us()), role="target", targets=(TargetId(target),)
        )
        radio.node = node(target)
        radio.node.attached(radio)
        radios.append(radio)
    with contextlib.ExitStack() as buses:
        ports = []
        for n, targets in enumerate(order["buses"]):
            hub = Hub(scheduler, rng=Random(f"hub {n}"))
            for target in targets:
                hub.attach(node(target))
            ports.append(buses.enter_context(PtyBus(hub)).path)
        print(json.dumps({"ports": ports}), flush=True)
        reader = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        touching: list[asyncio.Task[None]] = []
        while (line := (await reader.readline()).strip()) not in (b"", b"end"):
            touching.append(asyncio.create_task(touch(nodes, **json.loads(line))))
        for task in touching:
            task.cancel()
        made = {t: [[m.boot, m.number, m.true_us] for m in n.made] for t, n in nodes.items()}
        Path(order["truth"]).write_text(json.dumps(made), encoding="utf-8")
        for radio in radios:
            if radio.link is not None:
                await radio.link.close()
    scheduler.close()


async def touch(nodes: dict[str, Node], targets: list[str], every_s: float, seconds: float) -> None:
    """Somebody touches pads, at moments that nothing knows ahead."""
    rng = Random("touches")
    due = raw_us()
    end = due + seconds * 1e6
    while (due := due + round(rng.expovariate(1 / every_s) * 1e6)) < end:
        await asyncio.sleep(max(0.0, (due - raw_us()) / 1e6))
        armed = [nodes[t] for t in targets if nodes[t].armed]
        if armed:
            node = rng.choice(armed)
            node.strike(pad.probe(rng)[0][1].as_ints())


if __name__ == "__main__":
    run_precisely(mountain(json.loads(sys.stdin.readline())))
