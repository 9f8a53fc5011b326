"""Run every bench of this folder and print one table: figure, limit, ratio.

    .venv-test/bin/python tests/bench/run.py [NAME...]     (clock for bench_clock.py)

Each `bench_*.py` is a script with a process of its own. It prints one line a figure, `figure | limit | ratio`: the
ratio is figure over limit of this one run, so that more than 1 is over. Other lines it prints are notes and pass
through. It leaves 0, or 1 where a limit is not kept. A bench that prints no figure has failed.

Limits of time were set on a machine that does a fixed piece of work in REFERENCE_S. A shared machine may be at half
that speed for an hour: a time over its limit is marked as such, and fails only beyond what this machine is slower by
just then. Sizes, counts and every ± are held as they stand.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).parent
TOO_LONG_S = 300.0  # a bench is to take seconds; the longest simulates a day
REFERENCE_S = 0.09  # for what `slower` does, on a machine on which `fieldctl --help` takes 0.14 s
SLOWER_MOST = 2.5  # a machine that is slower still tells nothing
TIMES = (" s", " ms", " µs", " ns", "not slower")


def figures(printed: str) -> list[tuple[str, str, float]]:
    """The lines `figure | limit | ratio` of what a bench printed; the head of such a table is none."""
    found = []
    for line in printed.splitlines():
        parts = [part.strip() for part in line.split("|")]
        if len(parts) != 3:
            continue
        try:
            found.append((parts[0], parts[1], float(parts[2])))
        except ValueError:
            continue
    return found


def slower() -> float:
    """By how much this machine is slower now than the one that the limits of time were set on; 1 where it is not."""
    took = []
    for _ in range(3):
        begin = time.process_time()
        json.loads(json.dumps([{str(n): [n, str(n)]} for n in range(60_000)]))
        took.append(time.process_time() - begin)
    return min(max(1.0, min(took) / REFERENCE_S), SLOWER_MOST)


def over(rows: list[tuple[str, str, float]]) -> str:
    """What is wrong with the figures: "" where each is within its limit, "slow" where only this machine is."""
    beyond = [row for row in rows if not row[2] <= 1]  # so that a NaN is over as well
    if not beyond:
        return ""
    most = slower()
    timed = all(limit.endswith(TIMES) and "±" not in figure for figure, limit, _ in beyond)
    if timed and all(ratio <= most for _, _, ratio in beyond):
        print(f"this machine takes {most:.2f} times as long as it should just now; what is over is within that")
        return "slow"
    return "over a limit"


def run_bench(path: Path) -> tuple[list[tuple[str, str, float]], str]:
    """Run one bench in a process of its own: its figures, and what is wrong ("" where nothing is)."""
    try:
        child = subprocess.run(
            [sys.executable, str(path)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, timeout=TOO_LONG_S
        )
    except subprocess.TimeoutExpired as late:
        said = late.stdout or b""
        return figures(
            said.decode(errors="replace") if isinstance(said, bytes) else said
        ), f"not done in {TOO_LONG_S:g} s"
    rows = figures(child.stdout)
    if notes := [line for line in child.stdout.splitlines() if not figures(line)]:
        print(*notes, sep="\n")
    wrong = over(rows)
    if wrong == "over a limit":
        return rows, wrong
    if child.returncode != 0 and wrong != "slow":  # a bench leaves 1 for a figure that is over
        return rows, f"ended with {child.returncode}"
    return rows, "" if rows else "printed no figure"


def main(names: list[str]) -> int:
    """Run the benches (all, or those named); 1 when any is over a limit or did not end well."""
    paths = sorted(HERE.glob("bench_*.py"))
    known = {path.stem.removeprefix("bench_"): path for path in paths}
    if unknown := [name for name in names if name not in known]:
        print(f"no bench is called {', '.join(unknown)}; there are {', '.join(known) or 'none'}", file=sys.stderr)
        return 2
    table: list[tuple[str, str, str, str]] = []
    bad: list[str] = []
    for name in names or known:
        print(f"-- {name}", flush=True)
        began = time.monotonic()
        rows, wrong = run_bench(known[name])
        for figure, limit, ratio in rows:
            table.append(
                (name, figure, limit, f"{ratio:.3f}" if math.isfinite(ratio) and ratio <= 1 else f"{ratio:.3f} OVER")
            )
        table.append((name, f"({time.monotonic() - began:.1f} s)", "", wrong))
        if wrong:
            bad.append(f"{name}: {wrong}")
    if not table:
        bad.append("there is no bench")
    head = ("bench", "figure", "limit", "ratio")
    widths = [max(len(row[column]) for row in [head, *table]) for column in range(3)]
    for row in [head, *table]:
        print("  ".join([*(text.ljust(width) for text, width in zip(row, widths, strict=False)), row[3]]).rstrip())
    print(*(bad or ["every figure is within its limit"]), sep="\n")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
