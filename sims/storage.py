"""What a simulated target keeps over a power cut: one log of records, each written whole or not at all.

A power cut can hit at any write: `cut_at_write(n)` makes the n-th one from now fail, just before or just after the
record holds. A broken chip refuses every write and goes on reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fieldctl.wire.adding import address_of
from fieldctl.wire.messages import HARDWARE_BYTES
from fieldctl.wire.seal import TargetKeys


class PowerCut(Exception):
    """The power went in the middle of something."""


class StorageBroken(Exception):
    """The write was refused; nothing changed."""


@dataclass(frozen=True, slots=True)
class Logged:
    """A strike in the log; `true_us` is the truth, which only simulations and tests may read."""

    boot: int
    number: int
    ticks: int
    features: tuple[int, ...]
    true_us: int


class Storage:
    """The persisted part of a target. Read the fields, change them through `write` alone."""

    FIELDS = ("boot", "used", "seen", "generation", "epoch", "off", "keys", "keys_before", "strikes", "dropped")

    def __init__(self, hardware: bytes, secret: bytes, keys: TargetKeys | None = None) -> None:
        assert len(hardware) == HARDWARE_BYTES, f"a hardware id has {HARDWARE_BYTES} bytes"
        self.hardware = hardware
        self.secret = secret
        self.address = address_of(hardware)
        self.boot = 0
        self.used = 0
        self.seen = 0
        self.generation = 0
        self.epoch = 0
        self.off = False
        self.keys = keys
        self.keys_before: TargetKeys | None = None  # until the new ones were used
        self.strikes: tuple[Logged, ...] = ()  # not acknowledged yet, oldest first
        self.dropped = 0
        self.writes = 0
        self.broken = False
        self._cut_in = 0
        self._cut_before = True

    def cut_at_write(self, n: int, *, before: bool) -> None:
        """The n-th write from now loses its power: `before` or after the record holds."""
        self._cut_in = n
        self._cut_before = before

    def write(self, **changes: Any) -> None:
        """One record; raises PowerCut when the power goes, StorageBroken when the chip refuses."""
        if self.broken:
            raise StorageBroken
        self.writes += 1
        if self._cut_in:
            self._cut_in -= 1
            if self._cut_in == 0:
                if not self._cut_before:
                    self._apply(changes)
                raise PowerCut
        self._apply(changes)

    def _apply(self, changes: dict[str, Any]) -> None:
        for name, value in changes.items():
            assert name in self.FIELDS, name
            setattr(self, name, value)
