"""fieldctl backup: one encrypted file with site, log and keys; made, checked, put back."""

from __future__ import annotations

import secrets
import stat
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.errors import EXIT_FAILURE, EXIT_PARTLY, BadInput, NotFound, Refused

if TYPE_CHECKING:
    from fieldctl.backup.manifest import Manifest

PROGRESS_EVERY_S = 2.0  # and nothing at all of what takes less

backup = typer.Typer(
    help="One encrypted file with site, log and keys: make it, check it, put it back.", no_args_is_help=True
)
BackupFile = Annotated[Path, typer.Argument(help="The backup.")]
PassphraseFile = Annotated[
    Path | None, typer.Option(help="A file (mode 0600) with the passphrase; typed unseen, or piped in, otherwise.")
]


@backup.command(epilog="Example:  fieldctl backup create --to /media/stick --site larch-hollow")
def create(
    file: Annotated[Path | None, typer.Argument(help="The file to make.")] = None,
    to: Annotated[Path | None, typer.Option(help="A folder, for a file named by site and date.")] = None,
    passphrase_file: PassphraseFile = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Back up site, log and keys, also beside a running serve. Without its passphrase nobody can read it back."""
    from fieldctl.backup.create import create as make
    from fieldctl.backup.header import PREFIX_BYTES, SALT_BYTES
    from fieldctl.cli.outside import SystemClock

    where = _one_of(file, to)
    passphrase = _passphrase(passphrase_file, new=True)
    salt = secrets.token_bytes(SALT_BYTES + PREFIX_BYTES)
    made = make(site, where, passphrase, wall=SystemClock().wall(), salt=salt, told=_Progress())
    row = {"file": str(made.file), "bytes": made.bytes, **_label(made.manifest), "flaws": list(made.flaws)}
    if json:
        show.as_json({**row, "left_out": list(made.left_out), "doctor_knows": made.stamped})
    else:
        print(f"{made.file}: {_size(made.bytes)}, sealed and read back once.")
        show.lines(_of_label(made.manifest))
        show.lines(f"left out: {line}" for line in made.left_out)
        show.lines(f"THE LOG DOES NOT HOLD: {line}" for line in made.flaws)
        print(
            "Keep it off this machine, and the passphrase on paper away from it: without it nothing can be read back."
        )
        if not made.stamped:
            show.say("The site's folder cannot be written to: fieldctl doctor will not know of this backup.")
    if made.flaws:
        raise typer.Exit(EXIT_PARTLY)


@backup.command(epilog="Example:  fieldctl backup verify larch-hollow-2026-02-01T180000.fieldbackup")
def verify(file: BackupFile, passphrase_file: PassphraseFile = None, json: AsJson = False) -> None:
    """Open a backup, check every part of it, and show what is in it; nothing is put anywhere."""
    from fieldctl.backup.verify import verify as check

    checked = check(file, _passphrase(passphrase_file), _Progress())
    if json:
        flaws = list(checked.flaws)
        show.as_json({"ok": not flaws, "bytes": checked.bytes, **_label(checked.manifest), "flaws": flaws})
    else:
        print(f"{file}: {_size(checked.bytes)}, {'whole' if not checked.flaws else 'NOT as it should be'}.")
        show.lines(_of_label(checked.manifest))
        show.lines(f"DOES NOT HOLD: {line}" for line in checked.flaws)
    if checked.flaws:
        raise typer.Exit(EXIT_FAILURE)


@backup.command(epilog="Example:  fieldctl backup restore larch.fieldbackup --to larch-hollow")
def restore(
    file: BackupFile,
    to: Annotated[Path, typer.Option(help="The new site's folder: new or empty.")],
    forgotten: Annotated[
        Path | None, typer.Option(help="The old site's ledger.sqlite.forgotten: who was forgotten since.")
    ] = None,
    passphrase_file: PassphraseFile = None,
    json: AsJson = False,
) -> None:
    """Put a backup back into an empty folder. Nothing sends because of it, and no target obeys before you say so."""
    from fieldctl.backup.restore import restore as put_back
    from fieldctl.cli.outside import SystemClock
    from fieldctl.units import HostTime

    clock = SystemClock()
    done = put_back(
        file,
        to,
        _passphrase(passphrase_file),
        at=HostTime(clock.boot, clock.now()),
        wall=clock.wall(),
        forgotten=forgotten,
        told=_Progress(),
    )
    row = {
        "folder": str(done.folder),
        **_label(done.manifest),
        "flaws": list(done.flaws),
        "forgotten": done.forgotten,
        "forgotten_again": done.forgotten_again,
        "interrupted": list(done.interrupted),
        "all_off": done.all_off,
        "next": _next(done.folder),
    }
    if json:
        show.as_json(row)
    else:
        print(f"{done.folder}: put back{', with an entry in its log that it was' if done.manifest.head else ''}.")
        show.lines(_of_label(done.manifest))
        show.lines(f"DOES NOT HOLD: {line}" for line in done.flaws)
        show.lines(f"{x} went on when the backup was made: serve interrupts it." for x in done.interrupted)
        if done.all_off:
            print("All off is in force, and stays so.")
        if done.forgotten:
            again = f", {done.forgotten_again} of them since the backup" if done.forgotten_again else ""
            print(f"{done.forgotten} people are forgotten{again}: their names are not in this log.")
        print()
        show.lines(f"{n}. {line}" for n, line in enumerate(row["next"], 1))
    if done.flaws:
        raise typer.Exit(EXIT_PARTLY)


def _next(folder: Path) -> list[str]:
    """What a person does after a restore."""
    return [
        "Stop the old controller if it still runs: the field has one.",
        f"fieldctl serve --site {folder}. Nothing sends by itself, and no target obeys yet: each says superseded.",
        f"If this is the one that steers from now on: fieldctl generation raise --site {folder} --reason '…'.",
        "Rights, phones and passwords are as they were when the backup was made: look through fieldctl rights list "
        "and fieldctl phone list, and end again what was ended since.",
        "If the old ledger.sqlite.forgotten (who was forgotten since) is found only later: stop serve, add its lines "
        "to the file of that name in this folder, or put it there if there is none, and start serve again.",
    ]


def _one_of(file: Path | None, to: Path | None) -> Path:
    if (file is None) == (to is None):
        raise BadInput("Where to?", expected="a FILE, or --to and a folder", remedy="Give one of the two.")
    where = file if file is not None else to
    assert where is not None
    if to is not None and not to.is_dir():
        raise NotFound(f"There is no folder {to}.", remedy="Make it, or is the stick not plugged in?")
    if file is not None and file.is_dir():
        raise BadInput(f"{file} is a folder.", expected="a file", remedy=f"For a folder: --to {file}.")
    return where


def _passphrase(file: Path | None, *, new: bool = False) -> str:
    """The passphrase from a file, a pipe or typed unseen, twice for a new one: arguments are seen by everybody."""
    if file is not None:
        return _from_file(file)
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    if new:
        show.say("Four words that do not belong together, written on paper. Without them nobody can read it back.")
    return str(typer.prompt("Passphrase", hide_input=True, err=True, confirmation_prompt=new))


def _from_file(file: Path) -> str:
    try:
        mode = stat.S_IMODE(file.stat().st_mode)
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no text"
        raise NotFound(
            f"The passphrase cannot be read: {file}: {why}.", remedy="Name a file with one line of text, mode 0600."
        ) from None
    if mode & 0o077:
        raise Refused(
            f"Others can read the passphrase ({file}, mode {mode:04o}).",
            expected="mode 0600",
            remedy=f"chmod 600 {file}; if somebody may have read it, take another one.",
        )
    return text.partition("\n")[0].rstrip("\r")


class _Progress:
    """Says how far a long work is, on stderr."""

    def __init__(self) -> None:
        self._next = time.monotonic() + PROGRESS_EVERY_S

    def __call__(self, what: str, done: int, in_all: int) -> None:
        if time.monotonic() >= self._next:
            self._next = time.monotonic() + PROGRESS_EVERY_S
            show.say(f"{what}: {100 * done // max(1, in_all)} % of {_size(in_all)}")


def _label(label: Manifest) -> dict[str, Any]:
    """What is in a backup, for programs."""
    return {
        "site": label.site,
        "title": label.title,
        "made": label.made,
        "made_by": label.program,
        "targets": label.targets,
        "entries": label.entries,
        "head": {"seq": label.entries, "hash": label.head},
        "last_entry": label.last_entry,
        "key_check": label.key_check,
        "files": [part.path for part in label.parts],
        "lacks": list(label.lacks),
    }


def _of_label(label: Manifest) -> list[str]:
    """The same for people."""
    title = label.title or "A site whose files have faults"
    last = f", the last of {label.last_entry}" if label.last_entry else ""
    return [
        f"{title}: {label.targets} targets; made {label.made or 'without a clock'}.",
        f"Log: {label.entries} entries{last}. Its head: {label.entries}:{label.head or '-'}",
        f"Site's key: {label.key_check or 'MISSING'} (fieldctl doctor shows the same digits of a site's key).",
        f"{len(label.parts)} files, {_size(sum(part.bytes for part in label.parts))}.",
        *(f"not in it: {line}" for line in label.lacks),
    ]


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count} bytes"
