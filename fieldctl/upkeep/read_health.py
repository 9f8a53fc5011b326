"""From the ledger to every target's past beside its battery: strikes, turns in exercises, touches, boots, links.

Strikes and the rest are read in one pass that builds no facts (`ledger.pieces`): a season has tens of thousands.
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
from fieldctl.ledger.pieces import Piece
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Place, Site
from fieldctl.strikes.table import KNOCK_LASTS_US, KNOCK_RISE_US, Kind
from fieldctl.units import TargetId
from fieldctl.upkeep.past import Joined, Past, Start, Strikes, Turn, nothing_told
from fieldctl.upkeep.readings import day_number
from fieldctl.upkeep.series import Series, series_of
from fieldctl.upkeep.told import DAY_S, Log, told_of

WANTED = {
    StrikeRecorded: (
        "features[0]", "features[1]", "features[2]", "features[5]", "taken_for", "exercise", "boot", "number",
    ),
    ExerciseStarted: ("exercise", "picks"),
    CallMade: ("exercise", "call", "burial"),
    Corrected: ("correction", "change", "about", "value"),
    DayOpened: ("touched",),
    TargetGreeted: ("boot", "why"),
    TargetAdded: ("link",),
}  # fmt: skip

TOUCHES = (Kind.PROBE, Kind.UNSURE)  # steps and vehicles are felt too, but nobody meant them


def read_pasts(reader: Reader, site: Site, log: Log) -> dict[TargetId, Past]:
    """The past of every target of the site; `log` is what they told."""
    found = _Fold(log.ahead)
    for piece in reader.pieces(WANTED):
        found.take(piece)
    turns = found.turns()
    return {place.target: _past(place, log, found, turns) for place in site.places}


def read_series(reader: Reader, site: Site, target: TargetId, today: datetime.date) -> Series:
    """One target's days for its own page; empty where it never said anything or is not of this site."""
    pasts = read_pasts(reader, site, told_of(reader.telemetry_hours()))
    return series_of(pasts.get(target, Past(target)), float(day_number(today)))


def _past(place: Place, log: Log, found: _Fold, turns: Mapping[TargetId, Sequence[Turn]]) -> Past:
    target = place.target
    surveyed = None if place.surveyed_on is None else float(day_number(place.surveyed_on))
    return Past(
        target,
        log.targets.get(target, nothing_told()),
        _strikes(found.strikes.get(target, ())),
        tuple(turns.get(target, ())),
        tuple(found.touched.get(target, ())),
        tuple(found.starts.get(target, ())),
        tuple(found.joined.get(target, ())),
        place.link,
        surveyed,
    )


def _strikes(rows: Sequence[tuple[float, list[Any]]]) -> Strikes:
    """Columns of strikes in order of time; one whose numbers cannot be read counts as taken for nothing."""
    rows = sorted(rows, key=lambda row: row[0])
    numbers = np.array([[day, *said[:4]] for day, said in rows], dtype=np.float64).reshape(-1, 5)
    numbers = np.nan_to_num(numbers)
    day, peak, rise, width, repeats = numbers.T
    kinds = [said[4] for _, said in rows]
    sharp = (rise <= KNOCK_RISE_US) & (width <= KNOCK_LASTS_US) & (rise <= width)
    return Strikes(
        day,
        peak,
        sharp.astype(np.float64),
        np.array([kind == Kind.PROBE for kind in kinds], dtype=np.float64),
        np.array([kind == Kind.UNSURE for kind in kinds], dtype=np.float64),
        repeats,
    )


@dataclass(slots=True)
class _Fold:
    """What the pieces say, by target and by exercise."""

    ahead: Mapping[str, float]
    strikes: dict[TargetId, list[tuple[float, list[Any]]]] = field(default_factory=lambda: defaultdict(list))
    touched: dict[TargetId, list[float]] = field(default_factory=lambda: defaultdict(list))
    starts: dict[TargetId, list[Start]] = field(default_factory=lambda: defaultdict(list))
    joined: dict[TargetId, list[Joined]] = field(default_factory=lambda: defaultdict(list))
    exercises: dict[str, tuple[float, Mapping[str, str]]] = field(default_factory=dict)
    felt: dict[tuple[str, str], list[str]] = field(default_factory=lambda: defaultdict(list))
    calls: dict[str, list[tuple[str, str | None]]] = field(default_factory=lambda: defaultdict(list))
    corrections: dict[str, tuple[str, str, Any]] = field(default_factory=dict)
    labels: dict[str, float] = field(default_factory=dict)

    def take(self, piece: Piece) -> None:
        """Take one entry's values."""
        day = self._day(piece)
        if day is None:
            return
        said, target = piece.values, TargetId(piece.target or "")
        match piece.kind:
            case "StrikeRecorded":
                self.strikes[target].append((day, said))
                if said[5] is not None and said[4] in TOUCHES:
                    self.felt[said[5], target].append(f"{target}-{said[6]}-{said[7]}")
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

    def _day(self, piece: Piece) -> float | None:
        """The moment of an entry on the axis of days."""
        if piece.host_boot in self.ahead:
            return (piece.at_us / 1e6 + self.ahead[piece.host_boot]) / DAY_S
        if piece.wall is None:
            return None
        minute = piece.wall[:16]
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
