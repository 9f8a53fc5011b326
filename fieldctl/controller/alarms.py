"""Alarms as a table and a pure step: what is bad, for how long before it is one, for how long it must then be good.

    watch, change = step(watch, rule, said, now, in_force=…)     one reading of one kind; change: "raise", "clear", None
    latched = after(latched, entry)                              what is in force, folded from the ledger

A reading is "bad", "good" or None. A target that is not heard says nothing, so that a dead one never clears its own
alarm; silence alone is told by the clock, and ends by being heard. What a person clears comes again while it is bad.
Findings of the upkeep account are alarms too (`upkeep:<key>`): the account says them once an hour, not a reading.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from fieldctl.events import FIELD, AlarmCleared, AlarmRaised
from fieldctl.units import HostUs, TargetId, micros

if TYPE_CHECKING:  # the ledger brings SQLAlchemy along
    from fieldctl.ledger.entry import Entry

Said = Literal["bad", "good"] | None
Change = Literal["raise", "clear"] | None
Key = tuple[str, str]
"""What it is about (a target's id, or "link:" and a link's name) and the alarm's word."""

UPKEEP = "upkeep:"
MENDED_HOLDS_DAYS = 14  # for so long the account tells of what it saw before the mending


@dataclass(frozen=True, slots=True)
class Rule:
    """One kind of alarm, its sentence and what to do. `fault`: the target itself is sick then."""

    what: str
    sentence: str
    remedy: str
    bad_for_s: float = 0.0
    good_for_s: float = 0.0
    fault: bool = False


RULES: Mapping[str, Rule] = {
    rule.what: rule
    for rule in (
        Rule(
            "gate-on",
            "{name} reads its gate on although nothing was granted: it is not quiet.",
            "All off; if it stays on, find it with a receiver and dig it out. Any signal is a person until proved "
            "otherwise.",
            good_for_s=60.0,
            fault=True,
        ),
        Rule(
            "barred",
            "{name} is barred until it is dug out and seen to be quiet.",
            "Dig it out and see that it is quiet, then say so: fieldctl target clear. Any signal is a person until "
            "proved otherwise.",
        ),
        Rule(
            "two-with-one-id",
            "Two targets answer under the id of {name}.",
            "Take one of the two out and add it anew.",
            good_for_s=600.0,
            fault=True,
        ),
        Rule(
            "answers-for-another",
            "Something answers in the place of {name} without its seal.",
            "Look for a second target with that id.",
            good_for_s=600.0,
            fault=True,
        ),
        Rule(
            "repeats-numbers",
            "{name} gave one number to two different strikes.",
            "Update or replace it; judge its strikes of today by hand.",
            good_for_s=600.0,
            fault=True,
        ),
        Rule(
            "superseded",
            "{name} obeys a controller of a higher generation.",
            "Find the other controller; if this is the one that should steer, a person raises its generation: "
            "fieldctl generation raise.",
            good_for_s=60.0,
            fault=True,
        ),
        Rule(
            "clock",
            "The clock of {name} jumped or drifts more than a clock can.",
            "Nothing in the middle of an exercise; its times carry a wider ± until it has settled. Replace the target "
            "if it happens again.",
            good_for_s=600.0,
            fault=True,
        ),
        Rule(
            "link-down",
            "Link {name} is down: its targets cannot be heard or switched off by it.",
            "Look at its cable, its adapter or its broker: fieldctl doctor.",
            bad_for_s=30.0,  # an adapter that was pushed home, a broker that was started again
            good_for_s=10.0,
        ),
        Rule(
            "overdue",
            "{name} was not heard for half a minute while the field is open.",
            "Look at its link and its battery, and choose another target until it is heard.",
            bad_for_s=22.0,  # 8 s make it overdue; a reboot takes 3 s, twenty more are no accident
            good_for_s=60.0,  # one that is heard now and then is not mended
        ),
        Rule(
            "not-heard",
            "{name} was not heard for five minutes.",
            "Look at its link and its battery; whatever it was sending has ended by itself.",
            bad_for_s=240.0,  # a minute makes it not heard
            good_for_s=60.0,
        ),
        Rule(
            "battery",
            "{name} says that its battery is low.",
            "Change its battery, then say so: fieldctl upkeep swapped.",
            bad_for_s=30.0,
            good_for_s=600.0,  # volts come back when it rests: that is no new battery yet
        ),
    )
}
"""Every kind that the controller sees by itself, what matters most first."""

