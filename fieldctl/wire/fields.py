"""The fields that messages are made of: named numbers, and key and check of every field.

One table of keys serves all messages (`messages.cddl`), so that a captured map can be read without knowing its kind.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum, IntFlag
from typing import Any

NONCE_BYTES = 8
HARDWARE_BYTES = 8
FEATURES_BYTES_MAX = 42  # all of them as CBOR: a strike with every value at its widest then has 104 bytes
SAMPLES_MAX = 32  # of a trace in one part: with every value at its widest it then has 103 bytes
FEATURES_MAX = 15  # as a strike has; two of them may need more than two bytes


class Flags(IntFlag):
    """What a target says of itself with every answer."""

    GATE_ON = 1  # read back at the transmitter's gate, not what was ordered
    GRANTED = 2  # a grant is held, begun or not
    ARMED = 4
    STRIKES = 8  # strikes wait for their acknowledgement
    ALL_OFF = 16  # latched and not released by a newer order
    BATTERY_LOW = 32
    ASLEEP_SOON = 64
    PRESSED = 128  # the button, where there is one


class Result(IntEnum):
    """The target's own word on an order."""

    DONE = 0
    LATE = 1
    REFUSED = 2
    SUPERSEDED = 3


class Reason(IntEnum):
    """Why an order was refused; NONE with every other result."""

    NONE = 0
    OLDER_EPOCH = 1
    OTHER_BOOT = 2
    RETAINED = 3
    KEYING = 4
    LIMIT = 5
    LEASE_TOO_LONG = 6
    NO_SUCH_GRANT = 7
    BATTERY = 8
    NO_ABILITY = 9
    GATE_STUCK = 10
    STORAGE = 11
    EMPTY = 12  # an order whose end is not after its start
    NO_SUCH_TRACE = 13


class Why(IntEnum):
    """Why a target rebooted."""

    POWER = 0
    WATCHDOG = 1
    BROWN_OUT = 2
    ORDER = 3
    FAULT = 4


class Ability(IntFlag):
    """What a target can do."""

    PAD = 1
    CARRIER_SENSE = 2
    ANTENNA_CURRENT = 4
    THERMOMETER = 8
    SLEEP = 16
    BUTTON = 32
    HORN = 64
    TRANSMITTER = 128
    LEVELS = 256
    TRACES = 512


class What(IntEnum):
    """What a question asks for."""

    GREETING = 1
    REPORT = 2
    COUNTERS = 3


Check = Callable[[Any], bool]


def _uint(bits: int) -> Check:
    top = 1 << bits
    return lambda v: type(v) is int and 0 <= v < top


def _bstr(size: int) -> Check:
    return lambda v: type(v) is bytes and len(v) == size


_U8, _U16, _U32, _U64 = _uint(8), _uint(16), _uint(32), _uint(64)


def _features(v: Any) -> bool:
    if type(v) not in (list, tuple) or not 0 < len(v) <= FEATURES_MAX or not all(_U32(x) for x in v):
        return False
    as_cbor: int = sum(1 + (x > 23) + (x > 0xFF) + 2 * (x > 0xFFFF) for x in v)
    return as_cbor <= FEATURES_BYTES_MAX


KEYS: dict[str, tuple[int, Check]] = {
    "re": (1, _U32),
    "boot": (2, _U32),
    "ticks": (3, _U64),
    "flags": (4, _U16),
    "generation": (5, _U32),
    "epoch": (6, _U32),
    "grant_id": (7, _U32),
    "from_": (8, _U64),
    "until": (9, _U64),
    "limit": (10, _U64),
    "period": (11, _U16),
    "on": (12, _U16),
    "level": (13, lambda v: type(v) is int and 1 <= v <= 100),
    "drop_on": (14, _U16),
    "drop_off": (15, _U16),
    "number": (16, _U32),
    "result": (17, _U8),
    "reason": (18, _U8),
    "late": (19, _U32),
    "features": (20, _features),
    "pending": (21, _U16),
    "dropped": (22, _U16),
    "strike_boot": (23, _U32),
    "strike_ticks": (24, _U64),
    "nonce": (25, _bstr(NONCE_BYTES)),
    "what": (26, _U8),
    "armed": (27, lambda v: type(v) is bool),
    "hardware": (28, _bstr(HARDWARE_BYTES)),
    "firmware": (29, lambda v: type(v) is str and 1 <= len(v.encode()) <= 16),
    "contract": (30, _U8),
    "abilities": (31, _U16),
    "why": (32, _U8),
    "turnaround": (33, _U16),
    "key_version": (34, _U32),
    "wrapped": (35, _bstr(32)),
    "proof": (36, _bstr(8)),
    "rest_mv": (37, _U16),
    "load_mv": (38, _U16),
    "kelvin10": (39, _U16),
    "noise": (40, _U16),
    "charge": (41, _U32),
    "bad_frames": (42, _U32),
    "down_high": (43, _U32),
    "slots": (44, lambda v: type(v) is int and 1 <= v <= 255),
    "since": (45, _U64),
    "wake": (46, _U16),
    "threshold": (47, _U16),
    "pressed": (48, lambda v: type(v) is bool),
    "salt": (49, _U8),
    "presses": (50, _U32),
    "holds": (51, _U32),
    "press_ticks": (52, _U64),
    "part": (53, _U8),
    "parts": (54, _U8),
    "every": (55, _U16),
    "before": (56, _U8),
    "begins": (57, _U16),
    "scale": (58, _U8),
    "samples": (59, lambda v: type(v) is bytes and 1 <= len(v) <= SAMPLES_MAX),
    "moisture": (60, lambda v: type(v) is int and 0 <= v <= 100),
}
"""Key and check of every field, by its name here ("from_" is `from`, "_" stands for "-")."""
