"""The posix build, a process on a pseudo-terminal or a socket, certified as a user would: some of the list, or all."""

import fcntl
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fieldctl.certify.requirements import REQUIREMENTS
from sims import ccore

FIELDCTL = Path(sys.executable).parent / "fieldctl"
LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))
EVERYTHING = [r.id for r in REQUIREMENTS]
SOME = {
    "port": ["framing-junk", "framing-answer", "seal-direction", "late", "grant-runs-out", "gate-inside-grant"],
    "socket": ["replay-cached", "alloff-answered", "reboot-order-in-flight", "battery", "strike-kept", "leave"],
}
WITHIN_S = 600


@pytest.fixture(scope="module")
def program() -> Path:
    (ccore.FOLDER / "build").mkdir(exist_ok=True)
    with (ccore.FOLDER / "build" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        command = ["make", "-s", "-C", str(ccore.FOLDER), f"PYTHON={sys.executable}", "posix"]
        subprocess.run(command, check=True, timeout=ccore.BUILD_WITHIN_S)
    return ccore.FOLDER / "build" / "fieldctl-target"


@contextmanager
def running(program: Path, *words: str) -> Iterator[dict[str, str]]:
    child = subprocess.Popen([program, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        yield json.loads(child.stdout.readline())
    finally:
        child.stdin.close()
        child.wait(timeout=10)
        child.stdout.close()


@pytest.mark.parametrize("line", SOME)
def test_the_posix_build_passes(program, line, tmp_path) -> None:
    wanted = EVERYTHING if LONG else SOME[line]
    label = tmp_path / "label.txt"
    with running(program, *(["--socket"] if line == "socket" else [])) as where:
        label.write_text(where["secret"])
        words = [f"--{line}", where[line], "--door", where["door"], "--secret-file", str(label), "--json"]
        only = [word for requirement in wanted for word in ("--only", requirement)]
        done = subprocess.run(
            [FIELDCTL, "certify", *words, *only], capture_output=True, text=True, check=False, timeout=WITHIN_S
        )
    row = json.loads(done.stdout)
    assert {r["id"]: r["seen"] for r in row["requirements"] if r["verdict"] not in ("passed", "not applicable")} == {}
    came_out = (0, "passed") if wanted == EVERYTHING else (3, "in part")  # some of all are a part
    assert (done.returncode, row["result"], row["left_quiet"]) == (*came_out, True)
    assert row["passed"] + row["not_applicable"] == len(wanted)
