"""Opening a backup and checking every part of it, in a folder of one's own that is gone afterwards."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldctl.backup.archive import ArchiveReader, Told, nobody
from fieldctl.backup.gathering import KEY, LEDGER
from fieldctl.backup.header import SIZE, parse
from fieldctl.backup.keycheck import key_check_of
from fieldctl.backup.manifest import Manifest
from fieldctl.backup.passphrase import key_of
from fieldctl.backup.sealing import Opener
from fieldctl.backup.work import NO_ROOM
from fieldctl.errors import FieldctlError, NotFound, Refused
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.verify import verify as walk
from fieldctl.site.files import load_site


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found in a backup: its label, its size, and what does not hold, in words."""

    manifest: Manifest
    bytes: int
    flaws: tuple[str, ...]


def verify(file: Path, passphrase: str, told: Told = nobody) -> Checked:
    """Check a whole backup; nothing is written but below the system's folder for temporary files.

    BadInput: no backup; BackupBroken: cut, damaged or altered; Refused: another passphrase, or a newer format.
    """
    with tempfile.TemporaryDirectory(prefix="fieldctl-verify-") as name:
        folder = Path(name)
        checked = unpack(file, passphrase, folder, told)
        return Checked(checked.manifest, checked.bytes, (*checked.flaws, *_flaws(checked.manifest, folder)))


def unpack(file: Path, passphrase: str, folder: Path, told: Told = nobody) -> Checked:
    """Put everything in a backup below an empty folder, each seal and digest checked on the way."""
    try:
        with file.open("rb") as source:
            size = os.fstat(source.fileno()).st_size
            header = parse(source.read(SIZE))
            opener = Opener(source, key_of(passphrase, header), header)
            with ArchiveReader(opener) as reader:
                for _ in reader.files(folder):
                    told("reading", opener.done, size)
    except FileNotFoundError as bad:
        if bad.filename != str(file):
            raise
        raise NotFound(f"There is no file {file}.", remedy="Check the path; is the stick plugged in?") from None
    except OSError as bad:
        if bad.errno in NO_ROOM:
            raise Refused(
                f"There is no room to open the backup in {folder}: {bad.strerror}.",
                expected="room for all that is in it",
                remedy="Make room on that disk; TMPDIR names another one for verify, --to for restore.",
            ) from bad
        raise Refused(
            f"The backup could not be read: {bad.filename or file}: {bad.strerror or bad}.",
            expected="a readable file, and a folder to open it in",
            remedy="Look at that path, its owner and its mode, and try again.",
        ) from bad
    assert reader.manifest is not None
    return Checked(reader.manifest, size, ())


def _flaws(label: Manifest, folder: Path) -> Iterator[str]:
    yield from check_site(label, folder)
    yield from check_ledger(label, folder)


def check_site(label: Manifest, folder: Path) -> Iterator[str]:
    """What does not hold of the site's files and its key."""
    try:
        site = load_site(folder)
    except FieldctlError as bad:
        yield f"The site's files have faults. {bad}"
    else:
        if (site.name, len(site.places)) != (label.site, label.targets):
            yield f"The site is {site.name} with {len(site.places)} targets; the label says otherwise."
    if key_check_of(folder / KEY) != label.key_check or label.key_check is None:
        yield "The site's key is missing, or is not the one that the label names."


def check_ledger(label: Manifest, folder: Path) -> Iterator[str]:
    """What does not hold of the ledger: opened as its writer would, then its chain walked to the head on the label."""
    path = folder / LEDGER
    if not path.exists():
        if label.head:
            yield "The log is missing."
        return
    try:
        with Ledger.open(path, inline=True, durable=False, who="fieldctl backup verify") as ledger:
            verdict = walk(ledger, (label.entries, label.head))
    except FieldctlError as bad:
        yield bad.what
        return
    yield from (flaw.says for flaw in verdict.flaws)
    if verdict.more:
        yield f"And {verdict.more} more flaws of the log."
    if verdict.entries != label.entries:
        yield f"The log holds {verdict.entries} entries; the label says {label.entries}."
