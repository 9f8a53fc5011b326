"""All off when nothing comes back, and gates that do not obey: the screen claims nothing that was not confirmed."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from fieldctl.errors import FieldctlError
from fieldctl.units import US_PER_S
from sims.field import Field, make_field
from sims.network import Network
from sims.people import People
from sims.swarm import _drills
from sims.world import World


def field(world: World, *, serial: int = 3, air: int = 0, folder: Path | None = None) -> Field:
    return make_field(
        world, Network(world.rng("network")), serial=serial, air=air, grant_s=30, folder=folder or _drills()
    )


async def sending(made: Field) -> dict[str, Any]:
    """A field with an exercise in which something sends."""
    made.begin()
    await asyncio.sleep(4)
    assert await made.open_day()
    people = People(made, made.world.rng("people"))
    assert await people.start()
    await asyncio.sleep(16)
    status = await made.ask("status")
    assert not isinstance(status, FieldctlError)
    assert any(t["signal"] == "sending" for t in status["targets"])
    return status


async def off(made: Field) -> dict[str, Any]:
    status = await made.ask("status")
    assert not isinstance(status, FieldctlError)
    return dict(status["all_off"])


def test_with_every_answer_dropped_nothing_is_confirmed_and_each_grant_counts_down() -> None:
    with World(1) as world:
        made = field(world)

        async def story() -> None:
            before = await sending(made)
            granted = {t["target"] for t in before["targets"] if t["granted"] is not None}
            assert granted
            for node in made.nodes.values():
                made.network.line(f"{node.name}/up", ordered=True).cut(world.now_us(), world.now_us() + 999 * US_PER_S)
            await made.ask("all-off")
            await asyncio.sleep(2)
            first = await off(made)
            await asyncio.sleep(5)
            second = await off(made)
            for row in (first, second):
                assert row["in_force"]
                assert row["confirmed"] == []
                assert {u["target"] for u in row["unconfirmed"]} == set(made.nodes)
            left = {u["target"]: u["may_send_for_s"] for u in first["unconfirmed"]}
            later = {u["target"]: u["may_send_for_s"] for u in second["unconfirmed"]}
            for target in granted:
                assert 0 < left[target] <= 30
                assert left[target] - later[target] == 5.0
            assert all("place" in u and u["heard_s_ago"] > 2 for u in second["unconfirmed"])
            # they heard it all the same: quiet is what the truth says, and the screen does not claim it
            assert not any(n.gate.ordered(n.ticks(world.now_us())) for n in made.nodes.values())
            await asyncio.sleep(30)
            assert all(u["may_send_for_s"] == 0.0 for u in (await off(made))["unconfirmed"])

        world.run(story())


def test_a_gate_stuck_on_is_shown_as_not_quiet_is_barred_and_not_confirmed() -> None:
    with World(2) as world:
        made = field(world)

        async def story() -> None:
            await sending(made)
            node = next(iter(made.nodes.values()))
            node.break_gate(stuck=True)
            await made.ask("all-off")
            await asyncio.sleep(6)
            row = await off(made)
            assert node.target not in row["confirmed"]
            stuck = next(u for u in row["unconfirmed"] if u["target"] == node.target)
            assert stuck["says"] == "its gate reads on"
            status = await made.ask("status")
            assert not isinstance(status, FieldctlError)
            shown = next(t for t in status["targets"] if t["target"] == node.target)
            assert shown["signal"].startswith("not quiet")
            assert shown["life"] == "barred"
            assert "Any signal is a person until proved otherwise" in shown["odd"]["gate-on"]
            assert node.target in status["day"]["barred"]

        world.run(story())


def test_all_off_stays_until_it_is_released_and_the_release_starts_nothing() -> None:
    with World(3) as world:
        made = field(world, serial=2, air=1)

        async def story() -> None:
            await sending(made)
            await made.ask("all-off")
            await asyncio.sleep(3)
            refused = await made.ask("exercise-start", drill="one", by="Mira")
            assert isinstance(refused, FieldctlError)
            assert "All off is in force" in str(refused)
            await made.kill()
            made.begin()
            await asyncio.sleep(4)
            again = await off(made)
            assert again["in_force"]
            assert set(again["confirmed"]) == set(made.nodes)
            assert isinstance(await made.ask("all-off-release", by="Ansel", reason=" "), FieldctlError)
            await made.ask("all-off-release", by="Ansel", reason="looked at (invented)")
            await asyncio.sleep(10)
            assert not any(n.gate.ordered(n.ticks(world.now_us())) for n in made.nodes.values())
            status = await made.ask("status")
            assert not isinstance(status, FieldctlError)
            assert all(e["state"] != "running" for e in status["exercises"])

        world.run(story())
