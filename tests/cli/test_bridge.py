"""A far zone from the command line: broker config, a real Mosquitto under it, bridge, serve; and the broker dies."""

from __future__ import annotations

import contextlib
import getpass
import json
import re
import signal
import socket as sockets
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from served import FIELDCTL, TARGETS, Served, served

from fieldctl.cli.outside import SystemClock
from fieldctl.events import TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.units import HostTime, PersonId
from sims.broker import find_mosquitto, free_port

pytestmark = pytest.mark.timeout(120)


@contextlib.contextmanager
def process(*words: str | Path) -> Iterator[subprocess.Popen[str]]:
    child = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        yield child
    finally:
        if child.poll() is None:
            child.kill()
        child.communicate()


@contextlib.contextmanager
def mosquitto(conf: Path, port: int) -> Iterator[None]:
    program = find_mosquitto()
    assert program is not None
    with process(program, "-c", conf) as child:
        deadline = time.monotonic() + 10
        while True:
            assert child.poll() is None, child.communicate()[0]
            assert time.monotonic() < deadline
            with contextlib.suppress(OSError), sockets.create_connection(("127.0.0.1", port), timeout=1):
                break
            time.sleep(0.02)
        yield


def behind_a_bridge(site: Served, port: int) -> str:
    """Put the site's targets behind a broker; the port of their bus."""
    path = site.folder / "site.toml"
    text = path.read_text()
    found = re.search(r'\[\[serial\]\]\nname = "bus"\nport = "(.*)"', text)
    assert found is not None
    broker = f'[[mqtt]]\nname = "broker"\nhost = "127.0.0.1"\nport = {port}\npassword_file = "private/controller"'
    path.write_text(text.replace(found[0], broker).replace('link = "bus"', 'link = "broker"'))
    clock = SystemClock()
    with Ledger.open(site.folder / "ledger.sqlite", inline=True, who="test") as ledger:
        facts = [TargetAdded(t, f"696e7664{t}", "broker", 1, PersonId("p-ansel")) for t in TARGETS]
        ledger.append(facts, at=HostTime(clock.boot, clock.now()))
    return found[1]


def test_a_far_zone_from_the_command_line(tmp_path: Path) -> None:
    port = free_port()
    with served(tmp_path / "site", seed=6) as site:
        bus = behind_a_bridge(site, port)
        folder = tmp_path / "broker"
        done = site.cli("broker", "config", str(folder), "--no-tls", "--bridge", "far=upper")
        assert done.returncode == 0, done.stderr
        conf = folder / "mosquitto.conf"
        text = conf.read_text().replace("user mosquitto\n", f"user {getpass.getuser()}\n")
        conf.write_text(text.replace("listener 1883 ", f"listener {port} "))
        for line in (folder / "clear-passwords.txt").read_text().splitlines():
            user, password = line.split()
            path = site.folder / "private" / user.removeprefix("bridge-")
            path.touch(mode=0o600)
            path.write_text(password)
        words = ("bridge", "--port", bus, "--link", "broker", "--zone", "upper", "--name", "far", "--json")
        far = site.folder / "private" / "far"
        with process(FIELDCTL, *words, "--password-file", far, "--site", site.folder) as bridge:
            assert bridge.stdout is not None
            assert "To do:" in bridge.stdout.readline()  # no broker yet: said, and tried again
            with mosquitto(conf, port):
                row = json.loads(bridge.stdout.readline())
                assert row["targets"] == list(TARGETS)
                site.start()
                site.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 30)
                off = json.loads(site.cli("all-off", "--json").stdout)["all_off"]
                assert (len(off["confirmed"]), off["unconfirmed"]) == (4, [])
            assert "To do:" in bridge.stdout.readline()
            site.until(lambda s: not any(link["up"] for link in s["links"]), 10)
            with mosquitto(conf, port):
                assert json.loads(bridge.stdout.readline())["port"] == bus
                site.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 30)
                assert site.terminate() == 0
            bridge.send_signal(signal.SIGTERM)
            said = bridge.communicate(timeout=10)[0]
            assert (bridge.returncode, "Traceback" in said) == (0, False), said
