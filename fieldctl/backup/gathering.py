"""Which files of a site's folder belong to a backup, and what it cannot hold, in words."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldctl.backup import header, stamp, work
from fieldctl.ledger import forgetting

if TYPE_CHECKING:
    from fieldctl.site.model import Site

LEDGER = "ledger.sqlite"
KEY = "private/site.key"
FORGOTTEN = LEDGER + forgetting.SUFFIX
BROKER = "mosquitto.conf"
# The ledger is copied by SQLite, and its side files are nothing without it; the rest is made anew.
NOT_TAKEN = frozenset(
    {*(LEDGER + end for end in ("", "-wal", "-shm", "-journal", ".lock", stamp.SUFFIX)), FORGOTTEN, *work.NAMES}
)


@dataclass(frozen=True, slots=True)
class Gathered:
    """Paths in the folder, in order, and what was left out, in words."""

    files: tuple[str, ...]
    left_out: tuple[str, ...]


def gather(folder: Path) -> Gathered:
    """Every file that a site's folder holds, but for what is copied otherwise and what can be made again."""
    files, left_out = [], []
    for path in _walk(folder):
        name = path.relative_to(folder).as_posix()
        if path.is_dir():
            left_out.append(f"{name}: a link to a folder")
        elif path.is_symlink() and not path.exists():
            left_out.append(f"{name}: a link to nothing")
        elif path.is_file():  # a socket or a pipe is made again by whoever needs it
            if _is_backup(path):
                left_out.append(f"{name}: itself a backup")
            else:
                files.append(name)
    return Gathered(tuple(files), tuple(left_out))


def _walk(folder: Path) -> Iterator[Path]:
    """Files, and folders that are links: those are not gone into."""
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda entry: entry.name)
    for entry in entries:
        path = Path(entry.path)
        if entry.is_dir(follow_symlinks=False):
            if entry.name not in work.NAMES:
                yield from _walk_below(path)
        elif entry.name not in NOT_TAKEN:
            yield path


def _walk_below(folder: Path) -> Iterator[Path]:
    for base, folders, names in os.walk(folder, onerror=_cannot):
        folders.sort()
        yield from sorted(Path(base, name) for name in (*names, *folders) if _to_see(Path(base, name)))


def _to_see(path: Path) -> bool:
    return path.is_symlink() or not path.is_dir()


def _cannot(error: OSError) -> None:
    raise error  # a folder that cannot be looked into would silently be missing


def _is_backup(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(header.MAGIC)) == header.MAGIC


def lacking(site: Site | None, files: tuple[str, ...], folder: Path, *, ledger: bool) -> tuple[str, ...]:
    """What a backup of these files does not hold and a field needs; each a sentence with what to do."""
    return tuple(_lacking(site, frozenset(files), folder, ledger=ledger))


def _lacking(site: Site | None, files: frozenset[str], folder: Path, *, ledger: bool) -> Iterator[str]:
    if KEY not in files:
        yield f"The site's key: {KEY} is not there. Without it no target obeys; find it, and make a new backup."
    if not ledger:
        yield "A log: none was written yet."
    if site is None:
        yield "Whatever site.toml names elsewhere: it cannot be read as it is. Look at it: fieldctl site check."
        return
    for link in site.mqtt:
        for what, name in (("password", link.password_file), ("certificate", link.ca_file)):
            yield from _outside(f"the {what} of link {link.name}", name, files, folder)
    for what, name in (
        ("the pages' certificate", site.pages.certificate),
        ("the key of the pages' certificate", site.pages.certificate_key),
    ):
        yield from _outside(what, name, files, folder)
    if site.mqtt and not any(Path(name).name == BROKER for name in files):
        yield (
            f"The broker's own files ({BROKER}, its users, its certificate): keep a copy of them, or write new ones "
            "with fieldctl broker config and give every unit its new password."
        )


def _outside(what: str, name: str, files: frozenset[str], folder: Path) -> Iterator[str]:
    if name and os.path.normpath(name) not in files:
        where = folder / name
        yield (
            f"{what[0].upper()}{what[1:]}: {where} lies outside the site's folder. Keep a copy of it."
            if where.exists()
            else f"{what[0].upper()}{what[1:]}: {where} is not there. Look at site.toml."
        )
