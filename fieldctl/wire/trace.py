"""Raw traces of strikes, at both ends: what a target keeps of the last four, and how the parts become one again.

What a sample is and why so many are kept stands with `trace` in messages.cddl. Both ends are pure; the firmware's core
keeps the same (`core/trace.c`), and shared vectors hold the two together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from fieldctl.wire.messages import Trace, TraceAsk

KEPT = 4  # strikes
SAMPLES = 128
BEFORE = 8
PART = 32
EVERY_US = 250


@dataclass(frozen=True, slots=True)
class Raw:
    """A trace as a target keeps it: signed bytes, steps about the baseline shifted right by `scale`."""

    begins: int
    scale: int
    samples: bytes

    def part(self, number: int) -> bytes:
        """The samples of one part."""
        return self.samples[number * PART : (number + 1) * PART]


def pack(away: Sequence[int], begins: int) -> Raw:
    """What is kept of a strike; `away` in steps, rounded down, BEFORE of them before the one that exceeded `begins`."""
    assert len(away) == SAMPLES, f"a trace has {SAMPLES} samples, not {len(away)}"
    scale = 0
    while not all(-128 <= step >> scale <= 127 for step in away):
        scale += 1
    return Raw(min(begins, 0xFFFF), scale, bytes((step >> scale) & 0xFF for step in away))


def in_steps(samples: bytes, scale: int) -> tuple[int, ...]:
    """Signed bytes as steps of the converter."""
    return tuple((byte - 256 if byte > 127 else byte) << scale for byte in samples)


class Traces:
    """The traces of one boot that can be told: those of the last four strikes that were logged with one."""

    def __init__(self) -> None:
        self._kept: dict[int, Callable[[], Raw | None]] = {}

    def keep(self, number: int, raw: Callable[[], Raw | None]) -> None:
        """A strike was logged under this number; its trace is made when it is asked for."""
        self._kept.pop(number, None)
        self._kept[number] = raw
        while len(self._kept) > KEPT:
            del self._kept[next(iter(self._kept))]

    def raw(self, number: int) -> Raw | None:
        """The trace of a strike; None when there is none any more."""
        make = self._kept.get(number)
        return None if make is None else make()

    def told(self, ask: TraceAsk, boot: int, ticks: int, flags: int, re: int) -> Trace | None:
        """The part that is asked for; None when there is none."""
        raw = self.raw(ask.number)
        if raw is None or ask.strike_boot != boot or ask.part >= SAMPLES // PART:
            return None
        return Trace(
            boot,
            ticks,
            flags,
            ask.number,
            boot,
            ask.part,
            SAMPLES // PART,
            EVERY_US,
            BEFORE,
            raw.begins,
            raw.scale,
            raw.part(ask.part),
            re,
        )


@dataclass(frozen=True, slots=True)
class Whole:
    """A trace as the controller has it: in steps about the baseline, None where a part is missing."""

    parts: int
    size: int  # of a part; the last one may be smaller
    every_us: int
    before: int
    begins: int
    scale: int
    samples: tuple[int | None, ...]
    missing: tuple[int, ...]


def fits(first: Trace, other: Trace) -> bool:
    """Whether two parts can be of one trace."""
    return _about(first) == _about(other)


def _about(told: Trace) -> tuple[int, ...]:
    return told.strike_boot, told.number, told.parts, told.every, told.before, told.begins, told.scale


def join(parts: Mapping[int, Trace]) -> Whole:
    """The whole of at least one part; a missing one counts as long as the longest that is there."""
    first = next(iter(parts.values()))
    missing = tuple(n for n in range(first.parts) if n not in parts)
    size = max(len(part.samples) for part in parts.values())
    samples: list[int | None] = []
    for n in range(first.parts):
        part = parts.get(n)
        samples += [None] * size if part is None else in_steps(part.samples, part.scale)
    return Whole(first.parts, size, first.every, first.before, first.begins, first.scale, tuple(samples), missing)
