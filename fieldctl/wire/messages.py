"""What is said between controller and target, as frozen values and as CBOR.

The contract is `messages.cddl` beside this file; the classes here follow it line by line and a test holds the two
together. `encode` and `decode` are a pair; an unknown key is skipped, a missing or ill-typed one is `Malformed`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, ClassVar

import cbor2

from fieldctl.wire.body import Malformed, read_map
from fieldctl.wire.fields import (
    FEATURES_MAX,
    HARDWARE_BYTES,
    KEYS,
    NONCE_BYTES,
    Ability,
    Check,
    Flags,
    Reason,
    Result,
    What,
    Why,
)

__all__ = [
    "CONTRACT",
    "DOWN",
    "FEATURES_MAX",
    "HARDWARE_BYTES",
    "KEYS",
    "NONCE_BYTES",
    "UNSEALED",
    "UP",
    "Ability",
    "Ack",
    "Add",
    "AllOff",
    "Arm",
    "Ask",
    "Counters",
    "Flags",
    "Grant",
    "Greeting",
    "Hail",
    "HailAnswer",
    "Horn",
    "Leave",
    "Malformed",
    "Message",
    "Outcome",
    "Quiet",
    "Reason",
    "Rekey",
    "Renew",
    "Report",
    "Result",
    "Sleep",
    "Status",
    "Strike",
    "Trace",
    "TraceAsk",
    "What",
    "Why",
    "decode",
    "encode",
]

CONTRACT = 1  # rises when a reader of the old contract could no longer do its part


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
    """The strike of that boot with this number is in the ledger; no other, since a later one may have come first."""

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


@dataclass(frozen=True, slots=True)
class Horn(Message):
    """Blow the horn between two ticks, `on` ms of each `period`; only for a target with the ability HORN."""

    KIND: ClassVar[int] = 25
    boot: int
    generation: int
    from_: int
    until: int
    period: int
    on: int


@dataclass(frozen=True, slots=True)
class TraceAsk(Message):
    """A question: one part of the raw trace of a strike; only for a target with the ability TRACES."""

    KIND: ClassVar[int] = 26
    number: int
    strike_boot: int
    part: int


# ---- what a target says ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Status(Message):
    """The short answer to a token; with a grant, since which tick it sends (0: not begun); a post's presses so far."""

    KIND: ClassVar[int] = 15
    boot: int
    ticks: int
    flags: int
    re: int | None = None
    grant_id: int | None = None
    since: int | None = None
    presses: int | None = None
    holds: int | None = None
    press_ticks: int | None = None


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
    """How a target is: millivolts at rest and under load, tenths of a kelvin, noise, counted charge (mA·s).

    `moisture`: relative, inside the housing, in percent, from a target that has a sensor for it.
    """

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
    moisture: int | None = None


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


@dataclass(frozen=True, slots=True)
class Trace(Message):
    """One part of a raw trace: signed bytes, steps of the converter about the baseline when shifted left by `scale`."""

    KIND: ClassVar[int] = 21
    boot: int
    ticks: int
    flags: int
    number: int
    strike_boot: int
    part: int
    parts: int
    every: int
    before: int
    begins: int
    scale: int
    samples: bytes
    re: int | None = None


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


DOWN = (Grant, Renew, Quiet, AllOff, Ack, Ask, Arm, Sleep, Rekey, Leave, Horn, TraceAsk)
UP = (Status, Strike, Outcome, Greeting, Report, Counters, Trace)
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
    got = read_map(body)
    kind = got.get(0)
    cls = _BY_KIND.get(kind) if type(kind) is int else None
    if cls is None:
        raise Malformed("unknown-kind", f"kind {kind!r}")
    known: dict[int, Any] = {0: kind}
    values: dict[str, Any] = {}
    for key, name, check, optional in _LAYOUT[cls]:
        if key not in got:
            if optional:
                continue
            raise Malformed("missing-key", f"{cls.__name__} lacks {name}")
        value = known[key] = got[key]
        if not check(value):
            raise Malformed("ill-typed", f"{cls.__name__}.{name} = {value!r}")
        values[name] = tuple(value) if key == 20 else value
    # what is known comes first, ascending and in the shortest form, as the firmware's generated reader expects it
    pairs = cbor2.dumps(known)[1:]  # a map of less than 24 keys begins with one byte, as every message of ours does
    if not body.startswith(pairs, 1 if len(got) < 24 else 2):
        raise Malformed("not-deterministic", f"{cls.__name__} in another order or a longer form than the contract's")
    return cls(**values)
