"""The season book of 10 000 exercises: from the log's file to a page; and what it costs to begin with nothing kept.

The ledger is invented (`many_exercises`). Summaries are kept first, as a serving controller keeps them when an exercise
ends; the making of all of them at once, for a log that never had any, is measured beside it without a limit: it happens
once, and in slices where a controller serves.

Limits are held against the time that this process had (one thread, no waiting), so that a busy machine does not decide;
the wall's time stands beside it.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from many_exercises import build

from fieldctl.debrief import season_figures
from fieldctl.debrief.season import season_of
from fieldctl.debrief.season_out import as_row, csv_lines
from fieldctl.debrief.season_page import About, season_page
from fieldctl.debrief.summary_kept import made, read_summaries
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger

EXERCISES = 10_000
BOOK_S = 1.0  # issue: the season book in under 1 s
LOOP_MS = 20.0  # design, section 9: what a controller may do at once; one summary is made in its loop
AGAIN = 7


def show(figure: str, limit: str, ratio: float) -> bool:
    """Print one line; whether the limit is kept."""
    print(f"{figure} | {limit} | {ratio:.3f}")
    return ratio <= 1


def middle(values: list[float]) -> float:
    """The median."""
    return sorted(values)[len(values) // 2]


def timed(path: Path) -> tuple[float, float, float]:
    """Seconds of this process from the file to the season, those of the reading alone, and by the wall."""
    wall, began = time.perf_counter(), time.process_time()
    with Reader.read(path) as reader:
        found = read_summaries(reader)
        reader.names()
    read = time.process_time()
    season_of(found.rows, found.unreadable)
    assert not found.made
    return time.process_time() - began, read - began, time.perf_counter() - wall


def main() -> int:
    """Measure and print; 1 where a limit is not kept."""
    kept = []
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "ledger.sqlite"
        began = time.perf_counter()
        built = build(path, EXERCISES)
        print(f"{built.exercises} exercises, {built.entries} entries, made in {time.perf_counter() - began:.1f} s")
        with Ledger.open(path, inline=True, durable=False) as ledger:
            began = time.perf_counter()
            found = read_summaries(ledger)
            print(f"nothing kept: every summary made anew in {time.perf_counter() - began:.1f} s")
            ledger.put_summaries(found.made)
            size = sum(len(row.body) for row in found.made)
            print(f"summaries take {size / EXERCISES:.0f} bytes an exercise")
            one = []
            for n in range(0, EXERCISES, EXERCISES // 100):
                began = time.process_time()
                made(f"x{n + 1}", list(ledger.entries(exercise=f"x{n + 1}")))
                one.append((time.process_time() - began) * 1e3)
            one.sort()
            kept.append(show(f"one summary p50 {middle(one):.1f} p99 {one[-2]:.1f} ms", "p99 20 ms", one[-2] / LOOP_MS))
        runs = [timed(path) for _ in range(AGAIN)]
        book, reading, wall = (middle([run[n] for run in runs]) for n in range(3))
        worst = max(run[0] for run in runs)
        figure = f"season book {book:.2f} s (reading {reading:.2f}), slowest {worst:.2f}, by the wall {wall:.2f}"
        kept.append(show(figure, f"slowest {BOOK_S:g} s", worst / BOOK_S))
        with Reader.read(path) as reader:
            season, names = season_of(read_summaries(reader).rows), reader.names()
        began = time.perf_counter()
        as_row(season, names)
        print(f"as JSON {time.perf_counter() - began:.2f} s")
        began = time.perf_counter()
        rows = sum(1 for _ in csv_lines(season, names))
        print(f"as CSV, {rows} rows, {time.perf_counter() - began:.2f} s")
        began = time.perf_counter()
        page = season_page(season, names, About("Larch Hollow", 1))
        print(
            f"as a page with figures, {len(page) // 1024} KiB, {time.perf_counter() - began:.2f} s (matplotlib loaded)"
        )
        assert season_figures.kinds(season) is not None
        began = time.perf_counter()
        command = [sys.executable, "-m", "fieldctl.cli.main", "season", "--site", name]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        print(f"fieldctl season, the whole program: {time.perf_counter() - began:.2f} s")
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
