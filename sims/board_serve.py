"""One emulated board behind a TCP port on loopback, for `fieldctl certify --socket` and for anybody at a bench.

    python -m sims.board --serve PORT [--door PORT]

Prints one JSON line when it listens: socket, door (the words of `fieldctl.certify.side_door`), hardware and secret.
Port 0 takes a free one. Lives until it is told to end, or until a pipe that it reads from is closed. The board goes on
over power cuts of the side door; who is connected stays connected.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import secrets
import signal
import stat
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from random import Random

from fieldctl.errors import FieldctlError
from sims.board import Board, build_image
from sims.board_bench import Label
from sims.board_door import Door, serve_door

LOOPBACK = "127.0.0.1"
HARDWARE = b"invd\x0a\x1b\x2c\x3d"


class _Line(asyncio.Protocol):
    """Whoever is connected: one at a time, as on a bus with one master."""

    def __init__(self, board: Board, taken: list[asyncio.Transport]) -> None:
        self._board = board
        self._taken = taken
        self._mine: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        if self._taken:
            transport.abort()
            return
        self._mine = transport
        self._taken.append(transport)

    def data_received(self, data: bytes) -> None:
        self._board.write(data)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002
        if self._mine is not None:
            self._taken.remove(self._mine)


async def serve(port: int, door_port: int, folder: Path, *, ends: asyncio.Event) -> None:
    """Serve one board until `ends`; see the module."""
    label = Label(HARDWARE, secrets.token_bytes(16))
    async with Board(folder, label, await build_image(), noise=0) as board:
        taken: list[asyncio.Transport] = []

        def speak(data: bytes) -> None:
            for transport in taken:
                transport.write(data)

        board.on_bytes = speak
        await board.power_on()
        loop = asyncio.get_running_loop()
        line = await loop.create_server(lambda: _Line(board, taken), LOOPBACK, port)
        door = await serve_door(Door(board, Random("door")), LOOPBACK, door_port)
        where = [server.sockets[0].getsockname()[1] for server in (line, door)]
        says = {
            "socket": f"{LOOPBACK}:{where[0]}",
            "door": f"{LOOPBACK}:{where[1]}",
            "hardware": board.bench.hardware.hex(),
            "secret": board.bench.secret.hex(),
        }
        print(json.dumps(says), flush=True)
        await ends.wait()
        line.close()
        door.close()


async def _until_told(asked: argparse.Namespace, folder: Path) -> None:
    loop = asyncio.get_running_loop()
    ends = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        loop.add_signal_handler(number, ends.set)
    reader = asyncio.StreamReader()
    if stat.S_ISFIFO(os.fstat(sys.stdin.fileno()).st_mode):
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        closed = asyncio.create_task(reader.read())
        closed.add_done_callback(lambda _task: ends.set())
    await serve(asked.serve, asked.door, folder, ends=ends)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line; see the module."""
    parser = argparse.ArgumentParser(prog="python -m sims.board", description="One emulated board behind a TCP port.")
    parser.add_argument("--serve", type=int, default=0, metavar="PORT", help="where its UART is; 0: a free one")
    parser.add_argument("--door", type=int, default=0, metavar="PORT", help="where its side door is")
    asked = parser.parse_args(arguments)
    try:
        with tempfile.TemporaryDirectory(prefix="fieldctl-board-") as folder:
            asyncio.run(_until_told(asked, Path(folder)))
    except FieldctlError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0
