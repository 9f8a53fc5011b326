"""Which end a simulated target has: the Python one, or the firmware's core compiled for this machine.

A demo can also have emulated boards on its bus (`EMULATED`): they live in real time, so that nothing else can.
"""

from __future__ import annotations

from collections.abc import Callable

from fieldctl.errors import BadInput
from sims.node import Node

KINDS = ("python", "c")
EMULATED = "qemu"


def maker(kind: str, *, emulated_too: bool = False) -> Callable[..., Node]:
    """The class of targets of a kind; BadInput for a kind that there is not, Unreachable where C cannot be built.

    `emulated_too`: whoever asks takes emulated boards as well, and makes them himself.
    """
    kinds = (*KINDS, EMULATED) if emulated_too else KINDS
    if kind == "python":
        return Node
    if kind == EMULATED:
        raise BadInput(
            "Emulated boards live in real time, and this goes on in virtual time.",
            expected=" or ".join(KINDS),
            remedy="Name one of them; fieldctl demo takes qemu too.",
        )
    if kind != "c":
        expected = f"{', '.join(kinds[:-1])} or {kinds[-1]}"
        raise BadInput(f"{kind!r} is no kind of target.", expected=expected, remedy="Name one of them.")
    from sims import ccore
    from sims.cnode import CNode

    ccore.load()
    return CNode
