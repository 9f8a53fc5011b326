from __future__ import annotations

import asyncio
import os
import pty
import sys
import tty
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


def open_descriptors() -> set[str]:
    """The open descriptors of this process by number and what they lead to."""
    found = set()
    for number in os.listdir("/proc/self/fd"):
        try:
            found.add(f"{number}:{os.readlink(f'/proc/self/fd/{number}')}")
        except OSError:
            continue  # the listing's own descriptor
    return found


@pytest.fixture
async def nothing_left() -> AsyncIterator[None]:
    """After the test no task runs and no descriptor is open that was not there before."""
    before, tasks = open_descriptors(), asyncio.all_tasks()
    yield
    for _ in range(3):
        await asyncio.sleep(0)
    assert asyncio.all_tasks() - tasks - {asyncio.current_task()} == set()
    assert open_descriptors() - before == set()


class Device:
    """The far end of a pseudo-terminal: what a hub and its targets see."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        self.port = os.ttyname(slave)
        self._slave = slave

    def read(self) -> bytes:
        try:
            return os.read(self.master, 65536)
        except BlockingIOError:
            return b""

    def unplug(self) -> None:
        """Close both ends: the port's other side is gone."""
        if self.master >= 0:
            os.close(self.master)
            os.close(self._slave)
            self.master = -1


@pytest.fixture
def device() -> Iterator[Device]:
    made = Device()
    yield made
    made.unplug()
