"""A look at this machine and a site: each check with what was seen and a remedy."""

from __future__ import annotations

import shutil
import socket
import sqlite3
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fieldctl.cli.outside import SystemClock, ledger_path, read_key
from fieldctl.errors import FieldctlError

COMMITS = 40
COMMITS_LEAST_A_S = 20  # a field makes a few dozen facts a second at worst, committed in groups
FREE_LEAST_MB = 200
PYTHON_LEAST = (3, 11)
CONNECT_WITHIN_S = 2.0

Row = dict[str, Any]
Found = Iterator[tuple[str, bool, str, str]]


def look(site: Path) -> list[Row]:
    """Every check: what, ok, seen, remedy."""
    checks: tuple[Callable[[Path], Found], ...] = (_program, _clock, _disk, _ports, _site, _broker, _secrets)
    return [
        {"what": what, "ok": ok, "seen": seen, "remedy": "" if ok else remedy}
        for check in checks
        for what, ok, seen, remedy in check(site)
    ]


def _program(_site: Path) -> Found:
    version = ".".join(str(n) for n in sys.version_info[:3])
    yield "Python", sys.version_info >= PYTHON_LEAST, version, "Install Python 3.11 or later."
    yield "SQLite", True, sqlite3.sqlite_version, ""


def _clock(_site: Path) -> Found:
    clock = SystemClock()
    first = clock.now()
    yield "monotonic clock", clock.now() >= first > 0, f"boot {clock.boot[:8]}, {first / 1e6:.0f} s", "-"
    year = time.gmtime().tm_year
    remedy = "Set the clock; durations are right all the same, labels are not."
    yield "wall clock", year >= 2025, time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()), remedy


def _disk(site: Path) -> Found:
    folder = site if site.is_dir() else Path(tempfile.gettempdir())
    free = shutil.disk_usage(folder).free // 1_000_000
    yield "free disk", free >= FREE_LEAST_MB, f"{free} MB", "Make room: a full disk ends sending."
    try:
        with tempfile.TemporaryDirectory(dir=folder) as scratch:
            a_second = _commits_a_second(Path(scratch) / "doctor.sqlite")
    except OSError as error:
        yield "ledger's folder", False, str(error), "Make the site's folder writable for this account."
        return
    remedy = "Use a better card or disk; a commit has to be on it before anything is told."
    yield "safe commits a second", a_second >= COMMITS_LEAST_A_S, f"{a_second:.0f}", remedy


def _commits_a_second(path: Path) -> float:
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("PRAGMA journal_mode=WAL")
    base.execute("PRAGMA synchronous=FULL")
    base.execute("CREATE TABLE t (x)")
    begin = time.perf_counter()
    for i in range(COMMITS):
        base.execute("INSERT INTO t VALUES (?)", (i,))
    took = time.perf_counter() - begin
    base.close()
    return COMMITS / took


def _ports(_site: Path) -> Found:
    from fieldctl.links.serial_bus import list_ports

    ports = list_ports()
    seen = ", ".join(f"{p.port}{f' (held by {p.held_by})' if p.held_by else ''}" for p in ports) or "none"
    yield "serial ports", True, seen, ""


def _site(site: Path) -> Found:
    from fieldctl.site.files import load_site

    try:
        found = load_site(site)
    except FieldctlError as error:
        yield "site files", False, str(error), error.remedy
        return
    yield "site files", True, f"{found.title}, {len(found.places)} targets", ""
    for link in found.serial:
        there = Path(link.port).exists()
        yield (
            f"bus {link.name}",
            there,
            link.port if there else f"{link.port} is not there",
            ("Plug the adapter in, or name its port in site.toml (fieldctl links shows those there are)."),
        )


def _broker(site: Path) -> Found:
    from fieldctl.site.files import load_site

    try:
        found = load_site(site)
    except FieldctlError:
        return
    for link in found.mqtt:
        try:
            with socket.create_connection((link.host, link.port), timeout=CONNECT_WITHIN_S):
                yield f"broker {link.name}", True, f"{link.host}:{link.port} answers", ""
        except OSError as error:
            yield (
                f"broker {link.name}",
                False,
                f"{link.host}:{link.port}: {error}",
                ("Start Mosquitto there; fieldctl broker config DIR writes its files."),
            )


def _secrets(site: Path) -> Found:
    try:
        read_key(site)
        yield "site key", True, "there, readable by its owner alone", ""
    except FieldctlError as error:
        yield "site key", False, error.what, error.remedy
    path = ledger_path(site)
    if path.is_file():
        mode = stat.S_IMODE(path.stat().st_mode)
        yield "ledger", not mode & 0o022, f"{path.name}, mode {mode:04o}", f"chmod go-w {path}"
