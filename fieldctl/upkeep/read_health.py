"""From the ledger to every target's past beside its battery: strikes, turns in exercises, touches, boots, links.

Strikes and the rest are read without building facts (`ledger.pieces`): a season has tens of thousands of them.
Corrections count: a strike that a person voided or judged a step was no touch, a call that was voided was no call, one
that was placed counts for its burial. Moments are put on the axis of days by their host boot where telemetry tells how
far it is from the wall, otherwise by the entry's own label; what has neither is left out.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fieldctl.events import (
    CallMade,
    Corrected,
    DayOpened,
    ExerciseStarted,
    StrikeRecorded,
    TargetAdded,
    TargetGreeted,
)
from fieldctl.ledger.pieces import Piece, Row
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Place, Site
from fieldctl.strikes.table import KNOCK_LASTS_US, KNOCK_RISE_US, Kind
from fieldctl.units import TargetId
from fieldctl.upkeep.past import Joined, Past, Start, Strikes, Turn, no_strikes, nothing_told
from fieldctl.upkeep.readings import day_number
from fieldctl.upkeep.series import Series, series_of
from fieldctl.upkeep.told import DAY_S, Log, told_of

PAST_DAYS = 75  # that a target is held against; a season's strikes take as long to read as all the rest together
SEASON_DAYS = 300  # that a page draws
STRIKE = ("features[0]", "features[1]", "features[2]", "features[5]", "taken_for", "exercise", "boot", "number")
WANTED = {
    ExerciseStarted: ("exercise", "picks"),
    CallMade: ("exercise", "call", "burial"),
    Corrected: ("correction", "change", "about", "value"),
    DayOpened: ("touched",),
    TargetGreeted: ("boot", "why"),
}

TOUCHES = (Kind.PROBE, Kind.UNSURE)  # steps and vehicles are felt too, but nobody meant them


def read_pasts(
    reader: Reader, site: Site, log: Log, today: datetime.date, days: int = PAST_DAYS
) -> dict[TargetId, Past]:
    """The past of every target of the site, so many days back; `log` is what they told."""
    since = (today - datetime.timedelta(days=days)).isoformat()
    found = _Fold(log.ahead)
    found.take_strikes(reader.rows_of(StrikeRecorded, STRIKE, since))
    for piece in (*reader.pieces({TargetAdded: ("link",)}), *reader.pieces(WANTED, since)):
        found.take(piece)
    turns = found.turns()
    return {place.target: _past(place, log, found, turns) for place in site.places}


def read_series(reader: Reader, site: Site, target: TargetId, today: datetime.date) -> Series:
    """One target's days for its own page; empty where it never said anything or is not of this site."""
    pasts = read_pasts(reader, site, told_of(reader.telemetry_hours()), today, SEASON_DAYS)
    return series_of(pasts.get(target, Past(target)), float(day_number(today)))


def _past(place: Place, log: Log, found: _Fold, turns: Mapping[TargetId, Sequence[Turn]]) -> Past:
    target = place.target
    surveyed = None if place.surveyed_on is None else float(day_number(place.surveyed_on))
    return Past(
        target,
        log.targets.get(target, nothing_told()),
        found.strikes.get(target, no_strikes()),
        tuple(turns.get(target, ())),
        tuple(found.touched.get(target, ())),
        tuple(found.starts.get(target, ())),
        tuple(found.joined.get(target, ())),
        place.link,
        surveyed,
    )


