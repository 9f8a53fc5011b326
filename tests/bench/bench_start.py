"""How soon the program is there: `fieldctl --help`, and `serve` answering its first status (design, section 9)."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from fieldctl.controller import socket
from fieldctl.errors import FieldctlError

FIELDCTL = Path(sys.executable).parent / "fieldctl"
STARTS = 7
HELP_S = 0.3
SERVE_S = 2.0


def help_s() -> float:
    begin = time.perf_counter()
    subprocess.run([FIELDCTL, "--help"], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin


def serve_s(folder: Path) -> float:
    begin = time.perf_counter()
    serve = subprocess.Popen(
        [FIELDCTL, "serve", "--site", str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        while time.perf_counter() - begin < 30:
            try:
                socket.ask(folder, "status", {})
            except FieldctlError:
                time.sleep(0.01)
                continue
            return time.perf_counter() - begin
        return 30.0
    finally:
        serve.terminate()
        serve.wait(timeout=20)


def main() -> int:
    """Print figure | limit | ratio; 1 when anything is over its limit."""
    help_s()  # the first one reads the disk
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "site"
        subprocess.run([FIELDCTL, "site", "new", str(folder)], stdout=subprocess.DEVNULL, check=True)
        text = (folder / "site.toml").read_text()
        (folder / "site.toml").write_text(text.replace('"0.0.0.0"', '"127.0.0.1"').replace("port = 8457", "port = 0"))
        rows = (
            ("fieldctl --help", statistics.median(help_s() for _ in range(STARTS)), HELP_S),
            ("serve answering", statistics.median(serve_s(folder) for _ in range(STARTS)), SERVE_S),
        )
    for what, figure, limit in rows:
        print(f"{what}, median of {STARTS} starts: {figure:.3f} s | {limit:g} s | {figure / limit:.2f}")
    return int(any(figure > limit for _, figure, limit in rows))


if __name__ == "__main__":
    raise SystemExit(main())
