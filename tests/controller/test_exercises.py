"""An exercise through the controller: grants, finds, corrections and their consequences, interruptions."""

from __future__ import annotations

import asyncio

from kit import ask, facts, probe, ready, refused, sends, started, tell

from fieldctl.events import ExerciseEnded, ExerciseInterrupted, GrantGiven, SignalOff, SignalOn, StrikeRecorded
from fieldctl.units import US_PER_S
from fieldctl.wire.messages import Why
from sims.field import Field


def burial(row: dict, name: str) -> dict:  # type: ignore[type-arg]
    found = next(b for b in row["burials"] if b["burial"] == name)
    assert isinstance(found, dict)
    return found


def test_from_start_to_complete_with_a_burial_switched_on_by_a_find() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, "chain")
        row = await ask(made, "exercise-show", exercise=name)
        a, b = burial(row, "A")["target"], burial(row, "B")["target"]
        assert sends(made, a)
        assert not sends(made, b)
        probe(made, a)
        await asyncio.sleep(2)
        assert sends(made, a)  # after a find it keeps sending
        assert sends(made, b)
        probe(made, b)
        await asyncio.sleep(2)
        row = await ask(made, "exercise-show", exercise=name)
        assert row["state"] == "complete"
        assert not sends(made, a)
        assert not sends(made, b)
        assert [f.how for f in facts(made, ExerciseEnded)] == ["complete"]

    tell(story)


def test_a_grant_is_renewed_for_as_long_as_it_takes_and_no_longer_than_somebody_is_there() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await asyncio.sleep(100)
        assert sends(made, target)
        assert len(facts(made, GrantGiven)) == 1  # renewed, not given again
        await made.kill()
        await asyncio.sleep(31)
        assert not sends(made, target)

    tell(story)


def test_a_voided_find_sends_again_and_what_it_triggered_is_asked_about() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, "chain")
        row = await ask(made, "exercise-show", exercise=name)
        a, b = burial(row, "A")["target"], burial(row, "B")["target"]
        probe(made, a)
        await asyncio.sleep(2)
        source = burial(await ask(made, "exercise-show", exercise=name), "A")["find"]["source"]
        await ask(made, "exercise-correct", exercise=name, change="void", about=source, by="Mira", why="a ski pole")
        row = await ask(made, "exercise-show", exercise=name)
        assert burial(row, "A")["find"] is None
        assert sends(made, a)
        (question,) = row["questions"]
        assert question["choices"] == ["keep", "take-back"]
        await ask(made, "exercise-answer", exercise=name, question=question["question"], answer="take-back", by="Mira")
        await asyncio.sleep(2)
        assert not sends(made, b)

    tell(story)


def test_a_voided_find_that_had_fallen_quiet_sends_within_two_seconds_under_a_new_grant() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made, "mixed")
        await asyncio.sleep(12)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        assert sends(made, target)
        probe(made, target)
        await asyncio.sleep(2)
        assert not sends(made, target)
        source = burial(await ask(made, "exercise-show", exercise=name), "A")["find"]["source"]
        await ask(made, "exercise-correct", exercise=name, change="void", about=source, by="Mira", why="a stone")
        await asyncio.sleep(2)
        assert sends(made, target)
        mine = [f.grant for f in facts(made, GrantGiven) if f.target == target]
        assert len(mine) == 2
        assert len([f for f in facts(made, SignalOff) if f.target == target]) == 1  # the gap is in the book

    tell(story)


def test_a_correction_that_no_exercise_could_need_is_refused_and_leaves_nothing() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        for change, about, value, why, says in (
            ("add-hit", "A", -500.0, "seen", "A hit at -500 s cannot be."),
            ("add-hit", "A", 99_999_999.0, "seen", "A hit at 1e+08 s cannot be."),
            ("shift-start", name, 100_000.0, "late", "A start cannot be shifted by 100000 s."),
            ("shift-start", name, -1e12, "late", "A start cannot be shifted by -1e+12 s."),
            ("give", "A", "  ", "hers", "'' is no name for a person."),
            ("give", "A", "x" * 5000, "hers", "is no name for a person."),
            ("add-hit", "A", 20.0, "x" * 501, "The reason is too long."),
        ):
            error = await refused(
                made, "exercise-correct", exercise=name, change=change, about=about, value=value, by="Mira", why=why
            )
            assert says in str(error)
        assert (await ask(made, "exercise-show", exercise=name))["corrections"] == []
        for change, about, value in (("add-hit", "A", 0.0), ("add-hit", "A", 14_400.0), ("shift-start", name, -3600.0)):
            asked = {"exercise": name, "change": change, "about": about, "value": value, "by": "Mira"}
            await ask(made, "exercise-correct", why="x" * 500, **asked)

    tell(story)


def test_a_call_is_placed_only_with_a_burial_and_a_strike_merged_only_with_a_strike() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        probe(made, target)
        await asyncio.sleep(2)
        row = await ask(made, "exercise-call", exercise=name, by="Mira")
        source = burial(row, "A")["find"]["source"]
        for change, about, value in (("place-call", row["call"], "Z"), ("merge", source, "nothing")):
            asked = {"exercise": name, "change": change, "about": about, "value": value, "by": "Mira", "why": "seen"}
            assert f"has no {value!r}" in str(await refused(made, "exercise-correct", **asked))
        await ask(
            made, "exercise-correct", exercise=name, change="place-call", about=row["call"], value="A", by="Mira",
            why="seen",
        )  # fmt: skip

    tell(story)