@dataclass(slots=True)
class _Fold:
    """What the pieces say, by target and by exercise."""

    ahead: Mapping[str, float]
    strikes: dict[TargetId, Strikes] = field(default_factory=dict)
    touched: dict[TargetId, list[float]] = field(default_factory=lambda: defaultdict(list))
    starts: dict[TargetId, list[Start]] = field(default_factory=lambda: defaultdict(list))
    joined: dict[TargetId, list[Joined]] = field(default_factory=lambda: defaultdict(list))
    exercises: dict[str, tuple[float, Mapping[str, str]]] = field(default_factory=dict)
    felt: dict[tuple[str, str], list[str]] = field(default_factory=lambda: defaultdict(list))
    calls: dict[str, list[tuple[str, str | None]]] = field(default_factory=lambda: defaultdict(list))
    corrections: dict[str, tuple[str, str, Any]] = field(default_factory=dict)
    labels: dict[str, float] = field(default_factory=dict)

    def take_strikes(self, rows: Sequence[Row]) -> None:
        """Columns of strikes in order of time; one whose numbers cannot be read has a height of nothing."""
        placed = [(day, row) for row in rows if (day := self._day(row[1], row[2], row[3])) is not None]
        if not placed:
            return
        target, _, _, _, peak, rise, width, repeats, kind, exercise, boot, number = zip(
            *(row for _, row in placed), strict=True
        )
        for who, part, taken_for, life, nth in zip(target, exercise, kind, boot, number, strict=True):
            if part is not None and taken_for in TOUCHES:
                self.felt[part, who].append(f"{who}-{life}-{nth}")
        said = np.nan_to_num(np.array([[day for day, _ in placed], peak, rise, width, repeats], dtype=np.float64))
        day, height, up, over, others = said
        sharp = (up <= KNOCK_RISE_US) & (over <= KNOCK_LASTS_US) & (up <= over)
        kinds = np.array([[each == Kind.PROBE for each in kind], [each == Kind.UNSURE for each in kind]])
        columns = np.array([day, height, sharp, *kinds, others])
        names = {name: n for n, name in enumerate(dict.fromkeys(target))}
        which = np.array([names[each] for each in target])
        order = np.lexsort((day, which))
        ends = np.searchsorted(which[order], np.arange(len(names) + 1))
        for name, begin, end in zip(names, ends[:-1], ends[1:], strict=True):
            self.strikes[TargetId(name)] = Strikes(*columns[:, order[begin:end]])

    def take(self, piece: Piece) -> None:
        """Take one entry's values."""
        day = self._day(piece.host_boot, piece.at_us, piece.wall)
        if day is None:
            return
        said, target = piece.values, TargetId(piece.target or "")
        match piece.kind:
            case "ExerciseStarted":
                self.exercises[said[0]] = (day, said[1] or {})
            case "CallMade":
                self.calls[said[0]].append((said[1], said[2]))
            case "Corrected":
                self.corrections[said[0]] = (said[1], said[2], said[3])
            case "DayOpened":
                for each in said[0] or ():
                    self.touched[each].append(day)
            case "TargetGreeted":
                if not self.starts[target] or self.starts[target][-1].boot != said[0]:
                    self.starts[target].append(Start(day, said[0], said[1]))
            case "TargetAdded":
                self.joined[target].append(Joined(day, said[0]))

    def _day(self, host_boot: str, at_us: int, wall: str | None) -> float | None:
        """The moment of an entry on the axis of days."""
        if host_boot in self.ahead:
            return (at_us / 1e6 + self.ahead[host_boot]) / DAY_S
        if wall is None:
            return None
        minute = wall[:16]
        if minute not in self.labels:
            self.labels[minute] = datetime.datetime.fromisoformat(f"{minute}:00+00:00").timestamp() / DAY_S
        return self.labels[minute]

    def turns(self) -> dict[TargetId, list[Turn]]:
        """Every target's turns in exercises, in the order in which they began."""
        void, placed = self._corrected()
        found: dict[TargetId, list[Turn]] = defaultdict(list)
        for exercise, (day, picks) in self.exercises.items():
            calls = [(placed.get(call, burial)) for call, burial in self.calls.get(exercise, ()) if call not in void]
            known = bool(calls) and None not in calls
            for burial, target in picks.items():
                touched = any(strike not in void for strike in self.felt.get((exercise, target), ()))
                found[TargetId(target)].append(Turn(day, touched, burial in calls if known else None))
        for rows in found.values():
            rows.sort(key=lambda turn: turn.day)
        return found

    def _corrected(self) -> tuple[set[str], dict[str, str]]:
        """Strikes and calls that a person took back, and calls that were given to a burial."""
        undone = set(_undone(self.corrections))
        void, placed = set(), {}
        for name, (change, about, value) in self.corrections.items():
            if name in undone:
                continue
            if change in ("void", "merge") or (change == "judge" and value not in TOUCHES):
                void.add(about)
            elif change == "place-call":
                placed[about] = value
        return void, placed


def _undone(corrections: Mapping[str, tuple[str, str, Any]]) -> Iterable[str]:
    """Corrections that a later one took back; one that took back and was taken back itself counts for nothing."""
    undoes = {name: about for name, (change, about, _) in corrections.items() if change == "undo"}
    taken_back = set(undoes.values())
    return (about for name, about in undoes.items() if name not in taken_back)
