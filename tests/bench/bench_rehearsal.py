"""Time and memory of a preview: 1 000 repetitions with three burials within 20 s; memory bounded whatever `runs` says.

Prints `figure | limit | ratio` for each, then, as notes, how often simulated novices miss the third find beside the
published trials. Exits 1 over a limit.
"""

from __future__ import annotations

import datetime
import sys
import time
import tracemalloc

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Burial, Drill
from fieldctl.keying import Keying
from fieldctl.rehearsal import preview
from fieldctl.rehearsal.rehearse import rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS
from fieldctl.site.model import Axis, Place, Site, Zone
from fieldctl.units import target_id

LIMIT_S = 20.0
GROWTH = 1.1  # peak of 5 000 repetitions against that of 1 000
PEAK_MB = 40.0
WHERE = ((20.0, 30.0, 1.0, Axis(20, 90)), (45.0, 12.0, 1.2, Axis(100, 85)), (65.0, 38.0, 1.4, Axis(45, 60)))


def staffed(limit_s: float) -> tuple[Site, Drill, Picks]:
    """Three burials that send from the start, on an invented field of 80 by 50 metres."""
    outline = ((0.0, 0.0), (80.0, 0.0), (80.0, 50.0), (0.0, 50.0))
    ids = [target_id(f"5ee0000{i}") for i in (1, 2, 3)]
    day = datetime.date(2025, 11, 20)
    places = tuple(
        Place(t, f"Larch {i}", "lower", x, y, depth, axis=axis, surveyed_on=day)
        for i, (t, (x, y, depth, axis)) in enumerate(zip(ids, WHERE, strict=True), 1)
    )
    site = Site("larch-hollow", "Larch Hollow", zones=(Zone("lower", "Lower hollow", outline),), places=places)
    burials = tuple(Burial(n, keying=Keying(p, 100)) for n, p in zip("ABC", (1000, 1060, 940), strict=True))
    return site, Drill("three", "Three", limit_s, burials), Picks(dict(zip("ABC", ids, strict=True)), 0)


def row(figure: str, value: float, limit: float, unit: str) -> bool:
    """Print one line of the table; whether it is over."""
    print(f"{figure} {value:.2f} {unit} | {limit:g} {unit} | {value / limit:.3f}")
    return value > limit


def main() -> int:
    """Measure, print figure, limit and ratio, and return the exit code."""
    over = False
    for skill, searchers in (("novice", 1), ("trained", 1), ("novice", 4)):
        begun = time.perf_counter()
        preview(*staffed(1500.0), runs=1000, skill=skill, searchers=searchers)
        people = "1 searcher" if searchers == 1 else f"{searchers} searchers"
        over |= row(f"preview, 1 000 repetitions, {skill}, {people}", time.perf_counter() - begun, LIMIT_S, "s")
    peaks = []
    for runs in (1000, 5000):
        tracemalloc.start()
        preview(*staffed(300.0), runs=runs)
        peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
        tracemalloc.stop()
    over |= row("peak memory, 5 000 repetitions", peaks[1], PEAK_MB, "MB")
    over |= row("peak memory, 5 000 against 1 000", peaks[1] / peaks[0], GROWTH, "times")
    for limit_s in (900.0, 1500.0):
        missed = 1.0 - rehearse(scene_of(*staffed(limit_s)), SKILLS["novice"], runs=1000).finds_share()
        print(
            f"novices, {limit_s / 60:.0f} min: first find missed {missed[0]:.0%}, third {missed[2]:.0%}"
            " (published trials: beginners missed the third in about 30 %)"
        )
    return int(over)


if __name__ == "__main__":
    sys.exit(main())
