"""A site for browser tests: `fieldctl serve` by its command, a mountain in a process of its own, a real broker."""

from __future__ import annotations

import contextlib
import json
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fieldctl.cli.outside import SystemClock, make_key, read_key
from fieldctl.controller import socket
from fieldctl.errors import FieldctlError
from fieldctl.events import TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime, PersonId, TargetId

HERE = Path(__file__).parent
FIELDCTL = Path(sys.executable).parent / "fieldctl"
READY_WITHIN_S = 30.0

SITE = """
name = "larch-hollow"
title = "Larch Hollow (invented)"
grant_s = 10

[pages]
listen = "127.0.0.1"
port = {pages}

[[serial]]
name = "bus"
port = "{port}"
"""
BROKER = """
[[mqtt]]
name = "broker"
host = "{host}"
port = {port}
user = "{user}"
password_file = "private/broker"
"""
ZONES = """
[[zone]]
name = "upper"
title = "Upper hollow"
outline_m = [[0, 60], [80, 60], [80, 110], [0, 110]]

[[zone]]
name = "lower"
title = "Lower hollow"
outline_m = [[0, 0], [80, 0], [80, 50], [0, 50]]

[[stake]]
name = "Stake 1"
x_m = 0.0
y_m = 55.0

[[manual]]
name = "Blue"
"""
PLACE = """
[[target]]
id = "{target}"
name = "Larch {n}"
zone = "{zone}"
link = "{link}"
x_m = {x}
y_m = {y}
depth_m = 1.0
azimuth_deg = 40
tilt_deg = 80
"""
POST = """
[[post]]
id = "{target}"
name = "Gate"
zone = "upper"
"""
DRILLS = {
    "three": """
title = "Three burials"
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
""",
    "pair": """
title = "A pair, found by the call"
limit_min = 10
[[burial]]
name = "A"
signal = "start"
find = "call"
[[burial]]
name = "B"
signal = "start"
find = "call"
""",
    "short": """
title = "One burial, one minute"
limit_min = 1
[[burial]]
name = "A"
signal = "start"
""",
}


class Hill:
    """The folder, the mountain, the serve that runs now; `url` is where its pages are."""

    def __init__(self, folder: Path, mountain: subprocess.Popen[str], serial: list[str]) -> None:
        self.folder = folder
        self.serial = serial
        self.serve: subprocess.Popen[str] | None = None
        self.said: list[str] = []
        self.cookies: list[dict[str, object]] = []  # of Mira, who is in charge
        self._mountain = mountain

    # ---- the controller ------------------------------------------------------------------------------------------

    def start(self) -> None:
        words = [str(FIELDCTL), "serve", "--site", str(self.folder)]
        self.serve = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        threading.Thread(target=self._listen, args=(self.serve,), daemon=True).start()
        self.until(lambda: self.url and self.answers(), READY_WITHIN_S)

    def _listen(self, serve: subprocess.Popen[str]) -> None:
        assert serve.stdout is not None
        with serve.stdout:
            for line in serve.stdout:
                self.said.append(line.rstrip())

    def answers(self) -> bool:
        import urllib.request

        with contextlib.suppress(OSError):
            return bool(urllib.request.urlopen(f"{self.url}/ready", timeout=2).status == 200)
        return False

    @property
    def url(self) -> str:
        found = [line.partition("Pages: ")[2] for line in self.said if line.startswith("Pages: ")]
        return found[-1] if found else ""

    @property
    def code(self) -> str:
        found = [m.group(1) for line in self.said if (m := re.search(r"/first/(\S+)", line))]
        return found[-1]

    def kill(self) -> None:
        assert self.serve is not None
        self.serve.kill()
        self.serve.wait()

    def terminate(self) -> int:
        assert self.serve is not None
        self.serve.send_signal(signal.SIGTERM)
        return self.serve.wait(timeout=20)

    def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        return socket.ask(self.folder, verb, arguments)

    def until(self, holds: Callable[[], Any], within_s: float = 15.0) -> Any:
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            with contextlib.suppress(FieldctlError):
                if found := holds():
                    return found
            time.sleep(0.05)
        raise AssertionError(f"it did not come within {within_s:g} s; serve said:\n" + "\n".join(self.said[-20:]))

    def settled(self) -> None:
        """Every target heard, its clock known."""
        self.until(lambda: all(t["life"] == "online" and t["plus_minus_ms"] for t in self.ask("status")["targets"]), 30)

    def open_day(self) -> None:
        self.settled()
        if self.ask("status")["day"]["open"]:
            return
        problems = self.ask("day-check")["problems"]
        signed = [p["key"] for p in problems if p["may_sign"]]
        self.ask("day-open", by="Ansel", hazard="low (invented)", snow_m=1.9, stray_sweep="Tove, nothing heard",
                 exceptions=signed)  # fmt: skip

    def calm(self) -> None:
        """As before the first test: nothing goes on, no all off, every branch whole, the drills as they were."""
        for row in self.ask("exercise-list")["exercises"]:
            if row["state"] in ("running", "interrupted"):
                self.ask("exercise-stop", exercise=row["exercise"], by="Ansel")
        if self.ask("status")["all_off"]["in_force"]:
            self.ask("all-off-release", by="Ansel", reason="the test is over")
        for unit in self.ask("status")["manual"]:
            self.ask("manual-in", unit=unit["unit"], by="Ansel", seen_off=True)
        for target in self.serial:
            self.do("join", target)
        self.write_drills()
        self.until(lambda: self.sending() == set())

    def write_drills(self) -> None:
        (self.folder / "drills").mkdir(exist_ok=True)
        for name, drill in DRILLS.items():
            (self.folder / "drills" / f"{name}.toml").write_text(drill)

    def exercise(self, name: str = "") -> dict[str, Any]:
        rows = self.ask("exercise-list")["exercises"]
        return next((r for r in rows if r["exercise"] == name), rows[-1]) if rows else {}

    # ---- the mountain --------------------------------------------------------------------------------------------

    def do(self, what: str, target: str = "") -> dict[str, Any]:
        assert self._mountain.stdin is not None
        assert self._mountain.stdout is not None
        self._mountain.stdin.write(json.dumps({"what": what, "target": target}) + "\n")
        self._mountain.stdin.flush()
        answer: dict[str, Any] = json.loads(self._mountain.stdout.readline())
        return answer

    def truth(self) -> dict[str, Any]:
        return self.do("truth")

    def sending(self) -> set[str]:
        return {target for target, row in self.truth().items() if row["sends"]}


