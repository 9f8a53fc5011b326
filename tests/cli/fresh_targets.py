"""A process with new targets on a pseudo-terminal bus: no keys yet, buttons pressed where the order says so."""

from __future__ import annotations

import asyncio
import json
import sys
from random import Random
from typing import Any

from sims.hub import Hub
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, run_precisely
from sims.storage import Storage


async def serve(order: dict[str, Any]) -> None:
    """Answers with the bus's path; lives until its input ends."""
    scheduler = RealScheduler()
    hub = Hub(scheduler, rng=Random("hub"))
    for hardware, label in order.items():
        node = Node(scheduler, Random(hardware), Storage(bytes.fromhex(hardware), bytes.fromhex(label["secret"])))
        hub.attach(node)
        if label["pressed"]:
            node.press()
    with PtyBus(hub) as bus:
        print(json.dumps({"port": bus.path}), flush=True)
        reader = asyncio.StreamReader()
        await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        await reader.read()
    scheduler.close()


if __name__ == "__main__":
    run_precisely(serve(json.loads(sys.stdin.readline())))
