"""Walk-in: released for hours and zones, started by anybody, one party a zone, and always ended by itself."""

from __future__ import annotations

import asyncio
import json
from typing import Any

import pytest
from edge_kit import released, tell, zone
from kit import ask, facts, probe, refused, sends

from fieldctl.events import (
    ANYBODY,
    AllOffOrdered,
    AllOffReleased,
    ExerciseEnded,
    ExerciseStarted,
    WalkInEnded,
    WalkInReleased,
)
from fieldctl.units import PersonId
from sims.field import Field


def test_a_party_from_its_press_to_its_end() -> None:
    async def story(made: Field) -> None:
        await released(made, pause_s=90.0)
        assert (await zone(made))["state"] == "free"
        row = await ask(made, "walkin-start", zone="upper")
        assert (row["started"], row["did"]) == (True, "started")
        await asyncio.sleep(6)
        shown = await zone(made)
        assert (shown["state"], shown["found"], shown["of"]) == ("goes-on", None, None)
        started = facts(made, ExerciseStarted)[-1]
        (target,) = started.picks.values()
        assert made.site.place(target).zone == "upper"
        assert sends(made, target)
        probe(made, target)
        await asyncio.sleep(4)
        assert facts(made, ExerciseEnded)[-1].how == "complete"
        assert not sends(made, target)
        over = await zone(made)
        assert (over["state"], over["found"], over["of"]) == ("pause", 1, 1)
        again = await ask(made, "walkin-start", zone="upper")
        assert (again["started"], again["did"]) == (False, "pause")
        assert 80 < again["wait_s"] <= 90
        await asyncio.sleep(95)
        assert (await ask(made, "walkin-start", zone="upper"))["started"]

    tell(story)


def test_nobody_is_named_anywhere_in_it() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await ask(made, "walkin-start", zone="lower")
        await asyncio.sleep(5)
        status = json.dumps(await ask(made, "walkin-status"))
        assert "Ansel" not in status
        assert "p-" not in status

    made = tell(story)
    started = facts(made, ExerciseStarted)[-1]
    assert (started.searchers, started.by) == ((), "anybody")
    assert started.conditions["walk_in"] == "w1"


