"""Putting a backup back, onto an empty folder and never over a site.

All of it is opened and checked in a folder of its own, `.restoring`, in the place where it is to lie; only then is it
moved up, site.toml last, without which no controller starts. Its ledger gets one more entry: that it was restored. A
controller that finds it interrupts what went on, and steers no target until a person raises its generation.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fieldctl.backup.archive import Told, nobody
from fieldctl.backup.gathering import FORGOTTEN, LEDGER
from fieldctl.backup.manifest import Manifest
from fieldctl.backup.verify import check_ledger, check_site, unpack
from fieldctl.backup.work import RESTORING, work_folder
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import (
    AllOffOrdered,
    AllOffReleased,
    BackupRestored,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
)
from fieldctl.ledger import forgetting
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import SITE_FILE
from fieldctl.units import HostTime, PersonId

MAY_BE_THERE = frozenset({FORGOTTEN, RESTORING, "lost+found"})  # a folder that holds no more is empty
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_GOES_ON = (ExerciseStarted, ExerciseResumed, ExerciseReopened)
_IS_OVER = (ExerciseEnded, ExerciseInterrupted)

Forgotten = Mapping[PersonId, str | None]


@dataclass(frozen=True, slots=True)
class Restored:
    """A site that was put back: what lay in the backup, what does not hold, and what its next controller meets."""

    folder: Path
    manifest: Manifest
    flaws: tuple[str, ...]
    forgotten: int  # people without a name here: forgotten before the backup or since
    forgotten_again: int  # of these, whose name lay in the backup
    interrupted: tuple[str, ...]
    all_off: bool


def restore(
    file: Path,
    to: Path,
    passphrase: str,
    *,
    at: HostTime,
    wall: str | None,
    forgotten: Path | None = None,
    told: Told = nobody,
) -> Restored:
    """Put a backup back into the folder `to`.

    `forgotten`: a `ledger.sqlite.forgotten` of later than the backup; one that lies in `to`, or beside the backup, is
    found by itself. Refused for a folder that is not empty; the rest as for `verify.unpack`. Nothing is left in `to`
    when it fails.
    """
    _empty(to)
    since = _forgotten_since(file, to, forgotten)
    made = not to.exists()
    try:
        to.mkdir(mode=0o700, parents=True, exist_ok=True)
        with work_folder(to, RESTORING) as work:
            checked = unpack(file, passphrase, work, told)
            label = checked.manifest
            flaws = (*checked.flaws, *check_site(label, work), *check_ledger(label, work))
            if not (work / SITE_FILE).is_file():
                raise NotFound("The backup holds no site.toml.", remedy="Take another backup.")
            interrupted, all_off, again, count = _mark(work / LEDGER, label, since, at, wall)
            _move_up(work, to)
        return Restored(to, label, flaws, count, again, interrupted, all_off)
    except BaseException as bad:
        if made:
            with contextlib.suppress(OSError):
                to.rmdir()
        if isinstance(bad, OSError):
            raise _in_words(bad, to) from bad
        raise


def _empty(to: Path) -> None:
    if to.is_dir():
        there = sorted({each.name for each in to.iterdir()} - MAY_BE_THERE)
    else:
        there = [to.name] if to.exists() or to.is_symlink() else []
    if there:
        raise Refused(
            f"{to} is not empty: {', '.join(there[:5])}{' …' if len(there) > 5 else ''}.",
            expected="a new or empty folder: a backup is never put over anything",
            remedy="Name another folder. The old one stays as it is.",
        )


def _forgotten_since(file: Path, to: Path, given: Path | None) -> Forgotten:
    """Everybody who was forgotten, from each list that is given or found."""
    found: dict[PersonId, str | None] = {}
    for path in (given, to / FORGOTTEN, file.parent / FORGOTTEN):
        if path is not None and (path == given or path.is_file()):
            found = {**_read_list(path), **found}
    return found


def _read_list(path: Path) -> Forgotten:
    """A list of forgotten people; BadInput for another kind of file: an id taken wrongly loses a name for good."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as bad:
        raise NotFound(f"The list {path} cannot be read.", remedy=f"Name a file {FORGOTTEN}.") from bad
    rows = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not all(row[0].startswith("p-") and all(_DAY.fullmatch(day) for day in row[1:]) for row in rows):
        raise BadInput(
            f"{path} is no list of forgotten people.",
            expected="lines such as: p-0123456789 2026-02-01",
            remedy=f"Name the file {FORGOTTEN} of the old site's folder.",
        )
    return {PersonId(row[0]): row[1] if len(row) > 1 else None for row in rows}


def _mark(
    ledger: Path, label: Manifest, since: Forgotten, at: HostTime, wall: str | None
) -> tuple[tuple[str, ...], bool, int, int]:
    """Forget who was forgotten since, and write down that this is a restored ledger.

    Which exercises went on, whether all off is in force, how many were forgotten again, how many in all.
    """
    if not ledger.exists():
        forgetting.write_side_file(ledger, since)
        return (), False, 0, len(since)
    known = forgetting.read_side_file(ledger)
    forgetting.write_side_file(ledger, {who: day for who, day in since.items() if who not in known})
    with Ledger.open(ledger, inline=True, who="fieldctl backup restore") as opened:
        going_on: dict[str, None] = {}
        all_off = False
        for fact in opened.facts(kinds=(*_GOES_ON, *_IS_OVER, AllOffOrdered, AllOffReleased)):
            match fact:
                case ExerciseStarted() | ExerciseResumed() | ExerciseReopened():
                    going_on[fact.exercise] = None
                case ExerciseEnded() | ExerciseInterrupted():
                    going_on.pop(fact.exercise, None)
                case AllOffOrdered() | AllOffReleased():
                    all_off = isinstance(fact, AllOffOrdered)
        opened.append([BackupRestored(label.made, at)], at=at, wall=wall)
        again, count = opened.counts["names forgotten again"], len(opened.forgotten())
    ledger.with_name(ledger.name + ".lock").unlink(missing_ok=True)
    return tuple(going_on), all_off, again, count


def _move_up(work: Path, to: Path) -> None:
    """Move everything from the folder of work into its place, site.toml last, never over what is there."""
    beside = to / FORGOTTEN
    if beside.exists():  # it is the later one, and somebody put it there: it is added to, not replaced
        here = forgetting.read_side_file(to / LEDGER)
        inside = forgetting.read_side_file(work / LEDGER)
        forgetting.write_side_file(to / LEDGER, {who: day for who, day in inside.items() if who not in here})
        (work / FORGOTTEN).unlink(missing_ok=True)
    _fsync_below(work)
    for each in sorted(work.iterdir(), key=lambda path: path.name == SITE_FILE):
        each.rename(to / each.name)
    _fsync(to)


def _fsync_below(folder: Path) -> None:
    for base, _, names in os.walk(folder):
        for path in (Path(base), *(Path(base, name) for name in names)):
            _fsync(path)


def _fsync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _in_words(bad: OSError, to: Path) -> Refused:
    return Refused(
        f"The backup could not be put into {to}: {bad.filename or to}: {bad.strerror or bad}.",
        expected="a folder of this account, with room",
        remedy="Make room there, or name another folder: --to DIR. Nothing is left of this try.",
    )
