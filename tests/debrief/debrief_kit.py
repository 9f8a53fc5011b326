"""Exercises for debriefs: facts made by hand with moments in seconds, on an invented field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from exercise_kit import MIRA, Made, target_of

from fieldctl.debrief.account import debrief
from fieldctl.debrief.model import Debrief
from fieldctl.debrief.past import Past
from fieldctl.debrief.words import Said, in_words
from fieldctl.drill.plan import Burial, Drill, Scene
from fieldctl.events import FIELD, ExerciseResumed, ExerciseStarted, Fact
from fieldctl.site.model import Axis, DebriefRules, Place, Site, Zone
from fieldctl.units import PersonId

OUTLINE = ((5.0, 5.0), (75.0, 5.0), (75.0, 48.0), (5.0, 48.0))
SPOTS = ((20.0, 30.0, 0.9, 20.0, 90.0), (45.0, 12.0, 1.2, 100.0, 85.0), (65.0, 38.0, 1.6, 45.0, 60.0))
NAMES = {MIRA: "Mira", PersonId("Mira"): "Mira", PersonId("Tove"): "Tove"}


def drill(*burials: Burial, limit_s: float = 900.0, outline: bool = True) -> Drill:
    scene = Scene(outline_m=OUTLINE, last_seen_m=(30.0, 45.0)) if outline else Scene()
    return Drill("larch", "Larch Hollow, invented", limit_s, burials, scene)


def site(plan: Drill, survival: str | None = None, digging_s: float | None = None) -> Site:
    places = tuple(
        Place(target_of(plan, b.name), f"Larch {i + 1}", "lower", x, y, depth, Axis(azimuth, tilt))
        for i, (b, (x, y, depth, azimuth, tilt)) in enumerate(zip(plan.burials, SPOTS, strict=False))
    )
    zone = Zone("lower", "Lower hollow", OUTLINE)
    return Site("larch", "Larch Hollow", zones=(zone,), places=places, debrief=DebriefRules(survival, digging_s))


def told(
    plan: Drill,
    facts: Sequence[Fact],
    *,
    survival: str | None = None,
    digging_s: float | None = None,
    others: Sequence[Past] = (),
    names: Mapping[PersonId, str] = NAMES,
) -> Debrief:
    return debrief(site(plan, survival, digging_s), plan, facts, names, others=others)


def said(rows: Sequence[Said] | Said) -> str:
    return in_words(rows) if isinstance(rows, Said) else "\n".join(in_words(row) for row in rows)


def everything(d: Debrief) -> str:
    """All sentences of a debrief."""
    rows = [d.longest, *d.anomalies, *d.missing, *(g.text for g in d.gaps), *(c.text for c in d.corrections)]
    for b in d.burials:
        rows += [t.text for t in b.touches]
        rows += [each.text for each in (b.before, b.usual, b.alive) if each is not None]
    if d.survival is not None:
        rows += d.survival.texts
    return said(rows)


def started(make: Made, **changes: object) -> ExerciseStarted:
    return replace(make.started(), **changes)  # type: ignore[arg-type]


def went_on_by_itself(make: Made, s: float, gap_s: float) -> ExerciseResumed:
    return ExerciseResumed(make.exercise, round(gap_s * 1e6), FIELD, make.at(s))


def worked(make: Made, *, void: bool = True) -> list[Fact]:
    """The worked case: a false call at 3:20, a hit at 4:10, the true call at 5:32, no airway tapped."""
    false = make.call("A", 200, "Tove")
    facts: list[Fact] = [
        make.started(),
        make.on("A", 0, 1),
        make.split("signal", 65, "A"),
        make.split("coarse", 150, "A"),
        false,
        make.split("fine", 225, "A"),
        make.strike("A", 250),
        make.call("A", 332, "Tove"),
        make.off("A", 333, 1, "stopped"),
        make.ended("complete", 333),
    ]
    return [*facts, make.correct("void", false.call, s=214)] if void else facts
