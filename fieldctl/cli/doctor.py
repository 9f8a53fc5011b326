"""A look at this machine and a site: each check with what was seen and a remedy; nothing is changed."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import shutil
import socket
import sqlite3
import stat
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldctl.backup.keycheck import key_check
from fieldctl.cli.backed_up import last_backup
from fieldctl.cli.outside import SystemClock, ledger_path, read_key
from fieldctl.errors import FieldctlError, FileFaults

if TYPE_CHECKING:
    from fieldctl.site.model import MqttLink, SerialLink, Site

COMMITS = 40
COMMITS_LEAST_A_S = 20  # a field makes a few dozen facts a second at worst, committed in groups
FREE_LEAST_MB = 200
PYTHON_LEAST = (3, 11)
YEAR_LEAST = 2025
ANSWER_WITHIN_S = 3.0
ANSWERS = "runs, and answers"
IN_MEMORY = ("tmpfs", "ramfs")  # gone with the power, however safe a commit looks
MOUNTS = Path("/proc/mounts")
LOOPBACK = ("localhost", "127.0.0.1", "::1")
SBIN = ("/usr/local/sbin", "/usr/sbin", "/sbin")  # Debian keeps mosquitto there, off a plain user's path

Row = dict[str, Any]
Found = Iterator[tuple[str, bool, str, str]]


def look(folder: Path) -> list[Row]:
    """Every check: what, ok, seen, remedy ("" where it is well)."""
    from fieldctl.site.files import load_site

    site, fault = None, None
    try:
        site = load_site(folder)
    except FieldctlError as error:
        fault = error
    checks: list[Found] = [_program(), _clock(folder), _disk(folder), _ports(), _site(site, fault), _serve(folder)]
    if site is not None:
        checks += [_bus(site, link) for link in site.serial]
        checks += [_broker(link) for link in site.mqtt]
        checks.append(_mosquitto(site))
        checks.append(_webhook(folder, site))
    checks += [_secrets(folder, site), _steers(folder), _backup(folder)]
    return [
        {"what": what, "ok": ok, "seen": seen, "remedy": "" if ok else remedy}
        for check in checks
        for what, ok, seen, remedy in check
    ]


def _program() -> Found:
    version = ".".join(str(n) for n in sys.version_info[:3])
    yield "Python", sys.version_info >= PYTHON_LEAST, version, "Install Python 3.11 or later."
    safe = sqlite3.threadsafety > 0  # the ledger is written by a thread of its own
    seen = f"{sqlite3.sqlite_version}, {'may' if safe else 'may not'} be used by several threads"
    yield "SQLite", safe, seen, "Install a Python whose SQLite was built for threads (SQLITE_THREADSAFE)."


def _clock(folder: Path) -> Found:
    clock = SystemClock()
    first = clock.now()
    remedy = "Nothing can be timed on this machine: use another one."
    yield "monotonic clock", clock.now() >= first > 0, f"boot {clock.boot[:8]}, {first / 1e6:.0f} s", remedy
    now = datetime.datetime.now(datetime.UTC)
    seen = now.strftime("%Y-%m-%dT%H:%M:%SZ")
    last = _last_label(folder)
    behind = last is not None and now < last
    if behind and last is not None:
        seen += f", behind the log's last entry ({last.strftime('%Y-%m-%dT%H:%M:%SZ')})"
    well = now.year >= YEAR_LEAST and not behind
    yield "wall clock", well, seen, "Set the clock; durations are right all the same, labels are not."


def _last_label(folder: Path) -> datetime.datetime | None:
    """The wall's time of the ledger's last entry."""
    path = ledger_path(folder)
    if not path.is_file():
        return None
    from fieldctl.ledger.reader import Reader

    with contextlib.suppress(FieldctlError, sqlite3.Error, ValueError), Reader.read(path) as reader:
        last = next(reader.entries(after_seq=max(0, reader.head()[0] - 1)), None)
        if last is not None and last.wall:
            return datetime.datetime.fromisoformat(last.wall)
    return None


def _disk(folder: Path) -> Found:
    where = folder if folder.is_dir() else Path(tempfile.gettempdir())
    free = shutil.disk_usage(where).free // 1_000_000
    yield "free disk", free >= FREE_LEAST_MB, f"{free} MB", "Make room: a full disk ends sending."
    kind = _file_system(where.resolve())
    remedy = "Move the site to a disk: what lies here is gone with the power."
    yield "ledger's disk", kind not in IN_MEMORY, kind or "of a kind that this system does not tell", remedy
    try:
        with tempfile.TemporaryDirectory(dir=where) as scratch:
            journal, a_second = _commits(Path(scratch) / "doctor.sqlite")
    except (OSError, sqlite3.Error) as error:
        yield "ledger's folder", False, str(error), "Make the site's folder writable for this account, with room."
        return
    remedy = "Move the site to a local disk: this one cannot be read while it is written to."
    yield "write-ahead log", journal == "wal", f"journal {journal}", remedy
    remedy = "Use a better card or disk; a commit has to be on it before anything is told."
    yield "safe commits a second", a_second >= COMMITS_LEAST_A_S, f"{a_second:.0f}", remedy


def _file_system(path: Path) -> str:
    """The kind of file system that a folder lies on, "" where nobody says."""
    try:
        rows = [line.split() for line in MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()]
    except OSError:
        return ""
    over = [(row[1].replace("\\040", " "), row[2]) for row in rows if len(row) > 2]
    found = max((m for m in over if path.is_relative_to(m[0])), key=lambda m: len(m[0]), default=("", ""))
    return found[1]


def _commits(path: Path) -> tuple[str, float]:
    """The journal that SQLite could keep here, and how many commits a second came to be safely on the disk."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as base:
        journal = str(base.execute("PRAGMA journal_mode=WAL").fetchone()[0])
        base.execute("PRAGMA synchronous=FULL")
        base.execute("CREATE TABLE t (x)")
        begin = time.perf_counter()
        for i in range(COMMITS):
            base.execute("INSERT INTO t VALUES (?)", (i,))
        return journal, COMMITS / (time.perf_counter() - begin)


