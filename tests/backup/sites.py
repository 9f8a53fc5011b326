"""Invented sites on file, backed up and put back."""

from __future__ import annotations

from pathlib import Path

from fieldctl.backup.create import Made, create
from fieldctl.backup.restore import Restored, restore
from fieldctl.events import Fact, SurfaceRenewed
from fieldctl.ledger.store import Ledger
from fieldctl.site.new import new_site
from fieldctl.units import HostTime, PersonId

WORDS = "larch horn plate wind"
SALT = bytes(range(23))
WALL = "2026-02-01T12:00:00.000Z"
T = HostTime("an-invented-boot", 5)
LEDGER = "ledger.sqlite"


def renewed(n: int) -> Fact:
    return SurfaceRenewed(None, f"tilled, {n}", PersonId("p-1"), T)


def make_site(folder: Path, *, entries: int = 3, names: dict[str, str] | None = None) -> Path:
    new_site(folder)
    (folder / "private").mkdir(mode=0o700)
    key = folder / "private" / "site.key"
    key.write_text("00112233445566778899aabbccddeeff\n")
    key.chmod(0o600)
    if entries:
        with Ledger.open(folder / LEDGER, inline=True, durable=False) as ledger:
            ledger.append([renewed(n) for n in range(entries)], at=T, wall=WALL)
            for who, name in (names or {}).items():
                ledger.name_person(PersonId(who), name)
    return folder


def back_up(folder: Path, to: Path) -> Made:
    return create(folder, to, WORDS, wall=WALL, salt=SALT)


def put_back(file: Path, to: Path, forgotten: Path | None = None) -> Restored:
    return restore(file, to, WORDS, at=HostTime("another-boot", 9), wall=WALL, forgotten=forgotten)


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file, but for what SQLite makes for a moment beside its own."""
    found = (p for p in sorted(folder.rglob("*")) if p.is_file() and not p.name.endswith(("-wal", "-shm")))
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in found}
