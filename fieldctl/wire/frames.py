"""Frames on a serial bus: 0x00, COBS(payload, CRC-16), 0x00.

Each burst begins with 0x00 too, since a killed controller may have left half a frame on the line. COBS is Cheshire &
Baker (1999); the CRC is CRC-16/IBM-3740 ("CCITT-FALSE", check value 0x29B1), most significant byte first. Whatever the
line garbles costs one search for the next 0x00: work is linear, and every loss is counted by kind. The one flipped bit
that the sum cannot see makes 0x01 of the closing 0x00 and so adds a byte, which envelope, tag or body then refuse.
"""

from __future__ import annotations

import binascii
from collections import Counter

from cobs import cobs

FRAME_MAX = 128  # bytes with both delimiters: what a small target has to buffer
OVERHEAD = 5  # two delimiters, one COBS code byte, two of CRC
PAYLOAD_MAX = FRAME_MAX - OVERHEAD
_CRC_SEED = 0xFFFF


def encode(payload: bytes) -> bytes:
    """The frame of a payload of 1 to 123 bytes; an assertion for any other length."""
    assert 0 < len(payload) <= PAYLOAD_MAX, f"a payload of {len(payload)} bytes does not fit a frame"
    crc = binascii.crc_hqx(payload, _CRC_SEED).to_bytes(2, "big")
    return b"\0" + bytes(cobs.encode(payload + crc)) + b"\0"


class Deframer:
    """Finds frames in a stream of bytes; `lost` counts what was no frame, by kind.

    Kinds: `oversized` (no delimiter within the longest frame), `not-cobs`, `short`, `crc`.
    """

    __slots__ = ("_overrun", "_rest", "lost")

    def __init__(self) -> None:
        self._rest = b""
        self._overrun = False
        self.lost: Counter[str] = Counter()

    def feed(self, data: bytes) -> list[bytes]:
        """The payloads that these bytes complete, in order."""
        pieces = (self._rest + data).split(b"\0")
        self._rest = pieces.pop()
        if self._overrun and pieces:
            pieces[0] = b""  # the tail of a piece that was counted when it grew too long
            self._overrun = False
        found = [payload for piece in pieces if piece and (payload := self._open(piece)) is not None]
        if len(self._rest) > FRAME_MAX:
            if not self._overrun:
                self.lost["oversized"] += 1
            self._overrun = True
            self._rest = b""
        return found

    @property
    def in_frame(self) -> bool:
        """Whether bytes of an unfinished frame are held."""
        return bool(self._rest)

    def _open(self, piece: bytes) -> bytes | None:
        if len(piece) > FRAME_MAX - 2:
            self.lost["oversized"] += 1
            return None
        try:
            body: bytes = cobs.decode(piece)
        except cobs.DecodeError:
            self.lost["not-cobs"] += 1
            return None
        if len(body) < 3:
            self.lost["short"] += 1
            return None
        payload = body[:-2]
        if binascii.crc_hqx(payload, _CRC_SEED) != int.from_bytes(body[-2:], "big"):
            self.lost["crc"] += 1
            return None
        return payload
