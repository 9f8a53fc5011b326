"""The table of benches: over a limit is over, whatever the bench says of itself."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

RUNNER = Path(__file__).parents[1] / "bench/run.py"

GOOD = "print('figure | limit | ratio')\nprint('p95 1.5 ms | 2 ms | 0.75')\n"

# what the bench does -> exit code of the run, and what it says
BENCHES = {
    "within": (GOOD, 0, "every figure is within its limit"),
    "over though it leaves 0": (GOOD + "print('p95 30 ms | 2 ms | 15')\n", 1, "it: over a limit"),
    "a size is no time": (GOOD + "print('room 3 MB | 2 MB | 1.5')\n", 1, "it: over a limit"),
    "nor is a ±": (GOOD + "print('± widest 3 ms | 2 ms | 1.5')\n", 1, "it: over a limit"),
    "not a number": (GOOD + "print('p95 ? | 2 ms | nan')\n", 1, "it: over a limit"),
    "leaves 1": (GOOD + "raise SystemExit(1)\n", 1, "it: ended with 1"),
    "no figure": ("print('all is well')\n", 1, "it: printed no figure"),
}


def bench(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    shutil.copy(RUNNER, folder / "run.py")
    return subprocess.run([sys.executable, str(folder / "run.py"), *args], capture_output=True, text=True)


@pytest.mark.parametrize("kind", BENCHES)
def test_verdict(kind: str, tmp_path: Path) -> None:
    text, code, said = BENCHES[kind]
    (tmp_path / "bench_it.py").write_text(text)
    done = bench(tmp_path)
    assert (done.returncode, done.stdout.splitlines()[-1]) == (code, said)


def test_one_table_for_all_and_one_bad_bench_does_not_stop_the_next(tmp_path: Path) -> None:
    (tmp_path / "bench_a.py").write_text("raise SystemExit(1)\n")
    (tmp_path / "bench_b.py").write_text("print('a note')\n" + GOOD)
    done = bench(tmp_path)
    assert done.returncode == 1
    assert "a note" in done.stdout
    assert "b      p95 1.5 ms  2 ms   0.750" in done.stdout


def test_no_bench_or_no_such_bench_is_said(tmp_path: Path) -> None:
    assert bench(tmp_path).returncode == 1
    assert "no bench is called speed" in bench(tmp_path, "speed").stderr
