"""One row of the list: a requirement is a function, its words are the function's docstring, its id the name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from fieldctl.certify.talk import Talk

Check = Callable[[Talk], None]
Medium = Literal["", "bus", "radio"]


@dataclass(frozen=True, slots=True)
class Requirement:
    """A requirement and its check.

    id: stable, the compile-time switch that breaks it is made from it; words: the contract's; breaks: what a build with
    that switch does wrong, and nothing else; needs: abilities without which it is not applicable; medium: where it says
    something at all; door: what the port's side door has to offer, or the operator's hand.
    """

    id: str
    words: str
    check: Check
    breaks: str
    needs: int = 0
    medium: Medium = ""
    door: tuple[str, ...] = ()

    @property
    def switch(self) -> str:
        """The compile-time switch of the build that breaks it."""
        return "BREAK_" + self.id.upper().replace("-", "_")


def row(
    rows: list[Requirement], breaks: str, *, needs: int = 0, medium: Medium = "", door: tuple[str, ...] = ()
) -> Callable[[Check], Check]:
    """Put a check into the list under its own name and docstring."""

    def put(check: Check) -> Check:
        words = " ".join((check.__doc__ or "").split())
        assert words, f"{check.__name__} has no words"
        rows.append(Requirement(check.__name__.replace("_", "-"), words, check, breaks, needs, medium, door))
        return check

    return put
