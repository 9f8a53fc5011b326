"""The target as a process: what it keeps in its file it has again after being killed."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time

import pytest
from csim import ROOT

from fieldctl.wire import adding, envelope, frames, messages, seal
from fieldctl.wire import messages as m

FIRMWARE = ROOT / "firmware_stubs"
ANSWERS_S = 2.0


class Process:
    """One life of the process, and its line."""

    def __init__(self, *words: str) -> None:
        self.child = subprocess.Popen(
            [str(FIRMWARE / "build/fieldctl-target"), *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.child.stdout is not None
        self.where = json.loads(self.child.stdout.readline())
        self.address = int(self.where["target"], 16)
        self.line = os.open(self.where["port"], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.deframer = frames.Deframer()

    def door(self, word: str) -> str:
        host, port = self.where["door"].split(":")
        with socket.create_connection((host, int(port)), timeout=ANSWERS_S) as door:
            door.sendall(word.encode() + b"\n")
            return door.recv(4096).decode().strip()

    def say(self, payload: bytes) -> m.Message:
        os.write(self.line, frames.encode(payload))
        until = time.monotonic() + ANSWERS_S
        while time.monotonic() < until:
            try:
                found = self.deframer.feed(os.read(self.line, 512))
            except BlockingIOError:
                found = []
            if found:
                env = envelope.read(found[0])
                assert env is not None
                return messages.decode(env.body)
        raise AssertionError("no answer")

    def kill(self) -> None:
        os.close(self.line)
        assert self.child.stdin is not None
        assert self.child.stdout is not None
        self.child.kill()
        self.child.wait()
        self.child.stdin.close()
        self.child.stdout.close()


@pytest.fixture(scope="module", autouse=True)
def _built():
    subprocess.run(["make", "-s", "-C", str(FIRMWARE), f"PYTHON={sys.executable}", "posix"], check=True, timeout=110)


def test_killed_it_has_its_keys_and_another_boot(tmp_path) -> None:
    words = ("--flash", str(tmp_path / "flash"), "--hardware", "0102030405060708")
    first = Process(*words)
    try:
        assert "press" in first.door("offers").split()
        assert first.door("press") == "ok"
        hail = messages.encode(m.Hail(b"asker  1", 1, 0))
        answer = first.say(envelope.bare(envelope.HAIL, first.address, hail))
        assert isinstance(answer, m.HailAnswer)
        keys = seal.derive_keys(bytes(16), first.address, 1)
        add = adding.make_add(bytes.fromhex(first.where["secret"]), answer.hardware, b"asker  1", answer.nonce, keys)
        os.write(first.line, frames.encode(envelope.bare(envelope.ADD, first.address, messages.encode(add))))
        assert first.say(envelope.token(first.address, 1)).boot == 1
    finally:
        first.kill()
    again = Process(*words)
    try:
        status = again.say(envelope.token(again.address, 2))
        assert (status.boot, status.re) == (2, 2)
        assert status.flags & m.Flags.ALL_OFF
        assert again.door("nothing of the kind") == "no such word"
    finally:
        again.kill()


def test_wrong_use_is_told() -> None:
    said = subprocess.run(
        [str(FIRMWARE / "build/fieldctl-target"), "--what"], capture_output=True, text=True, check=False
    )
    assert said.returncode == 2
    assert "--flash FILE" in said.stderr
