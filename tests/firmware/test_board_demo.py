"""`fieldctl demo --targets qemu`: the same contract, with emulated boards on the bus; and what is said without them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

import sims.board
from fieldctl.errors import BadInput, Unreachable
from sims import demo
from sims.demo_boards import BOARDS
from sims.targets import maker

FIELDCTL = Path(sys.executable).parent / "fieldctl"


def emulators(pid: int) -> list[psutil.Process]:
    found = []
    for process in psutil.Process(pid).children(recursive=True):
        try:
            if process.name().startswith(sims.board.QEMU):
                found.append(process)
        except psutil.NoSuchProcess:
            continue
    return found


@pytest.mark.timeout(180)
def test_the_headless_demo_with_emulated_boards_keeps_the_contract(tmp_path: Path) -> None:
    words = ["demo", "--targets", "qemu", "--headless", "--json", "--seed", "7", "--keep", str(tmp_path / "kept")]
    child = subprocess.Popen([FIELDCTL, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    at_once: set[int] = set()
    seen: list[psutil.Process] = []
    try:
        while child.poll() is None:
            some = emulators(child.pid)
            at_once.add(len(some))
            seen += [p for p in some if p not in seen]
            time.sleep(0.5)
        out, err = child.communicate()
    finally:
        child.kill()
    assert child.returncode == 0, err
    row = json.loads(out)
    assert max(at_once) == BOARDS >= 4
    assert not any(p.is_running() for p in seen)
    assert row["schema"] == 1
    assert row["exercise"]["state"] == "complete"
    burials = row["exercise"]["burials"]
    assert [set(b) for b in burials] == 3 * [
        {"burial", "target", "link", "sent_from_s", "found_at_s", "plus_minus_ms", "searcher"}
    ]
    assert [b["link"] for b in burials] == ["serial", "mqtt", "serial"]
    assert all(b["sent_from_s"] < b["found_at_s"] for b in burials)
    strikes = row["strikes"]
    assert strikes["lost"] == 0
    assert strikes["made"] == strikes["recorded"] == sum(strikes["taken_for"].values())
    assert strikes["taken_for"]["probe"] == 3
    assert strikes["taken_for"].keys() >= {"step", "vehicle"}
    assert row["stamps"]["outside"] == 0
    assert 0 < row["stamps"]["plus_minus_ms"]["serial"]["max"] <= 2.0
    assert len(row["all_off"]["confirmed"]) == 12
    assert row["past_grant_us_max"] <= 0


@pytest.mark.parametrize(
    ("lacks", "package"),
    [("qemu-system-arm", "apt-get install qemu-system-arm"), ("arm-none-eabi-gcc", "gcc-arm-none-eabi")],
)
def test_a_machine_without_the_tools_is_told_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], lacks: str, package: str
) -> None:
    which = sims.board.shutil.which
    monkeypatch.setattr(sims.board.shutil, "which", lambda name: None if name == lacks else which(name))
    code = demo.main(seed=7, headless=True, as_json=True, keep=None, targets="qemu")
    printed = capsys.readouterr()
    assert code == Unreachable.exit_code
    assert printed.out == ""
    assert f"{lacks} is not on this machine" in printed.err
    assert package in printed.err
    assert "--targets python" in printed.err


def test_an_installation_without_the_sources_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(sims.board, "SOURCES", tmp_path)
    assert demo.main(seed=7, headless=True, as_json=True, keep=None, targets="qemu") == Unreachable.exit_code
    assert "The firmware's sources are not here" in capsys.readouterr().err


def test_virtual_time_takes_no_emulated_boards() -> None:
    with pytest.raises(BadInput, match="real time"):
        maker("qemu")


STARTS_ONE = """
import asyncio, sys
from pathlib import Path
from sims.board import Board, build_image
from sims.board_bench import Label

async def main():
    async with Board(Path(sys.argv[1]), Label(bytes(range(8)), bytes(range(16))), await build_image()) as board:
        await board.power_on()
        print(board.pid, flush=True)
        await asyncio.sleep(60)

asyncio.run(main())
"""


@pytest.fixture
def short_tmp() -> Iterator[Path]:
    """What a killed process could not tidy up goes with the test; a socket's path has to be short."""
    with tempfile.TemporaryDirectory(prefix="fc") as folder:
        yield Path(folder)


def test_an_emulator_ends_with_whoever_started_it(tmp_path: Path, short_tmp: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", STARTS_ONE, tmp_path],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(short_tmp)},
    )
    try:
        assert child.stdout is not None
        emulator = psutil.Process(int(child.stdout.readline()))
        assert emulator.net_connections("inet") == [], "nothing listens on any network"
    finally:
        child.kill()
        child.communicate()
    _, alive = psutil.wait_procs([emulator], timeout=5)
    assert alive == []
