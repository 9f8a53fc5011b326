"""The upkeep page of a season, opened through the real server: how long a reader waits, what it costs the loop.

    await opened(folder) -> rows      serves the folder in this process, as `fieldctl serve` does; readers in another

Each opening is a request of its own, from the first byte sent to the last one read, on loopback. `old` are openings of
a list that is older than a minute: those wait a moment for a newer one and show what there is. The very first opening
and the one after a change of cells are given a page at once that fills itself; how long that takes is printed. Loop
calls are timed by the thread's own time, so that what else the machine does decides nothing; the first page of a serve,
whichever it is, reads the templates and is left out of these.
"""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import http.client
import itertools
import json
import os
import re
import signal
import sqlite3
import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "upkeep"))

from bench_live import LoopCalls
from health_kit import LINES

from fieldctl.cli.outside import make_key
from fieldctl.cli.serving import run_controller
from fieldctl.events import CallMade, Corrected, ExerciseEnded, ExerciseStarted, StrikeRecorded
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site
from fieldctl.web import upkeep_kept
from fieldctl.web.upkeep_kept import OLD_US

OPENINGS = 40
BATCH = 200
OF_EXERCISES = (ExerciseStarted, ExerciseEnded, CallMade, Corrected)
OPEN_MS, LOOP_MS = 300.0, 20.0
PAGES = '[pages]\nlisten = "127.0.0.1"\nport = 0\n' + "".join(
    f'[[serial]]\nname = "line-{n}"\nport = "none-{n}"\n'
    for n in range(LINES)  # as the winter names them; nobody is there
)
SETTLED_S = 3.0  # the controller's own begin is not what is measured
Row = tuple[str, str, float]
"""What was measured, the limit, the ratio."""


def serveable(season: Path, folder: Path) -> None:
    """The season's ledger as a controller can load it: without its exercises, which were invented without a drill."""
    folder.mkdir()
    with Reader.read(season) as old, Ledger.open(folder / "ledger.sqlite", inline=True, durable=False) as ledger:
        kept = (entry for entry in old.entries() if not isinstance(entry.fact, OF_EXERCISES))
        while batch := list(itertools.islice(kept, BATCH)):
            facts = [replace(e.fact, exercise=None) if isinstance(e.fact, StrikeRecorded) else e.fact for e in batch]
            ledger.append(facts, at=batch[0].at, wall=batch[0].wall)
    with contextlib.closing(sqlite3.connect(folder / "ledger.sqlite")) as connection:
        connection.execute("ATTACH ? AS season", (str(season),))
        connection.execute("INSERT INTO telemetry SELECT * FROM season.telemetry")
        connection.commit()


async def opened(folder: Path) -> list[Row]:
    """Serve a season and have it read."""
    make_key(folder)
    site = load_site(folder)
    said: list[str] = []
    pages: list[str] = []
    serving = asyncio.create_task(run_controller(folder, site, lambda row: pages.append(row["pages"]), said.append))
    code = await _code(said)
    await asyncio.sleep(SETTLED_S)
    first = await _read(pages[0], 1, code)
    whole = [await _read(pages[0], 0, wait=True)]
    with LoopCalls() as calls:
        usual = await _read(pages[0], OPENINGS)
        upkeep_kept.OLD_US = 0
        old = await _read(pages[0], OPENINGS // 2)
    upkeep_kept.OLD_US = OLD_US
    changed = await _read(pages[0], 1, change=site.targets[0])
    whole.append(await _read(pages[0], 0, wait=True))
    os.kill(os.getpid(), signal.SIGTERM)
    await serving
    print(f"the list is whole {whole[0][0]:.0f} ms after the very first opening, {whole[1][0]:.0f} ms after the one "
          f"after a change of cells, {calls.count} loop calls, "
          f"the longest by the wall {calls.wall_ms:.1f} ms")  # fmt: skip
    return [
        _row("the very first opening", first),
        _row("the opening after a change of cells", changed),
        _row("the page opens", usual),
        _row("the page opens while a newer list is made", old),
        (f"longest loop call meanwhile, its own time {calls.own_ms:.1f} ms", f"{LOOP_MS:g} ms", calls.own_ms / LOOP_MS),
    ]


def _row(what: str, times: list[float]) -> Row:
    middle, late = sorted(times)[len(times) // 2], sorted(times)[int(0.95 * len(times))]
    return f"{what} in {middle:.0f} ms, p95 {late:.0f} ms", f"p95 {OPEN_MS:g} ms", late / OPEN_MS


async def _code(said: list[str]) -> str:
    for _ in range(600):
        for line in said:
            if found := re.search(r"/first/(\S+)", line):
                return found.group(1)
        await asyncio.sleep(0.05)
    raise TimeoutError("\n".join(said))


_COOKIE: list[str] = []  # of the one reader


async def _read(address: str, times: int, code: str = "", *, change: str = "", wait: bool = False) -> list[float]:
    """Milliseconds of each opening, by a reader in a process of its own; the first one signs in.

    With `wait`, milliseconds until the list knows all that was said, asked for as the page asks.
    """
    words = [
        __file__,
        address,
        str(times),
        code or _COOKIE[0],
        change or ("first" if code else "wait" if wait else "read"),
    ]
    child = await asyncio.create_subprocess_exec(sys.executable, *words, stdout=asyncio.subprocess.PIPE)
    out, _ = await child.communicate()
    row = json.loads(out)
    _COOKIE[:] = [row["cookie"]]
    times_ms: list[float] = row["ms"]
    return times_ms


# ---- the reader ----------------------------------------------------------------------------------------------------


def _ask(address: str, path: str, cookie: str, asked: dict[str, str] | None = None) -> tuple[int, str, str]:
    connection = http.client.HTTPConnection(address.partition("//")[2], timeout=60)
    headers = {"Cookie": cookie, "X-Fieldctl": "1", "Content-Type": "application/json", "Accept-Encoding": "gzip"}
    if asked is None:
        connection.request("GET", path, headers=headers)
    else:
        headers["Idempotency-Key"] = os.urandom(12).hex()
        connection.request("POST", path, json.dumps(asked), headers)
    answer = connection.getresponse()
    body = answer.read()
    packed = answer.getheader("Content-Encoding") == "gzip"
    given = (answer.getheader("Set-Cookie") or cookie).partition(";")[0]
    connection.close()
    return answer.status, given, (gzip.decompress(body) if packed else body).decode()


def _until_whole(address: str, cookie: str) -> float:
    begun = time.perf_counter()
    while json.loads(_ask(address, "/upkeep/coming", cookie)[2])["coming"] == "said":
        time.sleep(0.05)
    return (time.perf_counter() - begun) * 1e3


def reader(address: str, times: int, given: str, what: str) -> None:
    """Open the page so many times and print how long each took; before it sign in, or say a change of cells."""
    cookie = given
    if what == "first":
        status, cookie, _ = _ask(address, "/api/v1/first", "", {"code": given, "name": "Mira"})
        assert status == 200, status
    elif what not in ("read", "wait"):
        status, _, _ = _ask(address, "/api/v1/battery-swapped", cookie, {"target": what, "day": ""})
        assert status == 200, status
    ms = [_until_whole(address, cookie)] if what == "wait" else []
    for _ in range(times):
        begun = time.perf_counter()
        status, _, _ = _ask(address, "/upkeep", cookie)
        ms.append((time.perf_counter() - begun) * 1e3)
        assert status == 200, status
    print(json.dumps({"ms": ms, "cookie": cookie}))


if __name__ == "__main__":
    reader(sys.argv[1], int(sys.argv[2]), sys.argv[3], sys.argv[4])