ORDER = tuple(RULES)
MENDED_BY_CLEARING = ("barred", *(rule.what for rule in RULES.values() if rule.fault))
"""What ends when a person says that a target was dug out and seen to be quiet."""


@dataclass(frozen=True, slots=True)
class Watch:
    """Since when readings of one kind have been bad, or good, without one of the other sort between."""

    bad_since: HostUs | None = None
    good_since: HostUs | None = None


def step(watch: Watch, rule: Rule, said: Said, at: HostUs, *, in_force: bool) -> tuple[Watch, Change]:
    """After one reading; None changes nothing."""
    if said is None:
        return watch, None
    if said == "bad":
        since = at if watch.bad_since is None else watch.bad_since
        raised = not in_force and at - since >= micros(rule.bad_for_s)
        return Watch(bad_since=since), "raise" if raised else None
    since = at if watch.good_since is None else watch.good_since
    cleared = in_force and at - since >= micros(rule.good_for_s)
    return Watch(good_since=since), "clear" if cleared else None


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm in force: the fact, the number of its entry and the wall's label on it."""

    fact: AlarmRaised
    seq: int
    wall: str | None


@dataclass(frozen=True, slots=True)
class Latched:
    """What is in force, and when a person said of what that it was mended. Mappings are never changed in place."""

    in_force: Mapping[Key, Alarm] = field(default_factory=lambda: MappingProxyType({}))
    mended: Mapping[Key, str | None] = field(default_factory=lambda: MappingProxyType({}))

    def of(self, target: TargetId) -> tuple[Alarm, ...]:
        """A target's alarms."""
        return tuple(alarm for (about, _), alarm in self.in_force.items() if about == target)

    def listed(self) -> tuple[Alarm, ...]:
        """All of them, what matters most first."""
        return tuple(sorted(self.in_force.values(), key=lambda each: (_rank(each.fact.what), each.seq)))


def _rank(what: str) -> int:
    return ORDER.index(what) if what in ORDER else len(ORDER)


def key_of(fact: AlarmRaised | AlarmCleared) -> Key:
    """What a fact is about."""
    return fact.target or f"link:{fact.link}", fact.what


def after(latched: Latched, entry: Entry) -> Latched:
    """With one more entry of the ledger."""
    fact = entry.fact
    match fact:
        case AlarmRaised():
            held = {**latched.in_force, key_of(fact): Alarm(fact, entry.seq, entry.wall)}
            return replace(latched, in_force=MappingProxyType(held))
        case AlarmCleared():
            key = key_of(fact)
            held = {k: alarm for k, alarm in latched.in_force.items() if k != key}
            mended = latched.mended if fact.by == FIELD else {**latched.mended, key: entry.wall}
            return Latched(MappingProxyType(held), MappingProxyType(dict(mended)))
        case _:
            return latched


# ---- findings of the upkeep account ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Found:
    """One finding of the account that is worth an alarm: `since` and `heard` are days (YEAR-MONTH-DAY), "" for none."""

    target: TargetId
    key: str
    sentence: str
    remedy: str
    since: str
    fault: bool
    values: Mapping[str, object]

    @property
    def of(self) -> Key:
        """Its alarm."""
        return self.target, UPKEEP + self.key


def account_changes(
    latched: Latched, found: Collection[Found], alive: Collection[TargetId], today: str
) -> tuple[list[Found], list[Alarm]]:
    """(what to raise, what to clear) after an account of the whole field.

    An alarm ends when the account of a target that is heard shows the finding no more. What a person said was mended
    comes again by what was seen on a later day, or when two weeks did not end it: the account looks back over days.
    """
    now = {one.of: one for one in found}
    new = [one for key, one in now.items() if key not in latched.in_force and _comes_again(latched, one, today)]
    gone = [
        alarm
        for key, alarm in latched.in_force.items()
        if key[1].startswith(UPKEEP) and key not in now and alarm.fact.target in alive
    ]
    return new, gone


def _comes_again(latched: Latched, one: Found, today: str) -> bool:
    if one.of not in latched.mended:
        return True
    mended = (latched.mended[one.of] or "")[:10]
    if not mended or not today:
        return True  # nobody knew the day: once too often is better than never
    held = datetime.date.fromisoformat(today) - datetime.date.fromisoformat(mended)
    return (one.since or today) > mended or held.days >= MENDED_HOLDS_DAYS