def _ports() -> Found:
    from fieldctl.links.serial_bus import list_ports

    ports = list_ports()
    seen = ", ".join(f"{p.port}{f' (held by {p.held_by})' if p.held_by else ''}" for p in ports) or "none"
    yield "serial ports", True, seen, ""


def _site(site: Site | None, fault: FieldctlError | None) -> Found:
    if site is not None:
        yield "site files", True, f"{site.title}, {len(site.places)} targets", ""
    elif fault is not None:
        yield "site files", False, str(fault) if isinstance(fault, FileFaults) else fault.what, fault.remedy


def _serve(folder: Path) -> Found:
    """Whether a controller serves the site, and answers."""
    from fieldctl.controller.socket import socket_path

    path = socket_path(folder)
    try:
        mode = path.lstat().st_mode
    except OSError:
        yield "serve", True, "does not run", ""
        return
    private = stat.S_ISSOCK(mode) and not stat.S_IMODE(mode) & 0o077
    seen = f"{path.name}, mode {stat.S_IMODE(mode):04o}"
    yield "control socket", private, seen, f"Who may open it may do everything: chmod 600 {path}"
    answers, seen = _answers(path)
    yield "serve", answers, seen, "Look at its output. Stop it if it hangs (every grant runs out), and start it again."


def _answers(path: Path) -> tuple[bool, str]:
    with contextlib.ExitStack() as stack:
        line = stack.enter_context(socket.socket(socket.AF_UNIX))
        line.settimeout(ANSWER_WITHIN_S)
        try:
            near = os.open(path.parent, os.O_PATH | os.O_DIRECTORY)
            stack.callback(os.close, near)
            line.connect(f"/proc/self/fd/{near}/{path.name}")  # however long the path is
        except ConnectionRefusedError:
            return True, "does not run (its last one was killed; the next start takes its place)"
        except OSError as error:
            return False, f"cannot be reached: {error.strerror or error}"
        try:
            line.sendall(b'{"id": 1, "verb": "doctor"}\n')  # no such verb: any answer will do
            json.loads(stack.enter_context(line.makefile("rb")).readline())
        except (OSError, ValueError):
            return False, f"does not answer within {ANSWER_WITHIN_S:g} s"
    return True, ANSWERS


