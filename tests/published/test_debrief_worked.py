"""A debrief worked out by hand, survival figures through the published points, an outline's area, a grid's chances.

Sources, each with its grade; whole papers were not at hand.

- Splits: no published set of moments with its splits was at hand. The example is the one that the plan for the debrief
  names, worked out on paper: derived.

    clock   what happened                       takes                     on the sheet
    0:00    start, the signal is on             -                         -
    1:05    first signal, tapped                65 s from the start       signal search
    2:30    within about 10 m, tapped           85 s after the signal     coarse search
    3:20    "here", but nothing is there        50 s before the touch     called but not touched
    3:45    surface fixed, tapped               75 s after coarse         fine search
    4:10    the probe touches, by the pad       25 s after fine           probing
    5:32    "here", and it is                   82 s after the touch      touched but not noticed
    11:00   the airway is free, tapped          328 s after the call      digging

- Survival: Falk et al. 1994 (seen), Brugger et al. 2001 (second-hand), Haegeli et al. 2011 (points second-hand),
  Procter et al. 2016 (seen), Rauch et al. 2024 (seen / second-hand).
- Probing: Auger & Jamieson, ISSW 1996; ICAR AVA-REC0011 (2015): seen. Geometry of a rectangle 1.70 x 0.45 m: derived.
"""

from __future__ import annotations

import math

import pytest

