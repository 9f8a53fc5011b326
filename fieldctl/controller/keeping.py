"""Housekeeping beside the exercises: summaries of those that ended, and names that are kept only so long.

Nothing here is needed by a search: it is done a little at a time, when nothing goes on, and what fails is left for the
next reader, who makes a summary for himself.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import TYPE_CHECKING

from fieldctl.controller.exercises import Exercises
from fieldctl.controller.people import PeopleBook
from fieldctl.errors import FieldctlError
from fieldctl.events import Fact

if TYPE_CHECKING:
    from fieldctl.ledger.entry import Entry
    from fieldctl.ledger.store import Ledger

AT_ONCE = 3  # summaries in one round: some milliseconds each
ENTRIES_MOST = 500  # of one exercise: more would hold the loop up; whoever reads it makes its summary


class Keeping:
    """What is still to be kept; `tick` does some of it."""

    def __init__(self, ledger: Ledger, exercises: Exercises, book: PeopleBook) -> None:
        self._ledger = ledger
        self._exercises = exercises
        self._book = book
        self._stale: dict[str, None] = {}  # in the order in which they became so
        self._earlier = deque(_without_summary(ledger))  # looked for here, before anything is kept waiting by it

    def committed(self, fact: Fact) -> None:
        """Note that an exercise has a later entry than its summary covers."""
        exercise = getattr(fact, "exercise", None)
        if exercise is not None:
            self._stale.pop(exercise, None)
            self._stale[exercise] = None

    async def tick(self) -> None:
        """Keep some summaries, and let names go that are due."""
        try:
            self._book.tick()
            await self._summaries()
        except FieldctlError:
            return  # a ledger that fails is told of by the pen; no search waits for this

    async def _summaries(self) -> None:
        from fieldctl.debrief.summary_kept import made

        going_on = {exercise.id for exercise in self._exercises.running()}
        chosen = [exercise for exercise in self._stale if exercise not in going_on][:AT_ONCE]
        if not chosen and not going_on:
            chosen = [self._earlier.popleft() for _ in range(min(AT_ONCE, len(self._earlier)))]
        rows = []
        for exercise in chosen:
            self._stale.pop(exercise, None)
            entries: list[Entry] = list(self._ledger.entries(exercise=exercise, limit=ENTRIES_MOST + 1))
            if entries and len(entries) <= ENTRIES_MOST:
                rows.append(made(exercise, entries))
        await self._ledger.commit_summaries(rows)


def _without_summary(ledger: Ledger) -> Iterator[str]:
    """Exercises of earlier lives whose summary is missing or stale."""
    from fieldctl.debrief.summary import VERSION

    kept = {row.exercise: row.covers for row in ledger.summaries(VERSION)}
    return (name for name, seq in ledger.last_entries().items() if kept.get(name) != seq)
