"""The bus in real time on a pseudo-terminal: a round trip with honest byte times, by the product's own serial link."""

import asyncio
import os
import time
from pathlib import Path
from random import Random
from typing import Any

import pytest
from mountain import SITE_KEY, storage

from fieldctl.links.serial_bus import open_serial_bus
from fieldctl.units import HostUs
from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire.session import Session
from sims.hub import Hub, bytes_us
from sims.node import Node
from sims.ptybus import PtyBus, RealScheduler, raw_us, run_precisely


class Master:
    def __init__(self, *nodes: Node) -> None:
        self.deframer = frames.Deframer()
        self.sessions = {n.address: Session("controller", n.address, n.storage.keys.own) for n in nodes}  # type: ignore[union-attr]
        self.heard: asyncio.Queue[tuple[messages.Message, int, int]] = asyncio.Queue()
        self.lost: list[str] = []

    def bytes_arrived(self, link: Any, data: bytes, at: HostUs) -> None:
        for payload in self.deframer.feed(data):
            env = envelope.read(payload)
            assert env is not None
            taken = self.sessions[env.address].take(env, at)
            assert taken is not None
            assert taken.message is not None
            self.heard.put_nowait((taken.message, at, len(frames.encode(payload))))

    def message_arrived(self, *args: Any) -> None:
        raise AssertionError

    def link_lost(self, link: Any, why: Exception) -> None:
        self.lost.append(str(why))


def test_questions_and_answers_take_their_bytes_and_never_less(tmp_path: Path) -> None:
    async def main() -> None:
        scheduler = RealScheduler()
        hub = Hub(scheduler)
        nodes = [Node(scheduler, Random(i), storage(i + 1)) for i in range(4)]
        for n in nodes:
            hub.attach(n)
        master = Master(*nodes)
        with PtyBus(hub) as bus:
            link = await open_serial_bus(bus.path, master, now=lambda: HostUs(raw_us()), site="tests", notes=tmp_path)
            assert seal.derive_keys(SITE_KEY, nodes[0].address, 1) == nodes[0].storage.keys
            over = []
            for turn in range(24):
                n = nodes[turn % 4]
                session = master.sessions[n.address]
                payload = session.token(raw_us()) if session.state == "open" else session.open(bytes(8), raw_us())
                question = frames.encode(payload)
                sent = link.send(question)
                assert sent is not None
                message, at, size = await asyncio.wait_for(master.heard.get(), 1.0)
                least = bytes_us(len(question)) + 200 + bytes_us(size)
                over.append(at - sent - least)
                true = n.true_us(message.ticks)  # type: ignore[attr-defined]
                assert sent + bytes_us(len(question)) <= true <= at - bytes_us(size) - 200
            assert min(over) >= 0
            assert sorted(over)[len(over) // 2] < 2_000, over
            await link.close()
            scheduler.close()

    run_precisely(main())


def test_a_pulled_adapter_is_a_lost_link(tmp_path: Path) -> None:
    async def main() -> None:
        hub = Hub(RealScheduler())
        bus = PtyBus(hub)
        master = Master()
        link = await open_serial_bus(bus.path, master, now=lambda: HostUs(raw_us()), site="tests", notes=tmp_path)
        bus.close()
        bus.close()
        for _ in range(100):
            if master.lost:
                break
            await asyncio.sleep(0.005)
        assert len(master.lost) == 1
        await link.close()

    run_precisely(main())


def test_a_master_that_does_not_read_costs_bytes_and_blocks_nobody() -> None:
    async def main() -> None:
        scheduler = RealScheduler()
        hub = Hub(scheduler)
        n = Node(scheduler, Random(1), storage(1))
        hub.attach(n)
        with PtyBus(hub) as bus:
            for _ in range(3000):
                hub.on_bytes(bytes(100), raw_us())
            assert bus.counts["unread"] > 0
            assert bus.counts["bytes_out"] + bus.counts["unread"] == 300_000
        scheduler.close()

    run_precisely(main())


def test_timers_are_never_early_and_keep_their_order() -> None:
    async def main() -> list[tuple[int, int]]:
        scheduler = RealScheduler()
        seen: list[tuple[int, int]] = []
        now = raw_us()
        for i, after in enumerate((3000, 1000, 1000, 0, 5000)):
            scheduler.call_at(now + after, lambda i=i, at=now + after: seen.append((i, raw_us() - at)))
        scheduler.call_at(now + 2000, lambda: seen.append((99, 0))).cancel()
        await asyncio.sleep(0.02)
        scheduler.trace("nothing")
        scheduler.close()
        return seen

    seen = run_precisely(main())
    assert [i for i, _ in seen] == [3, 1, 2, 0, 4]
    assert all(late >= 0 for _, late in seen)


@pytest.fixture(autouse=True)
def _no_descriptor_is_left() -> Any:
    before = len(os.listdir("/proc/self/fd"))
    yield
    time.sleep(0)
    assert len(os.listdir("/proc/self/fd")) == before
