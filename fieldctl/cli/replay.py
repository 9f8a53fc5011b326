"""Results from the ledger alone: every exercise scored anew, every strike stamped anew."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fieldctl.clock.evidence import ClockEvidence, restamp
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.score import Result, score
from fieldctl.events import ExerciseStarted, Fact, StrikeRecorded

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader


def exercises_of(reader: Reader) -> Iterator[Result]:
    """The result of every exercise, in the order of their starts."""
    facts: dict[str, list[Fact]] = {}
    for fact in reader.facts():
        name = getattr(fact, "exercise", None)
        if name is not None:
            facts.setdefault(name, []).append(fact)
    for rows in facts.values():
        started = next((f for f in rows if isinstance(f, ExerciseStarted)), None)
        if started is not None:
            yield score(drill_from_plan(started.plan), rows)


def stamps_that_differ(reader: Reader) -> list[dict[str, Any]]:
    """Strikes whose stamp, made again from the evidence beside it, is another one."""
    differ = []
    for fact in reader.facts(kinds=(StrikeRecorded,)):
        if not isinstance(fact, StrikeRecorded) or not fact.clock:
            continue
        again = restamp(ClockEvidence.from_ints(fact.clock), fact.ticks)
        if again != (fact.at.at.us, fact.at.plus_minus_us):
            differ.append({"target": fact.target, "boot": fact.boot, "number": fact.number, "stamped": list(again)})
    return differ


def as_row(result: Result) -> dict[str, Any]:
    """A result as JSON."""
    return {
        "exercise": result.exercise,
        "drill": result.drill,
        "state": result.state,
        "burials": [
            {
                "burial": b.burial,
                "target": b.target,
                "found_at_s": None if b.find is None else b.find.moment.at_us / 1e6,
                "plus_minus_ms": None if b.find is None else b.find.moment.plus_minus_us / 1e3,
                "searcher": None if b.find is None else b.find.searcher,
                "in_time": b.in_time,
            }
            for b in result.burials
        ],
        "anomalies": list(result.anomalies),
    }
