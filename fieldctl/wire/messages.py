"""What is said between controller and target, as frozen values and as CBOR.

The contract is `messages.cddl` beside this file; the classes here follow it line by line and a test holds the two
together. `encode` and `decode` are a pair; an unknown key is skipped, a missing or ill-typed one is `Malformed`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import IntEnum, IntFlag
from io import BytesIO
from typing import Any, ClassVar

import cbor2

CONTRACT = 1  # rises when a reader of the old contract could no longer do its part
NONCE_BYTES = 8
HARDWARE_BYTES = 8
FEATURES_MAX = 14


class Malformed(Exception):
    """A body that is no message of the contract; `kind` is the word under which it is counted."""

    def __init__(self, kind: str, detail: str) -> None:
        super().__init__(f"{kind}: {detail}")
        self.kind = kind


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
    return type(v) in (list, tuple) and 0 < len(v) <= FEATURES_MAX and all(_U16(x) for x in v)


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
    "slots": (44, _U8),
    "since": (45, _U64),
    "wake": (46, _U16),
    "threshold": (47, _U16),
    "pressed": (48, lambda v: type(v) is bool),
    "salt": (49, _U8),
}
"""Key and check of every field, by its name here ("from_" is `from`, "_" stands for "-")."""


@dataclass(frozen=True, slots=True)
class Message:
    """Base of all messages; KIND is the value of key 0."""

    KIND: ClassVar[int] = 0


# ---- orders and questions: controller to target ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Grant(Message):
    """Send between two ticks, in this pattern; may be renewed up to `limit`. Dropping out is in tenths of a second."""

    KIND: ClassVar[int] = 1
    boot: int
    generation: int
    epoch: int
    grant_id: int
    from_: int
    until: int
    limit: int
    period: int
    on: int
    level: int = 100
    drop_on: int = 0
    drop_off: int = 0


@dataclass(frozen=True, slots=True)
class Renew(Message):
    """Let a grant that is still held run until a later tick; never starts anything."""

    KIND: ClassVar[int] = 2
    boot: int
    generation: int
    epoch: int
    grant_id: int
    until: int


@dataclass(frozen=True, slots=True)
class Quiet(Message):
    """End a grant (0: whichever) at a tick (0: now)."""

    KIND: ClassVar[int] = 3
    ticks: int
    generation: int
    grant_id: int


@dataclass(frozen=True, slots=True)
class AllOff(Message):
    """Fall quiet and latch this epoch: orders of an older one are refused for ever."""

    KIND: ClassVar[int] = 4
    epoch: int


@dataclass(frozen=True, slots=True)
class Ack(Message):
    """Strikes of that boot up to and with this number are in the ledger."""

    KIND: ClassVar[int] = 5
    boot: int
    number: int


@dataclass(frozen=True, slots=True)
class Ask(Message):
    """A question: `what` names it; the nonce comes back where the answer has one."""

    KIND: ClassVar[int] = 6
    nonce: bytes
    what: int


@dataclass(frozen=True, slots=True)
class Arm(Message):
    """Listen at the pad (or stop), with a threshold in tenths of the noise (0: the target's own)."""

    KIND: ClassVar[int] = 7
    boot: int
    generation: int
    armed: bool
    threshold: int


@dataclass(frozen=True, slots=True)
class Sleep(Message):
    """Sleep until a tick, waking every `wake` seconds to listen for its address."""

    KIND: ClassVar[int] = 8
    boot: int
    generation: int
    until: int
    wake: int


@dataclass(frozen=True, slots=True)
class Rekey(Message):
    """New keys wrapped under the own key in force."""

    KIND: ClassVar[int] = 9
    nonce: bytes
    key_version: int
    wrapped: bytes


@dataclass(frozen=True, slots=True)
class Leave(Message):
    """Forget the keys of this site and stay quiet."""

    KIND: ClassVar[int] = 10
    boot: int
    generation: int


# ---- what a target says ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Status(Message):
    """The short answer to a token; with a grant, since which tick it sends (0: not begun)."""

    KIND: ClassVar[int] = 15
    boot: int
    ticks: int
    flags: int
    re: int | None = None
    grant_id: int | None = None
    since: int | None = None


@dataclass(frozen=True, slots=True)
class Strike(Message):
    """One strike from the log, oldest first, until it is acknowledged."""

    KIND: ClassVar[int] = 16
    boot: int
    ticks: int
    flags: int
    number: int
    features: tuple[int, ...]
    pending: int
    dropped: int
    strike_boot: int
    strike_ticks: int
    re: int | None = None


@dataclass(frozen=True, slots=True)
class Outcome(Message):
    """The answer to an order, with what is latched and which grant is held (0: none)."""

    KIND: ClassVar[int] = 17
    boot: int
    ticks: int
    flags: int
    generation: int
    epoch: int
    grant_id: int
    result: int
    reason: int
    late: int
    re: int | None = None


@dataclass(frozen=True, slots=True)
class Greeting(Message):
    """Who a target is: abilities, firmware, why it rebooted, and the least time it takes to answer (µs)."""

    KIND: ClassVar[int] = 18
    boot: int
    ticks: int
    flags: int
    hardware: bytes
    firmware: str
    contract: int
    abilities: int
    why: int
    turnaround: int
    key_version: int
    re: int | None = None


@dataclass(frozen=True, slots=True)
class Report(Message):
    """How a target is: millivolts at rest and under load, tenths of a kelvin, noise, counted charge (mA·s)."""

    KIND: ClassVar[int] = 19
    boot: int
    ticks: int
    flags: int
    generation: int
    epoch: int
    grant_id: int
    dropped: int
    rest_mv: int
    load_mv: int
    kelvin10: int
    noise: int
    charge: int
    bad_frames: int
    re: int | None = None


@dataclass(frozen=True, slots=True)
class Counters(Message):
    """The sealed answer to a question with a nonce: the highest counter taken and what is latched."""

    KIND: ClassVar[int] = 20
    boot: int
    ticks: int
    flags: int
    generation: int
    epoch: int
    nonce: bytes
    key_version: int
    down_high: int


# ---- unsealed -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hail(Message):
    """Who is new? Answer in the slot that `salt` and your hardware id choose."""

    KIND: ClassVar[int] = 22
    nonce: bytes
    slots: int
    salt: int


@dataclass(frozen=True, slots=True)
class HailAnswer(Message):
    """A new target: its own nonce, its hardware id, whether its button was pressed just now."""

    KIND: ClassVar[int] = 23
    nonce: bytes
    hardware: bytes
    contract: int
    abilities: int
    pressed: bool


@dataclass(frozen=True, slots=True)
class Add(Message):
    """Site keys wrapped under the factory secret, with a proof over all of it."""

    KIND: ClassVar[int] = 24
    nonce: bytes
    key_version: int
    wrapped: bytes
    proof: bytes


DOWN = (Grant, Renew, Quiet, AllOff, Ack, Ask, Arm, Sleep, Rekey, Leave)
UP = (Status, Strike, Outcome, Greeting, Report, Counters)
UNSEALED = (Hail, HailAnswer, Add)

# (key, attribute, check, optional) of each class in ascending order of keys: the order on the wire
_LAYOUT: dict[type[Message], tuple[tuple[int, str, Check, bool], ...]] = {
    cls: tuple(
        (KEYS[f.name][0], f.name, KEYS[f.name][1], f.default is None)
        for f in sorted(fields(cls), key=lambda f: KEYS[f.name][0])
    )
    for cls in (*DOWN, *UP, *UNSEALED)
}
_BY_KIND: dict[int, type[Message]] = {cls.KIND: cls for cls in _LAYOUT}


def encode(message: Message) -> bytes:
    """The CBOR body of a message; an assertion when a value is outside the contract."""
    out: dict[int, Any] = {0: message.KIND}
    for key, name, check, optional in _LAYOUT[type(message)]:
        value = getattr(message, name)
        if value is None and optional:
            continue
        assert check(value), f"{type(message).__name__}.{name} = {value!r} is outside the contract"
        out[key] = value
    return cbor2.dumps(out)


def decode(body: bytes) -> Message:
    """The message of a body; raises `Malformed` with the word under which to count it."""
    try:
        with BytesIO(body) as stream:
            got = cbor2.CBORDecoder(stream).decode()
            surplus = stream.read()
    except (cbor2.CBORError, RecursionError, ValueError, OverflowError, TypeError) as error:
        raise Malformed("not-cbor", str(error)) from None
    if surplus:
        raise Malformed("surplus", f"{len(surplus)} bytes after the map")
    if type(got) is not dict:
        raise Malformed("no-map", f"a body is a map, not {type(got).__name__}")
    cls = _BY_KIND.get(got.get(0, -1))
    if cls is None:
        raise Malformed("unknown-kind", f"kind {got.get(0)!r}")
    values: dict[str, Any] = {}
    for key, name, check, optional in _LAYOUT[cls]:
        value = got.get(key)
        if value is None:
            if optional:
                continue
            raise Malformed("missing-key", f"{cls.__name__} lacks {name}")
        if not check(value):
            raise Malformed("ill-typed", f"{cls.__name__}.{name} = {value!r}")
        values[name] = tuple(value) if key == 20 else value
    return cls(**values)
