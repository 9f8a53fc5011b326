"""A writer that is killed at any moment: the chain holds, and all that it said was committed is there.

A killed process leaves the machine's memory as it is, so this tests our order of things and SQLite's log, not the disk.
"""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify
from fieldctl.units import HostTime

CHILD = """
import asyncio, sys
from fieldctl.events import StrikeRecorded
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime, Stamp

T = HostTime("b", 1)

def strike(n):
    return StrikeRecorded("0a1b2c3d", 1, n, n, Stamp(T, 1), (), "probe", "r", "e1", None, "bus1")

async def main():
    ledger = Ledger.open(sys.argv[1], inline=False)
    first = ledger.head()[0]
    async def one(k):
        n = first + k
        while True:
            entries = await ledger.commit([strike(n), strike(n)], at=T)  # reported twice, as a lost answer makes it
            sys.stdout.write(f"{n} {entries[0].seq}\\n")
            sys.stdout.flush()
            n += 16
    async with asyncio.TaskGroup() as group:
        for k in range(1, 17):
            group.create_task(one(k))

asyncio.run(main())
"""


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_again_and_again(tmp_path: Path, seed: int) -> None:
    draw = random.Random(seed)
    path = tmp_path / "l.db"
    said: dict[int, int] = {}
    for _ in range(3):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        for _ in range(draw.randrange(1, 400)):
            number, seq = map(int, child.stdout.readline().split())
            said[number] = seq
        child.kill()
        rest, errors = child.communicate(timeout=30)
        assert errors == ""
        for line in rest.splitlines(keepends=True):
            if line.endswith("\n"):  # the last may be half
                number, seq = map(int, line.split())
                said[number] = seq
        with Ledger.open(path, inline=True) as ledger:
            assert verify(ledger).ok
            kept = {entry.fact.number: entry.seq for entry in ledger.entries()}  # type: ignore[attr-defined]
            assert len(kept) == ledger.head()[0]
            assert {number: kept.get(number) for number in said} == said
            at = HostTime("b", 2)
            again = ledger.append(list(ledger.facts()), at=at)
            assert all(entry.known for entry in again)
