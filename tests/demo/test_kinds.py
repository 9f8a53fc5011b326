"""A kind of target that there is not: the kinds that there are, each command its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

FIELDCTL = Path(sys.executable).parent / "fieldctl"


@pytest.mark.parametrize(
    ("words", "kinds"),
    [(("demo", "--headless"), "python, c or qemu"), (("sim", "faults", "--seeds", "0:1"), "python or c")],
)
def test_each_names_every_kind_that_it_takes_and_no_other(words: tuple[str, ...], kinds: str) -> None:
    command = [str(FIELDCTL), *words, "--targets", "rust"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"'rust' is no kind of target. Expected: {kinds}." in done.stderr