def test_a_rebooted_target_stays_quiet_until_a_person_says_so() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        made.nodes[target].reboot(Why.WATCHDOG)
        await asyncio.sleep(12)
        assert not sends(made, target)
        row = await ask(made, "exercise-show", exercise=name)
        (question,) = row["questions"]
        await ask(made, "exercise-answer", exercise=name, question=question["question"], answer="send-again", by="Mira")
        await asyncio.sleep(2)
        assert sends(made, target)
        assert len(facts(made, SignalOn)) == 2

    tell(story)


def test_stop_and_its_taking_back() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(1)
        assert not sends(made, target)
        await ask(made, "exercise-reopen", exercise=name, by="Mira")
        await asyncio.sleep(2)
        assert sends(made, target)

    tell(story)


def test_a_short_absence_goes_on_and_a_long_one_is_interrupted_until_a_person_presses() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await made.kill()
        await asyncio.sleep(8)
        made.begin()
        await asyncio.sleep(6)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "running"
        assert sends(made, target)
        assert len(facts(made, GrantGiven)) == 1  # the same grant, renewed
        await made.kill()
        await asyncio.sleep(60)
        made.begin()
        await asyncio.sleep(6)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "interrupted"
        assert not sends(made, target)
        assert "away" in facts(made, ExerciseInterrupted)[0].why
        await ask(made, "exercise-resume", exercise=name, by="Mira")
        await asyncio.sleep(3)
        assert sends(made, target)

    tell(story)


def test_a_reboot_of_the_host_interrupts_and_nothing_sends_by_itself() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await made.kill()
        made.world.reboot_host()
        await asyncio.sleep(40)
        made.begin()
        await asyncio.sleep(6)
        row = await ask(made, "exercise-show", exercise=name)
        assert row["state"] == "interrupted"
        await ask(made, "exercise-resume", exercise=name, by="Mira")
        await asyncio.sleep(3)
        assert sends(made, target)
        probe(made, target)
        await asyncio.sleep(2)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "complete"

    tell(story)


def test_terminated_politely_it_switches_off_first() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await made.stop()
        assert not sends(made, target)
        made.begin()
        await asyncio.sleep(5)
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "interrupted"

    tell(story)


def test_strikes_while_nobody_listened_are_stamped_when_somebody_does_again() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = burial(await ask(made, "exercise-show", exercise=name), "A")["target"]
        await made.kill()
        await asyncio.sleep(4)
        probe(made, target)
        struck_us = made.world.now_us()
        await asyncio.sleep(4)
        made.begin()
        await asyncio.sleep(5)
        (fact,) = facts(made, StrikeRecorded)
        truth = made.world.clock.of(struck_us)
        assert abs(fact.at.at - truth) <= fact.at.plus_minus_us < 0.05 * US_PER_S
        assert (await ask(made, "exercise-show", exercise=name))["state"] == "complete"

    tell(story)


def test_the_same_request_starts_one_exercise_also_after_a_restart() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        first = await ask(made, "exercise-start", drill="one", by="Mira", request="mine")
        again = await ask(made, "exercise-start", drill="one", by="Mira", request="mine")
        await made.kill()
        made.begin()
        await asyncio.sleep(2)
        third = await ask(made, "exercise-start", drill="one", by="Mira", request="mine")
        assert first["exercise"] == again["exercise"] == third["exercise"]

    tell(story)


def test_two_exercises_at_once_share_no_target_and_are_warned_about() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        first = await started(made)
        check = await ask(made, "exercise-check", drill="one")
        warned = [h for h in check["hindrances"] if h["key"].startswith("too-near")]
        assert len(warned) == 1
        assert not warned[0]["blocks"]
        assert "m would do." in warned[0]["wrong"]
        answer = await ask(made, "exercise-start", drill="one", by="Mira", request="second")
        assert [w["key"] for w in answer["warnings"] if w["key"].startswith("too-near")] == [warned[0]["key"]]
        assert (await ask(made, "exercise-start", drill="one", by="Mira", request="second"))["warnings"] == []
        second = answer["exercise"]
        await asyncio.sleep(5)
        rows = [await ask(made, "exercise-show", exercise=n) for n in (first, second)]
        targets = [b["target"] for r in rows for b in r["burials"]]
        assert len(set(targets)) == 2
        probe(made, targets[1])
        await asyncio.sleep(2)
        states = [(await ask(made, "exercise-show", exercise=n))["state"] for n in (first, second)]
        assert states == ["running", "complete"]

    tell(story)


def test_a_drill_that_cannot_be_staffed_says_which_wish_and_what_would_do() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        error = await refused(made, "exercise-start", drill="mixed", by="Mira")
        assert "cannot start" in error.what
        assert error.remedy

    tell(story, serial=2)


def test_locating_sends_only_on_a_closed_field_and_ends() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        target = next(iter(made.nodes))
        row = await ask(made, "target-locate", target="Larch 1", send=True)
        assert row["sending"]
        await asyncio.sleep(3)
        assert sends(made, target)
        await ask(made, "target-locate-end", target="Larch 1")
        await asyncio.sleep(2)
        assert not sends(made, target)
        await made.open_day()
        assert "open" in (await refused(made, "target-locate", target="Larch 1", send=True)).what

    tell(story)
