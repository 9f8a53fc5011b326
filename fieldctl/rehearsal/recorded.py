"""The site's own times for a drill, from its ledger: what a preview is set beside once there are ten or more.

A drill's file changes, and a time says something only of what was asked then: of each burial, exercises count in which
it was the very same (its wishes, its signal, how it ends) under the same limit. The others are counted as left out.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.plan import Drill
from fieldctl.drill.score import score
from fieldctl.events import ExerciseStarted
from fieldctl.units import seconds

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader

LATEST = 100  # exercises: what a group needed lately, and a season's ledger is read in a moment
COUNTED = ("complete", "time-up")  # one that was stopped says nothing about how long it would have taken


@dataclass(slots=True)
class Recorded:
    """By burial: `times`, seconds to the find, None where it was not found; `left_out`, how many exercises of the drill
    had another burial of that name, none, or another limit."""

    times: dict[str, list[float | None]] = field(default_factory=dict)
    left_out: dict[str, int] = field(default_factory=dict)


def recorded_times(reader: Reader, drill: Drill) -> Recorded:
    """The times of the latest exercises of a drill, for its burials as they are now."""
    starts: deque[ExerciseStarted] = deque(maxlen=LATEST)
    for fact in reader.facts(kinds=(ExerciseStarted,)):
        if isinstance(fact, ExerciseStarted) and fact.drill == drill.name:
            starts.append(fact)
    found = Recorded()
    for start in starts:
        try:
            then = drill_from_plan(start.plan)
            result = score(then, list(reader.facts(exercise=start.exercise)))
        except (ValueError, KeyError, TypeError):
            continue  # written by a newer version: `ledger replay` names it
        if result.state not in COUNTED:
            continue
        finds = {b.burial: b.find for b in result.burials}
        for burial in drill.burials:
            if burial not in then.burials or then.limit_s != drill.limit_s:
                found.left_out[burial.name] = found.left_out.get(burial.name, 0) + 1
                continue
            find = finds[burial.name]
            found.times.setdefault(burial.name, []).append(None if find is None else seconds(find.moment.at_us))
    return found
