"""The one list of requirements, in the order in which they are tried and numbered.

Each row is a function in a `checks_*` module: its docstring is the requirement in the contract's words, its name the
id, and the switch that breaks it (BREAK_ and the id) stands above it with what a build so broken does wrong.
`python -m fieldctl.certify.requirements` prints the list.
"""

from __future__ import annotations

from typing import Any

from fieldctl.certify import checks_keys, checks_life, checks_line, checks_off, checks_orders, checks_pad, checks_seal
from fieldctl.certify.row import Requirement
from fieldctl.wire.fields import Ability

REQUIREMENTS: tuple[Requirement, ...] = (
    *checks_line.ROWS,
    *checks_seal.ROWS,
    *checks_orders.ROWS,
    *checks_off.ROWS,
    *checks_life.ROWS,
    *checks_pad.ROWS,
    *checks_keys.ROWS,
)
BY_ID = {requirement.id: requirement for requirement in REQUIREMENTS}
assert len(BY_ID) == len(REQUIREMENTS), "two requirements of one id"


def as_text() -> str:
    """The list: number, id, words, what it depends on, and what the build that breaks it does wrong."""
    lines = []
    for number, r in enumerate(REQUIREMENTS, start=1):
        lines += [f"{number:3} {r.id}: {r.words}", f"      {r.switch}: {r.breaks}."]
        if r.door or r.medium:
            lines.append(
                f"      Only {' '.join(filter(None, (r.medium, 'with ' + ', '.join(r.door) if r.door else '')))}."
            )
    return "\n".join(lines)


def as_rows() -> list[dict[str, Any]]:
    """The same for programs, with stable keys."""
    return [
        {
            "number": number,
            "id": r.id,
            "words": r.words,
            "abilities": [str(a.name).lower().replace("_", " ") for a in Ability if a & r.needs],
            "medium": r.medium or None,
            "door": list(r.door),
            "switch": r.switch,
            "breaks": r.breaks,
        }
        for number, r in enumerate(REQUIREMENTS, start=1)
    ]


if __name__ == "__main__":
    print(as_text())
