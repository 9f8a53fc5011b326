"""Plates proved by touch while the field is closed: armed on request, felt by the field itself, gone once it opens."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from kit import ask, facts, probe, ready, refused, sends, started, tell

from fieldctl.events import DayOpened, StrikeRecorded
from fieldctl.units import Stamp
from sims import pad
from sims.field import Field


def test_a_touched_plate_needs_no_exception() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        first, second, third = made.site.targets
        probe(made, first)
        await asyncio.sleep(3)
        assert facts(made, StrikeRecorded) == [], "nobody listens before it is asked for"
        row = await ask(made, "day-touch", by="Tove")
        assert row["listens_until_us"] is not None
        await asyncio.sleep(3)
        assert set((await ask(made, "day-check"))["armed"]) == set(made.site.targets)
        probe(made, first)
        pad.play(made.world, made.nodes[second], pad.vehicle(made.world.rng("cat")))
        await asyncio.sleep(20)
        check = await ask(made, "day-check")
        assert dict(check["touched"]) == {first: "probe"}, "a vehicle proves no hand"
        keys = [p["key"] for p in check["problems"]]
        assert f"touch:{first}" not in keys
        assert {f"touch:{second}", f"touch:{third}"} <= set(keys)
        left = ["touch:" + second, "touch:" + third]
        good = {"by": "Ansel", "hazard": "low (invented)", "snow_m": 1.9, "stray_sweep": "Tove, nothing"}
        check = await ask(made, "day-check", **good, exceptions=tuple(left))
        assert check["problems"] == []
        await ask(made, "day-open", **good, exceptions=tuple(left))
        (opened,) = facts(made, DayOpened)
        assert opened.touched == (first,)
        await asyncio.sleep(3)
        assert (await ask(made, "day-check"))["armed"] == []
        fresh = (await ask(made, "status"))["day"]["fresh_left"]
        assert sum(fresh.values()) == 3, "a touch before opening leaves a target fresh"
        error = await refused(made, "day-touch", by="Tove")
        assert "open" in error.what

    tell(story)


def test_it_ends_by_itself_and_a_new_request_begins_anew() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        await ask(made, "day-touch", by="Tove", minutes=2.0)
        await asyncio.sleep(3)
        probe(made, made.site.targets[0])
        await asyncio.sleep(3)
        await ask(made, "day-touch", by="Tove", minutes=2.0)
        assert list((await ask(made, "day-check"))["touched"]) == [made.site.targets[0]], "asked again meanwhile: kept"
        await asyncio.sleep(125)
        check = await ask(made, "day-check")
        assert (check["armed"], check["listens_until_us"]) == ([], None)
        await ask(made, "day-touch", by="Tove")
        assert (await ask(made, "day-check"))["touched"] == {}

    tell(story)


def test_a_restart_forgets_no_touch_and_arming_never_sends() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        await ask(made, "day-touch", by="Tove")
        await asyncio.sleep(3)
        probe(made, made.site.targets[2])
        await asyncio.sleep(3)
        await made.kill()
        made.begin()
        await asyncio.sleep(6)
        check = await ask(made, "day-check")
        assert list(check["touched"]) == [made.site.targets[2]]
        assert set(check["armed"]) == set(made.site.targets)
        assert not any(sends(made, t) for t in made.site.targets)

    tell(story)


def test_a_request_for_no_time_is_refused() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        for minutes in (0.0, 121.0):
            assert "minutes" in (await refused(made, "day-touch", by="Tove", minutes=minutes)).expected

    tell(story)


def test_a_strike_of_the_day_before_proves_no_plate_of_today() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, targets={"A": str(made.site.targets[0])})
        probe(made, made.site.targets[0])
        await asyncio.sleep(5)
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(2)
        close = {"signed": "Ansel", "own_units_back": True, "listening_walk": "Tove, nothing"}
        await ask(made, "day-close", by="Ansel", **close)
        assert (await ask(made, "day-check"))["touched"] == {}, "nobody asked for it"
        (strike,) = facts(made, StrikeRecorded)
        await ask(made, "day-touch", by="Tove")
        assert made.life is not None
        here = made.life.controller.outside.here()
        made.ledger.append([replace(strike, number=strike.number + 1)], at=here)  # told late: it was made before
        made.ledger.append([replace(strike, number=strike.number + 2, at=Stamp(here, 1000))], at=here)
        assert (await ask(made, "day-check"))["touched"] == {strike.target: "probe"}
        await made.kill()
        made.world.clock.begin_boot(60_000_000)
        made.begin()
        await asyncio.sleep(5)
        check = await ask(made, "day-check")
        assert (check["armed"], check["listens_until_us"]) == ([], None), "after a reboot it is asked for anew"

    tell(story)
