"""A probe line: area a minute as far as it is known, and the chance of one pass for a pad and for a body, by grid.

numpy comes in with this module, so it is imported late; the chances are worked out once.
"""

from __future__ import annotations

from functools import cache

from fieldctl.debrief.model import GridChance, ProbeLine
from fieldctl.debrief.reading import Reading
from fieldctl.debrief.words import Said, clock, length, said
from fieldctl.physics.probing import BODY, PUBLISHED_GRIDS, grid_chance, pad_disc
from fieldctl.units import US_PER_S

PAD_M = 0.40  # across: our own, as in the rehearsal; a site's own pads may differ
PASS_SPLIT = "pass"  # a free split: the line is once through the debris
FINENESS, TURNS = 32, 36  # good to about 0.005, in some milliseconds
PAD_FINENESS = 128  # a disc has no turn, so its places may lie closer: good to about 0.002


def probe_line_of(reading: Reading) -> ProbeLine:
    """What is known of the line in an exercise with a no-signal burial."""
    area = _area_m2(reading.drill.scene.outline_m)
    rate, measured, text = _pace(reading, area)
    return ProbeLine(area, rate, measured, PAD_M, _grids(), text)


def _pace(reading: Reading, area: float | None) -> tuple[float | None, bool, Said]:
    if area is None:
        return None, False, said("probe.no-outline")
    tapped = [
        m.at_us
        for rows in (reading.result.splits, *(b.splits for b in reading.result.burials))
        for name, m in rows
        if name == PASS_SPLIT and m.at_us > 0
    ]
    if tapped:
        through = min(tapped)
        rate = area / (through / US_PER_S / 60)
        text = said("probe.pass", area=f"{area:.0f}", length=length(through), rate=f"{rate:.0f}")
        return rate, True, text
    silent = [b.name for b in reading.drill.burials if b.signal.kind == "never"]
    finds = [reading.result.burial(name).find for name in silent]
    last = max((f.moment.at_us for f in finds if f is not None), default=0)
    until = last if all(finds) else reading.length_us
    if not until or until <= 0:
        return None, False, said("probe.no-outline")
    rate = area / (until / US_PER_S / 60)
    return rate, False, said("probe.area", area=f"{area:.0f}", at=clock(until), rate=f"{rate:.0f}")


def _area_m2(outline: tuple[tuple[float, float], ...]) -> float | None:
    """The area of an outline by its corners (the shoelace formula)."""
    if len(outline) < 3:
        return None
    pairs = zip(outline, outline[1:] + outline[:1], strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


@cache
def _grids() -> tuple[GridChance, ...]:
    pad = pad_disc(PAD_M)
    return tuple(
        GridChance(
            g.across_m,
            g.along_m,
            grid_chance(g.across_m, g.along_m, pad, turns=1, fineness=PAD_FINENESS),
            grid_chance(g.across_m, g.along_m, BODY, turns=TURNS, fineness=FINENESS),
            g.chance,
            g.source,
        )
        for g in PUBLISHED_GRIDS
    )
