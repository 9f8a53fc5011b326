"""Eight digits that tell one site's key from another's, and nothing of it: to compare a backup with a field."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

KEY_BYTES = 16


def key_check(key: bytes) -> str:
    """Two groups of four hexadecimal digits."""
    digits = hashlib.blake2s(key, digest_size=4, person=b"keycheck").hexdigest()
    return f"{digits[:4]}-{digits[4:]}"


def key_check_of(path: Path) -> str | None:
    """The same of a file that holds a site's key; None where it holds none."""
    with contextlib.suppress(OSError, ValueError):
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
        return key_check(key) if len(key) == KEY_BYTES else None
    return None
