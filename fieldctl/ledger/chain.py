"""The hash that ties an entry to the one before: SHA-256 over all that the entry says, spelled without ambiguity."""

from __future__ import annotations

import hashlib
import json

_head = json.JSONEncoder(separators=(",", ":"), ensure_ascii=True).encode


def entry_hash(prev: str, seq: int, kind: str, host_boot: str, at_us: int, wall: str | None, body: str) -> str:
    """Hash of an entry, 64 hexadecimal digits; the head is one line of JSON: nothing can move over into the body."""
    head = _head([prev, seq, kind, host_boot, at_us, wall])
    return hashlib.sha256(f"{head}\n{body}".encode()).hexdigest()
