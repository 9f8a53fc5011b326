"""The questions that may be asked of the ledger, and rows turned into entries."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import Connection, Select, select

from fieldctl.errors import LedgerBroken
from fieldctl.ledger.codec import decode
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.schema import entries, strikes
from fieldctl.units import HostTime, TargetId

PAGE = 512  # rows read at once: no transaction stays open while somebody looks at what was read

_COLUMNS = select(
    entries.c.seq, entries.c.kind, entries.c.host_boot, entries.c.at_us, entries.c.wall, entries.c.body, entries.c.hash
)


def page(
    connection: Connection,
    after_seq: int,
    *,
    exercise: str | None,
    target: TargetId | None,
    kinds: Collection[str] | None,
    limit: int,
) -> list[Entry]:
    """The next entries after `after_seq`, at most `limit`, in order."""
    question: Select[Any] = _COLUMNS.where(entries.c.seq > after_seq).order_by(entries.c.seq).limit(limit)
    if exercise is not None:
        question = question.where(entries.c.exercise == exercise)
    if target is not None:
        question = question.where(entries.c.target == target)
    if kinds is not None:
        question = question.where(entries.c.kind.in_(sorted(kinds)))
    return [entry_of(row) for row in connection.execute(question)]


def strike(connection: Connection, target: TargetId, boot: int, number: int) -> Entry | None:
    """The entry of a strike, None if it is not known."""
    question = _COLUMNS.join(strikes, strikes.c.seq == entries.c.seq).where(
        strikes.c.target == target, strikes.c.boot == boot, strikes.c.number == number
    )
    row = connection.execute(question).one_or_none()
    return None if row is None else entry_of(row)


def entry_of(row: Any) -> Entry:
    """An entry from (seq, kind, host_boot, at_us, wall, body, hash)."""
    seq, kind, host_boot, at_us, wall, body, digest = row
    try:
        fact, extra = decode(kind, body)
    except LedgerBroken as bad:
        raise LedgerBroken(f"Entry {seq}: {bad.what}", expected=bad.expected, remedy=bad.remedy) from bad
    return Entry(seq, fact, HostTime(host_boot, at_us), wall, digest, extra=extra)
