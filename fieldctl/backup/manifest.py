"""What a backup says of itself: the last thing inside, with the digest of everything before."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from fieldctl.errors import BackupBroken

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Part:
    """One file inside: its path in the site's folder, bytes, and BLAKE2b in hexadecimal digits."""

    path: str
    bytes: int
    digest: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """The label; `made` and `last_entry` are wall times, None where no clock was set or nothing was written."""

    program: str
    site: str
    title: str
    made: str | None
    targets: int
    entries: int
    head: str
    last_entry: str | None
    ledger_ok: bool
    key_check: str | None
    lacks: tuple[str, ...]
    parts: tuple[Part, ...]
    format: int = FORMAT

    def encode(self) -> bytes:
        """As JSON."""
        return json.dumps(asdict(self), ensure_ascii=False, indent=1).encode()


def parse(text: bytes) -> Manifest:
    """A manifest from its JSON; keys that a later version added are passed over. BackupBroken for what is none."""
    try:
        row = json.loads(text)
        kept: Mapping[str, Any] = {name: row[name] for name in Manifest.__slots__}
        parts = tuple(Part(str(p["path"]), int(p["bytes"]), str(p["digest"])) for p in kept["parts"])
        return Manifest(**{**kept, "lacks": tuple(map(str, kept["lacks"])), "parts": parts})
    except (ValueError, KeyError, TypeError) as bad:
        raise BackupBroken(
            f"The backup's own list cannot be read ({type(bad).__name__}).",
            expected="a list that fieldctl wrote",
            remedy="Install the version of fieldctl that made it, or take an earlier backup.",
        ) from bad
