"""A receiver that keeps everything, and waits for a condition without guessing at times."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

from fieldctl.errors import LinkDown
from fieldctl.links.link import Link
from fieldctl.units import HostUs, TargetId


def now() -> HostUs:
    return HostUs(time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000)


class Listening:
    def __init__(self) -> None:
        self.reads: list[tuple[bytes, HostUs]] = []
        self.messages: list[tuple[TargetId | None, bytes, HostUs]] = []
        self.lost: list[LinkDown] = []
        self._changed = asyncio.Event()

    @property
    def data(self) -> bytes:
        return b"".join(d for d, _ in self.reads)

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        assert isinstance(link, Link)
        self.reads.append((data, at))
        self._changed.set()

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        assert isinstance(link, Link)
        self.messages.append((target, payload, at))
        self._changed.set()

    def link_lost(self, link: Link, why: LinkDown) -> None:
        assert not link.alive
        self.lost.append(why)
        self._changed.set()

    async def until(self, condition: Callable[[], bool], within_s: float = 5.0) -> None:
        """Wait for `condition`, checked at every arrival and 200 times a second; TimeoutError otherwise."""
        async with asyncio.timeout(within_s):
            while not condition():
                self._changed.clear()
                try:
                    async with asyncio.timeout(0.005):
                        await self._changed.wait()
                except TimeoutError:
                    continue
