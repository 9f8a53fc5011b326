"""The ledger for whoever only reads: works beside a running writer, from any thread."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, select
from sqlalchemy.exc import DBAPIError

from fieldctl.events import Fact
from fieldctl.ledger import beside, forgetting, opening, pages, standing
from fieldctl.ledger.entry import GENESIS, Entry
from fieldctl.ledger.failing import in_words
from fieldctl.ledger.pieces import Piece, Row, pieces, rows_of
from fieldctl.ledger.schema import entries, people, settings, telemetry
from fieldctl.ledger.telemetry import HourRow, Telemetry, hours
from fieldctl.units import HostTime, PersonId, TargetId


class Reader:
    """Entries, people, settings and telemetry of one ledger; nothing here writes. `where` names it in messages."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine = engine
        self.where = where
        self._no_name: frozenset[PersonId] = frozenset()  # forgotten, whatever this file still says

    @classmethod
    def read(cls, path: str | Path) -> Reader:
        """Open a file for reading; NotFound, Refused (older or newer) or LedgerBroken say what is in the way."""
        reader = Reader(opening.reading_engine(Path(path)), str(path))
        reader._no_name = frozenset(forgetting.read_side_file(Path(path)))
        try:
            with reader.connection() as connection:
                opening.check_readable(connection, str(path))
        except BaseException:
            reader.close()
            raise
        return reader

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def entries(
        self,
        after_seq: int = 0,
        exercise: str | None = None,
        kinds: Collection[str | type[Fact]] | None = None,
        limit: int | None = None,
        target: TargetId | None = None,
    ) -> Iterator[Entry]:
        """Entries after a number, in order, of one exercise, one target, some kinds (classes or their names)."""
        names = None if kinds is None else {kind if isinstance(kind, str) else kind.__name__ for kind in kinds}
        left = limit
        while left is None or left > 0:
            size = pages.PAGE if left is None else min(left, pages.PAGE)
            with self.connection() as connection:
                found = pages.page(connection, after_seq, exercise=exercise, target=target, kinds=names, limit=size)
            yield from found
            if len(found) < size:
                return
            after_seq = found[-1].seq
            left = None if left is None else left - size

    def facts(
        self,
        after_seq: int = 0,
        exercise: str | None = None,
        kinds: Collection[str | type[Fact]] | None = None,
        limit: int | None = None,
        target: TargetId | None = None,
    ) -> Iterator[Fact]:
        """As `entries`, the facts alone."""
        return (entry.fact for entry in self.entries(after_seq, exercise, kinds, limit, target))

    def pieces(self, wanted: Mapping[type[Fact], Sequence[str]], since: str = "") -> list[Piece]:
        """Some values of every entry of these kinds, from a wall label on; `pieces` says how paths are written."""
        with self.connection() as connection:
            return pieces(connection, wanted, since)

    def rows_of(self, kind: type[Fact], paths: Sequence[str], since: str = "") -> list[Row]:
        """The same of one kind with plain values, where there are very many."""
        with self.connection() as connection:
            return rows_of(connection, kind, paths, since)

    def strike(self, target: TargetId, boot: int, number: int) -> Entry | None:
        """The entry of a strike, None if it is not known."""
        with self.connection() as connection:
            return pages.strike(connection, target, boot, number)

    def head(self) -> tuple[int, str]:
        """Number and hash of the last entry: written down elsewhere, it proves later that nothing was cut off."""
        with self.connection() as connection:
            row = connection.execute(
                select(entries.c.seq, entries.c.hash).order_by(entries.c.seq.desc()).limit(1)
            ).first()
        return (0, GENESIS) if row is None else (row[0], row[1])

    def names(self) -> dict[PersonId, str]:
        """The names of people by their ids."""
        with self.connection() as connection:
            rows = connection.execute(select(people.c.id, people.c.name))
            return {PersonId(row[0]): row[1] for row in rows if row[0] not in self._no_name}

    def forgotten(self) -> dict[PersonId, str | None]:
        """Who was forgotten, by id, and on which day where a wall clock was set."""
        with self.connection() as connection:
            return {**dict.fromkeys(self._no_name), **forgetting.forgotten(connection)}

    def people_seen(self) -> dict[PersonId, str]:
        """The last day on which each person was named."""
        with self.connection() as connection:
            return forgetting.seen(connection)

    def last_entries(self) -> dict[str, int]:
        """The number of the last entry of every exercise."""
        with self.connection() as connection:
            return beside.last_entries(connection)

    def summaries(self, version: str) -> list[beside.Kept]:
        """Every summary that one version of the program made."""
        with self.connection() as connection:
            return beside.of_version(connection, version)

    def summaries_of(self, exercise: str) -> list[beside.Kept]:
        """What each version of the program said of one exercise."""
        with self.connection() as connection:
            return beside.of_exercise(connection, exercise)

    def setting(self, key: str, default: Any = None) -> Any:
        """A machine-owned setting, or the default."""
        with self.connection() as connection:
            text = connection.execute(select(settings.c.value).where(settings.c.key == key)).scalar()
        return default if text is None else json.loads(text)

    def telemetry(self, target: TargetId | None = None) -> list[Telemetry]:
        """What targets measured, in the order of host boot labels and minutes; all targets unless one is named."""
        table = telemetry.c
        question = select(telemetry).order_by(table.target, table.host_boot, table.minute)
        if target is not None:
            question = question.where(table.target == target)
        with self.connection() as connection:
            return [
                Telemetry(
                    TargetId(row.target),
                    HostTime(row.host_boot, row.at_us),
                    row.wall,
                    row.volts_rest,
                    row.volts_load,
                    row.temperature_c,
                    row.noise,
                    json.loads(row.extra),
                )
                for row in connection.execute(question)
            ]

    def states(self) -> list[standing.Standing]:
        """In which states each target was last, and since when."""
        with self.connection() as connection:
            return standing.read(connection)

    def telemetry_hours(self) -> list[HourRow]:
        """The first row of every hour of every target, in no order: what thinning keeps for two winters."""
        with self.connection() as connection:
            return hours(connection)

    @contextlib.contextmanager
    def connection(self) -> Iterator[Connection]:
        """A connection to ask questions of, for the modules of this package; LedgerBroken, LedgerFailed in words."""
        try:
            with self._engine.connect() as connection:
                yield connection
        except (DBAPIError, sqlite3.Error) as bad:
            raise in_words(bad, self.where) from bad
