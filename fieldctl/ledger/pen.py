"""What one transaction writes, and where the chain stands; used by one thread at a time.

The statements are plain text: a commit of one fact then costs a third of what a built statement costs, and in virtual
time thousands of them make a drill.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from fieldctl.errors import LedgerBroken
from fieldctl.events import Fact, StrikeRecorded
from fieldctl.ledger import beside, forgetting, pages, standing, telemetry
from fieldctl.ledger.chain import entry_hash
from fieldctl.ledger.entry import GENESIS, Entry, Unknown
from fieldctl.units import HostTime, PersonId

TAIL = 32  # entries whose chain is checked at every opening; `verify` walks all of them

_ENTRY = (
    "INSERT INTO entries (seq, kind, exercise, target, host_boot, at_us, wall, body, prev, hash) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_STRIKE = "INSERT INTO strikes (target, boot, number, seq) VALUES (?, ?, ?, ?)"
_KNOWN = "SELECT seq FROM strikes WHERE target = ? AND boot = ? AND number = ?"
_SETTING = "INSERT INTO settings (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"
_PERSON = "INSERT INTO people (id, name) VALUES (?, ?) ON CONFLICT (id) DO UPDATE SET name = excluded.name"
_TAIL = "SELECT seq, kind, host_boot, at_us, wall, body, prev, hash FROM entries ORDER BY seq DESC LIMIT ?"

Draft = tuple[Fact, str, str]
"""A fact, its kind and its body: spelled before it is queued, so that what cannot be written is told to its author."""


def columns(says: Fact | Mapping[str, Any]) -> tuple[str | None, str | None]:
    """Exercise and target that a fact, or a body, is about: what the indexes hold."""
    if isinstance(says, Unknown):
        says = says.body
    if isinstance(says, Mapping):
        exercise, target = says.get("exercise"), says.get("target")
    else:
        exercise, target = getattr(says, "exercise", None), getattr(says, "target", None)
    return exercise if isinstance(exercise, str) else None, target if isinstance(target, str) else None


class Pen:
    """The connection that writes; `seq` and `hash` are the head of the chain."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.seq, self.hash = self._head()

    def begin(self) -> None:
        """Begin the transaction."""
        self.connection.exec_driver_sql("BEGIN IMMEDIATE")

    def commit(self) -> None:
        """Make it last: returns after the disk has it."""
        self.connection.commit()

    def rollback(self) -> None:
        """Take it back; the head of the chain is then not known any more."""
        self.connection.rollback()

    def facts(self, drafts: Sequence[Draft], at: HostTime, wall: str | None) -> tuple[Entry, ...]:
        """Write entries in order; a strike that is on file is not written again: its first entry stands for it."""
        execute = self.connection.exec_driver_sql
        made = []
        for fact, kind, body in drafts:
            if isinstance(fact, StrikeRecorded):
                key = (fact.target, fact.boot, fact.number)
                first = execute(_KNOWN, key).scalar()
                if first is not None:
                    made.append(self._known(*key))
                    continue
                execute(_STRIKE, (*key, self.seq + 1))
            prev, self.seq = self.hash, self.seq + 1
            self.hash = entry_hash(prev, self.seq, kind, at.boot, at.us, wall, body)
            execute(_ENTRY, (self.seq, kind, *columns(fact), at.boot, at.us, wall, body, prev, self.hash))
            made.append(Entry(self.seq, fact, at, wall, self.hash))
        return tuple(made)

    def settings(self, values: Mapping[str, Any]) -> None:
        """Write machine-owned settings, each a JSON value."""
        self.connection.exec_driver_sql(_SETTING, [(k, json.dumps(v, sort_keys=True)) for k, v in values.items()])

    def name_person(self, person: PersonId, name: str) -> None:
        """Give a person a name, or another one."""
        self.connection.exec_driver_sql(_PERSON, (person, name))

    def forget_people(self, people: Mapping[PersonId, str | None]) -> set[PersonId]:
        """Take names away, and note it with its day; who had one."""
        return forgetting.forget(self.connection, people)

    def see_people(self, days: Mapping[PersonId, str]) -> None:
        """Note the last day on which people were named."""
        forgetting.see(self.connection, days)

    def summaries(self, rows: Sequence[beside.Kept]) -> None:
        """Keep summaries of exercises."""
        beside.put(self.connection, rows)

    def throw_away_summaries(self) -> int:
        """Forget every summary; how many there were."""
        return beside.throw_away(self.connection)

    def telemetry(self, rows: list[telemetry.Telemetry]) -> None:
        """Add what targets measured."""
        telemetry.write(self.connection, rows)

    def states(self, begun: Collection[standing.Standing], ended: Collection[standing.Key]) -> None:
        """Write which states of targets began and ended."""
        standing.write(self.connection, begun, ended)

    def thin(self, now: HostTime, wall: str | None) -> int:
        """Thin what targets measured; rows taken away."""
        return telemetry.thin(self.connection, now, wall)

    def empty_log(self) -> bool:
        """Move all of the write-ahead log into the file and cut it; False where a reader stands in the way."""
        return not self.connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").all()[0][0]

    def limit_pages(self, more: int) -> None:
        """Let the file grow by so many pages and no further: a full disk, rehearsed by SQLite's own limit."""
        used = self.connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        self.connection.exec_driver_sql(f"PRAGMA max_page_count={used + more}").all()

    def _known(self, target: Any, boot: int, number: int) -> Entry:
        first = pages.strike(self.connection, target, boot, number)
        if first is None:
            raise LedgerBroken(
                f"The entry of strike {number} of target {target}, boot {boot}, is missing.",
                expected="an entry for every strike that is on file",
                remedy="Run `fieldctl ledger verify`, then restore the last good copy.",
            )
        return Entry(first.seq, first.fact, first.at, first.wall, first.hash, known=True, extra=first.extra)

    def _head(self) -> tuple[int, str]:
        rows = self.connection.exec_driver_sql(_TAIL, (TAIL,)).all()[::-1]
        kept = self.connection.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = 'entries'").scalar() or 0
        seq, digest = (rows[-1][0], rows[-1][7]) if rows else (0, GENESIS)
        wrong = None
        if kept != seq:
            wrong = f"Entries {seq + 1} to {kept} are missing at its end"
        for before, row in zip([None, *rows], rows, strict=False):
            at_start = before is None and row[0] == 1
            prev = GENESIS if at_start else row[6] if before is None else before[7]
            if row[6] != prev or row[7] != entry_hash(prev, *row[:6]):
                wrong = f"Entry {row[0]} is not what was written"
                break
        if wrong:
            raise LedgerBroken(
                f"The chain of the ledger does not hold. {wrong}.",
                expected="each entry to follow from the one before",
                remedy="Run `fieldctl ledger verify`, then restore the last good copy. Nothing may send.",
            )
        return seq, digest
