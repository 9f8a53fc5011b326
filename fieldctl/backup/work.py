"""A folder of one's own for what lies open for a moment: mode 0700, locked, gone afterwards.

The kernel drops the lock with its process, so what a killed one left is known as such, and is emptied by the next.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from fieldctl.errors import InUse

MAKING = ".backup-work"
RESTORING = ".restoring"
NAMES = frozenset({MAKING, RESTORING})
NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


@contextlib.contextmanager
def work_folder(where: Path, name: str) -> Iterator[Path]:
    """The folder `name` in `where`, empty; InUse while another process has it, OSError where it cannot be made."""
    path = where / name
    path.mkdir(mode=0o700, exist_ok=True)
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InUse(
                f"Somebody else works in {path} just now.",
                expected="one backup of a site at a time",
                remedy="Wait until that one is done.",
            ) from None
        os.fchmod(handle, 0o700)
        _empty(path)
        try:
            yield path
        finally:
            shutil.rmtree(path, ignore_errors=True)
    finally:
        os.close(handle)


def _empty(path: Path) -> None:
    for each in path.iterdir():
        if each.is_dir() and not each.is_symlink():
            shutil.rmtree(each)
        else:
            each.unlink()
