"""The demo's mountain, in a process of its own: eight targets on a pseudo-terminal bus, four on a broker, and people.
With `--targets qemu` four of those on the bus are emulated boards (`sims.demo_boards`).

Reads one JSON line from its parent (seed, keys, who is where), answers with the bus's path, lives until its input ends
or says "end", and then writes the truth to a file: what really was sent, struck and when, by CLOCK_MONOTONIC_RAW. The
controller never reads that file; `sims.demo` compares afterwards. The searcher and all waveforms are invented.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from random import Random
from typing import Any

from fieldctl.controller.ports import Keys
from fieldctl.errors import LinkDown
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.link import Link
from fieldctl.links.mqtt import open_mqtt
from fieldctl.units import HostUs, TargetId
from sims import demo_boards, pad
from sims.board_bus import BoardNode
from sims.hub import Hub
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely
from sims.storage import Storage
from sims.targets import EMULATED, maker

SECRET = b"invented secret."
WALK_S = (8.5, 11.0)  # an invented searcher is quick, so that the demo takes about 40 s
PASSES_AFTER_S = 2.5
DRIVES_AFTER_S = 9.0
LOOKS_EVERY_S = 0.1


Target = Node | BoardNode


class Radio:
    """A target's own MQTT connection: a node's medium over the real client."""

    pushes = True

    def __init__(self, scheduler: RealScheduler) -> None:
        self._scheduler = scheduler
        self.node: Node | None = None
        self.link: Link | None = None
        self.lost = 0

    def speak(self, _node: Node, payload: bytes, at_us: int) -> None:
        """See `Medium`."""
        self._scheduler.call_at(at_us, self._publish, payload)

    def silence(self, _node: Node) -> None:
        """See `Medium`."""

    def _publish(self, payload: bytes) -> None:
        if self.link is not None and self.node is not None:
            self.link.send(payload, self.node.target)

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        """See `Receiver`: a broker carries whole messages."""

    def message_arrived(self, _link: Link, _target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        if self.node is not None:
            self.node.hear(payload, at)

    def link_lost(self, _link: Link, _why: LinkDown) -> None:
        """See `Receiver`."""
        self.lost += 1
        self.link = None


@contextlib.asynccontextmanager
async def _boards(order: dict[str, Any], scheduler: RealScheduler, keys: Keys) -> AsyncIterator[dict[str, Target]]:
    """The emulated boards of this demo; none where it is without."""
    if order["targets"] != EMULATED:
        yield {}
        return
    chosen = demo_boards.chosen(order["serial"], order["plays"])
    held = {target: keys.of(target, 1) for target in chosen}
    with tempfile.TemporaryDirectory(prefix="fieldctl-boards-") as folder:
        async with demo_boards.boards(scheduler, Path(folder), Path(order["image"]), SECRET, held) as nodes:
            yield {str(target): node for target, node in nodes.items()}


async def _mountain(order: dict[str, Any]) -> None:
    scheduler = RealScheduler()
    keys = Keys(bytes.fromhex(order["site_key"]))
    async with _boards(order, scheduler, keys) as nodes:
        await _field(order, scheduler, keys, nodes)
    scheduler.close()


async def _field(order: dict[str, Any], scheduler: RealScheduler, keys: Keys, nodes: dict[str, Target]) -> None:
    hub = Hub(scheduler, rng=Random(f"hub {order['seed']}"))
    make = maker("python" if order["targets"] == EMULATED else order["targets"])
    for target in (*order["serial"], *order["mqtt"]):
        if target not in nodes:
            storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(TargetId(target), 1))
            nodes[target] = make(scheduler, Random(f"node {target} {order['seed']}"), storage)
    for target in order["serial"]:
        hub.attach(nodes[target])
    radios = []
    for target, login in order["mqtt"].items():
        node = nodes[target]
        assert isinstance(node, Node)
        radio = Radio(scheduler)
        at = BrokerAt(login["host"], login["port"], login["user"], login["password"], version=login["version"])
        radio.link = await open_mqtt(
            order["site"], at, radio, now=lambda: HostUs(raw_us()), role="target", targets=(TargetId(target),)
        )
        radio.node = node
        node.attached(radio)
        radios.append(radio)
    with PtyBus(hub) as bus:
        print(json.dumps({"port": bus.path}), flush=True)
        people = [asyncio.create_task(_searcher(nodes, order)), asyncio.create_task(_passers_by(nodes, order))]
        await _told_to_end()
        for task in people:
            task.cancel()
        truth = {target: _truth(node) for target, node in nodes.items()}
        Path(order["truth"]).write_text(json.dumps(truth), encoding="utf-8")
        for radio in radios:
            if radio.link is not None:
                await radio.link.close()


async def _told_to_end() -> None:
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    await reader.readline()


def _sends(node: Target) -> bool:
    if isinstance(node, BoardNode):
        return node.sends
    return node.on and node.gate.ordered(node.ticks(raw_us()))


def _touch(node: Target, touches: list[pad.Touch]) -> None:
    if isinstance(node, BoardNode):
        node.touch(touches)
    else:
        pad.play(node.scheduler, node, touches)


async def _searcher(nodes: dict[str, Target], order: dict[str, Any]) -> None:
    """Follows one signal after the other, as they come, and probes until the pad gives."""
    rng = Random(f"searcher {order['seed']}")
    found: set[str] = set()
    while len(found) < len(order["plays"]):
        heard = [t for t in order["plays"] if t not in found and _sends(nodes[t])]
        if not heard:
            await asyncio.sleep(LOOKS_EVERY_S)
            continue
        await asyncio.sleep(rng.uniform(*WALK_S))
        _touch(nodes[heard[0]], pad.probe(rng))
        found.add(heard[0])


async def _passers_by(nodes: dict[str, Target], order: dict[str, Any]) -> None:
    """Somebody walks past one pad, somebody drives past another."""
    rng = Random(f"passers-by {order['seed']}")
    first, second = nodes[order["walked_past"]], nodes[order["driven_past"]]
    while not (first.armed and second.armed and any(_sends(n) for n in nodes.values())):
        await asyncio.sleep(LOOKS_EVERY_S)
    await asyncio.sleep(PASSES_AFTER_S)
    _touch(first, pad.steps(rng))
    await asyncio.sleep(DRIVES_AFTER_S - PASSES_AFTER_S)
    _touch(second, pad.vehicle(rng))


def _truth(node: Target) -> dict[str, Any]:
    if isinstance(node, BoardNode):
        return node.truth()
    node.settle()
    return {
        "made": [[m.boot, m.number, m.true_us] for m in node.made],
        "sent": [list(span) for span in node.sent],
        "past_grant_us": node.past_grant_us,
    }


if __name__ == "__main__":
    run_precisely(_mountain(json.loads(sys.stdin.readline())))
