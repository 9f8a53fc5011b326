"""States with "since when": what holds of a target, kept over a restart of the controller, one row each."""

from __future__ import annotations

import asyncio
from typing import Any

from kit import ask, ready, tell

from fieldctl.controller.states import STATES, states_of
from fieldctl.ledger.standing import Standing
from fieldctl.wire.messages import Flags
from sims.field import Field


def of(made: Field, target: str) -> dict[str, Standing]:
    return {row.state: row for row in made.ledger.states() if row.target == target}


async def shown(made: Field, target: str) -> dict[str, Any]:
    rows = (await ask(made, "target-list"))["targets"]
    return next(row for row in rows if row["target"] == target)


def silence(made: Field, target: str) -> None:
    made.hub.cut(made.nodes[target])  # type: ignore[index]


def first(made: Field) -> str:
    return str(next(iter(made.nodes)))


def test_what_matters_most_comes_first_and_lives_exclude_each_other() -> None:
    assert states_of(life="online", barred=False, faulty=False, weak=False) == ("online",)
    assert states_of(life="overdue", barred=True, faulty=True, weak=True) == ("barred", "faulty", "overdue", "weak")
    assert set(STATES) == {"barred", "faulty", "not heard", "overdue", "asleep", "weak", "online"}


def test_each_state_tells_since_when_and_a_silent_target_goes_from_one_to_the_next() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = first(made)
        began = of(made, target)["online"]
        row = await shown(made, target)
        assert row["states"] == [{"state": "online", "since": began.wall, "since_us": began.since.us}]
        assert row["life"] == "online"
        silence(made, target)
        cut_us = made.world.clock.now()
        await asyncio.sleep(20)
        assert list(of(made, target)) == ["overdue"]
        assert 7_000_000 < of(made, target)["overdue"].since.us - cut_us < 10_000_000
        await asyncio.sleep(60)
        assert list(of(made, target)) == ["not heard"]
        assert (await shown(made, target))["life"] == "not heard"

    tell(story)


def test_a_state_that_is_still_the_same_after_a_restart_keeps_its_since() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target, other = list(made.nodes)[:2]
        silence(made, other)
        await ask(made, "target-bar", target=target, by="Tove", reason="heard though it said quiet")
        await asyncio.sleep(100)
        before = {row.key: row for row in made.ledger.states()}
        assert {(target, "barred"), (target, "online"), (other, "not heard")} <= before.keys()
        await made.kill()
        await asyncio.sleep(300)
        made.begin()
        await asyncio.sleep(1)
        early = await shown(made, other)
        assert early["states"][0]["since"] == before[other, "not heard"].wall, "known before, and still so"
        await asyncio.sleep(120)
        assert {row.key: row for row in made.ledger.states()} == before
        row = await shown(made, target)
        assert [(one["state"], one["since"]) for one in row["states"]] == [
            ("barred", before[target, "barred"].wall),
            ("online", before[target, "online"].wall),
        ]

    tell(story)


def test_a_target_that_died_while_no_controller_lived_is_given_time_and_then_begins_anew() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = first(made)
        online = of(made, target)["online"]
        await made.kill()
        silence(made, target)
        made.begin()
        await asyncio.sleep(30)
        row = await shown(made, target)
        assert row["states"] == [{"state": "not heard", "since": None, "since_us": None}], "nothing is claimed"
        assert of(made, target) == {"online": online}, "nor thrown away"
        await asyncio.sleep(60)
        assert list(of(made, target)) == ["not heard"]

    tell(story)


def test_flapping_costs_one_row_and_writes_only_what_changes() -> None:
    async def story(made: Field) -> None:
        life = await ready(made)
        known = life.known[first(made)]  # type: ignore[index]
        written: list[int] = []
        put = made.ledger.put_states
        made.ledger.put_states = lambda begun, ended: (written.append(len(begun) + len(ended)), put(begun, ended))  # type: ignore
        for _ in range(20):
            known.flags = known.flags ^ Flags.BATTERY_LOW
            life.states.look([known], life.outside.clock.now())
            life.states.look([known], life.outside.clock.now())
        assert sum(written) == 20, "two looks at the same state write nothing"
        assert len(of(made, known.target)) <= 2

    tell(story)


def test_a_target_that_is_taken_out_has_no_state_any_more() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = first(made)
        assert of(made, target)
        await ask(made, "target-take-out", target=target, by="Tove", reason="its mast leans")
        await asyncio.sleep(3)
        assert of(made, target) == {}

    tell(story)
