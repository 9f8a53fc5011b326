"""Some values of many facts in one go, for whoever looks at a whole season at once: no fact is built.

    pieces(connection, {StrikeRecorded: ("features[0]", "rule")}) -> [Piece(kind, target, …, values)]

One pass over the entries; SQLite takes the values out of the bodies, all of them together are read as JSON once. A
value that a body lacks is None.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection

from fieldctl.events import Fact


def plain_rows(connection: Connection, question: str) -> list[tuple[Any, ...]]:
    """All rows as plain tuples: with tens of thousands SQLAlchemy's own take a third as long again as SQLite itself."""
    raw = connection.connection.driver_connection
    assert raw is not None
    rows: list[tuple[Any, ...]] = raw.execute(question).fetchall()
    return rows


class Piece(NamedTuple):
    """Some values of one entry, in the order in which they were asked for."""

    kind: str
    target: str | None
    host_boot: str
    at_us: int
    wall: str | None
    values: list[Any]


def pieces(connection: Connection, wanted: Mapping[type[Fact], Sequence[str]]) -> list[Piece]:
    """Of every entry of these kinds, in order, the values at these paths of its body ("features[0]", "picks")."""
    cases = " ".join(
        f"WHEN '{kind.__name__}' THEN json_extract(body, {', '.join(_path(path) for path in (*paths, ''))})"
        for kind, paths in wanted.items()
    )
    names = ", ".join(f"'{kind.__name__}'" for kind in wanted)
    rows = plain_rows(
        connection,
        f"SELECT kind, target, host_boot, at_us, wall, CASE kind {cases} END FROM entries "
        f"WHERE kind IN ({names}) ORDER BY seq",
    )
    values = json.loads(f"[{','.join([row[5] for row in rows])}]")
    return [
        Piece(kind, target, boot, at_us, wall, said[:-1])
        for (kind, target, boot, at_us, wall, _), said in zip(rows, values, strict=True)
    ]


def _path(path: str) -> str:
    """A path as SQL has it; the empty one, which nothing has, makes of a single value a list of two."""
    return f"'$.{path}'" if path else "'$.\"\"'"
