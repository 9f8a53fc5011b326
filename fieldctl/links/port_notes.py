"""Who holds a serial port: a small note beside the lock, so that the second opener can be told.

The lock itself is `flock` on the device (pyserial's `exclusive`), which dies with its holder. The note is
text for people: one file for each holder in a folder that all users share, itself locked while it is
true. A note that nobody locks is stale, whatever process number it names, and counts for nothing.
A port held by a program that leaves no note is looked up in /proc, as far as the system lets us see.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

NOTE_MAX = 1024  # bytes read of a note: anybody may write into a shared folder
SHARED_FOLDER = Path(
    "/run/lock"
)  # Debian: writable by all, sticky, emptied at boot; the customary place for port locks


@dataclass(frozen=True, slots=True)
class Holder:
    """Who has a port: process number, and the site (or the program's name, where there is no note)."""

    pid: int
    site: str
    program: str = ""

    def __str__(self) -> str:
        if self.site:
            return f"fieldctl, process {self.pid}, site {self.site}"
        return f"process {self.pid} ({self.program})"


def notes_folder() -> Path:
    """Where notes lie when nothing else is asked for: shared by all users of this machine."""
    if os.access(SHARED_FOLDER, os.W_OK | os.X_OK):
        return SHARED_FOLDER
    return Path(tempfile.gettempdir())


def _stem(device_number: int) -> str:
    """By number, not by path: /dev/serial/by-id/... and /dev/ttyUSB0 are the same port."""
    return f"fieldctl-port-{os.major(device_number)}-{os.minor(device_number)}"


class PortNote:
    """A note that is true while this object holds it; `written` is False where the folder does not allow one."""

    def __init__(self, device_number: int, site: str, folder: Path) -> None:
        self._path = folder / f"{_stem(device_number)}.{os.getpid()}.json"
        self._fd = -1
        with contextlib.suppress(OSError):  # the note is a courtesy; the lock on the device is what counts
            self._fd = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            os.ftruncate(self._fd, 0)
            os.write(self._fd, json.dumps({"pid": os.getpid(), "site": site}).encode())

    @property
    def written(self) -> bool:
        """Whether the note could be left."""
        return self._fd >= 0

    def remove(self) -> None:
        """Take the note away; to be called while the device is still locked."""
        if self._fd >= 0:
            with contextlib.suppress(OSError):
                self._path.unlink()
            os.close(self._fd)
            self._fd = -1


def holder_of(port: str, folder: Path) -> Holder | None:
    """Who holds `port`, by a true note or by /proc; None when nobody can be named."""
    try:
        number = os.stat(port).st_rdev
    except OSError:
        return None
    for path in sorted(folder.glob(f"{_stem(number)}.*.json")):
        holder = _read_if_true(path)
        if holder is not None:
            return holder
    return _from_proc(number)


def _read_if_true(path: Path) -> Holder | None:
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK)
    except OSError:
        return None
    try:
        try:
            fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            pass  # locked: its writer lives
        else:
            return None
        note = json.loads(os.read(fd, NOTE_MAX))
        return Holder(int(note["pid"]), str(note["site"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    finally:
        os.close(fd)


def _from_proc(device_number: int) -> Holder | None:
    for folder in Path("/proc").glob("[0-9]*/fd"):
        try:
            entries = list(folder.iterdir())
        except OSError:
            continue  # another user's process, or gone since
        for entry in entries:
            try:
                status = os.stat(entry)
                if status.st_rdev == device_number:
                    program = (folder.parent / "comm").read_text(errors="replace").strip()
                    return Holder(int(folder.parent.name), "", program)
            except OSError:
                continue
    return None
