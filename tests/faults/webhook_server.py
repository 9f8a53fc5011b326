"""A real HTTP server on loopback that takes alerts, or is slow, failing, dead, rude: whatever a test says."""

from __future__ import annotations

import contextlib
import json
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

PATH = "/hook/a-token-that-nobody-shows"


@dataclass
class Taken:
    """What came, and how the next one is answered: a status, or "drip", "hang", "redirect", "garbage"."""

    url: str
    answer: int | str = 200
    rows: list[dict[str, Any]] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    attempts: int = 0
    ended: threading.Event = field(default_factory=threading.Event)


@contextlib.contextmanager
def server(port: int = 0) -> Iterator[Taken]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            taken.attempts += 1
            body = self.rfile.read(int(self.headers["Content-Length"]))
            with contextlib.suppress(OSError):
                self._answer(body)

        def _answer(self, body: bytes) -> None:
            match taken.answer:
                case "drip":
                    for letter in b"HTTP/1.1 200 OK\r\nX-Slow: " + b"x" * 1000:
                        self.wfile.write(bytes([letter]))
                        if taken.ended.wait(0.05):
                            return
                case "hang":
                    taken.ended.wait(30)
                case "garbage":
                    self.wfile.write(b"\x00\xff what is this\r\n\r\n")
                case "redirect":
                    self.send_response(302)
                    self.send_header("Location", taken.url + "/elsewhere")
                    self.end_headers()
                case int(status):
                    if status < 300:
                        taken.rows.append(json.loads(body))
                        taken.headers.append({name.lower(): value for name, value in self.headers.items()})
                    self.send_response(status)
                    self.end_headers()

        def log_message(self, *args: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        allow_reuse_address = True

    made = Server(("127.0.0.1", port), Handler)
    taken = Taken(f"http://127.0.0.1:{made.server_address[1]}{PATH}")
    thread = threading.Thread(target=made.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield taken
    finally:
        taken.ended.set()
        made.shutdown()
        made.server_close()
        thread.join()


def free_port() -> int:
    """A port of loopback that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def wait_for(taken: Taken, rows: int, within_s: float = 20.0) -> None:
    """Until so many came."""
    deadline = time.monotonic() + within_s
    while len(taken.rows) < rows:
        assert time.monotonic() < deadline, f"{len(taken.rows)} of {rows} alerts came"
        time.sleep(0.05)
