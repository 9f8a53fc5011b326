"""A served site for tests: `fieldctl serve` as a child, simulated targets in another process on a pseudo-terminal."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldctl.cli.outside import SystemClock, make_key, read_key
from fieldctl.controller import socket
from fieldctl.errors import FieldctlError
from fieldctl.events import TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime, PersonId, TargetId

FIELDCTL = Path(sys.executable).parent / "fieldctl"
TARGETS = tuple(TargetId(f"5ee0000{n}") for n in range(1, 5))
READY_WITHIN_S = 20.0

SITE = """
name = "larch-hollow"
title = "Larch Hollow (invented)"
grant_s = {grant_s}

[pages]
listen = "127.0.0.1"
port = 0

[[serial]]
name = "bus"
port = "{port}"

[[zone]]
name = "upper"
title = "Upper hollow"
"""
PLACE = """
[[target]]
id = "{target}"
name = "Larch {n}"
zone = "upper"
link = "bus"
x_m = {x}
y_m = 0.0
depth_m = 1.0
"""
DRILL = """
title = "Three, the second switched on by the first find (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "start"
target = "5ee00001"
[[burial]]
name = "B"
signal = "after-find"
after = "A"
target = "5ee00002"
[[burial]]
name = "C"
signal = "start"
target = "5ee00003"
"""


@dataclass
class Served:
    """A site folder, its targets' process, and the serve that runs now."""

    folder: Path
    targets: subprocess.Popen[str]
    truth: Path
    serve: subprocess.Popen[str] | None = None
    said: list[str] = field(default_factory=list)

    def begin(self) -> None:
        """Start serve and wait for nothing."""
        self.serve = subprocess.Popen(
            [FIELDCTL, "serve", "--site", str(self.folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def start(self) -> None:
        """Start serve and wait until it answers."""
        self.begin()
        assert self.serve is not None
        deadline = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < deadline:
            with contextlib.suppress(FieldctlError):
                self.ask("status")
                return
            assert self.serve.poll() is None, self.serve.communicate()[0]
            time.sleep(0.05)
        raise AssertionError("serve does not answer")

    def kill(self) -> None:
        """SIGKILL."""
        assert self.serve is not None
        self.serve.kill()
        self.serve.communicate()
        self.serve = None

    def terminate(self) -> int:
        """SIGTERM; the exit code."""
        assert self.serve is not None
        self.serve.send_signal(signal.SIGTERM)
        self.said.append(self.serve.communicate(timeout=20)[0])
        code = self.serve.returncode
        self.serve = None
        return code

    def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        """Ask the serving controller."""
        return socket.ask(self.folder, verb, arguments)

    def cli(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command on this site."""
        return subprocess.run(
            [FIELDCTL, *words, "--site", str(self.folder)], capture_output=True, text=True, check=False, timeout=60
        )

    def until(self, holds: Any, within_s: float) -> Any:
        """Ask for the status until something holds; what it gave."""
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            found = holds(self.ask("status"))
            if found:
                return found
            time.sleep(0.1)
        raise AssertionError(f"it did not come within {within_s:g} s: {json.dumps(self.ask('status'))[:2000]}")

    def open_day(self) -> None:
        """Open the field, signing for plates that nobody touched."""
        self.until(lambda s: all(t["life"] == "online" and t["plus_minus_ms"] for t in s["targets"]), 20)
        problems = self.ask("day-check")["problems"]
        self.ask(
            "day-open",
            by="Ansel",
            hazard="low (invented)",
            snow_m=1.9,
            stray_sweep="Tove, nothing heard (invented)",
            exceptions=[p["key"] for p in problems if p["may_sign"]],
        )

    def end(self) -> dict[str, Any]:
        """End the targets' process; the truth."""
        assert self.targets.stdin is not None
        self.targets.stdin.write("end\n")
        self.targets.stdin.flush()
        self.targets.wait(timeout=20)
        truth: dict[str, Any] = json.loads(self.truth.read_text())
        return truth


@contextlib.contextmanager
def served(folder: Path, seed: int = 1, grant_s: int = 30) -> Iterator[Served]:
    """A site with four targets on a bus, provisioned, not yet served."""
    folder.mkdir(parents=True, exist_ok=True)
    make_key(folder)
    truth = folder / "truth.json"
    order = {
        "seed": seed,
        "site_key": read_key(folder).hex(),
        "site": "larch-hollow",
        "serial": list(TARGETS),
        "mqtt": {},
        "plays": list(TARGETS[:3]),
        "walked_past": TARGETS[2],
        "driven_past": TARGETS[1],
        "truth": str(truth),
        "targets": "python",
    }
    child = subprocess.Popen(
        [sys.executable, "-m", "sims.demo_targets"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    made = Served(folder, child, truth)
    try:
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdin.write(json.dumps(order) + "\n")
        child.stdin.flush()
        port = json.loads(child.stdout.readline())["port"]
        places = "".join(PLACE.format(target=t, n=n, x=12.0 * n) for n, t in enumerate(TARGETS, start=1))
        (folder / "site.toml").write_text(SITE.format(port=port, grant_s=grant_s) + places)
        (folder / "drills").mkdir(exist_ok=True)
        (folder / "drills" / "three.toml").write_text(DRILL)
        clock = SystemClock()
        with Ledger.open(folder / "ledger.sqlite", inline=True, who="test") as ledger:
            facts = [TargetAdded(t, f"696e7664{t}", "bus", 1, PersonId("p-ansel")) for t in TARGETS]
            ledger.append(facts, at=HostTime(clock.boot, clock.now()))
        yield made
    finally:
        for process in (made.serve, child):
            if process is not None and process.poll() is None:
                os.kill(process.pid, signal.SIGKILL)
                process.wait()
        for process in (made.serve, child):
            for pipe in (process.stdin, process.stdout) if process is not None else ():
                if pipe is not None:
                    pipe.close()
