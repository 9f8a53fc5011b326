"""Started in the same moment as all off or closing: the start was on its way to the ledger, and ends at once."""

from __future__ import annotations

import asyncio

import pytest
from kit import ask, facts, ready, sends, tell

from fieldctl.events import AllOffOrdered, DayClosed, ExerciseEnded, ExerciseStarted
from fieldctl.units import PersonId
from sims.field import Field

CLOSE = {"by": "Ansel", "signed": "Ansel", "own_units_back": True, "listening_walk": "Tove, nothing"}


@pytest.mark.parametrize("off_first", [False, True])
def test_all_off_in_the_moment_of_a_start_and_its_release_starts_nothing(off_first: bool) -> None:
    async def story(made: Field) -> None:
        await ready(made)
        start = made.ask("exercise-start", drill="one", by="Mira")
        off = made.ask("all-off", by="Jon")
        await asyncio.gather(*((off, start) if off_first else (start, off)))
        await asyncio.sleep(3)
        await ask(made, "all-off-release", by="Ansel", reason="a test")
        for _ in range(20):
            await asyncio.sleep(1)
            assert not any(sends(made, target) for target in made.site.targets)

    made = tell(story)
    assert len(facts(made, AllOffOrdered)) == 1
    assert len(facts(made, ExerciseStarted)) == len(facts(made, ExerciseEnded)) == (0 if off_first else 1)
    assert all(fact.how == "all-off" for fact in facts(made, ExerciseEnded))


def test_closing_in_the_moment_of_a_start_leaves_nothing_going_on() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await asyncio.gather(made.ask("day-close", **CLOSE), made.ask("exercise-start", drill="one", by="Mira"))
        for _ in range(20):
            await asyncio.sleep(1)
            assert not any(sends(made, target) for target in made.site.targets)
        assert not (await ask(made, "status"))["day"]["open"]
        assert all(row["state"] != "running" for row in (await ask(made, "exercise-list"))["exercises"])

    made = tell(story)
    assert len(facts(made, DayClosed)) == 1


def test_a_restart_in_between_leaves_nothing_going_on_either() -> None:
    """The start was committed, all off as well, and the controller died before the end was."""

    async def story(made: Field) -> None:
        life = await ready(made)
        await ask(made, "exercise-start", drill="one", by="Mira")
        await asyncio.sleep(1)
        await made.kill()
        here = life.outside.here()
        made.ledger.append([AllOffOrdered(7, PersonId("anybody"), "page", here)], at=here)
        await asyncio.sleep(1)
        made.begin()
        await asyncio.sleep(5)
        await ask(made, "all-off-release", by="Ansel", reason="a test")
        for _ in range(20):
            await asyncio.sleep(1)
            assert not any(sends(made, target) for target in made.site.targets)

    made = tell(story)
    assert [fact.how for fact in facts(made, ExerciseEnded)] == ["all-off"]
