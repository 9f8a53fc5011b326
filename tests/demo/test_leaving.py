"""A demo that is ended early, refused, or carried by the small broker: all off first, and nothing is left behind."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest

import sims.broker
from fieldctl.events import AllOffConfirmed, AllOffOrdered, ControllerStopped, ExerciseEnded, SignalOn
from fieldctl.ledger.store import Ledger
from sims import demo

FIELDCTL = Path(sys.executable).parent / "fieldctl"


@contextmanager
def sending(kept: Path) -> Iterator[tuple[subprocess.Popen[str], list[psutil.Process]]]:
    """A demo in which something sends, as a terminal starts it: in a process group of its own; and its children."""
    child = subprocess.Popen(
        [FIELDCTL, "demo", "--headless", "--json", "--seed", "3", "--keep", str(kept)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        process_group=0,
        env={**os.environ, "TMPDIR": str(kept.parent)},  # what a killed one could not tidy up goes with the test
    )
    try:
        assert child.stderr is not None
        said = []
        for line in child.stderr:
            said.append(line)
            if "A sending" in line:
                break
        else:
            raise AssertionError("".join(said))
        yield child, psutil.Process(child.pid).children(recursive=True)
    finally:
        child.kill()
        child.communicate()


@pytest.mark.timeout(150)
@pytest.mark.parametrize(
    "number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=["ctrl-c", "SIGTERM", "terminal closed"]
)
def test_whoever_ends_it_early_ends_it_with_all_off_confirmed(tmp_path: Path, number: signal.Signals) -> None:
    kept = tmp_path / "kept"
    with sending(kept) as (child, children):
        assert len(children) >= 2  # the targets' process and Mosquitto
        os.killpg(child.pid, number)  # what a terminal does: everybody in the group gets it
        out, err = child.communicate(timeout=60)
        _, alive = psutil.wait_procs(children, timeout=5)
    assert child.returncode == 1
    assert out == ""
    assert err == "Told to leave: all off, confirmed by 12 of 12 targets.\n"
    assert alive == []
    with Ledger.open(kept / "ledger.sqlite", inline=True, who="test") as ledger:
        facts = list(ledger.facts())
    kinds = [type(f) for f in facts]
    assert SignalOn in kinds
    assert kinds.count(AllOffOrdered) == 1
    assert sum(isinstance(f, AllOffConfirmed) and f.quiet for f in facts) == 12
    assert ExerciseEnded in kinds
    assert kinds[-1] is ControllerStopped


@pytest.mark.timeout(150)
def test_a_demo_that_is_killed_leaves_no_process_behind(tmp_path: Path) -> None:
    with sending(tmp_path / "kept") as (child, children):
        child.kill()
        _, alive = psutil.wait_procs(children, timeout=20)
    assert alive == []


def test_nothing_listens_beyond_loopback_while_it_goes_on(tmp_path: Path) -> None:
    with sending(tmp_path / "kept") as (child, children):
        everybody = [psutil.Process(child.pid), *children]
        found = [c for p in everybody for c in p.net_connections() if c.status == psutil.CONN_LISTEN]
        assert found
        assert {c.laddr.ip for c in found} == {"127.0.0.1"}


def test_a_folder_that_holds_a_site_already_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text("name = 'somebody else'\n")
    done = subprocess.run(
        [FIELDCTL, "demo", "--headless", "--json", "--keep", str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert "already holds site.toml" in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


@pytest.mark.timeout(240)
def test_without_mosquitto_the_small_broker_carries_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(sims.broker, "find_mosquitto", lambda: None)
    with caplog.at_level(logging.WARNING, "sims.broker"):
        code = demo.main(seed=7, headless=True, as_json=True, keep=None)
    printed = capsys.readouterr()
    assert code == 0, printed.err
    row = json.loads(printed.out)
    assert {b["link"] for b in row["exercise"]["burials"]} == {"serial", "mqtt"}
    assert row["strikes"]["lost"] == 0
    assert len(row["all_off"]["confirmed"]) == 12
    assert "No mosquitto on this machine" in caplog.text
