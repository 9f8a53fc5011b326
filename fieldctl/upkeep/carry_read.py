"""From a site and its ledger to the carry list; only reads, beside a running writer or from a copy.

read_carry(reader, site, today) -> Carry
read_visits(reader) -> {visit: Visit}      before_of(reader) -> Before | None
read_names(reader, site)    read_places(reader, site, today)    last_day(reader)
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import TYPE_CHECKING

from fieldctl.events import (
    BatterySwapped,
    Fact,
    SwapTakenBack,
    TargetAdded,
    TargetBarred,
    TargetCleared,
    TargetNamed,
    TargetTakenOut,
    VisitBegun,
    VisitClosed,
)
from fieldctl.site.model import Site
from fieldctl.site.whereabouts import Whereabouts, survey_days, whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep import retrieval
from fieldctl.upkeep.carry import Before, Carry, carry_of
from fieldctl.upkeep.read import read_upkeep
from fieldctl.upkeep.retrieval import in_the_box
from fieldctl.upkeep.snow_log import read_snow
from fieldctl.upkeep.visits import KINDS, Visit, fold, swaps_in_force

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader


LOOKED_BACK = 5_000  # entries, for the last wall label: some days of a busy field


def read_carry(reader: Reader, site: Site, today: datetime.date) -> Carry:
    """The carry list of a visit today."""
    barred: dict[TargetId, str] = {}
    for fact in reader.facts(kinds=(TargetBarred, TargetCleared)):
        match fact:
            case TargetBarred():
                barred[fact.target] = fact.reason
            case TargetCleared():
                barred.pop(fact.target, None)
    names = read_names(reader, site)
    upkeep, snow = read_upkeep(reader, site, today), read_snow(reader)
    box = in_the_box(reader.facts(kinds=retrieval.KINDS), survey_days(site))
    return carry_of(upkeep, site, snow, barred, names, before_of(reader), box)


def read_names(reader: Reader, site: Site) -> dict[TargetId, str]:
    """What people call each target, also those that were taken out."""
    names = {place.target: place.name for place in site.places} | {post.target: post.name for post in site.posts}
    for fact in reader.facts(kinds=(TargetAdded, TargetNamed)):
        if isinstance(fact, TargetAdded | TargetNamed) and fact.name:
            names[fact.target] = fact.name
    return names


def read_places(reader: Reader, site: Site, today: datetime.date) -> dict[TargetId, Whereabouts]:
    """Where every target of the site lies."""
    snow = read_snow(reader)
    return {place.target: whereabouts(site, place.target, snow, today) for place in site.places}


def read_visits(reader: Reader) -> dict[str, Visit]:
    """Every visit, the latest last."""
    return fold(reader.facts(kinds=KINDS))


def before_of(reader: Reader) -> Before | None:
    """The last visit that was signed for, and what happened since it began; None where there was none."""
    begun: dict[str, tuple[int, VisitBegun]] = {}
    last: tuple[int, VisitBegun] | None = None
    for entry in reader.entries(kinds=(VisitBegun, VisitClosed)):
        match entry.fact:
            case VisitBegun():
                begun[entry.fact.visit] = (entry.seq, entry.fact)
            case VisitClosed():
                last = begun.get(entry.fact.visit, last)
    if last is None:
        return None
    seq, fact = last
    kinds = (BatterySwapped, SwapTakenBack, TargetAdded, TargetTakenOut, TargetBarred, TargetCleared)
    return before(fact, list(reader.facts(seq, kinds=kinds)))


def last_day(reader: Reader) -> datetime.date | None:
    """The last day that the log knows, for a machine without a wall clock; None where it knows none."""
    head = reader.head()[0]
    walls = [entry.wall for entry in reader.entries(max(0, head - LOOKED_BACK)) if entry.wall is not None]
    return datetime.date.fromisoformat(walls[-1][:10]) if walls else None


def before(fact: VisitBegun, later: Iterable[Fact]) -> Before:
    """What was known at a visit's beginning, with the facts that came after it."""
    later = list(later)
    added: dict[TargetId, None] = {}
    taken_out: dict[TargetId, None] = {}
    barred: dict[TargetId, None] = {}
    for each in later:
        match each:
            case TargetAdded():
                added[each.target] = None
                taken_out.pop(each.target, None)
            case TargetTakenOut():
                taken_out[each.target] = None
                added.pop(each.target, None)
            case TargetBarred():
                barred[each.target] = None
            case TargetCleared():
                barred.pop(each.target, None)
    swapped = tuple((swap.target, swap.day) for swap in swaps_in_force(later))
    return Before(fact.visit, fact.day, fact.found, swapped, tuple(added), tuple(taken_out), tuple(barred))
