"""Names: found, renamed, forgotten when asked, gone when their time is over; summaries that are kept."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from kit import ask, facts, field, probe, ready, refused, started, tell

from fieldctl.debrief.summary import VERSION, from_body
from fieldctl.events import FIELD, AllOffOrdered, PersonForgotten
from fieldctl.ledger.beside import Kept
from fieldctl.site.model import People
from fieldctl.units import US_PER_S
from sims.field import Field

DAY_US = 86_400 * US_PER_S


def keep(made: Field, days: int | None) -> None:
    made.site = replace(made.site, people=People(days))


def test_a_person_is_listed_renamed_and_forgotten_and_every_answer_shows_the_id() -> None:
    async def story(made: Field) -> None:
        life = await ready(made)
        name = await started(made)
        row = await ask(made, "person-list")
        listed = {each["name"]: each for each in row["people"]}
        assert {"Mira", "Jon"} <= listed.keys()
        jon = listed["Jon"]["person"]
        assert listed["Jon"]["last_named"] is not None
        assert listed["Jon"]["goes_on"] > listed["Jon"]["last_named"]
        assert (await ask(made, "person-rename", person="jon", name="  Jon  the second ", by="Mira"))["person"] == jon
        assert (await ask(made, "exercise-show", exercise=name))["searchers"] == ["Jon the second"]
        clash = await refused(made, "person-rename", person=jon, name="mira", by="Mira")
        assert "Somebody else" in clash.what
        for bad in ("", " ", "x" * 81, "field"):
            assert (await refused(made, "person-rename", person=jon, name=bad, by="Mira")).code == "bad-input"

        for bad, code in (("nobody here", "not-found"), ("field", "bad-input"), ("", "bad-input")):
            assert (await refused(made, "person-forget", person=bad, by="Mira")).code == code
        answer = await ask(made, "person-forget", person="Jon the second", by="Mira")
        assert answer == {"person": jon, "log_left": False}
        assert await ask(made, "person-forget", person=jon, by="Mira") == answer
        (fact,) = facts(made, PersonForgotten)
        assert (fact.person, fact.by, fact.why) == (jon, listed["Mira"]["person"], "asked")
        assert (await ask(made, "exercise-show", exercise=name))["searchers"] == [jon]
        row = await ask(made, "person-list")
        assert row["forgotten"] == [jon]
        assert jon not in {each["person"] for each in row["people"]}
        assert jon not in made.ledger.names()
        assert (await refused(made, "person-rename", person=jon, name="Jon", by="Mira")).code == "refused"

        # the id is still understood, by all off as well; the name is somebody new
        await ask(made, "all-off", by=jon)
        await asyncio.sleep(1)
        assert [fact.by for fact in facts(made, AllOffOrdered)] == [jon]
        assert jon not in life.people
        assert life.person(jon) == jon
        assert life.person("Jon the second") not in (jon, "")

    tell(story)


def test_a_name_goes_after_its_days_and_a_week_of_grace_with_a_note() -> None:
    async def story(made: Field) -> None:
        keep(made, 30)
        life = await ready(made)
        await started(made)
        jon, mira = life.person("Jon"), life.person("Mira")
        await asyncio.sleep(5)  # so that the day is noted
        clock = made.world.clock
        clock.wall_offset_us += 29 * DAY_US
        life.person("Mira")
        await asyncio.sleep(5)
        clock.wall_offset_us += 2 * DAY_US
        await asyncio.sleep(5)
        assert life.people[jon] == "Jon"  # due, and noted
        clock.wall_offset_us += 6 * DAY_US
        await asyncio.sleep(5)
        assert life.people[jon] == "Jon"
        clock.wall_offset_us += 1 * DAY_US
        await asyncio.sleep(5)
        assert jon not in life.people
        assert life.people[mira] == "Mira"
        gone = {fact.person: fact for fact in facts(made, PersonForgotten)}
        assert (gone[jon].by, gone[jon].why) == (FIELD, "names are kept for 30 days")
        assert mira not in gone
        assert jon not in made.ledger.names()

    tell(story)


def test_a_wall_clock_that_jumps_ahead_and_back_takes_no_name_away() -> None:
    async def story(made: Field) -> None:
        keep(made, 30)
        life = await ready(made)
        await started(made)
        jon = life.person("Jon")
        await asyncio.sleep(5)
        clock = made.world.clock
        clock.wall_offset_us += 20_000 * DAY_US
        await asyncio.sleep(60)
        assert jon in life.people
        clock.wall_offset_us -= 20_000 * DAY_US
        await asyncio.sleep(5)
        clock.wall_offset_us += 20 * DAY_US
        await asyncio.sleep(5)
        clock.wall_known = False
        await asyncio.sleep(5)
        assert life.people[jon] == "Jon"
        assert facts(made, PersonForgotten) == []
        # ahead once more, and back to a day on which it is due indeed: the week counts from that day
        clock.wall_known = True
        clock.wall_offset_us += 20_000 * DAY_US
        await asyncio.sleep(5)
        clock.wall_offset_us -= (20_000 - 15) * DAY_US
        await asyncio.sleep(5)
        assert life.people[jon] == "Jon"
        clock.wall_offset_us += 7 * DAY_US
        await asyncio.sleep(5)
        assert jon not in life.people

    tell(story)


@pytest.mark.parametrize("wall", [True, False])
def test_names_are_kept_until_asked_for_where_the_site_says_so_or_nobody_knows_the_day(wall: bool) -> None:
    async def story(made: Field) -> None:
        keep(made, None if wall else 30)
        made.world.clock.wall_known = wall
        life = await ready(made)
        await started(made)
        jon = life.person("Jon")
        for _ in range(3):
            made.world.clock.wall_offset_us += 1_000 * DAY_US
            await asyncio.sleep(5)
        assert life.people[jon] == "Jon"
        row = next(each for each in (await ask(made, "person-list"))["people"] if each["person"] == jon)
        assert row["goes_on"] is None

    tell(story)


def test_a_summary_is_kept_when_an_exercise_ends_and_made_anew_after_a_correction() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        row = await ask(made, "exercise-show", exercise=name)
        await asyncio.sleep(20)
        assert made.ledger.summaries(VERSION) == []  # it goes on
        probe(made, row["burials"][0]["target"])
        await asyncio.sleep(10)
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(10)
        (kept,) = made.ledger.summaries_of(name)
        summary = from_body(kept.body)
        assert summary.burials[0].found
        assert kept.covers == made.ledger.last_entries()[name]
        strike = (await ask(made, "exercise-show", exercise=name))["burials"][0]["find"]["source"]
        await ask(made, "exercise-correct", exercise=name, change="void", about=strike, by="Mira", why="a boot")
        await asyncio.sleep(10)
        (kept,) = made.ledger.summaries_of(name)
        assert not from_body(kept.body).burials[0].found

    tell(story)


def test_what_an_earlier_life_left_without_a_summary_is_made_up_for() -> None:
    with field() as made:

        async def first() -> None:
            await ready(made)
            for _ in range(5):
                name = await started(made)
                await ask(made, "exercise-stop", exercise=name, by="Mira")
            await made.kill()

        made.world.run(first())
        made.ledger.throw_away_summaries()

        async def second() -> None:
            made.begin()
            await asyncio.sleep(30)
            await made.kill()

        made.world.run(second())
        assert len(made.ledger.summaries(VERSION)) == 5


def test_an_exercise_that_is_no_longer_in_mind_is_shown_corrected_and_summed_up_anew(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("fieldctl.controller.exercises.KEPT", 1)

    async def story(made: Field) -> None:
        life = await ready(made)
        first = await started(made)
        target = (await ask(made, "exercise-show", exercise=first))["burials"][0]["target"]
        probe(made, target)
        await asyncio.sleep(8)
        await ask(made, "exercise-stop", exercise=first, by="Mira")
        for _ in range(2):
            await ask(made, "exercise-stop", exercise=await started(made), by="Mira")
        await asyncio.sleep(30)
        assert first not in life.exercises.all
        row = await ask(made, "exercise-show", exercise=first)
        find = row["burials"][0]["find"]
        assert find["kind"] == "hit"
        change = {"exercise": first, "change": "void", "about": find["source"], "by": "Mira", "why": "a boot"}
        row = await ask(made, "exercise-correct", **change)
        assert row["burials"][0]["find"] is None
        row = await ask(made, "exercise-correct", **{**change, "change": "undo", "about": row["correction"]})
        assert row["burials"][0]["find"] == find
        await ask(made, "exercise-correct", **{**change, "change": "give", "about": "A", "value": "Tove"})
        await asyncio.sleep(30)
        (kept,) = made.ledger.summaries_of(first)
        summary = from_body(kept.body)
        assert (summary.corrections, summary.burials[0].searcher) == (3, life.person("Tove"))
        row = await ask(made, "exercise-then", exercise=first)
        assert row == {"exercise": first, "differs": False, "versions": [VERSION], "says": []}
        old = kept.body.replace('"kind":"hit"', '"kind":"call"')
        made.ledger.put_summaries([Kept(first, "0.0.1", kept.covers, old)])
        row = await ask(made, "exercise-then", exercise=first)
        assert row["differs"]
        assert row["says"] == [
            "Version 0.0.1 said otherwise of the same entries: A kind of find: found by the call then, "
            "found by the probe's touch now.",
            "Why that version counted otherwise is not on file.",
        ]
        assert (await refused(made, "exercise-reopen", exercise=first, by="Mira")).code == "not-found"
        assert (await refused(made, "exercise-show", exercise="x99")).code == "not-found"

    tell(story)
