"""`fieldctl serve` without hardware: a link that is down is a state; cautions once; watching; a failed ledger."""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL

from fieldctl.cli import serving
from fieldctl.controller import socket
from fieldctl.errors import BadInput, FieldctlError, LedgerFailed
from fieldctl.events import BackupRestored
from fieldctl.ledger.store import Ledger
from fieldctl.site.checks import STEERS_NOBODY
from fieldctl.units import HostTime

CAUTION = "Any signal is a person until proved otherwise"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    subprocess.run([FIELDCTL, "site", "new", str(folder)], check=True, capture_output=True, timeout=60)
    on_loopback(folder)
    return folder


def on_loopback(folder: Path) -> None:
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace('"0.0.0.0"', '"127.0.0.1"').replace("port = 8457", "port = 0"))


@contextlib.contextmanager
def serve(folder: Path) -> Iterator[subprocess.Popen[str]]:
    child = subprocess.Popen(
        [FIELDCTL, "serve", "--site", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert child.stdout is not None
        assert "Serving" in child.stdout.readline()
        yield child
    finally:
        if child.poll() is None:
            child.kill()
        child.communicate()


def end(child: subprocess.Popen[str], number: signal.Signals = signal.SIGTERM) -> tuple[int, str]:
    child.send_signal(number)
    _, said = child.communicate(timeout=20)
    return child.returncode, said


def until(holds: Callable[[], Any]) -> Any:
    deadline = time.monotonic() + 15
    while not (found := holds()):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    return found


def test_cautions_at_the_first_start_and_links_down_as_a_state(site: Path) -> None:
    with serve(site) as first:
        row = socket.ask(site, "status", {})  # it answers as soon as it says so
        assert [link["up"] for link in row["links"]] == [False, False]
        assert not row["all_off"]["in_force"]
        code, said = end(first)
        assert (code, "Traceback" in said) == (0, False)
        assert CAUTION in said
    with serve(site) as second:
        code, said = end(second, signal.SIGINT)
        assert code == 0
        assert CAUTION not in said


def test_a_restored_log_says_in_the_first_lines_that_it_steers_nobody(site: Path) -> None:
    with serve(site) as first:
        assert first.stdout is not None
        assert first.stdout.readline().startswith("Pages: ")
        end(first)
    with Ledger.open(site / "ledger.sqlite", inline=True) as ledger:
        here = HostTime("elsewhere", 1)
        ledger.append([BackupRestored(None, here)], at=here)
    with serve(site) as second:
        assert second.stdout is not None
        assert second.stdout.readline() == f"{STEERS_NOBODY.wrong} {STEERS_NOBODY.remedy}\n"
        end(second)


def test_who_watches_sees_what_is_committed_and_hears_of_the_end(site: Path) -> None:
    with serve(site) as child:
        watching = subprocess.Popen(
            [FIELDCTL, "status", "--watch", "--json", "--site", str(site)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert watching.stdout is not None
        assert json.loads(watching.stdout.readline())["links"]

        for _ in range(2):  # the watch may begin a moment after the status
            socket.ask(site, "day-renewed", {"by": "Tove", "how": "tilled"})
            time.sleep(0.5)
        rows = [json.loads(watching.stdout.readline())]
        while rows[-1]["entry"]["kind"] != "SurfaceRenewed":
            rows.append(json.loads(watching.stdout.readline()))
        assert rows[-1]["schema"] == 1
        assert rows[-1]["entry"]["seq"] > 0
        end(child)
        _, said = watching.communicate(timeout=20)
        assert watching.returncode == 4
        assert "Not live any more" in said


def test_a_disk_that_takes_nothing_more(site: Path, tmp_path: Path) -> None:
    """A limit on the size of files stands for a full disk; all off works, and the end says that the log failed."""
    child = subprocess.Popen(
        ["sh", "-c", 'ulimit -f 300; exec "$0" serve --site "$1"', str(FIELDCTL), str(site)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert child.stdout is not None
        assert "Serving" in child.stdout.readline()

        def failed() -> Any:
            with contextlib.suppress(FieldctlError):
                for n in range(20):
                    socket.ask(site, "day-renewed", {"by": "Tove", "how": f"{n} " + "x" * 4000})
            return socket.ask(site, "status", {})["ledger"]["failed"]

        assert "cannot be written" in until(failed)
        off = subprocess.run(
            [FIELDCTL, "all-off", "--by", "Somebody new", "--json", "--site", str(site)],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert off.returncode == 0, off.stderr
        assert json.loads(off.stdout)["all_off"]["in_force"]
        code, said = end(child)
        assert code == 1
        assert "cannot be written" in said
        assert "Traceback" not in said
    finally:
        if child.poll() is None:
            child.kill()
        child.communicate()


def test_the_first_of_our_errors_ends_the_group() -> None:
    ours = LedgerFailed("the disk is full", remedy="Make room.")
    group = BaseExceptionGroup("", [KeyError("x"), BaseExceptionGroup("", [ours, BadInput("y", remedy="z")])])
    assert serving._first(group) is ours
    other = KeyError("x")
    assert serving._first(BaseExceptionGroup("", [other])) is other
