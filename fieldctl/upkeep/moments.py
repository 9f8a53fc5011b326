"""What happened to one target, as its log has it: one moment for each fact, one for each day of strikes.

    read_moments(reader, site, target) -> (moments, left out)     in order of time
    in_words(moment, words)            -> its sentence, and what somebody said of it

A moment is a key with the values of its sentence (english.toml, `moment.…`). What belongs to an exercise that still
goes on is left out and counted: whose pad is struck, and when, tells who plays in it.
"""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldctl.events import (
    AlarmCleared,
    AlarmRaised,
    BatterySwapped,
    DayOpened,
    ExerciseEnded,
    ExerciseReopened,
    ExerciseStarted,
    Fact,
    KeysRotated,
    SelfTested,
    StrikeRecorded,
    StrikesDropped,
    SwapTakenBack,
    TargetAdded,
    TargetBarred,
    TargetCleared,
    TargetGivenUp,
    TargetGreeted,
    TargetMoved,
    TargetNamed,
    TargetOdd,
    TargetRetrieved,
    TargetTakenOut,
    TargetTuned,
)
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Place, Site
from fieldctl.units import PersonId, TargetId
from fieldctl.upkeep.words import Words, say

PROBE = "probe"
REBOOTS = ("power", "watchdog", "brown-out", "order", "fault")  # the reasons that have words
MOVED_M = 0.3  # apart from both ±: less is how a tape is held

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Moment:
    """A thing that happened: its wall label (a whole day where only that is known, "" where not even that), a key."""

    when: str
    key: str
    values: Values = field(default_factory=dict)

    @property
    def day(self) -> str:
        """YEAR-MONTH-DAY, "" where nobody knows."""
        return self.when[:10]


Told = Callable[[Any, Mapping[PersonId, str]], tuple[str, Values]]


def _by(fact: Any, names: Mapping[PersonId, str], **values: Any) -> Values:
    return {"by": names.get(fact.by, fact.by), **values}


def _tested(fact: SelfTested) -> Values:
    said = Counter(fact.checks.values())
    return {"round": fact.round, "good": said["good"], "bad": said["bad"], "open": said["open"]}


TOLD: Mapping[type[Fact], Told] = {
    TargetAdded: lambda f, names: ("added", _by(f, names, link=f.link)),
    TargetNamed: lambda f, names: ("named", _by(f, names, name=f.name)),
    KeysRotated: lambda f, names: ("rotated", _by(f, names)),
    TargetTakenOut: lambda f, names: ("lost" if f.how == "lost" else "taken-out", _by(f, names, text=f.reason)),
    TargetBarred: lambda f, names: ("barred", _by(f, names, text=f.reason)),
    TargetCleared: lambda f, names: ("cleared", _by(f, names, text=f.reason)),
    TargetGreeted: lambda f, names: ("greeted", {"boot": f.boot, "why": f.why, "firmware": f.firmware}),
    TargetOdd: lambda f, names: ("odd", {"text": f.detail}),
    StrikesDropped: lambda f, names: ("dropped", {"n": f.count}),
    BatterySwapped: lambda f, names: ("swapped", _by(f, names, text=f.notes)),
    SwapTakenBack: lambda f, names: ("swap-taken-back", _by(f, names, day=f.day)),
    AlarmRaised: lambda f, names: ("alarm", {"text": f"{f.sentence} {f.remedy}"}),
    AlarmCleared: lambda f, names: ("alarm-cleared", {"what": f.what, "text": f.reason}),
    TargetTuned: lambda f, names: ("tuned", _by(f, names, threshold=f.threshold, text=f.reason)),
    TargetMoved: lambda f, names: ("put-elsewhere", _by(f, names, text=f.notes)),
    SelfTested: lambda f, names: ("self-tested", _tested(f)),
    TargetRetrieved: lambda f, names: ("retrieved", _by(f, names, text=f.note)),
    TargetGivenUp: lambda f, names: ("given-up", _by(f, names, text=f.reason)),
}
"""Fact -> key and values; `text` is what a person wrote or the controller said, `by` a name."""


