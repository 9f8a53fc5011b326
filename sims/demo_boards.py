"""The demo's emulated boards: compiled firmware at the bus's places, where the other demos have simulated targets.

Each board is given its keys over its own wire as on the day that it was installed, and then loses its power once, so
that what it goes into the demo with is what its storage kept.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path

from fieldctl.units import TargetId
from fieldctl.wire.seal import TargetKeys
from sims.board import Board
from sims.board_bench import Label
from sims.board_bus import BoardNode
from sims.board_talk import BoardTalk
from sims.world import Scheduler

BOARDS = 4  # emulators at once: what two cores carry beside a controller
NOISE_STEPS = 4.0


def chosen(serial: Sequence[TargetId], plays: Sequence[str]) -> tuple[TargetId, ...]:
    """Which targets of the bus are boards: those that play first."""
    first = sorted(serial, key=lambda target: target not in plays)
    return tuple(first[:BOARDS])


@asynccontextmanager
async def boards(
    scheduler: Scheduler, folder: Path, image: Path, secret: bytes, keys: Mapping[TargetId, TargetKeys]
) -> AsyncIterator[dict[TargetId, BoardNode]]:
    """Boards that hold these keys, powered on and listening."""
    async with AsyncExitStack() as stack:
        nodes: dict[TargetId, BoardNode] = {}
        for target in keys:
            label = Label(b"invd" + bytes.fromhex(target), secret)
            board = Board(folder / target, label, image, noise=round(NOISE_STEPS * 16))
            await stack.enter_async_context(board)
            nodes[target] = BoardNode(scheduler, board, noise=NOISE_STEPS)
        await asyncio.gather(*(_install(node, keys[target]) for target, node in nodes.items()))
        try:
            yield nodes
        finally:
            for node in nodes.values():
                await node.power_off()


async def _install(node: BoardNode, keys: TargetKeys) -> None:
    board = node.board
    await board.power_on()
    await BoardTalk(board).add(keys)
    await board.power_off()
    node.listen()
    await node.power_on()
