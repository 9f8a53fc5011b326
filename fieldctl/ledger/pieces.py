"""Some values of many facts in one go, for whoever looks at a whole season at once: no fact is built.

    pieces(connection, {CallMade: ("exercise", "call")}, since) -> [Piece(kind, target, …, values)]
    rows_of(connection, StrikeRecorded, ("features[0]", "rule"), since) -> [(target, host_boot, at_us, wall, value, …)]

Each is one pass over the entries, from a wall label on (those without a label are always among them). SQLite takes the
values out of the bodies. Of `pieces` all together are read as JSON once, so that a value may be a list or a mapping;
`rows_of` is for plain values of one kind of which there are tens of thousands. A value that a body lacks is None.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection

from fieldctl.events import Fact

Row = tuple[Any, ...]


class Piece(NamedTuple):
    """Some values of one entry, in the order in which they were asked for."""

    kind: str
    target: str | None
    host_boot: str
    at_us: int
    wall: str | None
    values: list[Any]


def plain_rows(connection: Connection, question: str, values: Sequence[Any] = ()) -> list[Row]:
    """All rows as plain tuples: with tens of thousands SQLAlchemy's own take a third as long again as SQLite itself."""
    raw = connection.connection.driver_connection
    assert raw is not None
    rows: list[Row] = raw.execute(question, values).fetchall()
    return rows


def pieces(connection: Connection, wanted: Mapping[type[Fact], Sequence[str]], since: str = "") -> list[Piece]:
    """Of every entry of these kinds, in order, the values at these paths of its body ("features[0]", "picks")."""
    cases = " ".join(
        f"WHEN '{kind.__name__}' THEN json_extract(body, {', '.join(map(_path, (*paths, '')))})"
        for kind, paths in wanted.items()
    )
    names = ", ".join(f"'{kind.__name__}'" for kind in wanted)
    rows = plain_rows(
        connection,
        f"SELECT kind, target, host_boot, at_us, wall, CASE kind {cases} END FROM entries "
        f"WHERE kind IN ({names}) AND coalesce(wall, '~') >= ? ORDER BY seq",
        (since,),
    )
    values = json.loads(f"[{','.join([row[5] for row in rows])}]")
    return [
        Piece(kind, target, boot, at_us, wall, said[:-1])
        for (kind, target, boot, at_us, wall, _), said in zip(rows, values, strict=True)
    ]


def rows_of(connection: Connection, kind: type[Fact], paths: Sequence[str], since: str = "") -> list[Row]:
    """Target, host boot, microseconds of it, wall label and the values at these paths, of every entry of one kind."""
    values = ", ".join(f"json_extract(body, {_path(path)})" for path in paths)
    return plain_rows(
        connection,
        f"SELECT target, host_boot, at_us, wall, {values} FROM entries "
        f"WHERE kind = '{kind.__name__}' AND coalesce(wall, '~') >= ? ORDER BY seq",
        (since,),
    )


def _path(path: str) -> str:
    """A path as SQL has it; the empty one, which nothing has, makes of a single value a list of two."""
    return f"'$.{path}'" if path else "'$.\"\"'"
