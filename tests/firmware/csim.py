"""A core in memory, driven like the target of tests/vectors/target.py: one payload in, one out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from fieldctl.wire import frames, seal
from sims import ccore

ROOT = Path(__file__).parents[2]
NOTHING, BYTES, PAYLOAD, RETAINED, CONNECTED, PRESSED = range(6)
NEVER = (1 << 64) - 1


def loss_words() -> list[str]:
    """The words of `enum fc_lost`, in order."""
    names = re.findall(r"^    FC_LOST_(\w+),", (ROOT / "firmware_stubs/core/state.h").read_text(), re.MULTILINE)
    return [name.lower().replace("_", "-") for name in names if name != "KINDS"]


LOSSES = loss_words()


class Sim:
    """One core with its board in memory."""

    def __init__(
        self,
        *,
        hardware: bytes = bytes.fromhex("000102030a1b2c3d"),
        secret: bytes = b"factory secret 1",
        firmware: str = "vectors 1",
        abilities: int = 385,
        radio: bool = False,
        log_max: int = 4,
        keys: seal.TargetKeys | None = None,
        core: Any = None,
        on: bool = True,
    ) -> None:
        module = core or ccore.load()
        self.lib, self.ffi = module.lib, module.ffi
        self.c = self.ffi.gc(
            self.lib.fc_sim_new(hardware, secret, firmware.encode(), abilities, radio, log_max, 12345),
            self.lib.fc_sim_free,
        )
        if keys is not None:
            assert self.lib.fc_sim_give_keys(self.c, keys.own, keys.all_off, keys.version)
        self.ticks = 0
        self.delay_us = 0
        if on:
            self.power_on()

    def power_on(self, why: int = 0, ticks: int = 0) -> None:
        self.ticks = ticks
        self.lib.fc_sim_power_on(self.c, ticks, why)

    def take(self) -> list[bytes]:
        """What was sent since, without the frames round it."""
        said = [self.ffi.buffer(self.c.sent[i].data, self.c.sent[i].size)[:] for i in range(self.c.sent_count)]
        self.c.sent_count = 0
        if self.c.unit.radio:
            return said
        return [payload for frame in said for payload in frames.Deframer().feed(frame)]

    def step(self, ticks: int, what: int = NOTHING, data: bytes = b"") -> int:
        """Everything up to there, then what happens there; when it may speak next."""
        self.ticks = ticks
        return self.lib.fc_sim_step(self.c, ticks, what, self.ffi.from_buffer(bytearray(data)), len(data))

    def hear(self, payload: bytes, ticks: int, *, retained: bool = False) -> bytes:
        """Its answer, which it would give after its turnaround and its slot; time does not go on for it."""
        self.step(ticks, RETAINED if retained else PAYLOAD, payload)
        self.delay_us = 0
        out = self.c.core
        return self._waiting(ticks) if out else b""

    def _waiting(self, ticks: int) -> bytes:
        due = self.ffi.new("uint64_t *")
        size = self.lib.fc_sim_pull(self.c, due)
        if size == 0:
            return b""
        self.delay_us = due[0] - ticks - self.c.unit.turnaround_us
        return self.take()[-1]

    def look(self) -> Any:
        """See `struct fc_look`."""
        seen = self.ffi.new("struct fc_look *")
        self.lib.fc_sim_look(self.c, seen)
        return seen

    def lost(self) -> Counter[str]:
        """What was dropped, by kind."""
        counts = self.look().lost
        return Counter({word: counts[i] for i, word in enumerate(LOSSES) if counts[i]})

    def strike(self, features: tuple[int, ...], ticks: int) -> bool:
        self.ticks = ticks
        return bool(self.lib.fc_sim_strike(self.c, list(features), len(features), ticks))

    def samples(self, samples: Sequence[int], first: int) -> None:
        """Samples of the pad, the first at a tick."""
        self.ticks = first + len(samples) * 250
        self.lib.fc_sim_samples(self.c, list(samples), len(samples), first)

    def waiting(self) -> list[tuple[int, int]]:
        pairs = self.ffi.new("uint32_t[128]")
        count = self.lib.fc_sim_waiting(self.c, pairs, 64)
        return [(pairs[2 * i], pairs[2 * i + 1]) for i in range(count)]

    def spans(self) -> list[tuple[int, int]]:
        """When the carrier was on, in ticks."""
        return [(self.c.spans[i].on, self.c.spans[i].off) for i in range(self.c.spans_count)]
