"""One simulated target in a process of its own, and `fieldctl certify` run at it as a user would."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FIELDCTL = Path(sys.executable).parent / "fieldctl"


@dataclass
class Served:
    """Where it is, and how to end it."""

    process: subprocess.Popen[str]
    where: dict[str, str]
    folder: Path

    def secret_file(self) -> str:
        path = self.folder / "label.txt"
        path.write_text(self.where["secret"] + "\n")
        return str(path)

    def command(self, *words: str) -> list[str]:
        line = next(name for name in ("port", "socket", "mqtt") if name in self.where)
        more = [f"--{line}", self.where[line]]
        if line == "mqtt":
            password = self.folder / "password"
            password.write_text(self.where["password"])
            password.chmod(0o600)
            more += ["--password-file", str(password), "--target", self.where["target"]]
        return [str(FIELDCTL), "certify", *more, *words]

    def certify(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(self.command(*words), capture_output=True, text=True, check=False, timeout=120)

    def end(self) -> dict[str, Any]:
        """What the target holds when all is over."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        found: dict[str, Any] = json.loads(self.process.stdout.readline())
        self.process.wait(timeout=10)
        return found


@contextlib.contextmanager
def served(folder: Path, *words: str) -> Iterator[Served]:
    child = subprocess.Popen(
        [sys.executable, "-m", "sims.one_target", *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert child.stdout is not None
        yield Served(child, json.loads(child.stdout.readline()), folder)
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        for pipe in (child.stdin, child.stdout):
            if pipe is not None:
                pipe.close()
