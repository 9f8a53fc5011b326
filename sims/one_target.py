"""One simulated target on a pseudo-terminal or a socket, with its side door: something to certify.

    python -m sims.one_target                 says {"port": …, "door": …, "secret": …, "target": …} and lives until its
    python -m sims.one_target --socket        input ends; with --socket also "socket": HOST:PORT

It has no keys: `fieldctl certify --port PORT --door DOOR --secret-file FILE` gives it some and takes them again.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator
from random import Random

from fieldctl.certify.side_door import LINE_MAX, MANY, SideDoor
from sims.hub import Hub
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, run_precisely
from sims.storage import Storage
from sims.workbench import HARDWARE, SECRET, KeyedGate, NodeDoor

LOOPBACK = "127.0.0.1"


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


async def serve(*, socket: bool) -> None:
    """Answers with where it is; lives until its input ends."""
    scheduler = RealScheduler()
    hub = Hub(scheduler, rng=Random("hub"))
    node = Node(scheduler, Random("node"), Storage(HARDWARE, SECRET))
    node.gate = KeyedGate()
    hub.attach(node)
    where = {"secret": SECRET.hex(), "target": str(node.target)}
    async with contextlib.AsyncExitStack() as stack:
        where["door"] = await stack.enter_async_context(served_door(NodeDoor(node)))
        if socket:
            server = await asyncio.start_server(_Socket(hub).carry, LOOPBACK, 0)
            stack.callback(server.close)
            where["socket"] = "{}:{}".format(*server.sockets[0].getsockname())
        else:
            where["port"] = stack.enter_context(PtyBus(hub)).path
        print(json.dumps(where), flush=True)
        reader = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        await reader.read()
        node.settle()
        print(json.dumps({"keys": node.storage.keys is not None, "granted": node.gate.held is not None}), flush=True)
    scheduler.close()


if __name__ == "__main__":
    run_precisely(serve(socket="--socket" in sys.argv))
