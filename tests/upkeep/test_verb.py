"""battery-swapped: a person confirms fresh cells; once, on a day that has been, for a target that there is."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import BatterySwapped
from fieldctl.upkeep.visits import swaps_in_force
from sims.field import Field, drills_folder, make_field
from sims.network import Network
from sims.world import World


def told(story: Callable[[Field], Awaitable[None]]) -> None:
    with World(5) as world:
        made = make_field(world, Network(world.rng("network")), serial=2, air=0, grant_s=30, folder=drills_folder())

        async def whole() -> None:
            made.begin()
            await asyncio.sleep(5)
            await story(made)

        world.run(whole())
        world.run(made.kill())
        assert made.crashed == []


def swaps(made: Field) -> list[BatterySwapped]:
    assert made.life is not None
    return [f for f in made.life.controller.ledger.facts() if isinstance(f, BatterySwapped)]


def test_it_is_written_once_and_names_who_did_it() -> None:
    async def story(made: Field) -> None:
        assert made.life is not None
        target = next(iter(made.life.controller.known))
        for _ in range(2):
            row = await made.life.desk.ask(
                "battery-swapped", {"target": target, "by": "Mira", "day": "2020-01-24", "notes": "two cells"}
            )
            assert row["day"] == "2020-01-24"
        await made.life.controller.settle()
        (fact,) = swaps(made)
        assert (fact.target, fact.day, fact.notes) == (target, "2020-01-24", "two cells")
        assert made.life.controller.people[fact.by] == "Mira"

    told(story)


def test_taken_back_it_was_none_and_may_be_said_again() -> None:
    async def story(made: Field) -> None:
        assert made.life is not None
        desk = made.life.desk
        target = next(iter(made.life.controller.known))
        given = {"target": target, "by": "Mira", "day": "2020-01-24"}
        with pytest.raises(NotFound, match="Nobody said"):
            await desk.ask("battery-swap-undo", given)
        await desk.ask("battery-swapped", given)
        with pytest.raises(NotFound, match="on 2020-01-23"):
            await desk.ask("battery-swap-undo", {**given, "day": "2020-01-23"})
        assert (await desk.ask("battery-swap-undo", given))["day"] == "2020-01-24"
        with pytest.raises(NotFound):
            await desk.ask("battery-swap-undo", given)
        assert swaps_in_force(made.life.controller.ledger.facts()) == []
        await desk.ask("battery-swapped", given)
        (again,) = swaps_in_force(made.life.controller.ledger.facts())
        assert (again.target, again.day) == (target, "2020-01-24")

    told(story)


def test_what_an_open_visit_ticked_is_taken_back_there() -> None:
    async def story(made: Field) -> None:
        assert made.life is not None
        desk = made.life.desk
        target = next(iter(made.life.controller.known))
        await desk.ask("visit-begin", {"items": (f"{target}:battery",), "by": "Mira"})
        tick = {"visit": "v1", "item": f"{target}:battery", "done": True, "by": "Mira", "day": "2020-01-24"}
        await desk.ask("visit-tick", tick)
        (said,) = swaps_in_force(made.life.controller.ledger.facts())
        given = {"target": target, "by": "Mira", "day": said.day}
        with pytest.raises(Refused, match="Visit v1 ticked"):
            await desk.ask("battery-swap-undo", given)
        await desk.ask("visit-close", {"visit": "v1", "by": "Mira", "signed": "Mira"})
        await desk.ask("battery-swap-undo", given)
        assert swaps_in_force(made.life.controller.ledger.facts()) == []

    told(story)


@pytest.mark.parametrize(
    ("target", "day", "notes", "error"),
    [
        ("nobody", "2020-01-24", "", NotFound),
        (None, "24.1.2020", "", BadInput),
        (None, "2020-1-4", "", BadInput),
        (None, "9020-01-01", "", BadInput),
        (None, "2020-01-24", "x" * 501, BadInput),
    ],
)
def test_what_is_refused(target: str | None, day: str, notes: str, error: type[Exception]) -> None:
    async def story(made: Field) -> None:
        assert made.life is not None
        who = target or next(iter(made.life.controller.known))
        with pytest.raises(error):
            await made.life.desk.ask("battery-swapped", {"target": who, "by": "Mira", "day": day, "notes": notes})
        assert swaps(made) == []

    told(story)


def test_today_where_no_day_is_said() -> None:
    async def story(made: Field) -> None:
        assert made.life is not None
        controller = made.life.controller
        target = next(iter(controller.known))
        wall = controller.outside.clock.wall()
        asked = made.life.desk.ask("battery-swapped", {"target": target, "by": "Mira"})
        if wall is None:
            with pytest.raises(BadInput):
                await asked
        else:
            assert (await asked)["day"] == wall[:10]

    told(story)
