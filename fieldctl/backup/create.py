"""Making a backup: everything into one sealed file, read back once before it counts, or nothing at all.

It is written under a name of its own, brought to the disk, read back, and only then given its name; what was there
already is never written over.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

from fieldctl import __version__
from fieldctl.backup import stamp
from fieldctl.backup.archive import ArchiveReader, ArchiveWriter, Told, nobody
from fieldctl.backup.copying import Copied, copy_ledger
from fieldctl.backup.gathering import FORGOTTEN, KEY, LEDGER, Gathered, gather, lacking
from fieldctl.backup.header import PREFIX_BYTES, SALT_BYTES, SIZE, Header
from fieldctl.backup.keycheck import key_check_of
from fieldctl.backup.manifest import Manifest
from fieldctl.backup.passphrase import check_new, new_key
from fieldctl.backup.sealing import Opener, Sealer
from fieldctl.backup.work import MAKING, NO_ROOM, work_folder
from fieldctl.errors import FieldctlError, InUse, NotFound, Refused
from fieldctl.site.files import SITE_FILE, load_site

ENDING = ".fieldbackup"
NOTHING = Copied(0, "", None, ())
NO_LINKS = frozenset({errno.EPERM, errno.ENOTSUP, errno.ENOSYS, errno.EMLINK})  # what FAT on a stick says


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that was made, its label, the ledger's flaws and what was left out, in words."""

    file: Path
    bytes: int
    manifest: Manifest
    flaws: tuple[str, ...]
    left_out: tuple[str, ...]
    stamped: bool


def name_for(site: str, wall: str | None, entries: int) -> str:
    """A file's name that sorts by date and needs no clock."""
    when = f"entry-{entries}" if wall is None else wall[:19].replace(":", "")
    return f"{site}-{when}{ENDING}"


def create(
    folder: Path,
    to: Path,
    passphrase: str,
    *,
    wall: str | None,
    salt: bytes,
    told: Told = nobody,
) -> Made:
    """Back a site up into the file `to`, or into the folder `to` under a name of its own.

    `salt`: fresh bytes, `SALT_BYTES + PREFIX_BYTES` of them. NotFound without a site; BadInput for a weak passphrase;
    Refused over a file that is there, without room, or where something cannot be read; nothing is then left of it.
    """
    check_new(passphrase)
    if not (folder / SITE_FILE).is_file():
        raise NotFound(f"There is no {SITE_FILE} in {folder}.", remedy="Name the site's folder: --site DIR.")
    _free(to)
    header = Header(salt[:SALT_BYTES], salt[SALT_BYTES : SALT_BYTES + PREFIX_BYTES], b"")
    key, header = new_key(passphrase, header)
    try:
        with work_folder(folder, MAKING) as work:
            return _create(folder, work, to, (key, header), wall, told)
    except OSError as bad:
        raise _in_words(bad, to) from bad


def _create(folder: Path, work: Path, to: Path, sealing: tuple[bytes, Header], wall: str | None, told: Told) -> Made:
    copied, ledger = NOTHING, folder / LEDGER
    if ledger.exists():
        told("copying the log", 0, ledger.stat().st_size)
        copied = copy_ledger(ledger, work / LEDGER)
    gathered = gather(folder)
    sources = {name: folder / name for name in gathered.files}
    # The forgotten after the ledger: whoever is forgotten in between is forgotten again at the restore.
    beside = {LEDGER: work / LEDGER, FORGOTTEN: folder / FORGOTTEN}
    sources |= {name: path for name, path in beside.items() if path.exists()}
    label = _label(folder, gathered, copied, wall, ledger=ledger.exists())
    path = to / name_for(label.site or folder.resolve().name, wall, copied.entries) if to.is_dir() else to
    _free(path)
    with _new_file(path) as file:
        manifest = _write(file, sealing, sources, label, told)
        file.flush()
        os.fsync(file.fileno())
        _read_back(file, sealing, told)
        size = os.fstat(file.fileno()).st_size
    stamped = True
    try:
        stamp.write(ledger, stamp.Stamp(wall, copied.entries, copied.head, path.name))
    except OSError:  # the backup is made all the same; doctor will not know of it
        stamped = False
    return Made(path, size, manifest, copied.flaws, gathered.left_out, stamped)