from fieldctl.debrief.account import debrief
from fieldctl.debrief.model import Debrief
from fieldctl.debrief.words import in_words
from fieldctl.drill.plan import Burial, Drill, Scene, Signal
from fieldctl.events import (
    FIELD,
    CallMade,
    ExerciseEnded,
    ExerciseStarted,
    Fact,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.site.model import DebriefRules, Site
from fieldctl.units import US_PER_S, BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

TARGET, TOVE = TargetId("0a1b2c3d"), PersonId("p-tove")
S = US_PER_S


def at(s: float) -> HostTime:
    return HostTime("h", round((1_000 + s) * S))


def thumb(s: float) -> Stamp:
    return Stamp(at(s), S)


def tapped(name: str, s: float) -> SplitMade:
    return SplitMade("x1", f"tap-{name}", name, "A", thumb(s), TOVE)


def started() -> ExerciseStarted:
    return ExerciseStarted("x1", "worked", {}, 1, {"A": TARGET}, ("Jon",), TOVE, Stamp(at(0), 0))


def worked(airway_s: float | None = 660) -> list[Fact]:
    facts: list[Fact] = [
        started(),
        SignalOn("x1", "A", TARGET, 1, Stamp(at(0), 2_000)),
        tapped("signal", 65),
        tapped("coarse", 150),
        CallMade("x1", "call-1", "A", "Jon", thumb(200), TOVE),
        tapped("fine", 225),
        StrikeRecorded(
            TARGET, BootId(2), 7, NodeTicks(0), Stamp(at(250), 2_000), (), "probe", "sharp", "x1", "A", "bus"
        ),
        CallMade("x1", "call-2", "A", "Jon", thumb(332), TOVE),
        SignalOff("x1", "A", TARGET, 1, Stamp(at(333), 2_000), "stopped"),
        ExerciseEnded("x1", "complete", FIELD, at(333)),
    ]
    return facts if airway_s is None else [*facts, tapped("airway", airway_s)]


def made(facts: list[Fact], study: str | None = None, digging_s: float | None = None) -> Debrief:
    plan = Drill("worked", "Worked by hand", 900, (Burial("A"),))
    return debrief(Site("s", "S", debrief=DebriefRules(study, digging_s)), plan, facts, {})


def test_the_worked_example_on_the_sheet() -> None:
    a = made(worked()).burial("A")
    assert [(s.kind, s.from_us, s.to_us, s.net_us) for s in a.stretches] == [
        ("signal", 0, 65 * S, 65 * S),
        ("coarse", 65 * S, 150 * S, 85 * S),
        ("fine", 150 * S, 225 * S, 75 * S),
        ("probing", 225 * S, 250 * S, 25 * S),
        ("noticing", 250 * S, 332 * S, 82 * S),
        ("digging", 332 * S, 660 * S, 328 * S),
    ]
    assert sum(s.net_us for s in a.stretches) == 660 * S  # nothing is counted twice, nothing is lost
    assert [(t.kind, t.gap_us) for t in a.touches] == [("early", 50 * S), ("unnoticed", 82 * S)]


def test_without_an_airway_there_is_no_figure_and_the_82_s_are_named() -> None:
    d = made(worked(None), "rauch-2024")
    assert d.burial("A").alive is None
    assert "82 s later" in in_words(d.burial("A").touches[1].text)


POINTS = [
    ("falk-1994", 15, 0.92, None), ("falk-1994", 35, 0.30, None),
    ("brugger-2001", 18, 0.91, None), ("brugger-2001", 35, 0.34, None),
    ("haegeli-2011-canada", 10, 0.77, None), ("haegeli-2011-canada", 35, 0.07, None),
    ("procter-2016", 35, 0.265, (0.25, 0.28)),
    ("rauch-2024", 10, 0.91, (0.80, 1.00)), ("rauch-2024", 30, 0.31, (0.11, 0.51)),
    ("rauch-2024", 130, 0.073, (0.048, 0.107)),
]  # fmt: skip


@pytest.mark.parametrize(("study", "minutes", "alive", "interval"), POINTS)
def test_survival_figures_go_through_the_published_points(study, minutes, alive, interval) -> None:
    shown = made(worked(60 * minutes), study).burial("A").alive
    assert shown is not None
    assert shown.alive == pytest.approx(alive, abs=1e-12)
    assert (shown.low, shown.high) == (interval or (None, None))
    text = in_words(shown.text)
    assert f"{100 * alive:.0f} %" in text
    assert ("no interval was at hand" in text) is (interval is None)


@pytest.mark.parametrize("study", sorted({row[0] for row in POINTS}))
def test_the_study_is_named_with_its_caution(study: str) -> None:
    d = made(worked(1200), study)
    assert d.survival is not None
    text = " ".join(in_words(t) for t in d.survival.texts)
    year = study.split("-")[1]
    assert year in text
    assert "not a promise" in text
    assert "They count to a free airway, not to the probe" in text
    assert "10 minutes of the 2024 study stand beside the 15 of common practice" in text


def test_the_call_counts_with_the_stated_digging_alone() -> None:
    shown = made(worked(None), "rauch-2024", digging_s=30 * 60 - 332).burial("A").alive
    assert shown is not None
    assert (shown.minutes, shown.counted) == (30.0, "call")
    assert shown.alive == pytest.approx(0.31, abs=1e-12)


@pytest.mark.parametrize(("corners", "radius_m"), [(6, 20.0), (12, 15.0)])
def test_an_outlines_area_against_regular_polygons(corners: int, radius_m: float) -> None:
    """The area of a regular polygon, n/2 r² sin(2π/n): textbook, another route than the sum over corners."""
    turns = [2 * math.pi * i / corners for i in range(corners)]
    outline = tuple((50 + radius_m * math.cos(t), 40 + radius_m * math.sin(t)) for t in turns)
    plan = Drill("line", "Line", 1200, (Burial("A", Signal("never")),), Scene(outline_m=outline))
    found = debrief(Site("s", "S"), plan, [started(), tapped("pass", 600)], {}).probe_line
    assert found is not None
    area = corners / 2 * radius_m**2 * math.sin(2 * math.pi / corners)
    assert found.area_m2 == pytest.approx(area)
    assert found.m2_per_min == pytest.approx(area / 10)
    rows = {(g.across_m, g.along_m): (g.published, g.body, g.pad) for g in found.grids}
    assert {key: row[0] for key, row in rows.items()} == {(0.75, 0.70): 0.76, (0.60, 0.70): 0.95, (0.50, 0.50): 0.88}
    for key, body in {(0.75, 0.70): 0.92, (0.60, 0.70): 0.96, (0.50, 0.50): 0.997}.items():  # facts: derived
        assert rows[key][1] == pytest.approx(body, abs=0.006)
    for (across, along), row in rows.items():  # holes never reach one pad twice here: its area over the cell's, derived
        assert row[2] == pytest.approx(math.pi * (found.pad_m / 2) ** 2 / (across * along), abs=0.002)
