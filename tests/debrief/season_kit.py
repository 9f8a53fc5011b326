"""Entries and summaries for season tests: an invented field, moments in seconds."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from exercise_kit import Made, target_of

from fieldctl.debrief.summary import Summary, summarise
from fieldctl.drill.files import plan_to_mapping
from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.events import ExerciseStarted, Fact
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from many_exercises import Built, Truth, build

__all__ = ["Built", "Truth", "build"]

SPOTS = {"A": (0.0, 0.0, 0.6), "B": (9.0, 0.0, 1.5), "C": (60.0, 0.0, 1.0)}
WALL = "2026-01-10T09:00:00.000Z"
PLAN = Drill("larch", "Larch Hollow, invented", 600.0, (Burial("A"), Burial("B"), Burial("C")))
SEQUENCE = Drill("sequence", "One after the other", 600.0, (Burial("A"), Burial("B", Signal("after-find", 0.0, "A"))))


def started(make: Made, **changes: Any) -> ExerciseStarted:
    places = {
        b.name: {"x_m": SPOTS[b.name][0], "y_m": SPOTS[b.name][1], "depth_m": SPOTS[b.name][2], "tilt_deg": 90.0}
        for b in make.plan.burials
    }
    conditions = {"version": "0.1.0", "snow_m": 2.0, "places": places}
    fact = replace(make.started(), plan=plan_to_mapping(make.plan), conditions=conditions)
    return replace(fact, **changes)


def entries(facts: Sequence[Fact], first: int = 1, wall: str | None = WALL) -> list[Entry]:
    return [Entry(first + n, fact, HostTime("boot-a", n), wall, "") for n, fact in enumerate(facts)]


def summary(facts: Sequence[Fact], **changes: Any) -> Summary:
    return summarise(entries(facts, **changes))


def on_file(ledger: Ledger, facts: Sequence[Fact], wall: str | None = WALL) -> None:
    for n, fact in enumerate(facts):
        ledger.append([fact], at=HostTime("boot-a", n), wall=wall)


def target(plan: Drill, burial: str) -> str:
    return target_of(plan, burial)
