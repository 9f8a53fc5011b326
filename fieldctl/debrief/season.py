"""A season that can be read: what was done, by whom, how quickly, and what this site's people are slow at.

    season_of(summaries, since, until) -> Season      pure; days are RFC 3339 dates, both included

Times are each burial's own (`summary.BurialSummary.own_s`); not found counts as looked for so long (censored). Nothing
is claimed of fewer than `kaplan.FINDS_LEAST` finds of `kaplan.GROUPS_LEAST` people (of one person: exercises). What
people are slow at are comparisons of this kind of burial with the rest, each with an interval wide enough for all of
them together; they are no causes: deep ones may be those that the better people were given.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldctl.debrief.kaplan import LEVEL, Curve, Ratio, kaplan_meier, ratio_of_medians
from fieldctl.debrief.summary import BurialSummary, Summary
from fieldctl.debrief.summary_kept import Unreadable

Numbers = NDArray[np.int64]

TEAMS_MOST = 200  # shown, the most frequent first; the others are counted
CLOSE_M = 15.0  # facts: close means under 15 m (second-hand)
SHALLOW_M, DEEP_M = 0.8, 1.2  # our own bounds: an arm's reach, and beyond what most practice pads lie at


@dataclass(frozen=True, slots=True)
class Look:
    """One burial that was looked for, in its exercise: what curves are made of."""

    exercise: Summary
    burial: BurialSummary

    @property
    def own_s(self) -> float:
        """Its own time."""
        assert self.burial.own_s is not None
        return self.burial.own_s

    @property
    def who(self) -> tuple[str, ...]:
        """Whose time it is: the finder's, or everybody's who searched."""
        said = self.burial.searcher
        return tuple(said.split(" + ")) if said else self.exercise.searchers


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of burial: its curve, the rest's, and how many times as long it takes; `sure` of all together."""

    key: str
    curve: Curve
    rest: Curve
    ratio: Ratio | None

    @property
    def slow(self) -> bool:
        """Whether it surely takes longer than the rest."""
        return self.ratio is not None and self.ratio.sure and self.ratio.times > 1


@dataclass(frozen=True, slots=True)
class Progress:
    """One person's later half against the earlier one; `ratio` is None where there is too little to claim anything."""

    earlier: Curve
    later: Curve
    ratio: Ratio | None


@dataclass(frozen=True, slots=True)
class Person:
    """One searcher's season; `looks` in order of time, for a figure."""

    person: str
    exercises: int
    hours: float
    first_day: str | None
    last_day: str | None
    curve: Curve
    progress: Progress
    looks: tuple[Look, ...]
    attended: tuple[Summary, ...]


@dataclass(frozen=True, slots=True)
class Team:
    """People who searched together."""

    people: tuple[str, ...]
    exercises: int
    curve: Curve


@dataclass(frozen=True, slots=True)
class Season:
    """Everything that a season book shows; `signal` and `probing` are burials with and without a signal."""

    since: str | None
    until: str | None
    exercises: int
    drills: Mapping[str, int]
    states: Mapping[str, int]
    first_day: str | None
    last_day: str | None
    signal: Curve
    probing: Curve
    kinds: tuple[Kind, ...]
    people: tuple[Person, ...]
    teams: tuple[Team, ...]
    teams_in_all: int
    left_out: Mapping[str, int]  # burials that are in no curve, by why
    anomalies: int
    to_judge: int
    corrections: int
    undated: int
    unnamed: int  # exercises in which nobody was named as searching
    unreadable: tuple[Unreadable, ...]
    rows: tuple[Summary, ...] = field(repr=False, default=())

    def person(self, who: str) -> Person | None:
        """One person of the season."""
        return next((row for row in self.people if row.person == who), None)

    @property
    def slow_at(self) -> tuple[Kind, ...]:
        """What people are surely slow at, the slowest first."""
        slow = [kind for kind in self.kinds if kind.slow and kind.ratio is not None]
        return tuple(sorted(slow, key=lambda kind: -kind.ratio.times if kind.ratio else 0.0))


KINDS = ("deep", "middle", "shallow", "close", "second", "third", "overlap")
"""Kinds of burial that are compared with the rest."""

JOINT = 1 - (1 - LEVEL) / len(KINDS)  # each interval so wide that all of them together hold as often as one says


def season_of(
    summaries: Sequence[Summary],
    unreadable: Sequence[Unreadable] = (),
    since: str | None = None,
    until: str | None = None,
) -> Season:
    """The season of the exercises that began from one day to another; what has no day is in no limited season."""
    limited = since is not None or until is not None
    chosen = [row for row in summaries if _within(row.day, since, until)] if limited else list(summaries)
    looks = [Look(row, b) for row in chosen for b in row.burials if b.own_s is not None]
    signals = _Table([look for look in looks if look.burial.signal != "never"])
    probing = _Table([look for look in looks if look.burial.signal == "never"])
    days = sorted(row.day for row in chosen if row.day is not None)
    return Season(
        since=since,
        until=until,
        exercises=len(chosen),
        drills=Counter(row.drill for row in chosen),
        states=Counter(row.state for row in chosen),
        first_day=days[0] if days else None,
        last_day=days[-1] if days else None,
        signal=signals.curve(signals.team),
        probing=probing.curve(probing.team),
        kinds=tuple(_kinds(signals)),
        people=_people(chosen, signals),
        teams=_teams(chosen, signals),
        teams_in_all=len({tuple(sorted(row.searchers)) for row in chosen if len(row.searchers) > 1}),
        left_out=Counter(b.left_out for row in chosen for b in row.burials if b.left_out),
        anomalies=sum(len(row.anomalies) for row in chosen),
        to_judge=sum(row.to_judge for row in chosen),
        corrections=sum(row.corrections for row in chosen),
        undated=sum(row.day is None for row in (summaries if limited else chosen)),
        unnamed=sum(not row.searchers for row in chosen),
        unreadable=tuple(unreadable),
        rows=tuple(chosen),
    )


