"""Results from the ledger alone: every exercise scored anew, every strike stamped anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fieldctl.clock.evidence import ClockEvidence, restamp
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.score import Result, score
from fieldctl.events import ExerciseStarted, Fact, StrikeRecorded
from fieldctl.units import PersonId

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader


def replayed(reader: Reader, exercise: str | None = None) -> tuple[list[Result], list[dict[str, Any]]]:
    """The result of every exercise (or of one) in the order of their starts, and which could not be read, and why."""
    facts: dict[str, list[Fact]] = {}
    for fact in reader.facts(exercise=exercise):
        name = getattr(fact, "exercise", None)
        if name is not None:
            facts.setdefault(name, []).append(fact)
    results, unreadable = [], []
    for name, rows in facts.items():
        started = next((f for f in rows if isinstance(f, ExerciseStarted)), None)
        try:
            if started is None:
                raise ValueError("its start is not in the ledger, or was written by a newer version")
            results.append(score(drill_from_plan(started.plan), rows))
        except (ValueError, KeyError, TypeError) as error:
            unreadable.append({"exercise": name, "why": str(error)})
    return results, unreadable


@dataclass(slots=True)
class Stamps:
    """How many stamps were made again, and those that came out otherwise than they were recorded."""

    made: int = 0
    differ: list[dict[str, Any]] = field(default_factory=list)


def stamps_that_differ(reader: Reader, exercise: str | None = None) -> Stamps:
    """Every strike's stamp made again from the evidence beside it; a strike without any has none to differ from."""
    stamps = Stamps()
    for fact in reader.facts(kinds=(StrikeRecorded,), exercise=exercise):
        if not isinstance(fact, StrikeRecorded) or not fact.clock:
            continue
        stamps.made += 1
        try:
            again = restamp(ClockEvidence.from_ints(fact.clock), fact.ticks)
        except (ValueError, TypeError) as error:
            why = str(error)
        else:
            if again == (fact.at.at.us, fact.at.plus_minus_us):
                continue
            why = f"recorded {fact.at.at.us} ±{fact.at.plus_minus_us} µs, made again {again[0]} ±{again[1]} µs"
        stamps.differ.append({"target": fact.target, "boot": fact.boot, "number": fact.number, "why": why})
    return stamps


def as_row(result: Result, names: Mapping[PersonId, str]) -> dict[str, Any]:
    """A result as JSON, people by name where the name is still known."""
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
                "searcher": None
                if b.find is None
                else " + ".join(names.get(PersonId(who), who) for who in b.find.searcher.split(" + ")),
                "in_time": b.in_time,
            }
            for b in result.burials
        ],
        "to_judge": [{"source": j.source, "burial": j.burial, "why": j.why} for j in result.to_judge],
        "anomalies": list(result.anomalies),
    }
