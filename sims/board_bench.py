"""The file behind an emulated board: its storage, and the bench through which the world acts on it.

The emulator maps the file as the board's external memory, shared, so that what the board has written is in the file at
that moment: killing the emulator is a power cut, and starting it again on the same file is the power coming back. The
layout is that of `firmware_stubs/port/mps2_an385/bench.h`; `W` there is what is written here.

All of it stands for what is not the processor (gate, pad, cell, button, label); the product never reads it.
"""

from __future__ import annotations

import mmap
import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

FILE_BYTES: Final = 16 << 20
FLASH_BYTES: Final = 0x10000
BENCH_AT: Final = 0x80000
PLAY_AT: Final = BENCH_AT + 0x10000
PLAY_SAMPLES: Final = 0x80000
MAGIC: Final = 0x31484346
GATE_LOG: Final = 2048
SAMPLE_US: Final = 250

HANG, HANG_DEAF, FAULT, RESET = 1, 2, 3, 4

_WORDS = {
    "magic": 0x00,
    "starts": 0x04,
    "seq": 0x08,
    "stack_size": 0x14,
    "stack_used": 0x18,
    "data_bytes": 0x1C,
    "cut_done": 0x20,
    "overruns": 0x24,
    "writes": 0x28,
    "gate_head": 0x2C,
    "loops": 0x30,
    "done": 0x34,
    "result": 0x38,
    "rest_mv": 0x68,
    "load_mv": 0x6C,
    "kelvin10": 0x70,
    "pressed": 0x74,
    "cut_in": 0x78,
    "gate_stuck": 0x7C,
    "gate_lies": 0x80,
    "order": 0x84,
    "order_seq": 0x88,
    "noise": 0x8C,
    "play_count": 0x98,
    "storage_bad": 0x9C,
    "cut_records": 0xA0,
    "cut_after": 0xA4,
    "awake": 0xA8,
}
_NOW = 0x08
_HARDWARE = 0x40
_ENTROPY = 0x58
_PLAY_FROM = 0x90
_GATE = 0x100
_SPAN = struct.Struct("<QQII")


@dataclass(frozen=True, slots=True)
class Label:
    """What a factory writes into a target: hardware id of eight bytes, secret of sixteen."""

    hardware: bytes
    secret: bytes

    def __post_init__(self) -> None:
        assert len(self.hardware) == 8
        assert len(self.secret) == 16


class Bench:
    """One board's file, open; close it."""

    def __init__(self, path: Path, label: Label | None = None, *, noise: int = 48) -> None:
        fresh = not path.exists()
        assert fresh == (label is not None), "a new file needs a label, an old one has its own"
        with path.open("w+b" if fresh else "r+b") as file:
            if fresh:
                file.truncate(FILE_BYTES)
                file.write(b"\xff" * FLASH_BYTES)
                file.flush()
            self._map = mmap.mmap(file.fileno(), FILE_BYTES)
        self.path = path
        if label is not None:
            self._map[BENCH_AT + _HARDWARE : BENCH_AT + _HARDWARE + 24] = label.hardware + label.secret
            for name, value in (("rest_mv", 3560), ("load_mv", 3400), ("kelvin10", 2610), ("noise", noise)):
                self[name] = value

    def close(self) -> None:
        """Let go of the file."""
        self._map.close()

    def __getitem__(self, word: str) -> int:
        at = BENCH_AT + _WORDS[word]
        return int.from_bytes(self._map[at : at + 4], "little")

    def __setitem__(self, word: str, value: int) -> None:
        at = BENCH_AT + _WORDS[word]
        self._map[at : at + 4] = value.to_bytes(4, "little")

    @property
    def hardware(self) -> bytes:
        """Its hardware id."""
        at = BENCH_AT + _HARDWARE
        return self._map[at : at + 8]

    @property
    def secret(self) -> bytes:
        """Its factory secret."""
        at = BENCH_AT + _HARDWARE + 8
        return self._map[at : at + 16]

    @property
    def flash(self) -> bytes:
        """The storage as it is now."""
        return self._map[:FLASH_BYTES]

    @flash.setter
    def flash(self, data: bytes) -> None:
        """Load another storage; the board must be off."""
        assert len(data) == FLASH_BYTES
        self._map[:FLASH_BYTES] = data

    def wake(self) -> None:
        """Before each start: fresh entropy, nothing begun."""
        self["magic"] = 0
        self._map[BENCH_AT + _ENTROPY : BENCH_AT + _ENTROPY + 16] = os.urandom(16)

    def ticks(self) -> int:
        """The ticks that it published last."""
        while True:
            seq, low, high = struct.unpack_from("<III", self._map, BENCH_AT + _NOW)
            if seq % 2 == 0 and seq == self["seq"]:
                return int(high << 32 | low)

    def order(self, what: int) -> None:
        """Let something happen to the processor: HANG, HANG_DEAF, FAULT or RESET."""
        self["order"] = what
        self["order_seq"] = (self["order_seq"] + 1) & 0xFFFF_FFFF

    def press(self) -> None:
        """Press its button."""
        self["pressed"] = (self["pressed"] + 1) & 0xFFFF_FFFF

    def play(self, samples: Sequence[int], from_ticks: int) -> None:
        """Let the pad show this, 4 000 samples a second about its rest, from a tick that lies ahead.

        What is still being played goes on below it: the two are added.
        """
        first, count = self._play_from, self["play_count"]
        if not count or not first <= from_ticks <= first + SAMPLE_US * count:
            assert len(samples) <= PLAY_SAMPLES
            self["play_count"] = 0
            self._put_samples(0, samples)
            struct.pack_into("<Q", self._map, BENCH_AT + _PLAY_FROM, from_ticks)
            self["play_count"] = len(samples)
            return
        skip = (from_ticks - first) // SAMPLE_US
        assert skip + len(samples) <= PLAY_SAMPLES
        under = self._samples(skip, min(count - skip, len(samples)))
        under += [0] * (len(samples) - len(under))
        self._put_samples(skip, [a + b for a, b in zip(under, samples, strict=True)])
        self["play_count"] = max(count, skip + len(samples))

    @property
    def play_ends(self) -> int:
        """The tick after which the pad is at rest again."""
        return self._play_from + SAMPLE_US * self["play_count"]

    @property
    def _play_from(self) -> int:
        return int(struct.unpack_from("<Q", self._map, BENCH_AT + _PLAY_FROM)[0])

    def _samples(self, skip: int, count: int) -> list[int]:
        return list(struct.unpack_from(f"<{max(0, count)}h", self._map, PLAY_AT + 2 * skip))

    def _put_samples(self, skip: int, samples: Sequence[int]) -> None:
        struct.pack_into(f"<{len(samples)}h", self._map, PLAY_AT + 2 * skip, *samples)

    def gate_spans(self) -> list[tuple[int, int, int]]:
        """(start, on, off) of each time that the gate was open, `start` being the value of `starts`, the others ticks.

        All since the file was made; the last one may still grow. OverflowError when there were too many to be kept.
        """
        head = self["gate_head"]
        if head > GATE_LOG:
            raise OverflowError(f"the gate opened {head} times, the log holds {GATE_LOG}")
        rows = (_SPAN.unpack_from(self._map, BENCH_AT + _GATE + _SPAN.size * i) for i in range(head))
        return [(start, on, off) for on, off, start, _ in rows]
