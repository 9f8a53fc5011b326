"""Whose frame it is and of which form: the fixed bytes round every message.

    token    form, target, number                   the bus asks "anything?"; unsealed, since it grants nothing
    down     form, target, counter, body, tag       an order or a question, sealed with the target's key
    all off  form, everybody, epoch, body, tag      sealed with the all-off key; the epoch stands for the counter
    asked    form, target, zero, body, tag          the question for counters: sealed, without a counter, nonce inside
    up       form, target, counter, body, tag       whatever a target says
    hail     form, everybody or target, body        unsealed: who is new?  Can never cause sending
    add      form, target, body                     unsealed envelope round keys wrapped under the factory secret
    relayed  form, before, after, payload           a bridge's own stamps round what a target said

Integers are big-endian; target and counter have four bytes, the number of a token one.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

TOKEN = 0x10
DOWN = 0x20
ALL_OFF = 0x21
ASKED = 0x22
UP = 0x30
HAIL = 0x40
HAIL_ANSWER = 0x41
ADD = 0x42
RELAYED = 0x50

SEALED = frozenset({DOWN, ALL_OFF, ASKED, UP})
UNSEALED = frozenset({HAIL, HAIL_ANSWER, ADD})
TAG_BYTES = 8
BODY_MAX = 104

_TOKEN = struct.Struct(">BIB")
_HEAD = struct.Struct(">BII")
_BARE = struct.Struct(">BI")
_RELAYED = struct.Struct(">BII")
HELD_MAX_US = 10_000_000  # a bridge that held something for longer proves nothing by its stamps


@dataclass(frozen=True, slots=True)
class Envelope:
    """A payload taken apart; `counter` is the number of a token, the epoch of all off, 0 where there is none."""

    form: int
    address: int
    counter: int
    body: bytes
    tag: bytes


def token(address: int, number: int) -> bytes:
    """The payload of a token: six bytes."""
    return _TOKEN.pack(TOKEN, address, number)


def sealed(form: int, address: int, counter: int, body: bytes, tag: bytes) -> bytes:
    """The payload of a sealed message."""
    return _HEAD.pack(form, address, counter) + body + tag


def bare(form: int, address: int, body: bytes) -> bytes:
    """The payload of an unsealed message."""
    return _BARE.pack(form, address) + body


def signed_part(form: int, address: int, counter: int, body: bytes) -> bytes:
    """The bytes that a tag covers: form (which is the direction), target, counter and body."""
    return _HEAD.pack(form, address, counter) + body


def read(payload: bytes) -> Envelope | None:
    """Take a payload apart; None when it is no form of this contract."""
    if not payload:
        return None
    form = payload[0]
    if form == TOKEN and len(payload) == _TOKEN.size:
        _, address, number = _TOKEN.unpack(payload)
        return Envelope(form, address, number, b"", b"")
    if form in SEALED and _HEAD.size + TAG_BYTES < len(payload) <= _HEAD.size + TAG_BYTES + BODY_MAX:
        _, address, counter = _HEAD.unpack_from(payload)
        return Envelope(form, address, counter, payload[_HEAD.size : -TAG_BYTES], payload[-TAG_BYTES:])
    if form in UNSEALED and _BARE.size < len(payload) <= _BARE.size + BODY_MAX:
        _, address = _BARE.unpack_from(payload)
        return Envelope(form, address, 0, payload[_BARE.size :], b"")
    return None


def relayed(before_us: int, after_us: int, payload: bytes) -> bytes:
    """What a bridge passes up: how long question and answer were held or on its bus, and the payload itself.

    The times lie between the question's arrival at the bridge and the moment its last byte was on the bus, and between
    the answer's first byte and its leaving for the broker: none of it can have been the target's clock reading.
    """
    return _RELAYED.pack(RELAYED, min(before_us, HELD_MAX_US), min(after_us, HELD_MAX_US)) + payload


def unrelay(payload: bytes) -> tuple[bytes, int, int]:
    """(payload, µs held before, µs held after) of what came up; no times for what came straight from a target."""
    if len(payload) > _RELAYED.size and payload[0] == RELAYED:
        _, before, after = _RELAYED.unpack_from(payload)
        if before <= HELD_MAX_US and after <= HELD_MAX_US:
            return payload[_RELAYED.size :], before, after
    return payload, 0, 0
