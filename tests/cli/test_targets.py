"""A target's life from the command line: searched, added by its label, named, found, rotated, barred, taken out."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL

pytestmark = pytest.mark.timeout(120)

LABELS = {
    "696e76645ee00001": {"secret": "00112233445566778899aabbccddeeff", "pressed": True},
    "696e76645ee00002": {"secret": "ffeeddccbbaa99887766554433221100", "pressed": False},
}


@dataclass
class Site:
    folder: Path

    def run(self, *words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
        done = subprocess.run(
            [FIELDCTL, *words, "--site", self.folder],
            input=typed, capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert "Traceback" not in done.stderr
        return done

    def row(self, *words: str, typed: str = "") -> dict[str, Any]:
        done = self.run(*words, "--json", typed=typed)
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    def until(self, holds: Callable[[dict[str, Any]], Any]) -> None:
        deadline = time.monotonic() + 15
        while not holds(self.row("status")):
            assert time.monotonic() < deadline
            time.sleep(0.1)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    folder = tmp_path / "larch"
    subprocess.run([FIELDCTL, "site", "new", folder], check=True, capture_output=True)
    fresh = subprocess.Popen(
        [sys.executable, Path(__file__).parent / "fresh_targets.py"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    serve = None
    try:
        assert fresh.stdin is not None
        assert fresh.stdout is not None
        fresh.stdin.write(json.dumps(LABELS) + "\n")
        fresh.stdin.flush()
        port = json.loads(fresh.stdout.readline())["port"]
        text = (folder / "site.toml").read_text().replace("/dev/ttyUSB0", port)
        (folder / "site.toml").write_text(text.replace('"0.0.0.0"', '"127.0.0.1"').replace("port = 8457", "port = 0"))
        words = ("serve", "--json", "--site", folder)
        serve = subprocess.Popen([FIELDCTL, *words], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert serve.stdout is not None
        ready = json.loads(serve.stdout.readline())
        assert (ready["schema"], ready["targets"], ready["pid"]) == (1, 0, serve.pid)
        made = Site(folder)
        made.until(lambda s: next(ln for ln in s["links"] if ln["name"] == "bus")["up"])
        yield made
        serve.send_signal(signal.SIGTERM)
        serve.communicate(timeout=20)
        assert serve.returncode == 0
    finally:
        for process in (serve, fresh):
            if process is not None:
                if process.poll() is None:
                    process.kill()
                process.communicate()


def test_a_target_s_life(site: Site) -> None:
    found = {f["hardware"]: f["pressed"] for f in site.row("target", "search", "bus")["found"]}
    assert found == {hardware: label["pressed"] for hardware, label in LABELS.items()}
    (first, label), (second, other) = LABELS.items()
    short = site.run("target", "add", "bus", first, typed="abc\n")
    assert short.returncode == 2
    assert "label" in short.stderr
    unpressed = site.run("target", "add", "bus", second, typed=other["secret"] + "\n")
    assert unpressed.returncode == 4
    assert "button" in unpressed.stderr
    secret = site.folder / "private" / "label"
    secret.write_text(label["secret"] + "\n")
    added = site.row("target", "add", "bus", first, "--name", "Larch one", "--secret-file", str(secret))
    assert added["target"] == "5ee00001"
    assert [t["name"] for t in site.row("target", "list")["targets"]] == ["Larch one"]
    assert site.row("target", "rotate", "larch one")["key_version"] == 2
    site.until(lambda s: s["targets"][0]["life"] == "online")
    assert site.row("target", "name", "5ee00001", "Lone larch")["name"] == "Lone larch"
    assert site.row("target", "find", "lone larch", "--send")["sending"] is True
    site.until(lambda s: s["targets"][0]["signal"] == "sending")
    assert site.row("target", "find", "lone larch", "--end")["sending"] is False
    site.until(lambda s: s["targets"][0]["signal"] == "says quiet")
    assert site.row("target", "bar", "lone larch", "--reason", "heard on the walk")["barred"]
    assert site.run("target", "clear", "lone larch").returncode == 2  # without a reason
    assert site.row("target", "clear", "lone larch", "--reason", "Tove dug it out")["barred"] == {}
    out = site.row("target", "take-out", "lone larch", "--reason", "spring")
    assert (out["how"], out["forgot_its_keys"]) == ("taken-out", True)
    assert site.row("target", "list")["targets"] == []
    assert label["secret"] not in site.run("ledger", "export", "--names").stdout
