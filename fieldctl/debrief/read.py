"""A debrief from the ledger: read beside a running writer, bounded however long the winter was.

    read_debrief(reader, site, exercise) -> Debrief
    exercise_names(reader) -> (name, drill, wall) of each exercise, the latest first

What is read: the entries of the exercise; of its targets, what happened meanwhile; and of earlier exercises the latest
`BEFORE` with the latest `SAME` of the same drill among the last `LOOK_BACK` entries. Nothing grows with the ledger.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldctl.debrief.account import debrief, past
from fieldctl.debrief.model import Debrief
from fieldctl.debrief.past import Past
from fieldctl.debrief.summary import VERSION
from fieldctl.debrief.summary_kept import then_and_now
from fieldctl.debrief.then_said import then_said
from fieldctl.drill.files import drill_from_plan
from fieldctl.errors import NotFound, Refused
from fieldctl.events import (
    Corrected,
    ExerciseStarted,
    Fact,
    OrderEnded,
    StrikesDropped,
    TargetOdd,
)

if TYPE_CHECKING:
    from fieldctl.ledger.entry import Entry
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.model import Site
    from fieldctl.units import TargetId

LOOK_BACK = 6_000  # entries: some two hundred exercises
BEFORE = 40  # exercises for what is usual here
SAME = 12  # exercises of the same drill
PAGE = 48  # entries read at once where the end is known by number alone: little is read beyond it
_OF_TARGETS = (TargetOdd, StrikesDropped, OrderEnded)


def read_debrief(reader: Reader, site: Site, exercise: str, *, compare: bool = True) -> Debrief:
    """The debrief of one exercise; NotFound where the log holds none of it, Refused where its start cannot be read."""
    entries = list(reader.entries(exercise=exercise))
    if not entries:
        raise NotFound(f"The log holds no exercise {exercise!r}.", remedy="Look at the list: fieldctl ledger replay.")
    facts = [entry.fact for entry in entries]
    first = next((e for e in entries if isinstance(e.fact, ExerciseStarted)), None)
    if first is None or not isinstance(first.fact, ExerciseStarted):
        raise Refused(
            f"The start of {exercise} cannot be read: it is not in the log, or a newer version wrote it.",
            remedy="Look with that version, or take the entries as they are: fieldctl ledger export --exercise.",
        )
    started = first.fact
    last = entries[-1].seq
    for target in dict.fromkeys(started.picks.values()):
        facts += _meanwhile(reader, target, first.seq, last)
    walls = {e.fact.correction: e.wall for e in entries if isinstance(e.fact, Corrected) and e.wall is not None}
    others = _earlier(reader, site, first, started.drill) if compare else ()
    try:
        drill = drill_from_plan(started.plan)
        made = debrief(site, drill, facts, reader.names(), others=others, walls=walls, started=first.wall)
    except (ValueError, KeyError, TypeError) as bad:
        raise Refused(
            f"{exercise} cannot be read: {type(bad).__name__}: {bad}.",
            expected="one start with a plan and a target for each burial",
            remedy="Take the entries as they are: fieldctl ledger export --exercise.",
        ) from bad
    if all(kept.version == VERSION for kept in reader.summaries_of(exercise)):
        return made
    then = [row for row in then_and_now(reader, exercise) if row.version != VERSION]
    return replace(made, then=then_said(then, reader.names()))


def exercise_names(reader: Reader) -> list[tuple[str, str, str | None]]:
    """Every exercise with its drill and its wall label, the latest first."""
    rows = [
        (e.fact.exercise, e.fact.drill, e.wall)
        for e in reader.entries(kinds=(ExerciseStarted,))
        if isinstance(e.fact, ExerciseStarted)
    ]
    return rows[::-1]


def _meanwhile(reader: Reader, target: TargetId, first: int, last: int) -> Iterator[Fact]:
    for entry in _until(reader, first, last, target=target):
        if isinstance(entry.fact, _OF_TARGETS):
            yield entry.fact


def _until(reader: Reader, after: int, last: int, **which: Any) -> Iterator[Entry]:
    """Entries after a number up to another, in small pages."""
    while True:
        page = list(reader.entries(after_seq=after, limit=PAGE, **which))
        for entry in page:
            if entry.seq > last:
                return
            yield entry
        if len(page) < PAGE:
            return
        after = page[-1].seq


def _earlier(reader: Reader, site: Site, start: Entry, drill: str) -> tuple[Past, ...]:
    """What earlier exercises add: the latest of all, and the latest of the same drill."""
    usual: deque[str] = deque(maxlen=BEFORE)
    same: deque[str] = deque(maxlen=SAME)
    for entry in _until(reader, max(0, start.seq - LOOK_BACK), start.seq - 1, kinds=(ExerciseStarted,)):
        if isinstance(entry.fact, ExerciseStarted):
            usual.append(entry.fact.exercise)
            if entry.fact.drill == drill:
                same.append(entry.fact.exercise)
    rows: list[Past] = []
    for name in dict.fromkeys((*usual, *same)):
        rows += _past(reader, site, name)
    return tuple(rows)


def _past(reader: Reader, site: Site, name: str) -> tuple[Past, ...]:
    facts = list(reader.facts(exercise=name))
    started = next((f for f in facts if isinstance(f, ExerciseStarted)), None)
    if started is None:
        return ()
    try:
        return past(site, drill_from_plan(started.plan), facts)
    except (ValueError, KeyError, TypeError):
        return ()  # it cannot be read, so nothing is to be compared with it; its own debrief says why