def _within(day: str | None, since: str | None, until: str | None) -> bool:
    return day is not None and (since is None or day >= since) and (until is None or day <= until)


class _Table:
    """Looks as columns: own time, found, and who comes again as numbers."""

    def __init__(self, looks: Sequence[Look]) -> None:
        self.looks = looks
        self.own = np.array([look.burial.own_s for look in looks], dtype=np.float64)
        self.found = np.array([look.burial.found_s is not None for look in looks], dtype=bool)
        self.exercise = _numbers(look.exercise.exercise for look in looks)
        # the first by id of those who searched, since pairs change; the exercise where nobody is named
        self.team = _numbers(min(x.searchers, default=x.exercise) for x in (look.exercise for look in looks))

    def curve(self, groups: Numbers, which: NDArray[Any] | slice = slice(None)) -> Curve:
        """The curve of some of them."""
        return kaplan_meier(self.own[which], self.found[which], groups[which])

    def column(self, name: str) -> NDArray[np.float64]:
        """A number of each burial, NaN where it is not known."""
        return np.array([getattr(look.burial, name) for look in self.looks], dtype=np.float64)


def _numbers(names: Iterable[str]) -> Numbers:
    known: dict[str, int] = {}
    return np.fromiter((known.setdefault(name, len(known)) for name in names), dtype=np.int64)


def _kinds(table: _Table) -> Iterable[Kind]:
    depth, near, others, order = (table.column(name) for name in ("depth_m", "near_m", "others", "order"))
    every = np.ones(depth.shape, dtype=bool)
    deep, placed = ~np.isnan(depth), (others == 0) | ~np.isnan(near)
    tests = (
        (depth > DEEP_M, deep),
        ((depth >= SHALLOW_M) & (depth <= DEEP_M), deep),
        (depth < SHALLOW_M, deep),
        (near < CLOSE_M, placed),
        (order == 2, every),
        (order >= 3, every),
        (others > 0, every),
    )
    for key, (is_kind, known) in zip(KINDS, tests, strict=True):
        curve, rest = (table.curve(table.team, known & of) for of in (is_kind, ~is_kind))
        yield Kind(key, curve, rest, ratio_of_medians(curve, rest, JOINT))


def _people(rows: Sequence[Summary], table: _Table) -> tuple[Person, ...]:
    attended: dict[str, list[Summary]] = {}
    own: dict[str, list[int]] = {}
    for row in rows:
        for who in dict.fromkeys(row.searchers):
            attended.setdefault(who, []).append(row)
    for n, look in enumerate(table.looks):
        for who in look.who:
            own.setdefault(who, []).append(n)
    people = [
        _person(who, attended.get(who, []), table, np.array(own.get(who, []), dtype=np.int64))
        for who in dict.fromkeys([*attended, *own])
        if who
    ]
    return tuple(sorted(people, key=lambda p: (-p.exercises, p.person)))


def _person(who: str, attended: Sequence[Summary], table: _Table, which: Numbers) -> Person:
    days = sorted(row.day for row in attended if row.day is not None)
    return Person(
        person=who,
        exercises=len(attended),
        hours=sum(max(0.0, row.ended_s or 0.0) for row in attended) / 3600,
        first_day=days[0] if days else None,
        last_day=days[-1] if days else None,
        curve=table.curve(table.exercise, which),
        progress=_progress(table, which),
        looks=tuple(table.looks[n] for n in which),
        attended=tuple(attended),
    )


def _progress(table: _Table, which: Numbers) -> Progress:
    """The later half of somebody's exercises against the earlier one, in the order of the season."""
    exercises = table.exercise[which]
    order = np.array(list(dict.fromkeys(exercises.tolist())), dtype=np.int64)
    early = np.isin(exercises, order[: order.size // 2])
    earlier = table.curve(table.exercise, which[early])
    later = table.curve(table.exercise, which[~early])
    return Progress(earlier, later, ratio_of_medians(later, earlier))


def _teams(rows: Sequence[Summary], table: _Table) -> tuple[Team, ...]:
    count: Counter[tuple[str, ...]] = Counter()
    own: dict[tuple[str, ...], list[int]] = {}
    for row in rows:
        if len(row.searchers) > 1:
            count[tuple(sorted(row.searchers))] += 1
    for n, look in enumerate(table.looks):
        if len(look.exercise.searchers) > 1:
            own.setdefault(tuple(sorted(look.exercise.searchers)), []).append(n)
    ordered = sorted(count.items(), key=lambda item: (-item[1], item[0]))
    curve = table.curve
    return tuple(
        Team(team, n, curve(table.exercise, np.array(own.get(team, []), dtype=np.int64)))
        for team, n in ordered[:TEAMS_MOST]
    )
