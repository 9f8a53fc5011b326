"""Who may what: four rights, and what each includes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fieldctl.controller.verbs import Right
from fieldctl.units import PersonId

INCLUDES: dict[Right, frozenset[Right]] = {
    "anybody": frozenset({"anybody"}),
    "watch": frozenset({"anybody", "watch"}),
    "instruct": frozenset({"anybody", "watch", "instruct"}),
    "upkeep": frozenset({"anybody", "watch", "upkeep"}),
    "in-charge": frozenset({"anybody", "watch", "instruct", "upkeep", "in-charge"}),
}
"""What a granted right lets somebody do: in charge does everything, instruct and upkeep both see everything."""

GRANTABLE: tuple[Right, ...] = ("watch", "instruct", "upkeep", "in-charge")


def all_of(granted: Iterable[Right]) -> frozenset[Right]:
    """Every right that these include; "anybody" is always among them."""
    return INCLUDES["anybody"].union(*(INCLUDES[right] for right in granted))


@dataclass(frozen=True, slots=True)
class Who:
    """Whose request this is: a person with rights and a paired phone, or nobody in particular."""

    person: PersonId | None = None
    name: str = ""
    rights: frozenset[Right] = INCLUDES["anybody"]
    phone: str = ""  # the id of the paired phone

    def may(self, right: Right) -> bool:
        """Whether this one has that right now."""
        return right in self.rights


NOBODY = Who()
