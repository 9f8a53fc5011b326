"""The base of all facts, and the two authors who are no person."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.units import PersonId

FIELD = PersonId("field")
"""The author of what no person did."""

ANYBODY = PersonId("anybody")
"""The author of what somebody did who did not say who he is (all off needs no login)."""


@dataclass(frozen=True, slots=True)
class Fact:
    """Base of everything that the ledger holds."""
