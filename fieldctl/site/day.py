"""The day of a field: open or closed, who is in charge, how fresh each target is, what is out by hand, what is barred.

`Day` is a pure fold of ledger facts: `fold(facts, zone_of)`, or `step(day, fact, zone_of)` one at a time. A day about
which nothing is known is closed. The checks before opening and closing are in `fieldctl.site.checks`.

A target is fresh when nothing struck it since the surface was renewed in its zone: probe holes and tracks give a
target away, whatever a strike was taken for, so every strike counts that comes while the field is open or belongs to an
exercise. Those of a closed field do not: every plate is proved by touch before opening, and all alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TypeVar

from fieldctl.events import (
    DayClosed,
    DayOpened,
    Fact,
    ManualIn,
    ManualOut,
    StrikeRecorded,
    SurfaceRenewed,
    TargetAdded,
    TargetBarred,
    TargetCleared,
    TargetTakenOut,
)
from fieldctl.site.model import Site
from fieldctl.units import HostTime, PersonId, TargetId

_K = TypeVar("_K")
_V = TypeVar("_V")


@dataclass(frozen=True, slots=True)
class Day:
    """The state of the field's day. Mappings are never changed in place."""

    open: bool = False
    in_charge: PersonId | None = None  # who opened it; None while closed
    since: HostTime | None = None  # opened or closed at; None when nothing is known
    hazard: str = ""
    snow_m: float | None = None
    struck: Mapping[TargetId, int] = field(
        default_factory=lambda: MappingProxyType({})
    )  # since the surface was renewed
    manual_out: Mapping[str, ManualOut] = field(default_factory=lambda: MappingProxyType({}))
    manual_unseen: frozenset[str] = frozenset()  # came in, but nobody saw that they are off
    barred: Mapping[TargetId, str] = field(default_factory=lambda: MappingProxyType({}))  # and why
    taken_out: frozenset[TargetId] = frozenset()
    closed_with: tuple[str, ...] = ()  # the exceptions of the last closing

    def struck_since_renewed(self, target: TargetId) -> int:
        """How often something struck a target since its surface was renewed."""
        return self.struck.get(target, 0)

    def usable(self, target: TargetId) -> bool:
        """Whether a target may play a part at all: neither barred nor taken out."""
        return target not in self.barred and target not in self.taken_out

    def why_not(self, target: TargetId) -> str:
        """Why a target may not be used, or an empty text."""
        if target in self.barred:
            return f"barred until it is dug out and seen to be quiet: {self.barred[target]}"
        return "taken out of the field" if target in self.taken_out else ""

    def fresh_left(self, site: Site) -> dict[str, int]:
        """How many usable targets of each zone were not struck since the surface was renewed."""
        left = {zone.name: 0 for zone in site.zones}
        for place in site.places:
            if self.usable(place.target) and not self.struck_since_renewed(place.target):
                left[place.zone] = left.get(place.zone, 0) + 1
        return left


def fold(facts: Iterable[Fact], zone_of: Mapping[TargetId, str]) -> Day:
    """The day after all facts of the ledger in their order; `zone_of` as `Site.zone_of()` gives it."""
    day = Day()
    for fact in facts:
        day = step(day, fact, zone_of)
    return day


def step(day: Day, fact: Fact, zone_of: Mapping[TargetId, str]) -> Day:
    """The day after one more fact; facts that say nothing about the day leave it as it is."""
    match fact:
        case DayOpened():
            return replace(
                day,
                open=True,
                in_charge=fact.by,
                since=fact.at,
                hazard=fact.hazard,
                snow_m=fact.snow_m,
                closed_with=(),
            )
        case DayClosed():
            return replace(day, open=False, in_charge=None, since=fact.at, hazard="", closed_with=fact.exceptions)
        case SurfaceRenewed():
            if fact.zone is None:
                return replace(day, struck=MappingProxyType({}))
            kept = {target: n for target, n in day.struck.items() if zone_of.get(target) != fact.zone}
            return replace(day, struck=MappingProxyType(kept))
        case StrikeRecorded() if day.open or fact.exercise is not None:
            return replace(day, struck=_with(day.struck, fact.target, day.struck_since_renewed(fact.target) + 1))
        case ManualOut():
            return replace(
                day,
                manual_out=_with(day.manual_out, fact.unit, fact),
                manual_unseen=day.manual_unseen - {fact.unit},
            )
        case ManualIn():
            unseen = day.manual_unseen - {fact.unit} if fact.seen_off else day.manual_unseen | {fact.unit}
            return replace(day, manual_out=_without(day.manual_out, fact.unit), manual_unseen=unseen)
        case TargetBarred():
            return replace(day, barred=_with(day.barred, fact.target, fact.reason))
        case TargetCleared():
            return replace(day, barred=_without(day.barred, fact.target))
        case TargetTakenOut():
            # a bar stays: what was lost while it was heard is still out there
            return replace(day, taken_out=day.taken_out | {fact.target})
        case TargetAdded():
            return replace(day, taken_out=day.taken_out - {fact.target})
        case _:
            return day


def _with(rows: Mapping[_K, _V], key: _K, value: _V) -> Mapping[_K, _V]:
    return MappingProxyType({**rows, key: value})


def _without(rows: Mapping[_K, _V], key: _K) -> Mapping[_K, _V]:
    return MappingProxyType({k: v for k, v in rows.items() if k != key})
