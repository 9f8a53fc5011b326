"""Ticks of a target to host time and back, as intervals that hold the truth (design, section 4).

exchange.py   what one question and its answer prove, and the findings; the constants of wire and crystal
evidence.py   one sample, how far it bounds other ticks, and a stamp made again from what the ledger kept
piece.py      the samples of one uninterrupted clock: running intersection, rate, bounded history
mapping.py    TickMap: one target, one boot; jumps are findings and begin a new piece
target.py     TargetClock: the maps of one target by boot id, newest first, bounded
marzullo.py   the general intersection of intervals, by which a jump is measured and the tests are checked

Pure: no I/O, no clock, no randomness. Microseconds outside, nanoseconds inside, whole numbers everywhere.
"""

from fieldctl.clock.evidence import ClockEvidence, ClockSample, restamp
from fieldctl.clock.exchange import (
    SERIAL_BYTE_US,
    BootWentBack,
    ClockFinding,
    ClockJumped,
    ClockWandered,
    Exchange,
    ImpossibleAnswer,
)
from fieldctl.clock.mapping import TickMap
from fieldctl.clock.target import TargetClock

__all__ = [
    "SERIAL_BYTE_US",
    "BootWentBack",
    "ClockEvidence",
    "ClockFinding",
    "ClockJumped",
    "ClockSample",
    "ClockWandered",
    "Exchange",
    "ImpossibleAnswer",
    "TargetClock",
    "TickMap",
    "restamp",
]