@contextlib.contextmanager
def a_hill(folder: Path, serial: int = 6, mqtt: int = 1, pages: int = 0, posts: tuple[str, ...] = ()) -> Iterator[Hill]:
    """A site with its targets and posts, provisioned and not yet served."""
    folder.mkdir(parents=True, exist_ok=True)
    make_key(folder)
    on_bus = [TargetId(f"5ee000{n:02x}") for n in range(1, serial + 1)]
    on_air = [TargetId(f"5ee001{n:02x}") for n in range(1, mqtt + 1)]
    text = SITE
    order = {"site_key": read_key(folder).hex(), "site": "larch-hollow", "serial": on_bus, "mqtt": on_air,
             "posts": posts}  # fmt: skip
    child = subprocess.Popen([sys.executable, str(HERE / "mountain.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                             text=True)  # fmt: skip
    hill = Hill(folder, child, list(on_bus))
    try:
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdin.write(json.dumps(order) + "\n")
        child.stdin.flush()
        made = json.loads(child.stdout.readline())
        if on_air:
            text += BROKER.format(**made["broker"])
            (folder / "private" / "broker").write_text(made["broker"]["password"])
            (folder / "private" / "broker").chmod(0o600)
        places = [(t, "bus", "upper", 70) for t in on_bus] + [(t, "broker", "lower", 25) for t in on_air]
        for n, (target, link, zone, y) in enumerate(places, start=1):
            x, down = 6.0 + 12 * ((n - 1) % 6), 8 * ((n - 1) // 6)
            text += PLACE.format(target=target, n=n, zone=zone, link=link, x=x, y=y + down)
        gates = "".join(POST.format(target=target) for target in posts)
        (folder / "site.toml").write_text(text.format(port=made["port"], pages=pages) + ZONES + gates)
        hill.write_drills()
        clock = SystemClock()
        with Ledger.open(folder / "ledger.sqlite", inline=True, who="test") as ledger:
            facts = [TargetAdded(t, f"696e7664{t}", link, 1, PersonId("p-ansel")) for t, link, _, _ in places]
            facts += [TargetAdded(TargetId(t), f"696e7664{t}", "bus", 1, PersonId("p-ansel")) for t in posts]
            ledger.append(facts, at=HostTime(clock.boot, clock.now()))
        yield hill
    finally:
        if hill.serve is not None and hill.serve.poll() is None:
            hill.kill()
        with contextlib.suppress(OSError):
            child.communicate(timeout=10)  # its input ends: it stops its broker and leaves
