"""What one question and its answer prove about a target's clock, and what can be wrong with it.

The target reads its tick counter as y when it has received the whole question; the answer says y. So y lies

    not before   sent     + the time that the question's bytes take on the wire
    not after    received − the time that the answer's bytes take − the target's declared turnaround

Bytes are counted at 0.98 of their nominal time: a UART may run 2 % fast and still be understood, and to take off
too little is safe where to take off too much is not. Over MQTT nothing is known of the way: byte_us is 0.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.units import BootId, HostUs, NodeTicks

SERIAL_BYTE_US = 10 * 1_000_000 / 115_200  # 86.8 µs: start bit, 8 bits, stop bit at 115 200 baud
WIRE_SHARE = 0.98  # of the nominal byte time: the fastest UART that is still understood
TURNAROUND_SHARE = 0.9998  # the target measures its turnaround with the crystal that drifts 150 ppm
TICK_NS = 1_001  # one tick at the slowest rate: a counter that reads y stands anywhere in [y, y + 1)
HOST_NS = 1_000  # the host reads whole microseconds, so that `received` may be this much too early
TICKS_MAX = 1 << 62  # 146 000 years of microseconds: beyond it the answer is junk


@dataclass(frozen=True, slots=True)
class Exchange:
    """One question and its answer.

    sent_us: read before the first byte was handed out; received_us: read after the last byte of the answer had come;
    ticks: the target's counter when it had the whole question; out_bytes, in_bytes: on the wire, all framing included;
    byte_us: nominal time of one byte, 0 where nothing is known (MQTT); turnaround_us: least time the target declares
    between `ticks` and the first byte of its answer; resent: the question went out more than once, so that nobody
    knows which one was answered (such an exchange gives no sample).
    """

    sent_us: HostUs
    received_us: HostUs
    ticks: NodeTicks
    out_bytes: int
    in_bytes: int
    byte_us: float = SERIAL_BYTE_US
    turnaround_us: int = 0
    resent: bool = False

    def interval_ns(self) -> tuple[int, int]:
        """First and last host nanosecond at which the counter can have become `ticks`; empty when it is impossible."""
        out_us = self.out_bytes * self.byte_us * WIRE_SHARE
        in_us = self.in_bytes * self.byte_us * WIRE_SHARE + self.turnaround_us * TURNAROUND_SHARE
        return (
            self.sent_us * 1_000 + int(out_us * 1_000) - TICK_NS,
            self.received_us * 1_000 + HOST_NS - int(in_us * 1_000),
        )


@dataclass(frozen=True, slots=True)
class ClockJumped:
    """The target's clock and its earlier answers cannot both be right; stamps go on from this answer alone.

    by_us: the least amount by which the ticks moved, positive when they ran ahead.
    """

    ticks: NodeTicks
    by_us: int

    def __str__(self) -> str:
        way = "ahead" if self.by_us > 0 else "back"
        return f"this target's clock jumped {way} by at least {abs(self.by_us)} µs"


@dataclass(frozen=True, slots=True)
class ClockWandered:
    """The target's rate changed faster, or lies farther off, than a sound crystal can; stamps start anew.

    by_ppb: how far the rate lies outside what was allowed, in parts of 1e9.
    """

    ticks: NodeTicks
    by_ppb: int

    def __str__(self) -> str:
        return f"this target's clock changed its rate by {self.by_ppb / 1000:.1f} ppm more than a sound crystal can"


@dataclass(frozen=True, slots=True)
class ImpossibleAnswer:
    """An answer that cannot be true as it stands; it gave no sample."""

    ticks: NodeTicks
    why: str

    def __str__(self) -> str:
        return f"this target's answer cannot be true: {self.why}"


@dataclass(frozen=True, slots=True)
class BootWentBack:
    """An answer under an older boot id than one already heard: boot ids only rise. It gave no sample."""

    boot: BootId
    newest: BootId

    def __str__(self) -> str:
        return f"this target answered under boot {self.boot} after boot {self.newest} had been heard"


ClockFinding = ClockJumped | ClockWandered | ImpossibleAnswer | BootWentBack