def _label(folder: Path, gathered: Gathered, copied: Copied, wall: str | None, *, ledger: bool) -> Manifest:
    site = None
    with contextlib.suppress(FieldctlError):  # a site with a fault in its files is backed up all the same
        site = load_site(folder)
    return Manifest(
        program=f"fieldctl {__version__}",
        site=site.name if site else "",
        title=site.title if site else "",
        made=wall,
        targets=len(site.places) if site else 0,
        entries=copied.entries,
        head=copied.head,
        last_entry=copied.last_entry,
        ledger_ok=not copied.flaws,
        key_check=key_check_of(folder / KEY),
        lacks=lacking(site, gathered.files, folder, ledger=ledger),
        parts=(),
    )


def _write(
    file: IO[bytes], sealing: tuple[bytes, Header], sources: dict[str, Path], label: Manifest, told: Told
) -> Manifest:
    done, in_all = 0, sum(path.stat().st_size for path in sources.values())

    def more(count: int) -> None:
        nonlocal done
        done += count
        told("writing", done, in_all)

    writer = ArchiveWriter(Sealer(file, *sealing), more)
    try:
        for name, path in sources.items():
            writer.put(name, path)
        manifest = replace(label, parts=tuple(writer.parts))
        writer.close(manifest)
    except BaseException:
        writer.abandon()
        raise
    return manifest


def _read_back(file: IO[bytes], sealing: tuple[bytes, Header], told: Told) -> None:
    """A backup that was never read back is a hope: open every chunk once, and hold it against its list."""
    in_all = file.tell()
    file.seek(SIZE)
    opener = Opener(file, *sealing)
    with ArchiveReader(opener) as reader:
        for _ in reader.files(None):
            told("reading back", opener.done, in_all)


def _free(path: Path) -> None:
    if path.is_dir():
        return
    if path.exists() or path.is_symlink():
        raise Refused(
            f"{path} is there already.", expected="a new file", remedy="Name another file, or a folder: --to DIR."
        )
    if not path.parent.is_dir():
        raise NotFound(f"There is no folder {path.parent}.", remedy="Make it, or name another one.")


@contextlib.contextmanager
def _new_file(path: Path) -> Iterator[IO[bytes]]:
    """A file that gets its name when all is well, and is gone otherwise; mode 0600."""
    part = path.with_name(f".{path.name}.part")
    handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
    with os.fdopen(handle, "r+b") as file:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InUse(f"Somebody else writes {path} just now.", remedy="Wait until that one is done.") from None
        try:
            os.ftruncate(handle, 0)  # what a killed one left
            yield file
            _give_name(part, path)
        finally:
            with contextlib.suppress(OSError):
                part.unlink()
    _fsync_folder(path.parent)


def _give_name(part: Path, path: Path) -> None:
    """Give a file its name, never over another one."""
    try:
        os.link(part, path)
    except FileExistsError:
        _free(path)
        raise
    except OSError as bad:
        if bad.errno not in NO_LINKS:
            raise
        _free(path)
        part.rename(path)


def _fsync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with contextlib.suppress(OSError):  # not every stick's file system knows it
            os.fsync(handle)
    finally:
        os.close(handle)


def _in_words(bad: OSError, to: Path) -> FieldctlError:
    what = f"{bad.filename or to}: {bad.strerror or bad}"
    if bad.errno in NO_ROOM:
        return Refused(
            f"There is no room for the backup: {what}.",
            expected="room for a copy of the log on the site's disk, and for the backup where it goes",
            remedy="Make room, or name another disk: --to DIR. Nothing is left of this try.",
        )
    return Refused(
        f"The backup could not be made: {what}.",
        expected="files that this account may read, and a folder that it may write to",
        remedy="Use the account that owns the site, or name another folder: --to DIR. Nothing is left of this try.",
    )
