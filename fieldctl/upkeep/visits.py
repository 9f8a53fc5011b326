"""Visits as the ledger tells them: what was to be done, who ticked what, and where the ticks do not agree.

    fold(facts) -> {visit: Visit}     facts of KINDS in the order of the ledger
    swaps_in_force(facts)             changes of battery that nobody took back

A tick takes the place of those that its phone knew of the same item. Three things are conflicts and shown to a person:

    two-say      two ticks that did not know of each other, and one says done, the other not done
    meanwhile    the target was changed by somebody else between the list and the tick
    late         the tick came after the visit was signed for

A tick that knew a conflicting one settles both `two-say` and `meanwhile`; what came late stays marked so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from fieldctl.events import (
    BatterySwapped,
    Fact,
    SwapTakenBack,
    TargetBarred,
    TargetGivenUp,
    TargetRetrieved,
    TargetTakenOut,
    VisitBegun,
    VisitClosed,
    VisitTicked,
    VisitUnticked,
)
from fieldctl.units import PersonId, TargetId

State = Literal["open", "done", "not-done", "conflict"]
What = Literal["swapped", "taken-out", "lost", "barred", "retrieved"]

BATTERY = "battery"  # the key of the item that a change of battery is
KINDS = (
    VisitBegun,
    VisitTicked,
    VisitUnticked,
    VisitClosed,
    BatterySwapped,
    TargetTakenOut,
    TargetBarred,
    TargetGivenUp,
    TargetRetrieved,
)
"""What a visit is folded from."""


@dataclass(frozen=True, slots=True)
class Change:
    """What somebody else did to a target while a visit went on."""

    what: What
    by: PersonId
    day: str = ""


@dataclass(frozen=True, slots=True)
class Tick:
    """One tick, and what speaks against it."""

    said: VisitTicked
    late: bool
    meanwhile: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One item with the ticks in force."""

    item: str
    ticks: tuple[Tick, ...]

    @property
    def target(self) -> TargetId:
        """What it is about."""
        return target_of(self.item)

    @property
    def key(self) -> str:
        """What is to be done: "battery", "barred", or the key of a finding."""
        return self.item.partition(":")[2]

    @property
    def two_say(self) -> bool:
        """Whether two ticks that did not know of each other say different things."""
        return len({tick.said.done for tick in self.ticks}) > 1

    @property
    def unsettled(self) -> bool:
        """Whether a person has to look at it before the visit can be signed for."""
        return self.two_say or any(tick.meanwhile for tick in self.ticks)

    @property
    def state(self) -> State:
        """How it stands."""
        if not self.ticks:
            return "open"
        if self.two_say:
            return "conflict"
        return "done" if self.ticks[-1].said.done else "not-done"


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit; items in walking order, those that were added by a tick last."""

    begun: VisitBegun
    items: tuple[Item, ...]
    closed: VisitClosed | None

    @property
    def left(self) -> tuple[str, ...]:
        """Items of the list that nobody ticked."""
        return tuple(item.item for item in self.items if item.state == "open")

    @property
    def unsettled(self) -> tuple[Item, ...]:
        """Items that a person has to look at."""
        return tuple(item for item in self.items if item.unsettled)


@dataclass(slots=True)
class _Made:
    begun: VisitBegun
    ticks: dict[str, Tick] = field(default_factory=dict)  # in force, by their name
    changes: dict[TargetId, list[Change]] = field(default_factory=dict)
    swapped: set[TargetId] = field(default_factory=set)  # by a tick of this visit
    closed: VisitClosed | None = None


def target_of(item: str) -> TargetId:
    """The target of an item's name."""
    return TargetId(item.partition(":")[0])


def fold(facts: Iterable[Fact]) -> dict[str, Visit]:
    """Every visit by its name, the latest last."""
    made: dict[str, _Made] = {}
    for fact in facts:
        match fact:
            case VisitBegun():
                made.setdefault(fact.visit, _Made(fact))
            case VisitTicked() if fact.visit in made:
                _ticked(made[fact.visit], fact)
            case VisitUnticked() if fact.visit in made:
                made[fact.visit].ticks.pop(fact.tick, None)
            case VisitClosed() if fact.visit in made:
                made[fact.visit].closed = fact
            case _:
                _changed(made.values(), fact)
    return {name: _visit(each) for name, each in made.items()}


def _ticked(visit: _Made, fact: VisitTicked) -> None:
    target = target_of(fact.item)
    known = [tick for name in fact.knew if (tick := visit.ticks.pop(name, None)) is not None]
    seen = {change for tick in known for change in tick.meanwhile}
    against = tuple(
        change
        for change in visit.changes.get(target, ())
        if change not in seen and (change.what != "swapped" or fact.item.endswith(f":{BATTERY}"))
    )
    visit.ticks[fact.tick] = Tick(fact, visit.closed is not None, against)
    if fact.done and fact.item.endswith(f":{BATTERY}"):
        visit.swapped.add(target)


def _changed(visits: Iterable[_Made], fact: Fact) -> None:
    found = _change(fact)
    if found is None:
        return
    target, change = found
    for visit in visits:
        if change.what != "swapped" or target not in visit.swapped:
            visit.changes.setdefault(target, []).append(change)


def _change(fact: Fact) -> tuple[TargetId, Change] | None:
    match fact:
        case BatterySwapped():
            return fact.target, Change("swapped", fact.by, fact.day)
        case TargetTakenOut():
            return fact.target, Change("lost" if fact.how == "lost" else "taken-out", fact.by)
        case TargetBarred():
            return fact.target, Change("barred", fact.by)
        case TargetGivenUp():
            return fact.target, Change("lost", fact.by)
        case TargetRetrieved():
            return fact.target, Change("retrieved", fact.by)
    return None


def _visit(made: _Made) -> Visit:
    by_item: dict[str, list[Tick]] = {item: [] for item in made.begun.items}
    for tick in made.ticks.values():
        by_item.setdefault(tick.said.item, []).append(tick)
    items = tuple(Item(item, tuple(ticks)) for item, ticks in by_item.items())
    return Visit(made.begun, items, made.closed)


def swaps_in_force(facts: Iterable[Fact]) -> list[BatterySwapped]:
    """The changes of battery among these facts that nobody took back afterwards."""
    kept: list[BatterySwapped] = []
    for fact in facts:
        match fact:
            case BatterySwapped():
                kept.append(fact)
            case SwapTakenBack():
                kept = [one for one in kept if (one.target, one.day) != (fact.target, fact.day)]
    return kept