def _bus(site: Site, link: SerialLink) -> Found:
    from fieldctl.links.port_notes import holder_of, notes_folder

    what = f"bus {link.name}"
    if not Path(link.port).exists():
        remedy = "Plug the adapter in, or name its port in site.toml (fieldctl links shows those there are)."
        yield what, False, f"{link.port} is not there", remedy
        return
    if not os.access(link.port, os.R_OK | os.W_OK):
        remedy = "Add this account to the port's group (Debian: dialout), and log in again."
        yield what, False, f"{link.port} may not be used by this account", remedy
        return
    holder = holder_of(link.port, notes_folder())
    seen = link.port if holder is None else f"{link.port}, held by {holder}"
    yield what, holder is None or holder.site == site.name, seen, "Stop that program: one master a bus."


def _broker(link: MqttLink) -> Found:
    where = f"{link.host}:{link.port}"
    try:
        with socket.create_connection((link.host, link.port), timeout=ANSWER_WITHIN_S):
            yield f"broker {link.name}", True, f"{where} answers", ""
    except OSError as error:
        remedy = "Start Mosquitto there; fieldctl broker config DIR writes its files."
        yield f"broker {link.name}", False, f"{where}: {error.strerror or error}", remedy


def _mosquitto(site: Site) -> Found:
    """Whether the broker's program is here, where the broker is to run here."""
    path = os.pathsep.join([os.environ.get("PATH", os.defpath), *SBIN])
    found = shutil.which("mosquitto", path=path)
    here = [link.name for link in site.mqtt if link.host in LOOPBACK]
    seen = found or ("not on this machine" + ("" if here else ", and no link of this site needs it here"))
    yield "mosquitto", bool(found) or not here, seen, "Install it (Debian: apt-get install mosquitto)."


def _webhook(folder: Path, site: Site) -> Found:
    """Whether alerts get through, as the serve that runs has seen it."""
    from fieldctl.cli.alarm import webhook_words
    from fieldctl.controller import socket as control

    if not site.alerts.webhook:
        yield "webhook", True, "none is set", ""
        return
    if _answers(control.socket_path(folder))[1] != ANSWERS:
        yield "webhook", True, "is set; nobody serves the site now", ""
        return
    try:
        hook = control.ask(folder, "alarm-list", {})["webhook"]
    except FieldctlError as error:
        yield "webhook", False, error.what, error.remedy
        return
    remedy = "Look at its address and at this machine's way to it; then try it: fieldctl alarm test."
    yield "webhook", not hook["failing"] and not hook["dropped"], webhook_words(hook), remedy


def _secrets(folder: Path, site: Site | None) -> Found:
    try:
        key = read_key(folder)
        yield "site key", True, f"there, readable by its owner alone; its check {key_check(key)}", ""
    except FieldctlError as error:
        yield "site key", False, error.what, error.remedy
    files = [folder / link.password_file for link in site.mqtt if link.password_file] if site is not None else []
    for path in dict.fromkeys(files):
        yield _mode(f"password {path.name}", path, 0o077, "600", needed=True)
    if (folder / "private").is_dir():
        yield _mode("private folder", folder / "private", 0o077, "700")
    if ledger_path(folder).is_file():
        yield _mode("ledger", ledger_path(folder), 0o022, "go-w")


def _steers(folder: Path) -> Found:
    """Whether targets may obey a controller with this log: after a restore not before a person says so."""
    from fieldctl.events import BackupRestored, GenerationRaised
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.checks import STEERS_NOBODY

    if not ledger_path(folder).is_file():
        return
    with contextlib.suppress(FieldctlError, sqlite3.Error), Reader.read(ledger_path(folder)) as reader:
        facts = list(reader.facts(kinds=(BackupRestored, GenerationRaised)))
        restored = bool(facts) and isinstance(facts[-1], BackupRestored)
        seen = STEERS_NOBODY.wrong if restored else "its targets may obey it"
        yield "who steers", not restored, seen, STEERS_NOBODY.remedy


def _backup(folder: Path) -> Found:
    yield "last backup", *last_backup(folder, datetime.datetime.now(datetime.UTC))


def _mode(what: str, path: Path, barred: int, right: str, *, needed: bool = False) -> tuple[str, bool, str, str]:
    """One file whose mode may hold none of the barred bits."""
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
    except OSError as error:
        return what, not needed, f"{path}: {error.strerror}", "Make it, mode 0600, or take it out of site.toml."
    return what, not mode & barred, f"{path.name}, mode {mode:04o}", f"chmod {right} {path}"
