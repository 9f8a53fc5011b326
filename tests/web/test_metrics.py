"""`/metrics`: what it tells, that it gives no hint to those who search, that it is cheap and needs nobody signed in."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest
from api_kit import NOBODY, Web, web
from prometheus_client.parser import text_string_to_metric_families

from fieldctl import __version__
from fieldctl.controller.states import STATES
from fieldctl.units import HostUs, TargetId
from fieldctl.web import metrics
from fieldctl.web.metric_families import COMMIT_STEP_S, SILENCE_STEP_S
from fieldctl.web.metrics import Metrics
from fieldctl.web.views import STOP_BACK_S
from sims import pad
from sims.cell import Cell

ONE = TargetId("5ee00001")
Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


async def scraped(w: Web) -> Samples:
    await asyncio.sleep(1.1)  # a text is given again for a second
    answer = await w.send("GET", "/metrics")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    return parsed(answer.text)


def parsed(text: str) -> Samples:
    found = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            key = (sample.name, tuple(sorted(sample.labels.items())))
            assert key not in found
            found[key] = sample.value
    return found


def value(samples: Samples, name: str, **labels: str) -> float:
    return samples[f"fieldctl_{name}", tuple(sorted(labels.items()))]


def tell(story: Callable[[Web], Awaitable[None]], *, opened: bool = True, serial: int = 3) -> None:
    with web(serial=serial) as found:
        house: Any = SimpleNamespace(controller=found.made.life.controller)  # type: ignore[union-attr]
        found.app.include_router(metrics.router(house))
        found.who = NOBODY

        async def whole() -> None:
            if opened:
                assert await found.made.open_day()
            await story(found)

        found.made.world.run(whole())


async def ask(w: Web, verb: str, **arguments: Any) -> Any:
    answer = await w.made.ask(verb, **arguments)
    assert isinstance(answer, dict), answer
    return answer


def test_the_field_in_numbers() -> None:
    async def story(w: Web) -> None:
        await asyncio.sleep(70)
        found = await scraped(w)
        c = w.made.life.controller  # type: ignore[union-attr]
        assert value(found, "field_open") == 1
        assert value(found, "all_off_in_force") == 0
        assert value(found, "ledger_failed") == 0
        assert {state: value(found, "targets", state=state.replace(" ", "_")) for state in STATES} == {
            **dict.fromkeys(STATES, 0),
            "online": 3,
        }
        report = c.known[ONE].report
        assert report is not None
        assert value(found, "target_battery_volts", target=ONE, condition="rest") == report.rest_mv / 1000
        assert value(found, "target_battery_volts", target=ONE, condition="load") == report.load_mv / 1000
        assert value(found, "target_temperature_celsius", target=ONE) == pytest.approx(-12, abs=0.2)
        assert value(found, "target_clock_error_seconds", target=ONE) < 0.002
        assert value(found, "link_up", link="bus") == 1
        assert value(found, "build_info", version=__version__) == 1

    tell(story)


def test_what_is_the_matter_is_counted() -> None:
    async def story(w: Web) -> None:
        w.made.nodes[ONE].cell = Cell(share_left=0.02)
        w.made.hub.cut(w.made.nodes[TargetId("5ee00002")])
        await asyncio.sleep(100)
        await ask(w, "all-off")
        found = await scraped(w)
        assert value(found, "targets", state="weak") == 1
        assert value(found, "targets", state="not_heard") == 1
        assert value(found, "targets", state="online") == 2
        assert value(found, "alarms_in_force", alarm="battery") == 1
        assert value(found, "alarms_in_force", alarm="overdue") == 1
        assert value(found, "all_off_in_force") == 1
        assert value(found, "all_off_unconfirmed_targets") == 1
        silent = value(found, "target_heard_age_seconds", target="5ee00002")
        assert silent >= 90
        assert silent % SILENCE_STEP_S == 0

    tell(story)


def by_target(samples: Samples) -> Samples:
    """What is told by target or link, its age apart."""
    return {k: v for k, v in samples.items() if k[1] and "age" not in k[0] and "build" not in k[0]}


def test_nothing_that_happens_in_an_exercise_changes_anything_but_the_age_of_what_is_told() -> None:
    """A search with strikes, a call and a find, held against the same field an instant before it began."""

    async def story(w: Web) -> None:
        await asyncio.sleep(70)
        before = await scraped(w)
        row = await ask(w, "exercise-start", drill="mixed", by="Mira", searchers=("Jon",))
        target = {b["burial"]: b["target"] for b in row["burials"]}
        for moment in range(12):
            await asyncio.sleep(6)
            if moment == 3:
                pad.play(w.made.world, w.made.nodes[target["A"]], pad.probe(Random("a hand")))
            if moment == 5:
                await ask(w, "exercise-call", exercise=row["exercise"], by="Mira", burial="B")
            found = await scraped(w)
            assert by_target(found) == by_target(before)
            assert found.keys() == before.keys()
            ages = {k: v for k, v in found.items() if k[0] == "fieldctl_target_heard_age_seconds"}
            assert set(ages.values()) == {0.0}, "however often one is asked"
            grown = {round(found[k] - before[k], 6) for k in before if k[0] == "fieldctl_target_report_age_seconds"}
            assert len(grown) == 1, "each grows older alike"
            assert value(found, "ledger_commit_age_seconds") % COMMIT_STEP_S == 0
        await ask(w, "exercise-stop", exercise=row["exercise"], by="Mira")
        await asyncio.sleep(STOP_BACK_S - 4)
        assert by_target(await scraped(w)) == by_target(before), "the stop can be taken back"
        await asyncio.sleep(130)
        assert by_target(await scraped(w)) != by_target(before)

    tell(story, serial=6)  # three play, three do not


def test_begun_in_the_middle_of_an_exercise_it_tells_nothing_by_target() -> None:
    async def story(w: Web) -> None:
        await ask(w, "exercise-start", drill="one", by="Mira", searchers=("Jon",))
        await asyncio.sleep(10)
        names = {name for name, _ in await scraped(w)}
        assert "fieldctl_target_battery_volts" not in names
        assert "fieldctl_target_resends_total" not in names
        assert "fieldctl_targets" in names

    tell(story)


def test_an_exercise_that_was_interrupted_holds_it_for_its_limit_and_no_longer() -> None:
    async def story(w: Web) -> None:
        await asyncio.sleep(70)
        await ask(w, "exercise-start", drill="one", by="Mira", searchers=("Jon",))
        await asyncio.sleep(10)
        await w.made.kill()
        await asyncio.sleep(60)
        c = w.made.begin().controller
        await asyncio.sleep(5)
        now = c.outside.clock.now()
        assert [e.status for e in c.exercises.all.values()] == ["interrupted"]
        assert metrics.goes_on(c, now)
        assert not metrics.goes_on(c, HostUs(now + 900_000_000))

    tell(story)


def test_no_name_no_place_no_exercise_no_signal() -> None:
    async def story(w: Web) -> None:
        await ask(w, "target-bar", target=ONE, by="Tove", reason="Jon heard it though it said quiet")
        await ask(w, "exercise-start", drill="one", by="Mira", searchers=("Jon",))
        await asyncio.sleep(20)
        text = (await w.send("GET", "/metrics")).text
        for word in (
            "Larch",
            "upper",
            "Mira",
            "Tove",
            "Jon",
            "Ansel",
            "exercise=",
            "strike",
            "hit",
            "sending",
            "grant",
        ):
            assert word not in text.replace("no exercise went on", ""), word

    tell(story)


def test_a_crowd_of_requests_makes_it_once_a_second_and_the_loop_is_let_go_between() -> None:
    async def story(w: Web) -> None:
        c = w.made.life.controller  # type: ignore[union-attr]
        told = Metrics(c)
        made = 0
        look = told._look

        def counted(now: HostUs) -> None:
            nonlocal made
            made += 1
            look(now)

        told._look = counted  # type: ignore[method-assign]
        texts = await asyncio.gather(*(told.text() for _ in range(50)))
        assert made == 1
        assert len(set(texts)) == 1
        await asyncio.sleep(1.5)
        turns, over = 0, False

        async def beside() -> None:
            nonlocal turns
            while not over:
                await asyncio.sleep(0)
                turns += 1

        other = asyncio.create_task(beside())
        await told.text()
        over = True
        await other
        assert made == 2
        assert turns >= 15, "once for each family at least"

    tell(story)


def test_a_full_field_holds_the_loop_for_moments_only() -> None:
    """256 targets: no family takes longer than a part of the 20 ms that the design allows a call."""

    async def story(w: Web) -> None:
        c = w.made.life.controller  # type: ignore[union-attr]
        known = c.known[ONE]
        others = {TargetId(f"6ee0{n:04x}"): known for n in range(256)}
        c.known.update(others)
        told = Metrics(c)
        now = c.outside.clock.now()
        begin = time.process_time()
        told._look(now)
        assert time.process_time() - begin < 0.02
        told._told = dict.fromkeys(others, told._told[ONE])
        longest = []
        for _ in range(3):
            worst, begin = 0.0, time.process_time()
            for family in metrics.families(c, now, told._told, told._frames):
                metrics.generate_latest(metrics._One(family))
                end = time.process_time()
                worst, begin = max(worst, end - begin), end
            longest.append(worst)
        for target in others:
            del c.known[target]
        assert min(longest) < 0.02

    tell(story)
