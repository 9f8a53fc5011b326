"""battery-swapped: a person confirms fresh cells; once, on a day that has been, for a target that there is."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from fieldctl.errors import BadInput, NotFound
from fieldctl.events import BatterySwapped
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
