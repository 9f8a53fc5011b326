"""The first 64 bytes of a backup; pure. The layout stands in the package's docstring."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass

from fieldctl.errors import BackupBroken, BadInput, Refused

MAGIC = b"fieldbak"
VERSION = 1
SIZE = 64
SALT_BYTES = 16
PREFIX_BYTES = 7
CHECK_BYTES = 16
SUM_BYTES = 8

CHUNK = 65_536  # a chunk in memory is nothing, and a tag on each costs a four-thousandth
CHUNKS = (1_024, 1 << 20)  # what is taken from a file, so that a forged header cannot ask for all the memory
LOG_N, R, P = 16, 8, 2  # 64 MiB and about half a second on a small board: dear enough for whoever guesses
LOG_NS, RS, PS = (10, 18), (1, 16), (1, 16)
COST_MOST = 1 << 28  # 128 · N · r bytes: 256 MiB

_LAYOUT = struct.Struct(f">8sBBBBI{SALT_BYTES}s{PREFIX_BYTES}sB{CHECK_BYTES}s")
assert _LAYOUT.size + SUM_BYTES == SIZE


@dataclass(frozen=True, slots=True)
class Header:
    """How a backup is sealed; `check` is what a right passphrase makes."""

    salt: bytes
    prefix: bytes
    check: bytes
    log_n: int = LOG_N
    r: int = R
    p: int = P
    chunk: int = CHUNK

    def encode(self) -> bytes:
        """The 64 bytes."""
        head = _LAYOUT.pack(
            MAGIC, VERSION, self.log_n, self.r, self.p, self.chunk, self.salt, self.prefix, 0, self.check
        )
        return head + _sum(head)


def parse(head: bytes) -> Header:
    """The header of a file's beginning; BadInput for another file, Refused for a newer one, BackupBroken if damaged."""
    if head[: len(MAGIC)] != MAGIC:
        raise BadInput(
            "This file is no backup of fieldctl, or its beginning is damaged.",
            expected="a file that `fieldctl backup create` made",
            remedy="Name the right file, or take another copy of it.",
        )
    if len(head) < SIZE:
        raise BackupBroken(
            f"The backup ends after {len(head)} bytes.", expected="a whole file", remedy="Take another copy of it."
        )
    if _sum(head[: _LAYOUT.size]) != head[_LAYOUT.size : SIZE]:
        raise BackupBroken(
            "The header of the backup is damaged.", expected="64 bytes as written", remedy="Take another copy of it."
        )
    _, version, log_n, r, p, chunk, salt, prefix, zero, check = _LAYOUT.unpack(head[: _LAYOUT.size])
    if version != VERSION:
        raise Refused(
            f"The backup is of format {version}.",
            expected=f"format {VERSION}",
            remedy="Install the version of fieldctl that made it, or a later one.",
        )
    limits = ((log_n, LOG_NS), (r, RS), (p, PS), (chunk, CHUNKS), (zero, (0, 0)))
    dear = 128 * r << log_n > COST_MOST
    if dear or not all(least <= value <= most for value, (least, most) in limits):
        raise BackupBroken(
            "The header of the backup asks for what no backup needs.",
            expected="the cost and chunks that fieldctl writes",
            remedy="Take another copy of it.",
        )
    return Header(salt, prefix, check, log_n, r, p, chunk)


def _sum(head: bytes) -> bytes:
    return hashlib.blake2s(head, digest_size=SUM_BYTES, person=b"fieldbak").digest()
