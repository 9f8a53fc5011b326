"""A bench over the emulated board in counted time: the board's clock is instructions, and the bench goes by that clock.

So a busy host makes nothing late. What a board's own clock is worth cannot be seen here; everything else can.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Literal

from fieldctl.certify.bench import Ear
from fieldctl.certify.live import new_loop
from fieldctl.certify.side_door import MANY
from fieldctl.wire import frames
from sims.board import Board, build_image
from sims.board_bench import Label
from sims.board_door import Door

ANSWER_US = 150_000
STEP_S = 0.0003
DOWN_US = 400_000  # how long a loss of power lasts by the bench's clock


class CountedBoard:
    """One board; `close` ends its emulator."""

    medium: Literal["bus", "radio"] = "bus"
    byte_us = 0.0
    answer_us = ANSWER_US
    retains = False

    def __init__(self, folder: Path, label: Label) -> None:
        self.ear = Ear()
        self.door = self
        self._loop = new_loop()
        run = self._loop.run_until_complete
        self._board = Board(folder, label, run(build_image()), virtual=True, noise=0)
        run(self._board.__aenter__())
        self._board.on_bytes = lambda data: self.ear.bytes_came(data, self.now())
        self._base = 0
        self._ticks = 0
        run(self._board.power_on())
        self._side = Door(self._board, Random("door"))
        words = run(self._side.do("offers")).split()[1:]
        self.offers = frozenset(words) | {MANY}

    def close(self) -> None:
        run = self._loop.run_until_complete
        run(self._board.__aexit__(None, None, None))
        for task in asyncio.all_tasks(self._loop):
            task.cancel()
        run(asyncio.sleep(0))
        self._loop.close()

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        answer = self._loop.run_until_complete(self._side.do(" ".join((word, *map(str, numbers)))))
        verdict, _, rest = answer.partition(" ")
        assert verdict == "ok", answer
        return tuple(map(int, rest.split()))

    def now(self) -> int:
        ticks = self._board.bench.ticks()
        if ticks < self._ticks:  # it began anew
            self._base += self._ticks + DOWN_US
        self._ticks = ticks
        return self._base + ticks

    def write(self, data: bytes) -> int:
        at = self.now()
        self._board.bench["awake"] = 1
        self._board.write(data)
        return at

    def say(self, payload: bytes, *, everybody: bool = False, retained: bool = False) -> int:
        return self.write(frames.encode(payload))

    def wait(self, until_us: int, enough: Callable[[], bool] | None = None) -> None:
        self._board.bench["awake"] = 1
        while self.now() < until_us:
            self._loop.run_until_complete(asyncio.sleep(STEP_S))
            if enough is not None and enough():
                return
