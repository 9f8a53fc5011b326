"""Walks the chain from the first entry to the last, and names what is not as it was written.

What the chain alone cannot show, a tail cut off with care, shows against a head (number and hash) that was noted
elsewhere: on a report, in a backup's label.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select
from sqlalchemy.exc import DBAPIError

from fieldctl.errors import LedgerBroken
from fieldctl.ledger.chain import entry_hash
from fieldctl.ledger.codec import parse
from fieldctl.ledger.entry import GENESIS
from fieldctl.ledger.pen import columns
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.schema import entries

FLAWS_MAX = 20  # named one by one; the rest is counted


@dataclass(frozen=True, slots=True)
class Flaw:
    """One thing that is wrong: at which entry (0: the file), what in a stable word, and in words."""

    seq: int
    what: str  # damaged, gap, altered, unlinked, unreadable, mislaid, strike-key, cut-off, other-head
    says: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a walk found: entries seen, the head, the first flaws by entry number, and how many `more` there are."""

    entries: int
    head: tuple[int, str]
    flaws: tuple[Flaw, ...]
    more: int

    @property
    def ok(self) -> bool:
        """Whether everything is as it was written."""
        return not self.flaws

    def raise_if_broken(self) -> None:
        """LedgerBroken with the first flaw."""
        if self.flaws:
            others = len(self.flaws) - 1 + self.more
            raise LedgerBroken(
                self.flaws[0].says + (f" ({others} more flaws.)" if others else ""),
                expected="each entry as it was written, following from the one before",
                remedy="Keep the file as it is, and restore the last good copy.",
            )


def verify(reader: Reader, noted: tuple[int, str] | None = None) -> Verdict:
    """Walk all entries in one snapshot; a running writer is not held up. `noted` is a head that was noted earlier."""
    with reader.connection() as connection:
        connection.exec_driver_sql("BEGIN")
        try:
            return _walk(connection, noted)
        finally:
            connection.rollback()


def _walk(connection: Connection, noted: tuple[int, str] | None) -> Verdict:
    flaws = list(_check_file(connection))
    seen, seq, head = 0, 0, GENESIS
    noted_hash = GENESIS if noted is not None and noted[0] == 0 else None
    try:
        for row in connection.execution_options(yield_per=512).execute(select(entries).order_by(entries.c.seq)):
            flaws += _entry(row, seq, head)
            seen, seq, head = seen + 1, row.seq, row.hash
            if noted is not None and seq == noted[0]:
                noted_hash = head
        flaws += _end(connection, seq)
        flaws += _strikes(connection)
    except DBAPIError as bad:
        flaws.append(Flaw(seq + 1, "damaged", f"The file cannot be read after entry {seq}: {bad.orig}."))
    if noted is not None and noted_hash != noted[1]:
        flaws.append(Flaw(noted[0], "other-head", f"Entry {noted[0]} is missing or another than the one noted."))
    flaws.sort(key=lambda flaw: flaw.seq)
    return Verdict(seen, (seq, head), tuple(flaws[:FLAWS_MAX]), max(0, len(flaws) - FLAWS_MAX))


def _check_file(connection: Connection) -> Iterator[Flaw]:
    try:
        for (says,) in connection.exec_driver_sql(f"PRAGMA quick_check({FLAWS_MAX})").all():
            if says != "ok":
                yield Flaw(0, "damaged", f"The file is damaged: {says}.")
    except DBAPIError as bad:
        yield Flaw(0, "damaged", f"The file is damaged: {bad.orig}.")


def _entry(row: Any, seq: int, head: str) -> Iterator[Flaw]:
    if row.seq != seq + 1:
        gap = f"Entry {seq + 1} is" if row.seq == seq + 2 else f"Entries {seq + 1} to {row.seq - 1} are"
        yield Flaw(seq + 1, "gap", f"{gap} missing.")
    elif row.prev != head:
        yield Flaw(row.seq, "unlinked", f"Entry {row.seq} does not follow from entry {seq}.")
    if row.hash != entry_hash(row.prev, row.seq, row.kind, row.host_boot, row.at_us, row.wall, row.body):
        yield Flaw(row.seq, "altered", f"Entry {row.seq} ({row.kind}) is not what was written.")
    try:
        body = parse(row.kind, row.body)
    except LedgerBroken as bad:
        yield Flaw(row.seq, "unreadable", f"Entry {row.seq}: {bad.what}")
        return
    if (row.exercise, row.target) != columns(body):
        yield Flaw(row.seq, "mislaid", f"Entry {row.seq} is filed under another exercise or target than it names.")


def _end(connection: Connection, seq: int) -> Iterator[Flaw]:
    kept = connection.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = 'entries'").scalar() or 0
    if kept != seq:
        yield Flaw(seq + 1, "cut-off", f"Entries {seq + 1} to {kept} are missing at the end.")


def _strikes(connection: Connection) -> Iterator[Flaw]:
    lost = connection.exec_driver_sql(
        # a join would go through all strikes for each entry: they have no index by number
        "SELECT seq FROM entries WHERE kind = 'StrikeRecorded' EXCEPT SELECT seq FROM strikes "
        "UNION SELECT strikes.seq FROM strikes LEFT JOIN entries ON strikes.seq = entries.seq "
        "WHERE entries.seq IS NULL OR entries.kind <> 'StrikeRecorded' OR entries.target IS NOT strikes.target "
        "OR json_extract(CASE WHEN json_valid(entries.body) THEN entries.body END, '$.boot') IS NOT strikes.boot "
        "OR json_extract(CASE WHEN json_valid(entries.body) THEN entries.body END, '$.number') IS NOT strikes.number"
    )
    for (seq,) in lost:
        yield Flaw(seq, "strike-key", f"Entry {seq} and the list of strikes do not agree.")
