"""An assessment on a simulated field, from the list of candidates to the second signature."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from kit import ask, facts, probe, ready, refused, tell

from fieldctl.events import AssessmentDecided, AssessmentListed, AssessmentSigned, AssessmentTicked, ExerciseStarted
from sims.field import Field

DRILL = """
title = "Entrance, invented"
limit_min = 5
assessed = true

[[burial]]
name = "A"
"""


@pytest.fixture
def assessed(tmp_path: Path):
    """Lay the drill into the folder of drills of a field."""

    def lay(made: Field) -> None:
        folder = tmp_path / "site" / "drills"
        folder.mkdir(parents=True, exist_ok=True)
        for path in (made.folder / "drills").glob("*.toml"):
            (folder / path.name).write_text(path.read_text())
        (folder / "entrance.toml").write_text(DRILL)
        made.folder = folder.parent

    return lay


async def started(made: Field, drill: str = "entrance", searchers: tuple[str, ...] = ("Jon",)) -> tuple[str, str]:
    row = await ask(made, "exercise-start", drill=drill, by="Mira", searchers=searchers)
    await asyncio.sleep(8)
    return row["exercise"], row["burials"][0]["target"]


async def over(made: Field) -> str:
    """An exercise in which everything was found."""
    name, target = await started(made)
    probe(made, target)
    await asyncio.sleep(8)
    return name


def test_from_the_list_to_the_second_signature(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        row = await ask(made, "assessment-candidates", drill="entrance", candidates=("Jon", "Tove", "jon"), by="Mira")
        assert row["candidates"] == ["Jon", "Tove"]
        name = await over(made)
        row = await ask(made, "assessment-show", exercise=name)
        assert row["sheet"]["proposal"] == "passed"
        assert row["decided"] is None
        tick = {"exercise": name, "item": "probing", "value": "yes", "by": "Ansel"}
        first = await ask(made, "assessment-tick", **tick, tick="mine-1")
        assert (await ask(made, "assessment-tick", **tick, tick="mine-1"))["sheet"] == first["sheet"]
        assert len(facts(made, AssessmentTicked)) == 1
        by_hand = {**tick, "item": "time on the surface", "value": "62 s", "by_hand": True}
        assert "needs a reason" in (await refused(made, "assessment-tick", **by_hand)).what
        await ask(made, "assessment-tick", **by_hand, why="own watch")

        assert (await refused(made, "assessment-sign", exercise=name, role="assessor", by="Mira")).code == "refused"
        wrong = await refused(made, "assessment-decide", exercise=name, verdict="failed", by="Mira")
        assert "needs a reason" in wrong.what
        assert (await refused(made, "assessment-decide", exercise=name, verdict="passed", by="Jon")).code == "refused"
        assert (await refused(made, "assessment-decide", exercise=name, verdict="good", by="Mira")).code == "bad-input"
        row = await ask(made, "assessment-decide", exercise=name, verdict="passed", by="Mira")
        assert [t["item"] for t in row["sheet"]["ticks"]] == ["probing", "time on the surface"]

        sign = {"exercise": name, "role": "assessor", "by": "Mira"}
        row = await ask(made, "assessment-sign", **sign)
        assert (await ask(made, "assessment-sign", **sign))["signed"] == row["signed"]
        assert (await refused(made, "assessment-sign", **{**sign, "role": "second"})).what == "One person signs once."
        assert (await refused(made, "assessment-sign", **{**sign, "role": "second", "by": "Jon"})).code == "refused"
        assert (await refused(made, "assessment-sign", **{**sign, "role": "third"})).code == "bad-input"
        row = await ask(made, "assessment-sign", exercise=name, role="second", by="Ansel")
        assert row["final"] is True
        for verb, more in (
            ("assessment-tick", {"item": "probing", "value": "no"}),
            ("assessment-decide", {"verdict": "repeat", "why": "x"}),
            ("assessment-sign", {"role": "second"}),
        ):
            assert "signed twice" in (await refused(made, verb, exercise=name, by="Mira", **more)).what
        assert (len(facts(made, AssessmentDecided)), len(facts(made, AssessmentSigned))) == (1, 2)

    tell(story)


def test_who_searched_or_was_forgotten_neither_ticks_nor_decides_nor_signs(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        name, _ = await started(made, searchers=("Jon", "Tove"))
        await asyncio.sleep(2)
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        whose = {"exercise": name, "candidate": "Jon"}
        says = "Who searches in an exercise assesses nobody in it."
        for by in ("Jon", "Tove"):
            tick = await refused(made, "assessment-tick", item="probing", value="yes", by=by, **whose)
            assert tick.what == says
            decide = await refused(made, "assessment-decide", verdict="repeat", why="seen", by=by, **whose)
            assert decide.what == says
        assert not facts(made, AssessmentTicked)
        await ask(made, "assessment-tick", item="probing", value="yes", by="Odd", **whose)
        odd = facts(made, AssessmentTicked)[0].by
        await ask(made, "assessment-decide", verdict="repeat", why="seen", by="Mira", **whose)
        await ask(made, "assessment-sign", role="assessor", by="Mira", **whose)
        assert (await refused(made, "assessment-sign", role="second", by="Tove", **whose)).what == says
        await ask(made, "person-forget", person=odd, by="Mira")
        error = await refused(made, "assessment-sign", role="second", by=odd, **whose)
        assert error.what == f"{odd} was forgotten and stays so."
        row = await ask(made, "assessment-sign", role="second", by="Ansel", **whose)
        assert row["final"]

    tell(story)


def test_candidates_are_named_for_a_drill_that_is_there_and_assesses(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        row = {"candidates": ("Jon",), "by": "Mira"}
        wrong = await refused(made, "assessment-candidates", drill="entrnace", **row)
        assert wrong.code == "not-found"
        assert "entrance" in wrong.expected
        wrong = await refused(made, "assessment-candidates", drill="one", **row)
        assert (wrong.code, wrong.what) == ("refused", "The drill one is not marked as assessed.")
        assert facts(made, AssessmentListed) == []
        assert (await ask(made, "assessment-candidates", drill="entrance.toml", **row))["drill"] == "entrance"

    tell(story)


def test_what_holds_at_the_start_is_frozen_with_it(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        name = await over(made)
        (fact,) = facts(made, ExerciseStarted)
        kept = fact.conditions
        assert kept["site"] == made.site.title
        assert kept["hazard"]
        assert kept["in_charge"]
        assert kept["wall"].endswith("Z")
        assert kept["targets"]["A"]["firmware"]
        assert kept["targets"]["A"]["plus_minus_ms"] > 0
        place = made.site.place(fact.picks["A"])
        assert (kept["places"]["A"]["name"], kept["places"]["A"]["x_m"]) == (place.name, place.x_m)
        row = await ask(made, "assessment-show", exercise=name)
        assert row["sheet"]["conditions"]["targets"] == kept["targets"]

    tell(story)


def test_all_off_in_the_middle_is_technical_so_that_nobody_fails_by_it(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        name, _ = await started(made)
        assert (
            "still goes on"
            in (await refused(made, "assessment-decide", exercise=name, verdict="repeat", by="Mira")).what
        )
        await ask(made, "all-off", by="Mira")
        await asyncio.sleep(2)
        row = await ask(made, "assessment-show", exercise=name)
        assert row["sheet"]["proposal"] == "repeat"
        no = await refused(made, "assessment-decide", exercise=name, verdict="failed", by="Mira", why="too slow")
        assert "nobody fails by that" in no.what
        row = await ask(made, "assessment-decide", exercise=name, verdict="repeat", by="Mira")
        assert row["decided"]["verdict"] == "repeat"

    tell(story)


def test_what_is_no_assessment_or_nobody_of_it(assessed: Any) -> None:
    async def story(made: Field) -> None:
        assessed(made)
        await ready(made)
        plain, _ = await started(made, "one")
        assert "not marked as assessed" in (await refused(made, "assessment-show", exercise=plain)).what
        await ask(made, "exercise-stop", exercise=plain, by="Mira")
        assert (await refused(made, "assessment-show", exercise="x99")).code == "not-found"
        name, _ = await started(made, searchers=("Jon", "Tove"))
        several = await refused(made, "assessment-show", exercise=name)
        assert (several.what, several.expected) == ("Several search together.", "Jon, Tove")
        row = await ask(made, "assessment-show", exercise=name, candidate="tove")
        assert row["names"][row["candidate"]] == "Tove"
        assert (await refused(made, "assessment-show", exercise=name, candidate="Ansel")).code == "bad-input"
        for bad in ({"item": " "}, {"value": ""}, {"item": "x" * 501}, {"why": "x" * 501}):
            tick = {"exercise": name, "candidate": "Jon", "item": "eyes", "value": "yes", "by": "Mira", **bad}
            assert (await refused(made, "assessment-tick", **tick)).code == "bad-input"
        many = tuple(f"n{n}" for n in range(201))
        row = await refused(made, "assessment-candidates", drill="entrance", candidates=many, by="Mira")
        assert row.code == "bad-input"

    tell(story)
