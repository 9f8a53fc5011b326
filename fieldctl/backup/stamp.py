"""When the last backup was made: a small file beside the ledger, which nobody needs but whoever looks after it."""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

SUFFIX = ".backup"


@dataclass(frozen=True, slots=True)
class Stamp:
    """The last backup: when (None where no clock was set), up to which entry with which hash, and the file's name."""

    made: str | None
    entries: int
    head: str
    file: str


def stamp_file(ledger: Path) -> Path:
    """Where it lies."""
    return ledger.with_name(ledger.name + SUFFIX)


def write(ledger: Path, stamp: Stamp) -> None:
    """Put the stamp of a backup in the place of the one before; OSError where it cannot be written."""
    path = stamp_file(ledger)
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        json.dump(asdict(stamp), file)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)


def read(ledger: Path) -> Stamp | None:
    """The stamp of the last backup; None without one, or where it is not readable as one."""
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        row = json.loads(stamp_file(ledger).read_text(encoding="utf-8"))
        made = None if row["made"] is None else str(row["made"])
        return Stamp(made, int(row["entries"]), str(row["head"]), str(row["file"]))
    return None
