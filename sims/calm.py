"""What must happen in the end: when everything that can be mended is mended, the field comes to rest and works."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from fieldctl.errors import FieldctlError
from fieldctl.units import US_PER_S
from fieldctl.wire.messages import Why
from sims import pad
from sims.field import Field
from sims.network import CALM
from sims.node import Node
from sims.people import People
from sims.plan import CALM_S

Broken = list[tuple[str, str]]
"""(invariant, detail) of what did not come."""


async def calm(made: Field, people: People, broken: Broken, tasks: list[asyncio.Task[None]]) -> None:
    """Everything that can be mended is mended; then what must happen in the end has to."""
    made.network.set_weather(CALM)
    made.adapter_until_us = 0
    for node in made.nodes.values():
        node.faults.foreign_address = None
        node.storage.cut_at_write(0, before=True)
        if not node.on and not node.dead:
            node.power_on(Why.POWER)
    if made.full:
        await made.ask("all-off-release", by="Ansel", reason="writes something, if anything can be")
        await asyncio.sleep(made.site.grant_s + 2)
        made.world.trace("ledger failed")
        for node in made.nodes.values():
            node.settle()
            if (
                node.on
                and not getattr(node, "was_broken", False)
                and node.gate.ordered(node.ticks(made.world.now_us()))
            ):
                broken.append(("a failed ledger ends sending", f"{node.target} still sends a lease later"))
        return
    if made.life is None:
        made.begin()
    tasks[0].cancel()
    deadline = made.world.now_us() + CALM_S * US_PER_S
    if not await _within(made, deadline, lambda: _settled(made)):
        broken.append(("in the end everything settles", _unsettled(made)))
        return
    await made.ask("all-off")
    if not await _within(made, made.world.now_us() + 20 * US_PER_S, lambda: _confirmed(made)):
        broken.append(("in the end all off is confirmed", _unconfirmed(made)))
    await asyncio.sleep(made.site.grant_s)  # who is dead confirms nothing: until its grant is over nobody may release
    await made.ask("all-off-release", by="Ansel", reason="the swarm goes on (invented)")
    tasks[1].cancel()
    await _last_exercise(made, people, broken)


def _well(made: Field) -> list[Node]:
    """The targets that can do their part: alive, honest, alone under their id."""
    return [
        n
        for n in made.nodes.values()
        if n.on and not n.dead and not getattr(n, "was_broken", False) and not getattr(n, "has_twin", False)
    ]


def _settled(made: Field) -> bool:
    if made.life is None:
        return False
    known = made.life.controller.known
    return all(
        known[n.target].session.state == "open"
        and not n.storage.strikes
        and known[n.target].life(made.world.clock.now()) == "online"
        for n in _well(made)
    )


def _unsettled(made: Field) -> str:
    if made.life is None:
        return "no controller"
    rows = []
    for n in _well(made):
        known = made.life.controller.known[n.target]
        rows.append(f"{n.target} {known.session.state} {len(n.storage.strikes)} strikes {known.trouble}")
    return "; ".join(rows)


def _confirmed(made: Field) -> bool:
    if made.life is None:
        return False
    state = made.life.controller.all_off.state
    return all(n.target in state.confirmed for n in _well(made))


def _unconfirmed(made: Field) -> str:
    if made.life is None:
        return "no controller"
    state = made.life.controller.all_off.state
    return ", ".join(n.target for n in _well(made) if n.target not in state.confirmed)


async def _last_exercise(made: Field, people: People, broken: Broken) -> None:
    """A fresh exercise on whoever is well completes."""
    status = await made.ask("status")
    if isinstance(status, FieldctlError):
        broken.append(("in the end an exercise completes", str(status)))
        return
    for exercise in status["exercises"]:
        if exercise["state"] in ("running", "interrupted"):
            await made.ask("exercise-stop", exercise=exercise["exercise"], by="Mira")
    barred = set(status["day"]["barred"])
    usable = [n for n in _well(made) if n.target not in barred and not n.faults.repeats_numbers]
    if not usable:
        return
    await asyncio.sleep(2)
    row: dict[str, Any] | FieldctlError = FieldctlError("nothing asked yet", remedy="-")
    for _ in range(10):
        if await made.open_day():
            row = await made.ask(
                "exercise-start", drill="one", by="Mira", targets={"A": usable[0].target}, searchers=("Tove",)
            )
            if not isinstance(row, FieldctlError):
                break
        await asyncio.sleep(3)
    if isinstance(row, FieldctlError):
        broken.append(("in the end an exercise completes", f"it does not start: {row}"))
        return
    people.started += 1
    name = str(row["exercise"])
    target = row["burials"][0]["target"]
    node = made.nodes[target]
    for _ in range(40):
        await asyncio.sleep(1)
        if node.armed and node.gate.ordered(node.ticks(made.world.now_us())):
            await asyncio.sleep(2)
            pad.play(made.world, node, pad.probe(made.world.rng("last")))
            break
    await asyncio.sleep(4)
    done = await made.ask("exercise-show", exercise=name)
    if isinstance(done, FieldctlError) or done["state"] != "complete":
        broken.append(("in the end an exercise completes", str(done)))


async def _within(made: Field, deadline_us: int, holds: Callable[[], bool]) -> bool:
    while made.world.now_us() < deadline_us:
        if holds():
            return True
        await asyncio.sleep(0.25)
    return holds()
