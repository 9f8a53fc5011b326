"""The side door of an emulated board: the words of `fieldctl.certify.side_door`, done to its file and its emulator.

async with serve_door(board, rng, where) …     one line a request, one line an answer, on loopback
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from random import Random

from fieldctl.certify.side_door import LINE_MAX
from sims.board import Board
from sims.board_bench import HANG_DEAF, MAGIC, SAMPLE_US
from sims.board_pad import probe

TOUCH_AHEAD_US = 60_000  # so that a busy host still hands it over in time
PAD_AHEAD_US = 300_000  # a line of samples begins so long after it came, unless another is still being played
FRESH_MV, WEAK_MV = 3_400, 2_000
CUT_FOR_S = 0.2
TOUCH_NOISE = 4.0  # steps of the converter: the blow is many times that


class Door:
    """What may be done to a board beside its line."""

    def __init__(self, board: Board, rng: Random) -> None:
        self._board = board
        self._rng = rng
        self._seen = 0  # edges of the gate that were told
        self._cut: asyncio.Task[None] | None = None
        self._words: dict[str, Callable[..., Awaitable[tuple[int, ...]]]] = {
            "reboot": self._reboot,
            "power": self._power,
            "cut": self._cut_at,
            "touch": self._touch,
            "pad": self._pad,
            "gate": self._gate,
            "stuck": self._stuck,
            "battery": self._battery,
            "press": self._press,
        }

    async def do(self, line: str) -> str:
        """Do what a line asks for; the line of the answer."""
        word, *numbers = line.split() or [""]
        if word == "offers":
            return "ok " + " ".join(self._words)
        if word not in self._words:
            return f"no such word: {word[:20]}"
        try:
            found = await self._words[word](*(int(number) for number in numbers))
        except (TypeError, ValueError):
            return f"no, {word} has other numbers behind it"
        return " ".join(("ok", *map(str, found)))

    # ---- power --------------------------------------------------------------------------------------------------

    async def _reboot(self) -> tuple[int, ...]:
        starts = self._board.bench["starts"]
        self._board.bench.order(HANG_DEAF)
        await self._board.stands(lambda bench: bench["starts"] != starts and bench["magic"] == MAGIC)
        return ()

    async def _power(self, for_ms: int) -> tuple[int, ...]:
        await self._board.power_off()
        await asyncio.sleep(for_ms / 1000)
        await self._board.power_on()
        return ()

    async def _cut_at(self, n: int, after: int) -> tuple[int, ...]:
        bench = self._board.bench
        bench["cut_done"] = 0
        bench["cut_after"] = after
        bench["cut_records"] = n
        if self._cut is not None:
            self._cut.cancel()
        self._cut = asyncio.create_task(self._comes_back(), name="power comes back")
        return ()

    async def _comes_back(self) -> None:
        while not self._board.bench["cut_done"]:
            await asyncio.sleep(0.005)
        await self._power(round(CUT_FOR_S * 1000))

    # ---- pad ----------------------------------------------------------------------------------------------------

    async def _touch(self) -> tuple[int, ...]:
        samples, _ = probe(self._rng, TOUCH_NOISE)
        self._board.bench.play(samples, self._grid(TOUCH_AHEAD_US))
        return ()

    async def _pad(self, *samples: int) -> tuple[int, ...]:
        bench = self._board.bench
        gapless = bench["play_count"] > 0 and bench.play_ends > bench.ticks() + TOUCH_AHEAD_US
        bench.play(samples, bench.play_ends if gapless else self._grid(PAD_AHEAD_US))
        return ()

    def _grid(self, ahead_us: int) -> int:
        ticks = self._board.bench.ticks() + ahead_us
        return ticks - ticks % SAMPLE_US

    # ---- the rest -----------------------------------------------------------------------------------------------

    async def _gate(self) -> tuple[int, ...]:
        bench = self._board.bench
        now = bench.ticks()
        edges = []
        for start, on, off in bench.gate_spans():
            edges += [on, off] if off <= now or start != bench["starts"] else [on]
        fresh = edges[self._seen :]
        self._seen = len(edges)
        return tuple(fresh)

    async def _stuck(self, is_stuck: int) -> tuple[int, ...]:
        self._board.bench["gate_stuck"] = is_stuck
        return ()

    async def _battery(self, is_weak: int) -> tuple[int, ...]:
        self._board.bench["load_mv"] = WEAK_MV if is_weak else FRESH_MV
        return ()

    async def _press(self) -> tuple[int, ...]:
        self._board.bench.press()
        return ()


async def serve_door(door: Door, host: str, port: int) -> asyncio.Server:
    """A side door on a TCP port; close it."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while line := await reader.readline():
                writer.write((await door.do(line.decode("ascii", "replace"))).encode("ascii") + b"\n")
                await writer.drain()
        except (ConnectionError, ValueError):
            pass  # gone, or a line without end
        finally:
            writer.close()

    return await asyncio.start_server(answer, host, port, limit=LINE_MAX)
