"""The ledger whole and at one moment, while its controller goes on writing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from fieldctl.errors import FieldctlError, LedgerBroken, Refused
from fieldctl.ledger.opening import reading_engine
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.verify import verify


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy of a ledger holds; `flaws` are those of the chain, in words."""

    entries: int
    head: str
    last_entry: str | None
    flaws: tuple[str, ...]


def copy_ledger(source: Path, to: Path) -> Copied:
    """Copy a ledger by SQLite's own VACUUM INTO, one read transaction; then walk the copy's chain.

    The source is opened read-only, and its writer is not held up. LedgerBroken: it is too damaged to be copied.
    Refused: there is no room, or it is of an older version.
    """
    engine = reading_engine(source)
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("VACUUM INTO ?", (str(to),))
    except DBAPIError as bad:
        raise _in_words(bad, source, to) from bad
    finally:
        engine.dispose()
    with Reader.read(to) as reader:
        verdict = verify(reader)
        with reader.connection() as connection:
            wall = connection.exec_driver_sql("SELECT wall FROM entries ORDER BY seq DESC LIMIT 1").scalar()
    flaws = [flaw.says for flaw in verdict.flaws] + ([f"And {verdict.more} more."] if verdict.more else [])
    return Copied(verdict.head[0], verdict.head[1], wall, tuple(flaws))


def _in_words(bad: DBAPIError, source: Path, to: Path) -> FieldctlError:
    name = getattr(bad.orig, "sqlite_errorname", "")
    if name.startswith(("SQLITE_FULL", "SQLITE_IOERR")):
        return Refused(
            f"The log could not be copied into {to.parent}: {bad.orig}.",
            expected="as much room again as the log takes",
            remedy="Make room on that disk, and try again. Nothing is left of this try.",
        )
    return LedgerBroken(
        f"The log {source} could not be copied: {bad.orig}.",
        expected="a whole SQLite file",
        remedy="Keep the file as it is, and look at it: fieldctl ledger verify.",
    )
