"""The simulated bus in real time, on a pseudo-terminal: a controller in another process opens `PtyBus.path`.

Byte times are honest and never early: a question counts as received when its last byte would have arrived, and an
answer is written when its last byte would have. True time is CLOCK_MONOTONIC_RAW, which is the controller's host clock
on the same machine, so that stamps can be compared with the truth afterwards.

    async def main():
        scheduler = RealScheduler()
        hub = Hub(scheduler)
        hub.attach(Node(scheduler, rng, storage))
        with PtyBus(hub) as bus: print(bus.path); await ...

    run_precisely(main())

asyncio's usual selector rounds each waiting time up to the next millisecond, which is a quarter of a turn on this bus;
`run_precisely` takes the one that does not.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import os
import selectors
import time
import tty
from collections import Counter
from collections.abc import Callable, Coroutine
from heapq import heappop, heappush
from typing import Any, TypeVar

from sims.hub import Hub
from sims.world import Handle

T = TypeVar("T")
READ_MAX = 4096


def raw_us() -> int:
    """Microseconds of CLOCK_MONOTONIC_RAW."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1_000


class _Timer:
    __slots__ = ("args", "callback", "cancelled")

    def __init__(self, callback: Callable[..., object], args: tuple[Any, ...]) -> None:
        self.callback = callback
        self.args = args
        self.cancelled = False

    def cancel(self) -> None:
        self.cancelled = True


class RealScheduler:
    """A `Scheduler` over the running loop: timers run in order, late by the loop's delay, never early."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._heap: list[tuple[int, int, _Timer]] = []
        self._seq = itertools.count()
        self._armed: asyncio.TimerHandle | None = None
        self._armed_us = 0

    def now_us(self) -> int:
        """Microseconds of CLOCK_MONOTONIC_RAW."""
        return raw_us()

    def call_at(self, at_us: int, callback: Callable[..., object], *args: Any) -> Handle:
        """Run a callback at a moment, or as soon as the loop comes round to it."""
        timer = _Timer(callback, args)
        heappush(self._heap, (at_us, next(self._seq), timer))
        if self._armed is None or at_us < self._armed_us:
            self._arm()
        return timer

    def trace(self, *_items: object) -> None:
        """Real time is never the same twice: nothing to compare."""

    def close(self) -> None:
        """Nothing runs any more."""
        self._heap.clear()
        if self._armed is not None:
            self._armed.cancel()

    def _arm(self) -> None:
        if self._armed is not None:
            self._armed.cancel()
            self._armed = None
        if self._heap:
            self._armed_us = self._heap[0][0]
            self._armed = self._loop.call_later(max(0, self._armed_us - raw_us()) / 1e6, self._run)

    def _run(self) -> None:
        self._armed = None
        heap = self._heap
        try:
            while heap and (heap[0][2].cancelled or heap[0][0] <= raw_us()):
                timer = heappop(heap)[2]
                if not timer.cancelled:
                    timer.callback(*timer.args)
        finally:
            self._arm()  # also when the loop's clock ran ahead of the raw one: then it was too early


class PtyBus:
    """A pseudo-terminal with a hub behind it. Counts: bytes_in, bytes_out, unread (written while nobody reads)."""

    def __init__(self, hub: Hub) -> None:
        self._loop = asyncio.get_running_loop()
        self._hub = hub
        self.counts: Counter[str] = Counter()
        self._master, self._slave = os.openpty()  # our own slave end keeps it alive while no controller has it open
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        hub.on_bytes = self._to_controller
        self._loop.add_reader(self._master, self._readable)

    def close(self) -> None:
        """The adapter is pulled out: a controller that has it open reads the end of data."""
        if self._master >= 0:
            self._loop.remove_reader(self._master)
            self._hub.on_bytes = lambda _data, _at: None
            os.close(self._master)
            os.close(self._slave)
            self._master = self._slave = -1

    def __enter__(self) -> PtyBus:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def _readable(self) -> None:
        with contextlib.suppress(BlockingIOError, InterruptedError):
            data = os.read(self._master, READ_MAX)
            self.counts["bytes_in"] += len(data)
            self._hub.write(data)

    def _to_controller(self, data: bytes, _at_us: int) -> None:
        try:
            taken = os.write(self._master, data)
        except (BlockingIOError, InterruptedError):
            taken = 0
        self.counts["bytes_out"] += taken
        if taken < len(data):
            self.counts["unread"] += len(data) - taken


def run_precisely(main: Coroutine[Any, Any, T]) -> T:
    """As asyncio.run, on a loop whose waiting times are not rounded up to a millisecond."""
    with asyncio.Runner(loop_factory=precise_loop) as runner:
        return runner.run(main)


def precise_loop() -> asyncio.AbstractEventLoop:
    """An event loop over select(2), which waits in microseconds."""
    return asyncio.SelectorEventLoop(selectors.SelectSelector())
