"""One simulated target on a pseudo-terminal, a socket or a broker, with its side door: something to certify.

    python -m sims.one_target                 says {"port": …, "door": …, "secret": …, "target": …} and lives until its
    python -m sims.one_target --socket        input ends; "socket" instead of "port": HOST:PORT
    python -m sims.one_target --mqtt          … "mqtt" and "password", at a broker of its own

It has no keys: `fieldctl certify --port PORT --door DOOR --secret-file FILE` gives it some and takes them again. With
`--site-key HEX` it has those of a site. With `--core` it runs the firmware's compiled core.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator
from random import Random

from fieldctl.certify.side_door import LINE_MAX, MANY, SideDoor
from fieldctl.links.mosquitto import CONTROLLER
from fieldctl.links.mqtt import open_mqtt
from fieldctl.units import HostUs
from fieldctl.wire import seal
from sims.broker import start_broker
from sims.demo_targets import Radio
from sims.hub import Hub
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely
from sims.storage import Storage
from sims.workbench import HARDWARE, SECRET, KeyedGate, NodeDoor

LOOPBACK = "127.0.0.1"
SITE = "larch-hollow"  # invented
KEYS_VERSION = 3  # of a site that rotated them twice


@contextlib.asynccontextmanager
async def served_door(door: SideDoor) -> AsyncIterator[str]:
    """A side door on a port of this machine's loopback; gives its address."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError, ValueError):  # gone, or a line without end
            while line := await reader.readline():
                writer.write(_answer(door, line.decode("ascii", "replace").split()).encode("ascii") + b"\n")
                await writer.drain()
        writer.close()

    server = await asyncio.start_server(talk, LOOPBACK, 0, limit=LINE_MAX)
    try:
        yield "{}:{}".format(*server.sockets[0].getsockname())
    finally:
        server.close()


def _answer(door: SideDoor, words: list[str]) -> str:
    if words == ["offers"]:
        return " ".join(("ok", *sorted(door.offers - {MANY})))
    if not words or words[0] not in door.offers:
        return "no such word"
    try:
        return " ".join(("ok", *map(str, door.do(words[0], *map(int, words[1:])))))
    except (TypeError, ValueError) as error:
        return f"no: {error}"


class _Socket:
    """A hub's bytes over one connection at a time."""

    def __init__(self, hub: Hub) -> None:
        self._hub = hub

    async def carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """The life of one connection."""
        self._hub.on_bytes = lambda data, _at: writer.write(data)
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(4096):
                self._hub.write(data)
        self._hub.on_bytes = lambda _data, _at: None
        writer.close()


async def _on_broker(node: Node, stack: contextlib.AsyncExitStack) -> dict[str, str]:
    """A broker of its own, and the target on it."""
    broker = await start_broker(SITE, (node.target,))
    stack.push_async_callback(broker.stop)
    radio = Radio(node.scheduler)  # type: ignore[arg-type]
    radio.link = await open_mqtt(
        SITE, broker.login(node.target), radio, now=lambda: HostUs(raw_us()), role="target", targets=(node.target,)
    )
    stack.push_async_callback(radio.link.close)
    radio.node = node
    node.attached(radio)
    at = broker.login(CONTROLLER)
    return {"mqtt": f"mqtt://{at.user}@{at.host}:{at.port}/{SITE}", "password": at.password}


async def _on_bus(node: Node, stack: contextlib.AsyncExitStack, *, socket: bool) -> dict[str, str]:
    hub = Hub(node.scheduler, rng=Random("hub"))
    hub.attach(node)
    if not socket:
        return {"port": stack.enter_context(PtyBus(hub)).path}
    server = await asyncio.start_server(_Socket(hub).carry, LOOPBACK, 0)
    stack.callback(server.close)
    return {"socket": "{}:{}".format(*server.sockets[0].getsockname())}


async def serve(line: str, site_key: bytes, *, core: bool) -> None:
    """Answers with where it is; lives until its input ends."""
    scheduler = RealScheduler()
    storage = Storage(HARDWARE, SECRET)
    storage.keys = seal.derive_keys(site_key, storage.address, KEYS_VERSION) if site_key else None
    if core:
        from sims.cnode import CNode

        node: Node = CNode(scheduler, Random("node"), storage)
    else:
        node = Node(scheduler, Random("node"), storage)
        node.gate = KeyedGate()
    where = {"secret": SECRET.hex(), "target": str(node.target)}
    async with contextlib.AsyncExitStack() as stack:
        where["door"] = await stack.enter_async_context(served_door(NodeDoor(node)))
        if line == "mqtt":
            where |= await _on_broker(node, stack)
        else:
            where |= await _on_bus(node, stack, socket=line == "socket")
        print(json.dumps(where), flush=True)
        reader = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        await reader.read()
        node.settle()
        print(json.dumps({"keys": node.storage.keys is not None, "granted": node.gate.held is not None}), flush=True)
    scheduler.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m sims.one_target")
    lines = parser.add_mutually_exclusive_group()
    for word in ("port", "socket", "mqtt"):
        lines.add_argument(f"--{word}", dest="line", action="store_const", const=word, default="port")
    parser.add_argument("--site-key", type=bytes.fromhex, default=b"")
    parser.add_argument("--core", action="store_true")
    chosen = parser.parse_args()
    run_precisely(serve(chosen.line, chosen.site_key, core=chosen.core))
