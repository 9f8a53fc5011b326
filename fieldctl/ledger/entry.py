"""One entry of the ledger as it is handed out; needs neither SQLAlchemy nor pydantic."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldctl.events import Fact
from fieldctl.units import HostTime

GENESIS = hashlib.sha256(b"fieldctl ledger: the first entry follows this").hexdigest()
"""What stands as the hash before entry 1."""


@dataclass(frozen=True, slots=True)
class Unknown(Fact):
    """A fact that this version cannot read (`why` says so): kept as it is on file."""

    kind: str
    body: Mapping[str, Any]
    why: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A committed fact: its number, when it was written down, and its place in the chain.

    `known` is true where a strike was reported again: the entry is then the first one, and nothing was written.
    `extra` names what a newer version had written into the body beyond what this one knows; it stays on file.
    """

    seq: int
    fact: Fact
    at: HostTime
    wall: str | None  # RFC 3339, a label: nothing is computed from it
    hash: str
    known: bool = False
    extra: tuple[str, ...] = field(default=())
