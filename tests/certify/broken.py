"""Broken targets: one for each requirement of `fieldctl certify`, which has to fail exactly that one.

    broken(requirement)(world, storage)     the maker that `sims.workbench` takes

Each does one thing wrong, in the words that stand above the requirement's check; the C core's builds with a BREAK_
switch do the same. They stand in `broken_line`, `broken_orders` and `broken_life`.
"""

from __future__ import annotations

import broken_life
import broken_line
import broken_orders
from broken_base import BROKEN

from sims.node import Node
from sims.storage import Storage
from sims.workbench import MakeNode
from sims.world import World

STAND_IN = (broken_line, broken_orders, broken_life)


def broken(requirement: str) -> MakeNode:
    """The target that breaks one requirement."""
    cls = BROKEN[requirement]

    def make(world: World, storage: Storage) -> Node:
        return cls(world, world.rng("node"), storage)

    return make
