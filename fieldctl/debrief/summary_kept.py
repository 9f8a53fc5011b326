"""Summaries as they are kept beside the ledger: read, made again where they are missing or stale, compared.

    read_summaries(reader) -> Summaries        every exercise, what could not be read, and what should be kept
    then_and_now(reader, exercise) -> [Then]   what earlier versions said of it, and why it would now differ

A summary is stale when its exercise has a later entry than it covers. Who may write keeps `Summaries.made`; who only
reads loses nothing but time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fieldctl.debrief.summary import VERSION, Summary, from_body, summarise, to_body
from fieldctl.events import Corrected, ExerciseReopened, StrikeRecorded
from fieldctl.ledger.beside import Kept
from fieldctl.ledger.entry import Entry

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader

FEW = 200  # exercises that are asked for one by one; more, and the whole ledger is read once
COMPARED = ("found_s", "kind", "searcher", "in_time")
UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Unreadable:
    """An exercise of which no summary can be made, and why."""

    exercise: str
    why: str


@dataclass(slots=True)
class Summaries:
    """Every exercise of a ledger, in the order in which they were started."""

    rows: list[Summary] = field(default_factory=list)
    unreadable: list[Unreadable] = field(default_factory=list)
    made: list[Kept] = field(default_factory=list)  # made just now: to be kept by whoever may write


def read_summaries(reader: Reader, most: int | None = None) -> Summaries:
    """The summary of every exercise; at most `most` are made anew, and the others of those are then missing."""
    last = reader.last_entries()
    out = Summaries()
    fresh: set[str] = set()
    for kept in reader.summaries(VERSION):
        if last.get(kept.exercise) == kept.covers and _take(out, kept):
            fresh.add(kept.exercise)
    missing = [exercise for exercise in last if exercise not in fresh][:most]
    for exercise, entries in _entries_of(reader, missing):
        kept = made(exercise, entries)
        out.made.append(kept)
        _take(out, kept)
    out.rows.sort(key=_in_order)
    return out


def made(exercise: str, entries: list[Entry]) -> Kept:
    """The summary of an exercise, ready to be kept; also that there can be none."""
    try:
        body = to_body(summarise(entries))
    except ValueError as why:
        body = json.dumps({UNREADABLE: str(why)}, ensure_ascii=False)
    return Kept(exercise, VERSION, max(entry.seq for entry in entries), body)


def _take(out: Summaries, kept: Kept) -> bool:
    """Put a kept summary where it belongs; False where it cannot be used."""
    try:
        out.rows.append(from_body(kept.body))
    except ValueError:
        try:
            out.unreadable.append(Unreadable(kept.exercise, str(json.loads(kept.body)[UNREADABLE])))
        except (ValueError, KeyError, TypeError):
            return False
    return True


def _in_order(row: Summary) -> tuple[int, str, int]:
    """By number: names of exercises count up within a ledger, whatever the wall clock said."""
    digits = "".join(letter for letter in row.exercise if letter.isdecimal())
    return (int(digits or 0), row.wall or "", row.covers)


def _entries_of(reader: Reader, exercises: list[str]) -> Iterator[tuple[str, list[Entry]]]:
    if len(exercises) <= FEW:
        for exercise in exercises:
            yield exercise, list(reader.entries(exercise=exercise))
        return
    wanted: dict[str, list[Entry]] = {exercise: [] for exercise in exercises}
    for entry in reader.entries():
        rows = wanted.get(getattr(entry.fact, "exercise", None) or "")
        if rows is not None:
            rows.append(entry)
    yield from ((exercise, entries) for exercise, entries in wanted.items() if entries)


@dataclass(frozen=True, slots=True)
class Then:
    """What one version said of an exercise, and what this one says: of the same entries, and with those since.

    `by_version` and `by_entries` are changes as (burial, what, then, now), burial "" for the exercise itself; the
    first from the same entries, the second from what was entered since: `since` names it.
    """

    version: str
    covers: int
    by_version: tuple[tuple[str, str, Any, Any], ...]
    by_entries: tuple[tuple[str, str, Any, Any], ...]
    since: tuple[tuple[str, str, str, str], ...]  # (what, about, by, why)

    @property
    def differs(self) -> bool:
        """Whether anything that was said then would now be said otherwise."""
        return bool(self.by_version or self.by_entries)


def then_and_now(reader: Reader, exercise: str) -> list[Then]:
    """What was said of an exercise by each version that kept a summary, oldest first; empty where nothing was kept."""
    kept = reader.summaries_of(exercise)
    if not kept:
        return []
    entries = list(reader.entries(exercise=exercise))
    now = _plain(made(exercise, entries).body)
    rows = []
    for old in kept:
        until = [entry for entry in entries if entry.seq <= old.covers]
        if not until:
            continue
        same = _plain(made(exercise, until).body)
        since = tuple(_since(entry for entry in entries if entry.seq > old.covers))
        rows.append(Then(old.version, old.covers, _changes(_plain(old.body), same), _changes(same, now), since))
    return rows


def _plain(body: str) -> dict[str, Any]:
    try:
        row = json.loads(body)
    except ValueError:
        row = None
    return row if isinstance(row, dict) else {UNREADABLE: "what was kept cannot be read"}


def _changes(then: dict[str, Any], now: dict[str, Any]) -> tuple[tuple[str, str, Any, Any], ...]:
    """Every value that is compared and is another one, whatever version wrote them."""
    changes = [("", key, then.get(key), now.get(key)) for key in ("state", UNREADABLE) if then.get(key) != now.get(key)]
    before, after = ({b["burial"]: b for b in row.get("burials", ())} for row in (then, now))
    for burial in sorted(before.keys() | after.keys()):
        a, b = before.get(burial, {}), after.get(burial, {})
        changes += [(burial, key, a.get(key), b.get(key)) for key in COMPARED if a.get(key) != b.get(key)]
    return tuple(changes)


def _since(entries: Iterable[Entry]) -> Iterator[tuple[str, str, str, str]]:
    for entry in entries:
        match entry.fact:
            case Corrected(change=change, about=about, by=by, why=why):
                yield (change, about, by, why)
            case StrikeRecorded(target=target, number=number):
                yield ("late-strike", f"{target}-{number}", "", "")
            case ExerciseReopened(by=by):
                yield ("reopened", entry.fact.exercise, by, "")
