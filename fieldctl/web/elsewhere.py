"""Work that takes a core for a while (a preview, a debrief's figures, a season) is done in another process.

One process, nice, begun when something is first wanted and let go when nothing was wanted for a while: the loop that
keeps the field never waits for a figure. It dies with us, however we end.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import multiprocessing
import os
import signal
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any, TypeVar

from fieldctl.errors import Refused

if TYPE_CHECKING:
    from multiprocessing.sharedctypes import Synchronized

IDLE_S = 120.0  # then its 150 MB are given back; beginning again takes a second or two
LOOK_EVERY_S = 0.2
WAITING_MAX = 8  # pages that wait for it at once
PR_SET_PDEATHSIG = 1  # linux/prctl.h

Result = TypeVar("Result")


class Elsewhere:
    """The other process; `run` waits for its turn, `close` lets it go."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("spawn")  # nothing of this process goes along: no link, no ledger
        self._share: Synchronized[float] = self._context.Value("d", 0.0)
        self._pool: ProcessPoolExecutor | None = None
        self._alone = asyncio.Lock()
        self._waiting = 0
        self._idle: asyncio.TimerHandle | None = None

    async def run(
        self, work: Callable[..., Result], *given: Any, progress: Callable[[float], None] | None = None
    ) -> Result:
        """What `work(*given)` gives there, or raises; Refused when too much waits already."""
        if self._waiting >= WAITING_MAX:
            raise Refused("Too many pages are being worked out at once.", remedy="Try again in a moment.")
        self._waiting += 1
        try:
            async with self._alone:
                return await self._run(work, given, progress)
        finally:
            self._waiting -= 1

    async def _run(
        self, work: Callable[..., Result], given: tuple[Any, ...], progress: Callable[[float], None] | None
    ) -> Result:
        loop = asyncio.get_running_loop()
        if self._idle is not None:
            self._idle.cancel()
        self._share.value = 0.0
        self._pool = self._pool or ProcessPoolExecutor(1, self._context, _begin, (self._share, os.getpid()))
        try:
            working = loop.run_in_executor(self._pool, work, *given)
            while not working.done():
                await asyncio.wait([working], timeout=LOOK_EVERY_S)
                if progress is not None:
                    progress(self._share.value)
            return working.result()
        except BrokenProcessPool:
            self.close()
            raise Refused("The process that works pages out ended.", remedy="Try again; look at the log.") from None
        finally:
            self._idle = loop.call_later(IDLE_S, self.close)

    def close(self) -> None:
        """Let the process go."""
        if self._idle is not None:
            self._idle.cancel()
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=False, cancel_futures=True)


_share: Synchronized[float] | None = None  # of the process that works


def _begin(share: Synchronized[float], parent: int) -> None:
    """In the other process, at its begin: nice, deaf to the terminal's Ctrl-C, and gone when its parent is."""
    global _share
    _share = share
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(10)
    with contextlib.suppress(OSError, AttributeError):  # Linux alone has it; elsewhere it goes when told to
        ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    if os.getppid() != parent:
        os._exit(0)


def tell(share_done: float) -> None:
    """In the other process: the share of the work that is done."""
    if _share is not None:
        _share.value = share_done
