"""Bringing the targets in at the end of the season, until each one is in the box or given up by name.

    fold(facts) -> {retrieval: Retrieval}     lost(facts) -> every target that was ever given up or taken out as lost
    buried(facts, surveyed)                   which targets the field has, wherever they are
    in_the_box(facts, surveyed)               which of them a signed retrieval brought in, and on which day

Retrieving takes nobody out of the field: a target in the box still has its keys and may be heard on the bench. Giving
up neither: what is lost may still be heard one day, and any signal is a person until proved otherwise. A lost target
stays on its list for ever; where it is found after all, that stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from fieldctl.events import (
    DayOpened,
    Fact,
    RetrievalBegun,
    RetrievalClosed,
    RetrievalUnticked,
    SelfTested,
    TargetAdded,
    TargetGivenUp,
    TargetMoved,
    TargetRetrieved,
    TargetTakenOut,
)
from fieldctl.units import PersonId, TargetId

KINDS = (
    RetrievalBegun,
    TargetRetrieved,
    TargetGivenUp,
    RetrievalUnticked,
    RetrievalClosed,
    TargetAdded,
    TargetTakenOut,
    TargetMoved,
    SelfTested,
    DayOpened,
)
"""What a retrieval is folded from."""

Said = TargetRetrieved | TargetGivenUp


@dataclass(frozen=True, slots=True)
class Lost:
    """A target that nobody found: where it lay, when it was heard last, who was told; `found` once it was."""

    target: TargetId
    last_place: str
    last_heard: str
    told: PersonId
    reason: str
    by: PersonId
    day: str
    found: TargetRetrieved | None = None


@dataclass(frozen=True, slots=True)
class Retrieval:
    """One retrieval: what stands of each target; as with visits, what was said takes the place of what was known."""

    begun: RetrievalBegun
    said: dict[TargetId, tuple[Said, ...]]
    closed: RetrievalClosed | None

    def stands(self, target: TargetId) -> Said | None:
        """What was said last of a target: got beats lost, since it is in somebody's hand."""
        said = self.said.get(target, ())
        got = next((one for one in reversed(said) if isinstance(one, TargetRetrieved)), None)
        return got or (said[-1] if said else None)

    def two_say(self, target: TargetId) -> bool:
        """Whether one says retrieved and another lost."""
        return len({type(one) for one in self.said.get(target, ())}) > 1

    def left(self, targets: Iterable[TargetId]) -> tuple[TargetId, ...]:
        """Those of these targets, and of its own list, of which nothing was said or two things."""
        every = dict.fromkeys((*self.begun.targets, *targets))
        return tuple(t for t in every if self.stands(t) is None or self.two_say(t))


@dataclass(slots=True)
class _Made:
    begun: RetrievalBegun
    said: dict[TargetId, dict[str, Said]] = field(default_factory=dict)
    closed: RetrievalClosed | None = None


def fold(facts: Iterable[Fact]) -> dict[str, Retrieval]:
    """Every retrieval by its name, the latest last."""
    made: dict[str, _Made] = {}
    for fact in facts:
        match fact:
            case RetrievalBegun():
                made.setdefault(fact.retrieval, _Made(fact))
            case TargetRetrieved() | TargetGivenUp() if fact.retrieval in made:
                here = made[fact.retrieval].said.setdefault(fact.target, {})
                for known in fact.knew:
                    here.pop(known, None)
                here[fact.tick] = fact
            case RetrievalUnticked() if fact.retrieval in made:
                made[fact.retrieval].said.get(fact.target, {}).pop(fact.tick, None)
            case RetrievalClosed() if fact.retrieval in made:
                made[fact.retrieval].closed = fact
    return {
        name: Retrieval(each.begun, {t: tuple(said.values()) for t, said in each.said.items() if said}, each.closed)
        for name, each in made.items()
    }


def lost(facts: Iterable[Fact]) -> list[Lost]:
    """Every target that was ever given up or taken out as lost, oldest first; one is taken off by its undo alone."""
    found: dict[str, Lost] = {}
    for n, fact in enumerate(facts):
        match fact:
            case TargetGivenUp():
                found[fact.tick] = Lost(
                    fact.target, fact.last_place, fact.last_heard, fact.told, fact.reason, fact.by, fact.day
                )
            case TargetTakenOut(how="lost"):
                found[f"taken-out-{n}"] = Lost(fact.target, fact.last_place, "", PersonId(""), fact.reason, fact.by, "")
            case RetrievalUnticked():
                found.pop(fact.tick, None)
                for key, row in found.items():
                    if row.found is not None and row.found.tick == fact.tick:
                        found[key] = _with(row, None)
            case TargetRetrieved():
                for key, row in found.items():
                    if row.target == fact.target and row.found is None:
                        found[key] = _with(row, fact)
    return list(found.values())


def _with(row: Lost, fact: TargetRetrieved | None) -> Lost:
    return Lost(row.target, row.last_place, row.last_heard, row.told, row.reason, row.by, row.day, fact)


def buried(facts: Iterable[Fact], surveyed: Iterable[TargetId]) -> tuple[TargetId, ...]:
    """Targets of the field: surveyed or added, and not taken out; one that was taken out as lost still lies there."""
    there: dict[TargetId, None] = dict.fromkeys(surveyed)
    for fact in facts:
        match fact:
            case TargetAdded() | TargetTakenOut(how="lost"):
                there[fact.target] = None
            case TargetTakenOut():
                there.pop(fact.target, None)
    return tuple(there)


def in_the_box(facts: Iterable[Fact], surveyed: Mapping[TargetId, str]) -> dict[TargetId, str]:
    """Targets that a signed retrieval brought in, with the day of it; `surveyed` gives each one's day of survey, or "".

    It lies out there again with a survey of a later day, once it is added or put elsewhere, when a new round of the
    self-test begins, and when the field opens and hears it.
    """
    got: dict[TargetId, str] = {}
    boxed: dict[TargetId, str] = {}
    tests = 0
    for fact in facts:
        match fact:
            case TargetRetrieved():
                got[fact.target] = fact.day
            case RetrievalClosed():
                boxed |= {target: got.get(target) or fact.day for target in fact.retrieved}
            case TargetAdded() | TargetTakenOut() | TargetMoved():
                boxed.pop(fact.target, None)
            case SelfTested() if fact.round > tests:
                tests, boxed = fact.round, {}
            case DayOpened():
                boxed = {target: day for target, day in boxed.items() if target not in fact.heard}
    return {target: day for target, day in boxed.items() if surveyed.get(target, "") <= day}
