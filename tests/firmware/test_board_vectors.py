"""The shared vectors, byte for byte, from the core as compiled for a Cortex-M3: scripts go over the board's UART."""

from __future__ import annotations

import asyncio
import json
import struct
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from csim import LOSSES, ROOT

from fieldctl.wire import adding, frames, seal
from sims.board import Board, build_image
from sims.board_bench import Label

IMAGE = "build/mps2_an385/vectors.elf"
SESSION = json.loads((ROOT / "tests/vectors/session.json").read_text())
BODY = ("abilities", "turnaround", "log_max", "battery_ok", "gate_stuck", "rest_mv", "load_mv", "kelvin10", "noise")
BODY += ("charge",)
un = bytes.fromhex


class Replay:
    """The program of vectors_main.c, at the end of a UART."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.radio = False
        self._came = bytearray()
        self._more = asyncio.Event()
        self._lost = Counter[str]()
        board.on_bytes = self._bytes

    def _bytes(self, data: bytes) -> None:
        self._came += data
        self._more.set()

    async def ask(self, what: bytes, data: bytes) -> bytes:
        self.board.write(struct.pack("<H", len(data) + 1) + what + data)
        async with asyncio.timeout(5):
            while len(self._came) < 2 or len(self._came) < 2 + int.from_bytes(self._came[:2], "little"):
                self._more.clear()
                await self._more.wait()
        answer = bytes(self._came[2:])
        self._came.clear()
        return answer

    async def begin(self, body: dict[str, Any], keys: seal.TargetKeys | None) -> None:
        own, all_off, version = (keys.own, keys.all_off, keys.version) if keys else (bytes(16), bytes(16), 0)
        data = un(body["hardware"]) + un(body["secret"]) + body["firmware"].encode().ljust(17, b"\0")
        self.radio = body["window"] == seal.MQTT_WINDOW
        done = await self.ask(b"n", data + struct.pack("<BB16s16sI", self.radio, bool(keys), own, all_off, version))
        assert done == b"\1"

    async def power(self, why: int) -> None:
        await self.ask(b"o", bytes([why]))
        self._lost = Counter()

    async def embody(self, body: dict[str, Any]) -> None:
        await self.ask(b"b", struct.pack("<HHBBBHHHHI", *(body[name] for name in BODY)))

    async def hear(self, step: dict[str, Any]) -> tuple[str, Counter[str], int]:
        """Reply, what was lost with it, and its slot."""
        nonce = un(step.get("nonce", ""))
        head = struct.pack("<QBB8s", step["ticks"], step.get("retained", False), bool(nonce), nonce)
        answer = await self.ask(b"h", head + un(step["hear"]))
        delay, *counts = struct.unpack_from(f"<Q{len(LOSSES)}H", answer)
        lost = Counter({word: n for word, n in zip(LOSSES, counts, strict=True) if n})
        before, self._lost = self._lost, lost
        said = answer[8 + 2 * len(LOSSES) :]
        if said and not self.radio:
            (said,) = frames.Deframer().feed(said)
        return said.hex(), lost - before, delay


async def play(replay: Replay, script: dict[str, Any]) -> int:
    """One script; how many replies were compared."""
    body = SESSION["body"] | script["body"]
    address = adding.address_of(un(body["hardware"]))
    keys = script["keys"] and seal.derive_keys(un(SESSION["site_key"]), address, script["keys"]["version"])
    await replay.begin(body, keys or None)
    await replay.power(0)
    await replay.embody(body)
    compared = 0
    for number, step in enumerate(script["steps"]):
        where = f"{script['name']}, step {number}"
        match step:
            case {"hear": _}:
                reply, lost, delay = await replay.hear(step)
                assert reply == step["reply"], where
                assert lost == step.get("lost", {}), where
                assert delay == step.get("delay_us", 0), where
                compared += 1
            case {"strike": features, "ticks": ticks}:
                await replay.ask(b"s", struct.pack(f"<QB{len(features)}I", ticks, len(features), *features))
            case {"samples": samples, "times": times, "ticks": ticks}:
                for n in range(times):
                    await replay.ask(b"w", struct.pack("<Q", ticks + n * len(un(samples)) // 2 * 250) + un(samples))
            case {"press": True, "ticks": ticks}:
                await replay.ask(b"p", struct.pack("<Q", ticks))
            case {"cut": why}:
                await replay.power(why)
                await replay.embody(body)
            case {"set": changes}:
                body = body | changes
                await replay.embody(body)
            case _:
                raise AssertionError(f"{where} of no kind: {step}")
    return compared


@pytest.mark.timeout(90)
async def test_every_script_is_answered_as_in_the_vectors(tmp_path: Path) -> None:
    image = await build_image("board-vectors", IMAGE)
    async with Board(tmp_path / "board", Label(bytes(range(8)), bytes(range(16))), image) as board:
        await board.power_on()
        replay = Replay(board)
        compared = [await play(replay, script) for script in SESSION["scripts"]]
    assert sum(compared) == sum("hear" in step for script in SESSION["scripts"] for step in script["steps"])
    assert sum(compared) > 100
