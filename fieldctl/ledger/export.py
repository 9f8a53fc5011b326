"""The ledger as text for other programs: JSON Lines, whole or one exercise, and the strikes as CSV.

JSON Lines: a head (schema, what it holds), one object an entry with its body as it is on file, an end with their
number. Read back, bodies and hashes are checked. Names of people are left out unless asked for.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from fieldctl.errors import BadInput, LedgerBroken
from fieldctl.events import StrikeRecorded
from fieldctl.ledger import pages
from fieldctl.ledger.chain import entry_hash
from fieldctl.ledger.codec import canonical
from fieldctl.ledger.entry import GENESIS, Entry
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.schema import entries
from fieldctl.tables import csv_line
from fieldctl.units import PersonId

SCHEMA = 1
WHAT = "fieldctl ledger"
STRIKE_COLUMNS = (
    "seq",
    "written",
    "exercise",
    "burial",
    "target",
    "boot",
    "number",
    "ticks_us",
    "host_boot",
    "at_us",
    "plus_minus_us",
    "taken_for",
    "rule",
    "link",
    "late",
    "features",
)


@dataclass(frozen=True, slots=True)
class Head:
    """The first line: one exercise or (None) the whole ledger, and names where they were asked for."""

    schema: int
    exercise: str | None
    names: Mapping[PersonId, str]


def export_lines(reader: Reader, exercise: str | None = None, *, names: bool = False) -> Iterator[str]:
    """The ledger as JSON Lines, each with its line feed; works beside a running writer."""
    head: dict[str, Any] = {"what": WHAT, "schema": SCHEMA, "exercise": exercise}
    if names:
        head["names"] = reader.names()
    count, after, last = 0, 0, reader.head()[0]  # what is written meanwhile is for the next export
    yield canonical(head) + "\n"
    while True:
        question = select(entries).where(entries.c.seq > after, entries.c.seq <= last).order_by(entries.c.seq)
        if exercise is not None:
            question = question.where(entries.c.exercise == exercise)
        with reader.connection() as connection:
            rows = connection.execute(question.limit(pages.PAGE)).all()
        for row in rows:
            yield _line(row)
        count += len(rows)
        if len(rows) < pages.PAGE:
            break
        after = rows[-1].seq
    yield canonical({"end": count}) + "\n"


def load_lines(lines: Iterable[str]) -> tuple[Head, Iterator[Entry]]:
    """Read an export back; BadInput says that it is none, LedgerBroken names the entry that is not what was written."""
    source = iter(lines)
    head = _object(next(source, ""))
    if head.get("what") != WHAT or head.get("schema") != SCHEMA:
        raise BadInput(
            f"This is not an export that can be read here ({head.get('what')!r}, schema {head.get('schema')!r}).",
            expected=f"what {WHAT!r}, schema {SCHEMA}",
            remedy="Give a file that `fieldctl ledger export` of this version wrote.",
        )
    names = {PersonId(person): name for person, name in head.get("names", {}).items()}
    return Head(SCHEMA, head["exercise"], names), _entries(source, whole=head["exercise"] is None)


def strikes_csv(reader: Reader, exercise: str | None = None) -> Iterator[str]:
    """The strikes as CSV lines with a heading; times in microseconds of host boot and of the target's own ticks."""
    yield csv_line(STRIKE_COLUMNS)
    for entry in reader.entries(exercise=exercise, kinds=(StrikeRecorded,)):
        fact = entry.fact
        if isinstance(fact, StrikeRecorded):
            yield csv_line(
                (
                    entry.seq,
                    entry.wall,
                    fact.exercise,
                    fact.burial,
                    fact.target,
                    fact.boot,
                    fact.number,
                    fact.ticks,
                    fact.at.at.boot,
                    fact.at.at.us,
                    fact.at.plus_minus_us,
                    fact.taken_for,
                    fact.rule,
                    fact.link,
                    int(fact.late),
                    " ".join(map(str, fact.features)),
                )
            )


def _line(row: Any) -> str:
    try:
        body = json.loads(row.body)
    except ValueError as bad:
        raise _broken(row.seq, str(bad)) from bad
    line = {"seq": row.seq, "kind": row.kind, "host_boot": row.host_boot, "at_us": row.at_us, "wall": row.wall}
    return canonical({**line, "body": body, "prev": row.prev, "hash": row.hash}) + "\n"


def _entries(lines: Iterator[str], *, whole: bool) -> Iterator[Entry]:
    count, head = 0, GENESIS
    for text in lines:
        line = _object(text)
        if "end" in line:
            if line["end"] != count:
                raise _broken(count, f"{line['end']} entries were written, {count} are here")
            return
        try:
            seq, kind, boot, at_us, wall = (line[key] for key in ("seq", "kind", "host_boot", "at_us", "wall"))
            body, prev, digest = canonical(line["body"]), line["prev"], line["hash"]
        except KeyError as missing:
            raise _broken(count + 1, f"its line lacks {missing}") from missing
        if digest != entry_hash(prev, seq, kind, boot, at_us, wall, body):
            raise _broken(seq, "it is not what was written")
        if whole and (prev != head or seq != count + 1):
            raise _broken(seq, "it does not follow from the one before")
        count, head = count + 1, digest
        yield pages.entry_of((seq, kind, boot, at_us, wall, body, digest))
    raise _broken(count, "the export ends after it, without its last line")


def _object(text: str) -> dict[str, Any]:
    try:
        value = json.loads(text)
    except ValueError as bad:
        value = bad
    if not isinstance(value, dict):
        raise BadInput(
            f"A line of the export cannot be read: {text[:80]!r}.",
            expected="one JSON object a line",
            remedy="Export once more: `fieldctl ledger export`.",
        )
    return value


def _broken(seq: int, why: str) -> LedgerBroken:
    return LedgerBroken(
        f"Entry {seq} of the export: {why}.",
        expected="each entry as it was written",
        remedy="Export once more: `fieldctl ledger export`; if it stays, run `fieldctl ledger verify`.",
    )
