"""The mountain behind the browser tests: targets on a pseudo-terminal bus and on a broker, told what happens to them.

Reads one JSON line (keys, who is where), starts a broker, answers with the bus's path and the controller's login,
then carries out one JSON line after the other:
{"what": "probe" | "steps" | "press" | "hold" | "cut" | "join" | "truth", "target": …}, and answers each. Nothing here
plays by itself, and the controller never reads any of it. All waveforms are invented.
"""

from __future__ import annotations

import asyncio
import json
import sys
from random import Random
from typing import Any

from fieldctl.controller.ports import Keys
from fieldctl.links.mosquitto import CONTROLLER
from fieldctl.links.mqtt import open_mqtt
from fieldctl.units import HostUs, TargetId
from sims import pad
from sims.broker import Broker, start_broker
from sims.demo_targets import Radio
from sims.hub import Hub
from sims.node import ABILITIES_OF_A_POST, Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely
from sims.storage import Storage

SECRET = b"invented secret."


class Mountain:
    def __init__(self, order: dict[str, Any]) -> None:
        self.order = order
        self.scheduler = RealScheduler()
        self.hub = Hub(self.scheduler, rng=Random("hub"))
        self.rng = Random("hands")
        self.nodes: dict[str, Node] = {}
        self.radios: list[Radio] = []
        keys = Keys(bytes.fromhex(order["site_key"]))
        for target in (*order["serial"], *order["mqtt"]):
            storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(TargetId(target), 1))
            self.nodes[target] = Node(self.scheduler, Random(f"node {target}"), storage)
        for target in order.get("posts", ()):
            storage = Storage(b"invd" + bytes.fromhex(target), SECRET, keys.of(TargetId(target), 1))
            rng = Random(f"post {target}")
            self.nodes[target] = Node(self.scheduler, rng, storage, abilities=ABILITIES_OF_A_POST)
        for target in (*order["serial"], *order.get("posts", ())):
            self.hub.attach(self.nodes[target])

    async def join_broker(self, broker: Broker) -> None:
        for target in self.order["mqtt"]:
            radio = Radio(self.scheduler)
            at = broker.login(target)
            topics = (TargetId(target),)
            radio.link = await open_mqtt(
                self.order["site"], at, radio, now=lambda: HostUs(raw_us()), role="target", targets=topics
            )
            radio.node = self.nodes[target]
            self.nodes[target].attached(radio)
            self.radios.append(radio)

    def do(self, what: str, target: str = "") -> dict[str, Any]:
        node = self.nodes.get(target)
        if what == "truth":
            return {t: self.truth(n) for t, n in self.nodes.items()}
        assert node is not None, target
        if what == "probe":
            pad.play(self.scheduler, node, pad.probe(self.rng))
        elif what == "steps":
            pad.play(self.scheduler, node, pad.steps(self.rng))
        elif what == "press":
            node.press()
        elif what == "hold":
            node.hold()
        elif what == "cut":
            self.hub.cut(node)
        elif what == "join":
            self.hub.cut(node, whole=True)
        else:
            raise AssertionError(what)
        return {"done": what}

    def truth(self, node: Node) -> dict[str, Any]:
        node.settle()
        return {
            "sends": node.on and node.gate.ordered(node.ticks(raw_us())),
            "made": [m.true_us for m in node.made],
            "sent": [list(span) for span in node.sent],
            "past_grant_us": node.past_grant_us,
        }


async def live(order: dict[str, Any]) -> None:
    mountain = Mountain(order)
    broker = await start_broker(order["site"], [TargetId(target) for target in order["mqtt"]])
    await mountain.join_broker(broker)
    at = broker.login(CONTROLLER)
    with PtyBus(mountain.hub) as bus:
        login = {"host": at.host, "port": at.port, "user": at.user, "password": at.password}
        print(json.dumps({"port": bus.path, "broker": login}), flush=True)
        reader = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        while line := await reader.readline():
            print(json.dumps(mountain.do(**json.loads(line))), flush=True)
        for radio in mountain.radios:
            if radio.link is not None:
                await radio.link.close()
    mountain.scheduler.close()
    await broker.stop()


if __name__ == "__main__":
    run_precisely(live(json.loads(sys.stdin.readline())))
