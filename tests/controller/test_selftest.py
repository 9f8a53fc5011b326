"""The self-test: what targets show by themselves, a touch, a receiver; kept, and who lacks what is named."""

from __future__ import annotations

import asyncio
from typing import Any

from kit import ask, facts, probe, ready, refused, sends, tell

from fieldctl.events import SelfTested, SendingHeard
from sims.field import Field


async def up(made: Field) -> None:
    made.begin()
    await asyncio.sleep(30)


def of(row: dict[str, Any], target: str) -> dict[str, Any]:
    return next(one for one in row["targets"] if one["target"] == target)


def test_what_targets_show_by_themselves_and_what_is_left_to_walk_for() -> None:
    async def story(made: Field) -> None:
        await up(made)
        row = await ask(made, "self-test-show")
        assert (row["round"], row["whole"], [one["tested"] for one in row["targets"]]) == (0, 0, [False] * 3)
        row = await ask(made, "self-test", by="Tove")
        assert row["round"] == 1
        for one in row["targets"]:
            assert one["lacks"] == ["pad", "receiver"], one
            assert one["checks"]["battery"] == "good"
        assert len(facts(made, SelfTested)) == 3

    tell(story)


def test_a_target_that_is_silent_lacks_nearly_everything() -> None:
    async def story(made: Field) -> None:
        await up(made)
        dead = made.site.targets[1]
        made.nodes[dead].die()
        await asyncio.sleep(90)
        row = await ask(made, "self-test", by="Tove")
        assert of(row, dead)["checks"]["heard"] == "bad"
        assert set(of(row, dead)["lacks"]) >= {"heard", "gate", "clock", "battery", "pad", "receiver"}
        assert of(row, made.site.targets[0])["lacks"] == ["pad", "receiver"]

    tell(story)


def test_both_proofs_are_kept_over_later_tests_and_gone_with_a_new_round() -> None:
    async def story(made: Field) -> None:
        await up(made)
        first, second, _ = made.site.targets
        await ask(made, "day-touch", by="Tove")
        await asyncio.sleep(3)
        probe(made, first)
        await asyncio.sleep(5)
        assert of(await ask(made, "self-test", by="Tove"), first)["checks"]["pad"] == "good"
        await ask(made, "target-locate", target=first, send=True)
        await asyncio.sleep(2)
        assert sends(made, first)
        row = await ask(made, "self-test-heard", target=first, by="Tove")
        assert (of(row, first)["heard_by"], of(row, first)["checks"]["receiver"]) == ("Tove", "good")
        assert len(facts(made, SendingHeard)) == 1
        await ask(made, "target-locate-end", target=first)
        await asyncio.sleep(2)
        assert await made.open_day()  # what was touched before is asked for anew
        row = await ask(made, "self-test", by="Tove")
        assert (row["whole"], of(row, first)["lacks"]) == (1, [])
        assert of(row, second)["lacks"] == ["pad", "receiver"]
        row = await ask(made, "self-test", by="Tove", anew=True)
        assert (row["round"], row["whole"]) == (2, 0)
        assert of(row, first)["lacks"] == ["pad", "receiver"]

    tell(story)


def test_nobody_hears_a_target_that_does_not_send_to_be_found() -> None:
    async def story(made: Field) -> None:
        await up(made)
        first, second, _ = made.site.targets
        error = await refused(made, "self-test-heard", target=first, by="Tove")
        assert "person until proved otherwise" in error.remedy
        await ask(made, "target-locate", target=first, send=True)
        await refused(made, "self-test-heard", target=first, by="Tove")  # it has not said yet that it sends
        await asyncio.sleep(2)
        await refused(made, "self-test-heard", target=second, by="Tove")
        await ask(made, "target-locate-end", target=first)
        await asyncio.sleep(2)
        await refused(made, "self-test-heard", target=first, by="Tove")
        assert facts(made, SendingHeard) == []

    tell(story)


def test_an_open_field_lets_nobody_send_for_it() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        target = made.site.targets[0]
        assert "open" in (await refused(made, "target-locate", target=target, send=True)).what
        await refused(made, "self-test-heard", target=target, by="Tove")

    tell(story)
