"""The site's own times for a drill, from its ledger: what a preview is set beside once there are ten or more."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.score import score
from fieldctl.events import ExerciseStarted
from fieldctl.units import seconds

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader

LATEST = 100  # exercises: what a group needed lately, and a season's ledger is read in a moment
COUNTED = ("complete", "time-up")  # one that was stopped says nothing about how long it would have taken


def recorded_times(reader: Reader, drill_name: str) -> dict[str, list[float | None]]:
    """Time to find by burial, seconds, of the latest exercises of a drill; None where it was not found."""
    starts: deque[ExerciseStarted] = deque(maxlen=LATEST)
    for fact in reader.facts(kinds=(ExerciseStarted,)):
        if isinstance(fact, ExerciseStarted) and fact.drill == drill_name:
            starts.append(fact)
    times: dict[str, list[float | None]] = {}
    for start in starts:
        try:
            result = score(drill_from_plan(start.plan), list(reader.facts(exercise=start.exercise)))
        except (ValueError, KeyError, TypeError):
            continue  # written by a newer version: `ledger replay` names it
        if result.state in COUNTED:
            for b in result.burials:
                found = None if b.find is None else seconds(b.find.moment.at_us)
                times.setdefault(b.burial, []).append(found)
    return times
