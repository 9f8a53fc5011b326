"""A debrief in a ledger of 10 000 exercises: from the log to the values, to the sheet and to both figures.

Prints `figure | limit | ratio`; the middle and the worst of some exercises spread over the winters (each the best of
three), in one process that has read one before. Exits 1 over a limit.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from many_exercises import build

from fieldctl.debrief.figures import timeline_figure
from fieldctl.debrief.map_figure import map_figure
from fieldctl.debrief.read import read_debrief
from fieldctl.debrief.report import sheet
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import DebriefRules, Site

EXERCISES = 10_000
LIMIT_S = 0.2  # a debrief, as issue and design have it
SHOWN_LIMIT_S = 4.0  # our own: the group stands round a phone; both figures are drawn anew
SPREAD = 12


def took(work: Callable[[], object], times: int = 1) -> float:
    """Seconds, the best of some times: what the program needs, not what its neighbours take."""
    best = float("inf")
    for _ in range(times):
        begun = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begun)
    return best


def row(figure: str, value: float, limit: float) -> bool:
    print(f"{figure} {1000 * value:.0f} ms | {1000 * limit:.0f} ms | {value / limit:.3f}")
    return value > limit


def main() -> int:
    site = Site("larch-hollow", "Larch Hollow", debrief=DebriefRules("rauch-2024", 480.0))
    with tempfile.TemporaryDirectory() as folder:
        built = build(Path(folder) / "ledger.sqlite", exercises=EXERCISES)
        names = [f"x{1 + round(i * (EXERCISES - 1) / (SPREAD - 1))}" for i in range(SPREAD)]
        with Reader.read(built.path) as reader:
            first = took(lambda: read_debrief(reader, site, names[-1]))
            times = [took(lambda name=name: read_debrief(reader, site, name), 3) for name in names]
            made = read_debrief(reader, site, names[-1])
            figures = took(lambda: (timeline_figure(made), map_figure(made)))
            shown = took(lambda: sheet(made))
    print(f"{built.entries} entries; the very first debrief of a process {1000 * first:.0f} ms")
    over = row(f"a debrief in {EXERCISES} exercises, the middle of {SPREAD}", statistics.median(times), LIMIT_S)
    over |= row(f"a debrief in {EXERCISES} exercises, the slowest of {SPREAD}", max(times), LIMIT_S)
    over |= row("its two figures", figures, SHOWN_LIMIT_S)
    over |= row("its sheet with both figures", shown, SHOWN_LIMIT_S)
    return int(over)


if __name__ == "__main__":
    sys.exit(main())