def read_moments(reader: Reader, site: Site, target: TargetId) -> tuple[tuple[Moment, ...], int]:
    """One target's moments, and how many strikes were left out as their exercise goes on."""
    entries = list(reader.entries(target=target, kinds=(*TOLD, StrikeRecorded)))
    going_on = _going_on(reader)
    names = reader.names()
    strikes = [e for e in entries if isinstance(e.fact, StrikeRecorded)]
    shown = [e for e in strikes if getattr(e.fact, "exercise", None) not in going_on]
    proofs = [e for e in reader.entries(kinds=(DayOpened,)) if target in getattr(e.fact, "touched", ())]
    found = [
        *(_moment(entry, names) for entry in entries if type(entry.fact) in TOLD),
        *struck(shown),
        *(Moment(entry.wall or "", "touched") for entry in proofs),
        *placed([place for place in (*site.history, *site.places) if place.target == target]),
    ]
    return tuple(sorted(found, key=lambda moment: moment.when)), len(strikes) - len(shown)


def _moment(entry: Entry, names: Mapping[PersonId, str]) -> Moment:
    key, values = TOLD[type(entry.fact)](entry.fact, names)
    fact = entry.fact
    return Moment(fact.day if isinstance(fact, BatterySwapped | TargetMoved) else entry.wall or "", key, values)


def _going_on(reader: Reader) -> set[str]:
    """Exercises that have begun and not ended."""
    found: set[str] = set()
    for fact in reader.facts(kinds=(ExerciseStarted, ExerciseEnded, ExerciseReopened)):
        if isinstance(fact, ExerciseEnded):
            found.discard(fact.exercise)
        elif isinstance(fact, ExerciseStarted | ExerciseReopened):
            found.add(fact.exercise)
    return found


def struck(entries: Iterable[Entry]) -> list[Moment]:
    """One moment for each day with strikes, and one for the last that was taken for a probe."""
    days: dict[str, Counter[str]] = {}
    last = ""
    for entry in entries:
        fact = entry.fact
        if isinstance(fact, StrikeRecorded):
            days.setdefault((entry.wall or "")[:10], Counter())[fact.taken_for] += 1
            last = max(last, entry.wall or "") if fact.taken_for == PROBE else last
    found = [Moment(day, "struck", {"n": kinds.total(), "probes": kinds[PROBE]}) for day, kinds in days.items()]
    return [*found, Moment(last, "probed")] if last else found


def placed(places: Iterable[Place]) -> list[Moment]:
    """Each survey of a target, and how far it lies from the one before where that is more than both ±."""
    found: list[Moment] = []
    before: Place | None = None
    for place in sorted(places, key=lambda place: place.surveyed_on or datetime.date.min):
        away = 0.0 if before is None else math.dist((before.x_m, before.y_m), (place.x_m, place.y_m))
        open_m = place.plus_minus_m + (0.0 if before is None else before.plus_minus_m)
        values = {"x_m": place.x_m, "y_m": place.y_m, "depth_m": place.depth_m, "plus_minus_m": place.plus_minus_m}
        when = "" if place.surveyed_on is None else place.surveyed_on.isoformat()
        moved = before is not None and away > max(open_m, MOVED_M)
        found.append(Moment(when, "moved" if moved else "surveyed", {**values, "away_m": away}))
        before = place
    return found


def in_words(moment: Moment, words: Words) -> tuple[str, str]:
    """A moment's sentence, and what a person or the controller said of it ("" for nothing), in their own words."""
    values = dict(moment.values)
    text = str(values.pop("text", ""))
    if "why" in values:
        known = values["why"] in REBOOTS
        values["why"] = say(f"reboot.{values['why']}" if known else "reboot.other", words)
    return say(f"moment.{moment.key}", words, **values), text
