"""Taps that come late: kept with the moment of the thumb, and nothing is found after the end or by old news."""

from __future__ import annotations

import asyncio
from typing import Any

from kit import ask, facts, ready, refused, started, tell

from fieldctl.events import CallMade, SplitMade
from fieldctl.units import US_PER_S
from sims.field import Field

CALLED = """
title = "Found by the call (invented)"
limit_min = 10
[[burial]]
name = "A"
signal = "start"
find = "call"
[[burial]]
name = "B"
signal = "start"
find = "call"
"""


async def called(made: Field) -> str:
    """An exercise whose burials are found by their calls, under way for 6 s."""
    controller = await ready(made)
    (controller.outside.folder / "drills" / "called.toml").write_text(CALLED)
    return await started(made, "called")


def now_us(made: Field) -> int:
    assert made.life is not None
    return int(made.life.controller.outside.clock.now())


def finds(row: dict[str, Any]) -> list[bool]:
    return [burial["find"] is not None for burial in row["burials"]]


def test_a_tap_is_kept_at_its_moment_within_a_thumb_and_the_phones_clock() -> None:
    async def story(made: Field) -> None:
        name = await called(made)
        pressed_us = now_us(made) - 1 * US_PER_S
        await asyncio.sleep(20)
        moment = {"pressed_us": pressed_us, "plus_minus_us": 40_000}
        row = await ask(made, "exercise-call", exercise=name, by="Mira", burial="A", **moment)
        await ask(made, "exercise-split", exercise=name, by="Mira", name="coarse", burial="B", **moment)
        for kind in (CallMade, SplitMade):
            (fact,) = facts(made, kind)
            assert fact.at.at.us == pressed_us
            assert fact.at.plus_minus_us == 1_040_000
        assert finds(row) == [True, False]
        assert row["to_judge"] == []
        assert row["clock_s"] - row["burials"][0]["find"]["at_s"] > 20

    tell(story)


def test_a_tap_that_lies_just_ahead_is_of_now_and_one_of_hours_ago_is_refused() -> None:
    async def story(made: Field) -> None:
        name = await called(made)
        now = now_us(made)
        await ask(made, "exercise-call", exercise=name, by="Mira", burial="A", pressed_us=now + 30_000)
        (fact,) = facts(made, CallMade)
        assert fact.at.at.us == now
        error = await refused(
            made, "exercise-call", exercise=name, by="Mira", burial="B", pressed_us=now - 4000 * US_PER_S
        )
        assert "4000 s ago cannot be" in error.what
        assert len(facts(made, CallMade)) == 1

    tell(story)


def test_a_call_made_after_the_end_is_for_a_person_by_whatever_way_it_comes() -> None:
    async def story(made: Field) -> None:
        name = await called(made)
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(4)
        row = await ask(made, "exercise-call", exercise=name, by="Mira", burial="A")
        assert finds(row) == [False, False]
        assert [(one["burial"], one["kind"], one["why"]) for one in row["to_judge"]] == [("A", "call", "after the end")]
        placed = await ask(
            made, "exercise-correct", exercise=name, by="Mira", change="place-call", about=row["call"], value="A",
            why="the stop was pressed too early",
        )  # fmt: skip
        assert finds(placed) == [True, False]
        assert placed["to_judge"] == []

    tell(story)


def test_a_call_tapped_before_the_end_counts_though_it_comes_after_it() -> None:
    async def story(made: Field) -> None:
        name = await called(made)
        pressed_us = now_us(made)
        await asyncio.sleep(4)
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(4)
        row = await ask(made, "exercise-call", exercise=name, by="Mira", burial="A", pressed_us=pressed_us)
        assert finds(row) == [True, False]
        assert row["state"] == "stopped"

    tell(story)


def test_a_call_that_was_long_on_its_way_is_for_a_person_and_sets_off_nothing() -> None:
    async def story(made: Field) -> None:
        name = await called(made)
        pressed_us = now_us(made)
        await asyncio.sleep(61)
        row = await ask(made, "exercise-call", exercise=name, by="Mira", burial="A", pressed_us=pressed_us)
        assert finds(row) == [False, False]
        assert [one["why"] for one in row["to_judge"]] == ["it reached the log long after it happened"]

    tell(story)
