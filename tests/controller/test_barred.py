"""A target that is barred falls quiet at once; nothing lets it send again until it was cleared, and then only anew."""

from __future__ import annotations

import asyncio

from kit import ask, facts, ready, refused, sends, started, tell

from fieldctl.events import GrantEnded
from sims.field import Field


def test_barring_ends_what_lets_it_send_and_asks_nothing() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        assert sends(made, target)
        await ask(made, "target-bar", target=target, by="Tove", reason="heard though it said quiet")
        await asyncio.sleep(1.0)
        assert not sends(made, target)
        assert [f.why for f in facts(made, GrantEnded) if f.target == target] == ["barred"]
        row = await ask(made, "exercise-show", exercise=name)
        assert row["burials"][0]["phase"] == "gone"
        assert row["questions"] == []  # nobody is asked whether it may send again
        await ask(made, "target-clear", target=target, by="Tove", reason="dug out, seen to be quiet")
        await asyncio.sleep(5.0)
        assert not sends(made, target)  # what is off stays off

    tell(story)


def test_no_reopening_no_resuming_and_no_voiding_lets_a_barred_target_send() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        await ask(made, "exercise-stop", exercise=name, by="Mira")
        await asyncio.sleep(1.0)
        await ask(made, "target-bar", target=target, by="Tove", reason="heard though it said quiet")
        error = await refused(made, "exercise-reopen", exercise=name, by="Mira")
        assert "barred" in error.what
        await asyncio.sleep(3.0)
        assert not sends(made, target)

    tell(story)


def test_a_find_voided_while_its_target_is_barred_does_not_send_again() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        name = await started(made)
        target = (await ask(made, "exercise-show", exercise=name))["burials"][0]["target"]
        await asyncio.sleep(3.0)
        found = await ask(made, "exercise-correct", exercise=name, change="add-hit", about="A", value=2.0, by="Mira",
                          why="seen")  # fmt: skip
        await ask(made, "target-bar", target=target, by="Tove", reason="heard though it said quiet")
        await asyncio.sleep(1.0)
        await ask(made, "exercise-correct", exercise=name, change="undo", about=found["correction"], by="Mira",
                  why="it was none")  # fmt: skip
        await asyncio.sleep(3.0)
        assert not sends(made, target)
        assert (await ask(made, "target-list"))["targets"]

    tell(story)