def test_a_child_presses_start_forty_times_in_a_minute() -> None:
    answers: list[dict[str, Any]] = []

    async def story(made: Field) -> None:
        await released(made)

        async def one(n: int) -> None:
            await asyncio.sleep(1.5 * (n // 2))  # two at once each time
            answers.append(await ask(made, "walkin-start", zone="upper"))

        await asyncio.gather(*(one(n) for n in range(40)))

    made = tell(story)
    assert len(facts(made, ExerciseStarted)) == 1
    assert sorted(a["did"] for a in answers) == ["goes-on"] * 39 + ["started"]


def test_both_zones_at_once_and_stopping_one_leaves_the_other() -> None:
    async def story(made: Field) -> None:
        await released(made)
        for name in ("upper", "lower"):
            assert (await ask(made, "walkin-start", zone=name))["started"]
        await asyncio.sleep(5)
        assert (await zone(made))["others"]
        assert (await ask(made, "walkin-stop", zone="upper"))["stopped"]
        await asyncio.sleep(2)
        assert (await zone(made))["state"] == "pause"
        assert (await zone(made, "lower"))["state"] == "goes-on"
        assert not (await ask(made, "walkin-stop", zone="upper"))["stopped"]

    tell(story)


def test_an_instructors_exercise_is_not_stopped_by_it() -> None:
    async def story(made: Field) -> None:
        await released(made)
        row = await ask(made, "exercise-start", drill="one", by="Mira", targets={"A": str(made.site.targets[0])})
        assert not (await ask(made, "walkin-stop", zone="upper"))["stopped"]
        shown = await ask(made, "exercise-show", exercise=row["exercise"])
        assert shown["state"] == "running"

    tell(story)


def test_a_party_waits_while_an_exercise_is_so_near_that_the_signals_would_reach_each_other() -> None:
    async def story(made: Field) -> None:
        played = await opened_with(made, str(made.site.targets[0]))
        row = await ask(made, "walkin-release", drill="one", zones=("upper", "lower"), by="Ansel", ends_in_min=90.0)
        (line,) = row["in_the_way_now"]["upper"]
        assert "m would do. Pick targets" in line
        error = await refused(made, "walkin-start", zone="upper")
        assert error.what == "Another group searches so near that the signals would reach each other."
        hints = (*made.site.targets, *(place.name for place in made.site.places), played, " m ")
        assert not any(str(hint) in str(error) for hint in hints)
        assert len(facts(made, ExerciseStarted)) == 1
        await ask(made, "exercise-stop", exercise=played, by="Mira")
        await asyncio.sleep(2)
        assert (await ask(made, "walkin-start", zone="upper"))["started"]

    tell(story)


async def opened_with(made: Field, target: str) -> str:
    """Open the field, and an instructor's exercise on it."""
    assert await made.open_day()
    name: str = (await ask(made, "exercise-start", drill="one", by="Mira", targets={"A": target}))["exercise"]
    return name


def test_it_ends_with_its_time_and_the_party_with_it() -> None:
    async def story(made: Field) -> None:
        await released(made, ends_in_min=4.0)
        assert (await ask(made, "walkin-start", zone="upper"))["started"]
        await asyncio.sleep(130)
        error = await refused(made, "walkin-start", zone="lower")
        assert "ends in a moment" in error.what
        await asyncio.sleep(115)
        assert (await zone(made))["state"] == "ended"
        await refused(made, "walkin-start", zone="upper")

    made = tell(story)
    assert [fact.why for fact in facts(made, WalkInEnded)] == ["time"]
    assert len(facts(made, ExerciseEnded)) == 1
    for node in made.nodes.values():
        node.settle()
        assert node.past_grant_us <= 0


def test_no_party_is_granted_beyond_the_release() -> None:
    async def story(made: Field) -> None:
        await released(made, ends_in_min=5.0, limit_min=20.0)
        await ask(made, "walkin-start", zone="upper")
        shown = await zone(made)
        assert shown["limit_s"] <= 300

    tell(story)


@pytest.mark.parametrize("how", ["all-off", "ended", "closed"])
def test_it_ends_with_all_off_with_its_release_and_with_closing(how: str) -> None:
    async def story(made: Field) -> None:
        await released(made)
        if how != "closed":
            await ask(made, "walkin-start", zone="upper")
            await asyncio.sleep(5)
        if how == "all-off":
            await ask(made, "all-off")
        elif how == "ended":
            await ask(made, "walkin-end", by="Ansel")
        else:
            await ask(
                made, "day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing"
            )
        await asyncio.sleep(3)
        assert not any(sends(made, target) for target in made.site.targets)
        if how == "all-off":
            await ask(made, "all-off-release", by="Ansel", reason="a test")
        error = await refused(made, "walkin-start", zone="upper")
        assert "No walk-in is released" in error.what

    made = tell(story)
    assert [fact.why for fact in facts(made, WalkInEnded)] == [how]


REFUSALS: dict[str, tuple[dict[str, Any], str]] = {
    "no such drill": ({"drill": "none"}, "no drill"),
    "no such zone": ({"zones": ("middle",)}, "no zone 'middle'"),
    "no zone": ({"zones": ()}, "No zone"),
    "by a call": ({"drill": "mixed"}, "B of "),
    "no end": ({"ends_in_min": None}, "no end"),
    "too short": ({"ends_in_min": 1.0}, "would not end"),
    "too long": ({"ends_in_min": 1500.0}, "would not end"),
    "begins after its end": ({"begins_in_min": 60.0, "ends_in_min": 60.0}, "would not end"),
    "twice an end": ({"ends": "2026-01-24T16:00:00+01:00"}, "given twice"),
    "no time": ({"ends_in_min": None, "ends": "16:00"}, "is no time"),
    "no pause": ({"pause_s": 0.0}, "pause"),
    "no limit": ({"limit_min": 1.0}, "last so long"),
}


def test_what_is_no_release_is_refused_with_a_remedy_and_leaves_nothing_behind() -> None:
    async def story(made: Field) -> None:
        good = {"drill": "one", "zones": ("upper",), "ends_in_min": 60.0, "by": "Ansel"}
        for name, (change, said) in REFUSALS.items():
            given = {k: v for k, v in {**good, **change}.items() if v is not None}
            error = await refused(made, "walkin-release", **given)
            assert said in error.what, name
            assert error.remedy
        await released(made, zones=("upper",))
        error = await refused(made, "walkin-release", **good)
        assert "released already" in error.what

    made = tell(story)
    assert len(facts(made, WalkInReleased)) == 1


def test_times_of_today_need_a_wall_clock_and_minutes_do_not() -> None:
    async def story(made: Field) -> None:
        wall = (await ask(made, "walkin-status"))["wall"]
        hour = f"{(int(wall[11:13]) + 1) % 24:02d}"
        later = wall[:11] + hour + wall[13:]
        row = await ask(made, "walkin-release", drill="one", zones=("lower",), by="Ansel", ends=later)
        assert row["ends_in_s"] == pytest.approx(3600, abs=2)
        assert row["until"][:16] == later[:16]
        await ask(made, "walkin-end", by="Ansel")
        made.world.clock.wall_known = False
        error = await refused(made, "walkin-release", drill="one", zones=("lower",), by="Ansel", ends=later)
        assert "minutes" in error.expected
        assert (await ask(made, "walkin-release", drill="one", zones=("lower",), by="Ansel", ends_in_min=60.0))[
            "until"
        ] == ""

    tell(story)


def test_before_its_beginning_nothing_starts() -> None:
    async def story(made: Field) -> None:
        await released(made, begins_in_min=10.0)
        assert (await zone(made))["state"] == "later"
        error = await refused(made, "walkin-start", zone="upper")
        assert "begins in 10 min" in error.what
        await asyncio.sleep(601)
        assert (await ask(made, "walkin-start", zone="upper"))["started"]

    tell(story)


def test_a_closed_field_and_all_off_let_nothing_be_released() -> None:
    async def story(made: Field) -> None:
        given = {"drill": "one", "zones": ("upper",), "ends_in_min": 60.0, "by": "Ansel"}
        assert "closed" in (await refused(made, "walkin-release", **given)).what
        assert await made.open_day()
        await ask(made, "all-off")
        assert "All off" in (await refused(made, "walkin-release", **given)).what

    tell(story, opened=False)


def test_the_ready_check_stands_in_the_way_with_every_line() -> None:
    async def story(made: Field) -> None:
        await released(made)
        for target in made.site.targets:
            if made.site.place(target).zone == "upper":
                made.nodes[target].die()
        await asyncio.sleep(70)
        error = await refused(made, "walkin-start", zone="upper")
        assert "cannot start" in error.what
        assert (await ask(made, "walkin-start", zone="lower"))["started"]

    tell(story)


def test_after_a_restart_the_release_stands_and_nothing_starts_by_itself() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await made.kill()
        await asyncio.sleep(3)
        made.begin()
        await asyncio.sleep(6)
        assert (await zone(made))["state"] == "free"
        assert facts(made, ExerciseStarted) == []
        assert (await ask(made, "walkin-start", zone="upper"))["started"]
        await asyncio.sleep(5)
        await made.kill()
        await asyncio.sleep(60)  # longer than a grant: it was interrupted, and nobody leads it
        made.begin()
        await asyncio.sleep(6)
        row = await zone(made)
        assert (row["state"], row["exercise"]) == ("pause", None)
        assert facts(made, ExerciseEnded)[-1].how == "stopped"
        await asyncio.sleep(60)
        assert len(facts(made, ExerciseStarted)) == 1

    tell(story)


def test_a_second_press_right_after_a_restart_still_finds_the_party() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await ask(made, "walkin-start", zone="upper")
        await asyncio.sleep(5)
        await made.kill()
        await asyncio.sleep(2)
        made.begin()
        await asyncio.sleep(4)
        assert (await ask(made, "walkin-start", zone="upper"))["did"] == "goes-on"

    made = tell(story)
    assert len(facts(made, ExerciseStarted)) == 1


def test_after_a_reboot_of_the_host_the_release_has_ended() -> None:
    async def story(made: Field) -> None:
        await released(made)
        await made.kill()
        made.world.clock.begin_boot(60_000_000)
        life = made.begin()
        await life.controller.ready.wait()
        assert (await ask(made, "walkin-status"))["zones"] == [], "before the first beat, too"
        await asyncio.sleep(6)
        assert (await ask(made, "walkin-status"))["released"] == []
        await refused(made, "walkin-start", zone="upper")

    made = tell(story)
    assert [fact.why for fact in facts(made, WalkInEnded)] == ["host-rebooted"]


def test_an_all_off_that_was_committed_alone_ends_the_release_too() -> None:
    """The controller died before it could write that the release had ended."""

    async def story(made: Field) -> None:
        await released(made)
        await made.kill()
        here = made.outside().here()
        off, again = (
            AllOffOrdered(7, PersonId(ANYBODY), "page", here),
            AllOffReleased(7, PersonId("p-ansel"), "a test", here),
        )
        made.ledger.append([off, again], at=here)
        made.begin()
        await asyncio.sleep(6)
        assert (await ask(made, "walkin-status"))["released"] == []
        await refused(made, "walkin-start", zone="upper")

    tell(story)
