from __future__ import annotations

import asyncio
import contextlib
import re
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest

from fieldctl.cli import serving_pages
from fieldctl.site.model import Pages

FIELDCTL = Path(sys.executable).parent / "fieldctl"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    subprocess.run([FIELDCTL, "site", "new", str(folder)], check=True, capture_output=True, timeout=60)
    text = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(text.replace('"0.0.0.0"', '"127.0.0.1"').replace("port = 8457", "port = 0"))
    return folder


@contextlib.contextmanager
def served(folder: Path) -> Iterator[tuple[str, str]]:
    """The address of the pages and the first one's, as `serve` says them."""
    child = subprocess.Popen(
        [FIELDCTL, "serve", "--site", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    try:
        assert child.stdout is not None
        address = first = ""
        while not first:
            line = child.stdout.readline()
            assert line, "serve ended"
            address = line.partition("Pages: ")[2].strip() or address
            first = found.group(0) if (found := re.search(r"https?://\S+/first/\S+", line)) else ""
        yield address, first
    finally:
        child.send_signal(signal.SIGTERM)
        child.communicate(timeout=20)
    assert child.returncode == 0


def ready(client: httpx.Client, address: str) -> None:
    for _ in range(100):
        with contextlib.suppress(httpx.TransportError):
            if client.get(f"{address}/ready").status_code == 200:
                return
    raise AssertionError("not ready")


def enter(client: httpx.Client, address: str, first: str) -> httpx.Response:
    code = first.rpartition("/")[2]
    return client.post(f"{address}/api/v1/first", json={"code": code, "name": "Mira"}, headers={"X-Fieldctl": "1"})


def test_plain_http_works_and_says_limited_mode(site: Path) -> None:
    with served(site) as (address, first), httpx.Client() as client:
        ready(client, address)
        assert first.startswith(address)
        assert "/limited" in client.get(address).text
        cookie = enter(client, address, first).headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert "secure" not in cookie


def test_a_certificate_of_ones_own_ends_limited_mode(site: Path) -> None:
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=larch"]
    names = [
        "-addext",
        "subjectAltName=IP:127.0.0.1",
        "-keyout",
        str(site / "pages.key"),
        "-out",
        str(site / "pages.crt"),
    ]
    subprocess.run([*words, *names], check=True, capture_output=True, timeout=60)
    text = (site / "site.toml").read_text()
    named = 'certificate = "pages.crt"\ncertificate_key = "pages.key"\n'
    (site / "site.toml").write_text(re.sub(r"(port = 0[^\n]*\n)", r"\1" + named, text, count=1))
    trusted = ssl.create_default_context(cafile=str(site / "pages.crt"))
    with served(site) as (address, first), httpx.Client(verify=trusted) as client:
        assert address.startswith("https://")
        ready(client, address)
        assert "/limited" not in client.get(address).text
        assert "secure" in enter(client, address, first).headers["set-cookie"].lower()


def test_a_port_that_is_taken_is_said_with_a_remedy(site: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        text = (site / "site.toml").read_text()
        (site / "site.toml").write_text(re.sub(r"port = 0", f"port = {port}", text, count=1))
        done = subprocess.run([FIELDCTL, "serve", "--site", str(site)], capture_output=True, text=True, timeout=30)
    assert done.returncode == 5
    assert str(port) in done.stderr
    assert "[pages]" in done.stderr


def test_pages_that_fail_begin_anew_and_the_field_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """What nobody foresaw in the pages never ends the controller's own tasks."""
    begun: list[int] = []
    said: list[str] = []

    class Ends:
        followers = 0

        def __init__(self, *_: Any) -> None:
            begun.append(1)

        async def run(self) -> None:
            await asyncio.sleep(60)

        def first_code(self) -> None:
            return None

    async def serve(_app: Any, listener: socket.socket, *_: Any) -> None:
        listener.close()
        raise RuntimeError("a fault that nobody foresaw")

    monkeypatch.setattr("fieldctl.web.board.Board", Ends)
    monkeypatch.setattr("fieldctl.web.accounts.Accounts", Ends)
    monkeypatch.setattr("fieldctl.web.app.make_app", lambda _house: None)
    monkeypatch.setattr("fieldctl.web.server.serve", serve)
    monkeypatch.setattr(serving_pages, "AGAIN_AFTER_S", 0.01)

    async def field() -> str:
        listener = socket.create_server(("127.0.0.1", 0))
        desk: Any = SimpleNamespace(access=None)
        controller: Any = SimpleNamespace()
        async with asyncio.TaskGroup() as group:
            pages = group.create_task(
                serving_pages.run_pages(controller, desk, Path(), Pages(), listener, said.append), name="pages"
            )
            await asyncio.sleep(0.3)
            pages.cancel()
            return "the field went on"

    assert asyncio.run(field()) == "the field went on"
    assert len(begun) >= 4  # board and accounts, more than once
    assert all("the field goes on" in line for line in said)
