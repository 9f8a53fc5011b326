"""The selftest names the numbered rule that a port breaks: on paper with every defect, on the emulated board with a
world that misbehaves, and on a board that is well."""

from __future__ import annotations

import asyncio
import re
import subprocess
import time
from pathlib import Path

import pytest

from sims.board import MAKEFILES, SOURCES, Board, build_image
from sims.board_bench import Bench, Label
from sims.board_truth import monotonic_us

SELFTEST = "build/mps2_an385/selftest.elf"
LABEL = Label(bytes.fromhex("696e76640a1b2c3d"), bytes(range(16)))
RULES = (1, 2, 3, 4, 6, 7, 9, 11, 12, 13, 14, 15, 16, 17, 18, 19, 21)


@pytest.fixture(scope="module")
def paper() -> Path:
    subprocess.run(["make", "-s", "-C", SOURCES, *MAKEFILES, "selftest-paper"], check=True, timeout=60)
    return SOURCES / "build/selftest/paper"


def said(paper: Path, defect: str) -> str:
    done = subprocess.run([paper, *defect.split()], capture_output=True, text=True, check=False, timeout=20)
    assert done.stderr == ""
    assert done.returncode == ("FAILED" in done.stdout)
    return done.stdout


def test_on_paper_a_sound_port_passes(paper: Path) -> None:
    text = said(paper, "")
    assert text.endswith("selftest passed\n")
    assert sorted(map(int, re.findall(r"^P(\d+) holds$", text, re.MULTILINE))) == list(RULES)
    assert "not tried" not in text


def test_on_paper_each_defect_is_named_by_its_rule_and_no_other(paper: Path) -> None:
    defects = dict(line.split() for line in said(paper, "list").splitlines())
    found = {defect: said(paper, defect).splitlines()[-1] for defect in defects}
    assert found == {defect: f"selftest FAILED: {rule}" for defect, rule in defects.items()}
    assert {int(rule[1:]) for rule in defects.values()} == set(RULES)


class Run:
    """One run of the selftest on an emulated board, in a world that may misbehave."""

    def __init__(self, folder: Path, *, presses: int = 1, loses: int = 0, **ill: int) -> None:
        self.folder = folder
        self.presses = presses
        self.loses = loses
        self.ill = ill
        self.text = ""
        self.stack_used = 0
        self.ticks_off_us = 0

    async def go(self) -> Run:
        image = await build_image("board-selftest", SELFTEST)
        async with Board(self.folder, LABEL, image) as board:
            for word, value in self.ill.items():
                board.bench[word] = value
            board.on_bytes = lambda data: board.write(self._echo(data))
            await board.power_on()
            await board.stands(lambda _: "S press" in board.said, 20)
            for _ in range(self.presses):
                board.bench.press()
            await self._compare_clocks(board.bench)
            await board.stands(lambda bench: bench["result"] != 0, 20)
            self.text = board.said
            self.stack_used = board.bench["stack_used"]
        return self

    def _echo(self, data: bytes) -> bytes:
        keep = data[self.loses :]
        self.loses = max(0, self.loses - len(data))
        return keep

    async def _compare_clocks(self, bench: Bench) -> None:
        """How far its clock runs off against ours in two seconds, within what looking from outside can tell."""
        ahead = []
        for _ in range(2):
            least = 1 << 60
            for _ in range(100):
                least = min(least, monotonic_us() - bench.ticks())
                await asyncio.sleep(0.002)
            ahead.append(least)
            await asyncio.sleep(1.6 if len(ahead) == 1 else 0)
        self.ticks_off_us = ahead[1] - ahead[0]

    @property
    def verdict(self) -> str:
        return self.text.splitlines()[-1]


@pytest.mark.timeout(60)
async def test_on_the_emulated_board(tmp_path: Path) -> None:
    """Eight boards side by side: one that is well, and worlds that break one rule each."""
    begun = time.monotonic()
    rows = {
        "well": (Run(tmp_path / "well"), "selftest passed"),
        "stuck": (Run(tmp_path / "stuck", gate_stuck=1), "selftest FAILED: P2 P7"),
        "lies": (Run(tmp_path / "lies", gate_lies=1), "selftest FAILED: P7"),
        "refuses": (Run(tmp_path / "refuses", storage_bad=1), "selftest FAILED: P13 P14"),
        "loses": (Run(tmp_path / "loses", loses=5), "selftest FAILED: P4"),
        "twice": (Run(tmp_path / "twice", presses=2), "selftest FAILED: P19"),
        "flat": (Run(tmp_path / "flat", rest_mv=100), "selftest FAILED: P15"),
        "hot": (Run(tmp_path / "hot", kelvin10=4000), "selftest FAILED: P16"),
    }
    await build_image("board-selftest", SELFTEST)
    names = list(rows)
    for some in (names[:4], names[4:]):
        await asyncio.gather(*(rows[name][0].go() for name in some))
    assert {name: run.verdict for name, (run, _) in rows.items()} == {
        name: wanted for name, (_, wanted) in rows.items()
    }
    well = rows["well"][0]
    tried = {int(rule) for rule in re.findall(r"^P(\d+) holds$", well.text, re.MULTILINE)}
    assert tried == set(RULES), well.text
    assert abs(well.ticks_off_us) < 300, "150 ppm in two seconds"
    draws = {match for run, _ in rows.values() for match in re.findall(r"S entropy ([0-9a-f]{16})", run.text)}
    assert len(draws) == len(rows)
    assert 0 < well.stack_used < 2048
    print(f"{time.monotonic() - begun:.1f} s, stack {well.stack_used} bytes")
