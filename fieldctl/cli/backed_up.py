"""How old the last backup is, for doctor."""

from __future__ import annotations

import contextlib
import datetime
import sqlite3
from pathlib import Path

from fieldctl.backup import stamp
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import FieldctlError

OLD_DAYS = 7  # whoever looks after a field comes once a week
REMEDY = "Make one, and keep it off this machine: fieldctl backup create --to DIR"


def last_backup(folder: Path, now: datetime.datetime) -> tuple[bool, str, str]:
    """Whether the last backup is recent enough, what was seen, and the remedy."""
    path = ledger_path(folder)
    if not path.is_file():
        return True, "no log yet", ""
    last = stamp.read(path)
    if last is None:
        return False, "none was ever made", REMEDY
    since = _entries(path) - last.entries
    if since < 0:
        return False, f"{last.file} holds more entries than the log", f"Look at both: fieldctl ledger verify. {REMEDY}"
    seen = f"{last.file}, {since} entries ago"
    if last.made is None:  # a base station may have no clock: then the log alone tells
        return since == 0, f"{seen}, made without a clock", REMEDY
    days = (now - datetime.datetime.fromisoformat(last.made)).total_seconds() / 86_400
    return since == 0 or 0 <= days <= OLD_DAYS, f"{seen}, {max(0.0, days):.0f} days old", REMEDY


def _entries(path: Path) -> int:
    from fieldctl.ledger.reader import Reader

    with contextlib.suppress(FieldctlError, sqlite3.Error), Reader.read(path) as reader:
        return reader.head()[0]
    return 0
