"""What the ledger tells of visits, retrievals and self-tests, kept in mind: verbs ask for it without reading it all."""

from __future__ import annotations

from fieldctl.events import Fact
from fieldctl.upkeep import retrieval, selftest, visits

KINDS = tuple(dict.fromkeys((*visits.KINDS, *retrieval.KINDS, *selftest.KINDS)))


class UpkeepBook:
    """The facts of these kinds in the order of the ledger: some hundreds in a winter."""

    def __init__(self) -> None:
        self.facts: list[Fact] = []

    def take(self, fact: Fact) -> None:
        """Keep one fact."""
        if isinstance(fact, KINDS):
            self.facts.append(fact)
