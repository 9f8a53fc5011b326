"""Every assessment of a ledger: who is listed, who was assessed and when, who has to repeat.

read_assessments(reader, drill) -> [Candidacy]     in the order of the lists, then of the exercises
read_standing(reader, exercise, candidate) -> (Standing, wall's label of the start)
read_sheet_now(reader, exercise, candidate) -> Sheet       as it would be decided now, whatever was decided
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldctl.debrief.assessment import Sheet, Standing, sheet_of, standing
from fieldctl.debrief.summary_kept import read_summaries
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import AssessmentListed, ExerciseStarted, Fact, StrikesDropped, TargetOdd
from fieldctl.units import PersonId, TargetId

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader


@dataclass(frozen=True, slots=True)
class Candidacy:
    """One candidate of one drill: listed or not, and every exercise in which he was assessed, oldest first."""

    drill: str
    candidate: PersonId
    listed: bool
    attempts: tuple[tuple[str, Standing], ...]

    @property
    def state(self) -> str:
        """waiting (nothing yet, or nothing decided of the latest), or the latest verdict."""
        latest = self.attempts[-1][1] if self.attempts else None
        return "waiting" if latest is None or latest.decided is None else latest.decided.verdict


def read_assessments(reader: Reader, drill: str | None = None) -> list[Candidacy]:
    """Every candidacy, of one drill or of all."""
    lists: dict[str, AssessmentListed] = {}
    for fact in reader.facts(kinds=(AssessmentListed,)):
        if not isinstance(fact, AssessmentListed) or drill not in (None, fact.drill):
            continue
        if fact.drill not in lists or fact.nth >= lists[fact.drill].nth:
            lists[fact.drill] = fact
    rows: dict[tuple[str, PersonId], list[tuple[str, Standing]]] = {
        (fact.drill, who): [] for fact in lists.values() for who in fact.candidates
    }
    listed = set(rows)
    for summary in read_summaries(reader).rows:
        if not summary.assessed or (drill is not None and summary.drill != drill):
            continue
        facts = list(reader.facts(exercise=summary.exercise))
        beside = list(_beside(reader, facts))
        for name in summary.searchers:
            who = PersonId(name)
            rows.setdefault((summary.drill, who), []).append((summary.exercise, standing(facts, beside, who)))
    return [Candidacy(of, who, (of, who) in listed, tuple(attempts)) for (of, who), attempts in rows.items()]


def read_standing(reader: Reader, exercise: str, candidate: str | None) -> tuple[Standing, str | None]:
    """One sheet; NotFound, BadInput or Refused say what is in the way."""
    entries = list(reader.entries(exercise=exercise))
    if not entries:
        raise NotFound(f"There is no exercise {exercise!r}.", remedy="Look at the list: fieldctl assessment list.")
    first = next((entry for entry in entries if isinstance(entry.fact, ExerciseStarted)), entries[0])
    facts = [entry.fact for entry in entries]
    searchers = first.fact.searchers if isinstance(first.fact, ExerciseStarted) else ()
    names = reader.names()
    who = candidate
    if candidate is None and len(searchers) == 1:
        who = searchers[0]
    elif candidate is not None and candidate not in searchers:
        folded = candidate.strip().casefold()
        who = next((each for each in searchers if names.get(PersonId(each), "").casefold() == folded), None)
    if who is None:
        known = ", ".join(names.get(PersonId(each), each) for each in searchers)
        wrong = "Several search together." if candidate is None else f"{candidate!r} does not search in it."
        raise BadInput(wrong, expected=known or "nobody was named", remedy="Name one of these.")
    try:
        return standing(facts, _beside(reader, facts), who), first.wall
    except ValueError as why:
        raise Refused(
            f"{exercise} is no assessment: {why}.",
            expected="an exercise of a drill with assessed = true",
            remedy="Mark the drill so, and start it anew.",
        ) from None


def read_sheet_now(reader: Reader, exercise: str, candidate: str) -> Sheet | None:
    """One sheet as it would be decided now; None where this version cannot make it any more."""
    facts = list(reader.facts(exercise=exercise))
    try:
        return sheet_of(facts, _beside(reader, facts), candidate)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def _beside(reader: Reader, facts: Iterable[Fact]) -> Iterable[Fact]:
    """What the targets of an exercise said of themselves, in it or at any other time."""
    for started in facts:
        if isinstance(started, ExerciseStarted):
            for target in started.picks.values():
                yield from reader.facts(target=TargetId(target), kinds=(StrikesDropped, TargetOdd))
