"""Nights: who sleeps while the field is closed and nobody is about; people, orders and all off find them."""

from __future__ import annotations

import asyncio

from kit import ask, facts, probe, started, tell

from fieldctl.controller.controller import Controller
from fieldctl.controller.night import ABOUT_FOR_US, SLEEP_US, WAKES_WITHIN_S
from fieldctl.events import AlarmRaised, StrikeRecorded
from fieldctl.units import US_PER_S
from sims.field import Field
from sims.network import Weather

DUSK_S = ABOUT_FOR_US / 1e6 + 70  # with a report of each that is fresh


async def night(made: Field) -> Controller:
    """A closed field about which nobody has asked for long enough."""
    life = made.begin()
    await asyncio.sleep(DUSK_S)
    return life.controller


def lives(made: Field, c: Controller) -> set[str]:
    return {known.life(made.world.clock.now()) for known in c.known.values()}


def test_they_sleep_while_it_is_closed_and_nobody_is_about() -> None:
    async def story(made: Field) -> None:
        life = made.begin()
        c = life.controller
        await asyncio.sleep(ABOUT_FOR_US / 1e6 - 5)
        assert lives(made, c) == {"online"}
        asked = {k.target: k.talk.asked for k in c.known.values()}
        await asyncio.sleep(75)
        seen = []
        for _ in range(600):
            await asyncio.sleep(1)
            seen += [known.life(made.world.clock.now()) for known in c.known.values()]
            assert all(not n.gate.ordered(n.ticks(made.world.now_us())) for n in made.nodes.values())
        assert seen.count("asleep") / len(seen) > 0.97
        assert {"overdue", "not heard"}.isdisjoint(seen)
        charge = {t: n.cell.charge_mas for t, n in made.nodes.items()}
        await asyncio.sleep(600)
        used = [n.cell.charge_mas - charge[t] for t, n in made.nodes.items()]
        assert max(used) < 600 * 3.0 * 0.1, "awake it is 3 mA all the time"
        assert all(k.talk.asked - asked[k.target] < 260 for k in c.known.values()), "awake it is 1 275 questions"
        assert all(made.world.clock.now() - (k.reported_us or 0) < 120 * US_PER_S for k in c.known.values())
        assert facts(made, AlarmRaised) == []

    tell(story)


def test_whoever_comes_finds_everybody_awake() -> None:
    async def story(made: Field) -> None:
        c = await night(made)
        assert lives(made, c) == {"asleep"}
        began = made.world.clock.now()
        checked = await ask(made, "day-check")
        assert made.world.clock.now() - began < WAKES_WITHIN_S * US_PER_S
        assert set(checked["heard"]) == set(made.nodes)
        await asyncio.sleep(60)
        assert lives(made, c) == {"online"}, "and they stay awake while somebody is about"
        assert await made.open_day()
        name = await started(made, "one")
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        probe(made, target)
        await asyncio.sleep(2)
        assert len(facts(made, StrikeRecorded)) == 1

    tell(story)


def test_who_only_watches_wakes_nobody() -> None:
    async def story(made: Field) -> None:
        c = await night(made)
        rows = (await ask(made, "status"))["targets"]
        assert {row["life"] for row in rows} == {"asleep"}
        assert lives(made, c) == {"asleep"}

    tell(story)


def test_all_off_finds_sleepers_within_the_time_in_which_they_listen() -> None:
    async def story(made: Field) -> None:
        c = await night(made)
        assert lives(made, c) == {"asleep"}
        row = await ask(made, "all-off")
        assert len(row["unconfirmed"]) == len(made.nodes), "nothing is claimed that was not said"
        assert {each["may_send_for_s"] for each in row["unconfirmed"]} == {0}
        await asyncio.sleep(2.5)
        assert c.all_off.state.unconfirmed == {}
        assert all(node.storage.off for node in made.nodes.values())
        await asyncio.sleep(DUSK_S)
        assert lives(made, c) == {"online"}, "nobody sleeps while it is in force"

    tell(story)


def test_one_that_sleeps_is_let_send_at_once() -> None:
    async def story(made: Field) -> None:
        await night(made)
        target = next(iter(made.nodes))
        began = made.world.clock.now()
        row = await ask(made, "target-locate", target=target, send=True)
        assert row["sending"]
        assert made.world.clock.now() - began < WAKES_WITHIN_S * US_PER_S
        await asyncio.sleep(3)
        node = made.nodes[target]
        assert node.gate.ordered(node.ticks(made.world.now_us()))

    tell(story)


def test_frames_that_are_lost_alarm_nobody() -> None:
    async def story(made: Field) -> None:
        c = await night(made)
        made.network.set_weather(Weather(loss=0.1))
        seen = []
        for _ in range(900):
            await asyncio.sleep(1)
            seen += [known.life(made.world.clock.now()) for known in c.known.values()]
        assert facts(made, AlarmRaised) == []
        assert seen.count("asleep") / len(seen) > 0.9
        assert seen.count("overdue") / len(seen) < 0.01
        began = made.world.clock.now()
        while len((await ask(made, "day-check"))["heard"]) < len(made.nodes):
            assert made.world.clock.now() - began < 4 * WAKES_WITHIN_S * US_PER_S

    tell(story, serial=8)


def test_a_dead_one_is_missed_though_it_said_that_it_would_sleep() -> None:
    async def story(made: Field) -> None:
        c = await night(made)
        node = next(iter(made.nodes.values()))
        known = c.known[node.target]
        while (known.asleep_until_us or 0) - made.world.clock.now() < SLEEP_US - 2 * US_PER_S:
            await asyncio.sleep(1)
        node.power_off()
        await asyncio.sleep(SLEEP_US / 1e6 - 10)
        assert c.known[node.target].life(made.world.clock.now()) == "asleep", "nobody asked"
        await asyncio.sleep(310)
        assert c.known[node.target].life(made.world.clock.now()) == "not heard"
        assert [fact.what for fact in facts(made, AlarmRaised)] == ["not-heard"]

    tell(story)
