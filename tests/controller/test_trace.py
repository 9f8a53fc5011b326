"""Raw traces over the real controller: read part by part, kept, resumed, and never while somebody searches."""

from __future__ import annotations

import asyncio
from unittest import mock

from kit import ask, facts, probe, ready, refused, started, tell

from fieldctl.controller.exercises import Exercises
from fieldctl.errors import FieldctlError, NotFound, Refused, Unreachable
from fieldctl.events import StrikeRecorded, TraceRead
from fieldctl.strikes.trace import of_fact
from fieldctl.units import US_PER_S, TargetId
from fieldctl.wire.messages import Ability, Why
from fieldctl.wire.trace import BEFORE, EVERY_US, PART, SAMPLES, in_steps
from sims.field import Field
from sims.network import Weather
from sims.node import Node


async def struck(made: Field, times: int = 1) -> tuple[TargetId, Node]:
    """A closed field whose pads listen, and a target that was struck so often."""
    made.begin()
    await asyncio.sleep(5)
    await ask(made, "day-touch", by="Ansel")
    await asyncio.sleep(5)
    target, node = next(iter(made.nodes.items()))
    for _ in range(times):
        probe(made, target)
        await asyncio.sleep(4)
    assert len(facts(made, StrikeRecorded)) == times
    return target, node


def steps_of(node: Node, number: int) -> list[int]:
    raw = node.traces.raw(number)
    assert raw is not None
    return list(in_steps(raw.samples, raw.scale))


def test_a_trace_is_read_whole_and_kept_beside_its_strike() -> None:
    async def story(made: Field) -> None:
        target, node = await struck(made, 2)
        row = await ask(made, "target-trace", target=target, by="Jon")
        assert (row["boot"], row["number"], row["whole"], row["missing"], row["why"]) == (1, 2, True, [], "")
        assert (row["every_us"], row["before"], len(row["samples"])) == (EVERY_US, BEFORE, SAMPLES)
        assert row["samples"] == steps_of(node, 2)
        (fact,) = facts(made, TraceRead)
        assert (fact.target, fact.boot, fact.number) == (target, 1, 2)
        assert list(of_fact(fact).samples) == row["samples"]
        first = await ask(made, "target-trace", target="Larch 1", number=1, by="Jon")
        assert first["samples"] == steps_of(node, 1) != row["samples"]

        node.die()  # what was read needs nobody any more
        assert await ask(made, "target-trace", target=target, number=2, by="Jon") == row
        assert len(facts(made, TraceRead)) == 2

    tell(story)


def test_over_the_air_and_over_a_bad_bus_lost_parts_are_asked_for_again() -> None:
    async def story(made: Field) -> None:
        target, node = await struck(made)
        made.network.set_weather(Weather(loss=0.3, corrupt=0.1))
        row = await ask(made, "target-trace", target=target, by="Jon")
        assert row["samples"] == steps_of(node, 1)
        assert made.network.struck["loss"] + made.network.struck["corrupt"] > 3

    tell(story)
    tell(story, serial=0, air=2)


def test_one_that_was_broken_off_says_what_is_missing_and_goes_on_there() -> None:
    async def story(made: Field) -> None:
        target, node = await struck(made)
        whole = steps_of(node, 1)
        asked: list[int] = []
        hear, told = node.hear, node.traces.told

        def counted(*given: object) -> object:
            asked.append(given[0].part)  # type: ignore[attr-defined]
            if len(asked) == 2:
                node.hear = lambda *_given, **_more: None  # type: ignore[method-assign]
            return told(*given)  # type: ignore[arg-type]

        node.traces.told = counted  # type: ignore[method-assign,assignment]
        began = made.world.now_us()
        row = await ask(made, "target-trace", target=target, by="Jon")
        assert made.world.now_us() - began < 30 * US_PER_S
        assert (row["whole"], row["missing"], row["why"]) == (False, [2, 3], "it does not answer")
        assert row["samples"] == whole[: 2 * PART] + [None] * (2 * PART)
        (fact,) = facts(made, TraceRead)
        assert fact.missing == (2, 3)

        node.hear = hear  # type: ignore[method-assign]
        await asyncio.sleep(10)
        row = await ask(made, "target-trace", target=target, by="Jon")
        assert row["samples"] == whole
        assert asked == [0, 1, 2, 3], "no part twice"
        assert [f.missing for f in facts(made, TraceRead)] == [(2, 3), ()]

    tell(story)


def test_not_while_somebody_searches() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        exercise = await started(made)
        target = (await ask(made, "exercise-show", exercise=exercise))["burials"][0]["target"]
        other = next(t for t in made.nodes if t != target)
        error = await refused(made, "target-trace", target=other, number=1, by="Jon")
        assert isinstance(error, Refused)
        assert "searches" in error.what
        probe(made, target)  # the find: nobody searches any more
        await asyncio.sleep(5)
        row = await ask(made, "target-trace", target=target, by="Jon")
        assert row["samples"] == steps_of(made.nodes[target], 1)

    tell(story)


def test_a_search_that_begins_meanwhile_ends_the_reading() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        exercise = await started(made)
        target = (await ask(made, "exercise-show", exercise=exercise))["burials"][0]["target"]
        probe(made, target)
        await asyncio.sleep(5)
        node = made.nodes[target]
        told = node.traces.told
        begins = mock.patch.object(Exercises, "searching", new=True)

        def searched(*given: object) -> object:
            begins.start()
            return told(*given)  # type: ignore[arg-type]

        node.traces.told = searched  # type: ignore[method-assign,assignment]
        try:
            row = await ask(made, "target-trace", target=target, by="Jon")
        finally:
            begins.stop()
        assert (row["missing"], row["why"]) == ([1, 2, 3], "somebody began to search")

    tell(story)


def test_what_cannot_be_told_is_refused_in_words() -> None:
    async def story(made: Field) -> None:
        target, node = await struck(made, 5)
        words: dict[str, FieldctlError] = {
            "never": await refused(made, "target-trace", target=list(made.nodes)[1], by="Jon"),
            "fifth": await refused(made, "target-trace", target=target, number=1, by="Jon"),
            "to come": await refused(made, "target-trace", target=target, number=9, by="Jon"),
            "boot": await refused(made, "target-trace", target=target, number=5, boot=7, by="Jon"),
        }
        assert {kind: type(error) for kind, error in words.items()} == dict.fromkeys(words, NotFound)
        assert "keeps no trace of strike 1" in words["fifth"].what
        assert "rebooted" in words["boot"].what
        assert (await ask(made, "target-trace", target=target, number=2, by="Jon"))["whole"]

        node.reboot(Why.POWER)
        await asyncio.sleep(10)
        gone = await refused(made, "target-trace", target=target, by="Jon")
        assert "rebooted" in gone.what

        node.abilities &= ~int(Ability.TRACES)  # one with the first contract
        node.reboot(Why.POWER)
        await asyncio.sleep(10)
        old = await refused(made, "target-trace", target=target, number=1, by="Jon")
        assert isinstance(old, Refused)
        assert "keeps no raw traces" in old.what
        assert len(facts(made, TraceRead)) == 1

    tell(story)


def test_one_that_is_not_heard_at_all() -> None:
    async def story(made: Field) -> None:
        target, node = await struck(made)
        node.hear = lambda *_given, **_more: None  # type: ignore[method-assign]
        error = await refused(made, "target-trace", target=target, by="Jon")
        assert isinstance(error, Unreachable)
        assert "told nothing of the trace of strike 1: it does not answer" in error.what
        assert facts(made, TraceRead) == []

    tell(story)
