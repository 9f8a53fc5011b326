"""One writer only: an advisory lock on a side file, with a note about who holds it.

The kernel drops the lock when its process ends, however it ends; the note that is then left means nothing.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from pathlib import Path

from fieldctl.errors import InUse
from fieldctl.ledger.failing import in_words


class WriterLock:
    """Held from construction to `release`; InUse says who has it, LedgerFailed that the side file cannot be made."""

    def __init__(self, ledger: Path, who: str) -> None:
        self.path = ledger.with_name(ledger.name + ".lock")
        try:
            self._fd = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as bad:
            raise in_words(bad, str(ledger)) from bad
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as taken:
            holder = _note(self._fd)
            os.close(self._fd)
            raise InUse(
                f"The ledger {ledger} is being written by {holder}.",
                expected="one writer at a time",
                remedy="Stop that one first, or give your command to it: the other commands use its control socket.",
            ) from taken
        self._write({"pid": os.getpid(), "who": who})

    def release(self) -> None:
        """Let go; the side file stays, empty."""
        with contextlib.suppress(OSError):
            os.ftruncate(self._fd, 0)
        os.close(self._fd)

    def _write(self, note: dict[str, object]) -> None:
        with contextlib.suppress(OSError):  # a full disk: the lock holds without its note
            os.ftruncate(self._fd, 0)
            os.pwrite(self._fd, json.dumps(note).encode(), 0)


def _note(fd: int) -> str:
    try:
        note = json.loads(os.pread(fd, 4096, 0))
        return f"{note['who']} (process {note['pid']})"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process that left no note"
