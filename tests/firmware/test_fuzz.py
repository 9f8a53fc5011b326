"""The receive path under a coverage-guided fuzzer and sanitizers, from seeds that get behind the seal."""

from __future__ import annotations

import json
import os
import re
import subprocess

import pytest
from csim import ROOT

from fieldctl.wire import envelope, frames, messages

FIRMWARE = ROOT / "firmware_stubs"
BYTES = 100_000_000 if os.environ.get("FIELDCTL_TESTS_LONG") else 10_000_000
RAW, PAYLOAD, SEALED, ASKED, ALL_OFF, UNSEALED, TIME, SAMPLES, STRIKE, POWER, BROKEN, PRESS = range(12)
FORMS = {
    envelope.DOWN: SEALED,
    envelope.ASKED: ASKED,
    envelope.ALL_OFF: ALL_OFF,
    envelope.HAIL: UNSEALED,
    envelope.ADD: UNSEALED,
}


def piece(what: int, data: bytes) -> bytes:
    return bytes([what, min(len(data), 255)]) + data[:255]


def seeds() -> list[bytes]:
    """The scripts of the shared vectors, in the fuzzer's own words; and a few lives with strikes and power cuts."""
    found = []
    for script in json.loads((ROOT / "tests/vectors/session.json").read_text())["scripts"]:
        whole = b""
        for step in script["steps"]:
            payload = bytes.fromhex(step.get("hear", ""))
            env = envelope.read(payload)
            if env is not None and env.form in FORMS:
                whole += piece(FORMS[env.form], env.body)
            elif payload:
                whole += piece(RAW, frames.encode(payload)) if len(payload) < 124 else piece(PAYLOAD, payload)
            elif "strike" in step:
                whole += piece(STRIKE, bytes(range(14)))
            elif "press" in step:
                whole += piece(PRESS, b"\1")
            whole += piece(TIME, bytes(len(whole) % 40))
        found.append(whole)
        found.append(whole[:300] + piece(POWER, bytes(66)) + whole[300:] + piece(POWER, bytes(38)) + whole[-300:])
    armed = piece(SEALED, bytes.fromhex("a500070201050118 1bf5182f00".replace(" ", "")))
    shown = piece(SAMPLES, b"\0") * 2 + piece(SAMPLES, bytes(range(60)))
    told = b"".join(
        piece(SEALED, messages.encode(messages.TraceAsk(n, 1, part))) for n in range(1, 5) for part in (0, 3)
    )
    found.append(armed + shown * 3 + told + shown * 4 + told)
    found.append(armed + shown * 3 + piece(STRIKE, bytes(range(16))) * 12 + piece(BROKEN, b"\x21\x22\x23"))
    return found


@pytest.mark.timeout(600)  # 20 s of processor time for the bytes, and the build
def test_nothing_is_found(tmp_path) -> None:
    subprocess.run(["make", "-s", "-j2", "-C", str(FIRMWARE), "fuzz"], check=True, timeout=110)
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    for n, seed in enumerate(seeds()):
        (corpus / f"seed-{n:02}").write_bytes(seed)
    ran = subprocess.run(
        [str(FIRMWARE / "build/fuzz/fuzz"), "-seed=7", "-max_len=4096", "-len_control=0", "-timeout=10", str(corpus)],
        cwd=tmp_path,
        env={**os.environ, "FUZZ_BYTES": str(BYTES)},
        capture_output=True,
        text=True,
        timeout=1200,
        check=False,
    )
    last = ran.stderr.strip().splitlines()[-1]
    assert ran.returncode == 0, ran.stderr[-3000:]
    assert re.fullmatch(r"fuzz: \d+ bytes received, nothing found", last), last
    reached = max(int(n) for n in re.findall(r"cov: (\d+)", ran.stderr))
    assert reached > 900, f"the fuzzer saw only {reached} edges: its seeds do not get in"
