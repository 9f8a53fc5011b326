"""The ledger: safe commits a second, how long a group takes, what an inline commit costs.

Safe means that the disk has it: write-ahead log, fsync at each group. The disk is this machine's, whatever it is; the
same run writes the same rows with SQLite alone, one fsync each, so that grouping is measured against that.
A card in a base station may be a hundred times slower: `fieldctl doctor` measures it there.
"""

from __future__ import annotations

import asyncio
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from fieldctl.events import SignalDue, StrikeRecorded
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, NodeTicks, Stamp, TargetId

GROUP_MS = 20.0  # design, section 8
STRIKES_A_SECOND = 50  # design, section 9: what a controller of 256 targets has to take
LOOP_MS = 20.0  # design, section 9: no loop call over this
INLINE_US = 150.0  # 10 000 facts of a drill in virtual time then take 1.5 s at most
OPEN_FILE_MS = 60.0
OPEN_MEMORY_MS = 5.0
T = HostTime("bench", 1)


def strike(n: int) -> StrikeRecorded:
    """A strike as one arrives."""
    stamp = Stamp(T.plus(n), 900)
    return StrikeRecorded(
        TargetId("0a1b2c3d"),
        BootId(1),
        n,
        NodeTicks(n),
        stamp,
        (1, 2, 3),
        "probe",
        "r1",
        "e1",
        "A",
        "bus1",
        (1, 2, 3, 4),
    )


def due(n: int) -> SignalDue:
    """A small fact."""
    return SignalDue("e1", "A", T.plus(n), "start")


def show(figure: str, limit: str, ratio: float) -> bool:
    """Print one line; whether the limit is kept."""
    print(f"{figure} | {limit} | {ratio:.3f}")
    return ratio <= 1


def at(sorted_ms: list[float], part: float) -> float:
    """The value below which this part lies."""
    return sorted_ms[min(len(sorted_ms) - 1, int(len(sorted_ms) * part))]


def plain_a_second(folder: Path, count: int = 300) -> float:
    """Rows a second with SQLite alone, one transaction and one fsync each."""
    raw = sqlite3.connect(folder / "plain.db", isolation_level=None)
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA synchronous=FULL")
    raw.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, body TEXT)")
    began = time.perf_counter()
    for n in range(count):
        raw.execute("INSERT INTO entries VALUES (?, ?)", (n, "x" * 500))
    took = time.perf_counter() - began
    raw.close()
    return count / took


async def hail(folder: Path, waiting: int, count: int) -> tuple[float, list[float]]:
    """Strikes as fast as they are taken, so many waiting at once: a second, and ms of each commit."""
    took: list[float] = []
    with Ledger.open(folder / f"hail{waiting}.db", inline=False) as ledger:

        async def one(first: int) -> None:
            for n in range(first, count, waiting):
                began = time.perf_counter()
                await ledger.commit([strike(n)], at=T)
                took.append((time.perf_counter() - began) * 1e3)

        began = time.perf_counter()
        await asyncio.gather(*(one(n) for n in range(waiting)))
        return count / (time.perf_counter() - began), sorted(took)


async def steady(folder: Path, seconds: float) -> tuple[list[float], list[float]]:
    """50 strikes a second as a field makes them: ms until each was safe, ms that the loop was held up."""
    safe: list[float] = []
    held: list[float] = []
    with Ledger.open(folder / "steady.db", inline=False) as ledger:

        async def one(n: int) -> None:
            began = time.perf_counter()
            await ledger.commit([strike(n)], at=T)
            safe.append((time.perf_counter() - began) * 1e3)

        async def watch() -> None:
            while True:
                began = time.perf_counter()
                await asyncio.sleep(0.002)
                held.append((time.perf_counter() - began) * 1e3 - 2)

        watcher = asyncio.create_task(watch())
        tasks = []
        for n in range(int(seconds * STRIKES_A_SECOND)):
            tasks.append(asyncio.create_task(one(n)))
            await asyncio.sleep(1 / STRIKES_A_SECOND)
        await asyncio.gather(*tasks)
        watcher.cancel()
    return sorted(safe), sorted(held)


def inline_us(make: object, count: int = 4_000) -> float:
    """µs of one inline commit of one fact in memory, as virtual time does it."""
    assert callable(make)
    with Ledger.open(":memory:", inline=True) as ledger:
        ledger.append([make(count)], at=T)  # the codec of the kind is made at its first use
        began = time.perf_counter()
        for n in range(count):
            ledger.append([make(n)], at=T)
        return (time.perf_counter() - began) / count * 1e6


def opening_ms(folder: Path) -> tuple[float, float]:
    """ms to open a fresh file, and a fresh ledger in memory; the imports are done."""
    began = time.perf_counter()
    for n in range(10):
        Ledger.open(folder / f"fresh{n}.db", inline=True).close()
    file_ms = (time.perf_counter() - began) * 1e3 / 10
    began = time.perf_counter()
    for _ in range(100):
        Ledger.open(":memory:", inline=True).close()
    return file_ms, (time.perf_counter() - began) * 1e3 / 100


def main() -> int:
    """Measure and print; 1 where a limit is not kept."""
    kept = []
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as name:
        folder = Path(name)
        file_ms, memory_ms = opening_ms(folder)
        kept.append(show(f"open a fresh file {file_ms:.1f} ms", f"{OPEN_FILE_MS:g} ms", file_ms / OPEN_FILE_MS))
        kept.append(show(f"open in memory {memory_ms:.2f} ms", f"{OPEN_MEMORY_MS:g} ms", memory_ms / OPEN_MEMORY_MS))
        for label, make in (("inline commit, small fact", due), ("inline commit, strike", strike)):
            us = inline_us(make)
            kept.append(show(f"{label} {us:.0f} µs", f"{INLINE_US:g} µs", us / INLINE_US))
        plain = plain_a_second(folder)
        print(f"SQLite alone, one fsync a row: {plain:.0f} a second")
        rate, ms = asyncio.run(hail(folder, 64, 6_000))
        least = 10 * STRIKES_A_SECOND
        kept.append(show(f"safe commits, 64 waiting: {rate:.0f} a second", f"at least {least}", least / rate))
        kept.append(show(f"the same against SQLite alone ({plain:.0f})", "not slower", plain / rate))
        p50, p95 = at(ms, 0.5), at(ms, 0.95)
        kept.append(show(f"group of 64, p50 {p50:.1f} p95 {p95:.1f} max {ms[-1]:.1f} ms", "p95 20 ms", p95 / GROUP_MS))
        rate, ms = asyncio.run(hail(folder, 1, 200))
        print(f"one waiting: {rate:.0f} a second, p50 {at(ms, 0.5):.1f} p95 {at(ms, 0.95):.1f} ms")
        ms, held = asyncio.run(steady(folder, 6.0))
        p50, p95 = at(ms, 0.5), at(ms, 0.95)
        kept.append(show(f"50 strikes a second, p50 {p50:.1f} p95 {p95:.1f} ms", "p95 20 ms", p95 / GROUP_MS))
        p99 = at(held, 0.99)
        kept.append(show(f"loop held up p99 {p99:.1f} max {held[-1]:.1f} ms", f"p99 {LOOP_MS:g} ms", p99 / LOOP_MS))
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
