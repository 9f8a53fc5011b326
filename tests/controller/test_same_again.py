"""The same again: what cannot be had is said before it starts, and what is not of this field is refused."""

from __future__ import annotations

import asyncio

import pytest
from kit import ask, ready, refused, started, tell

from sims.field import Field


def test_a_check_says_who_cannot_be_had_again_by_the_name_that_people_know() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        row = await ask(made, "exercise-show", exercise=await started(made))
        (burial,) = row["burials"]
        wish = {"drill": "one", "seed": row["seed"], "targets": {"A": burial["target"]}}
        check = await ask(made, "exercise-check", **wish)  # the first one still goes on
        assert check["notes"] == [f"Burial A cannot have {burial['name']} again: plays in exercise {row['exercise']}."]
        assert check["picks"]["A"] != burial["target"]
        await ask(made, "exercise-stop", exercise=row["exercise"], by="Mira")
        await asyncio.sleep(2)
        check = await ask(made, "exercise-check", **wish)
        assert check["notes"] == []
        assert check["picks"] == {"A": burial["target"]}

    tell(story)


@pytest.mark.parametrize(
    ("targets", "what"),
    [({"A": "zzz"}, "No target 'zzz' lies in this field"), ({"A": ""}, "No target ''"), ({"Q": ""}, "no burial 'Q'")],
)
def test_what_is_not_of_this_field_or_drill_is_refused_and_nothing_starts(targets: dict[str, str], what: str) -> None:
    async def story(made: Field) -> None:
        await ready(made)
        error = await refused(made, "exercise-start", drill="one", by="Mira", targets=targets)
        assert what in error.what
        assert error.expected
        assert (await ask(made, "exercise-list"))["exercises"] == []

    tell(story)


def test_an_exercise_whose_target_plays_elsewhere_is_not_opened_again_and_says_where() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        first = await ask(made, "exercise-show", exercise=await started(made))
        (burial,) = first["burials"]
        await ask(made, "exercise-stop", exercise=first["exercise"], by="Mira")
        await asyncio.sleep(2)
        other = await started(made, targets={"A": burial["target"]})
        error = await refused(made, "exercise-reopen", exercise=first["exercise"], by="Mira")
        assert error.what == f"{burial['name']} plays in exercise {other} now."

    tell(story)


def test_a_drill_outside_its_folder_is_not_there_and_no_other_folder_is_told_of() -> None:
    async def story(made: Field) -> None:
        controller = await ready(made)
        (controller.outside.folder / "secret.toml").write_text("")
        for name in ("../secret", "../site", "/etc/x", "a/b"):
            error = await refused(made, "drill-show", drill=name)
            assert "one" in error.expected.split(", ")
            assert "secret" not in error.expected

    tell(story)
