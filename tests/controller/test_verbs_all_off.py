"""All off goes out before anything waits for the ledger, and whatever was said beside it."""

from __future__ import annotations

import asyncio

from kit import ask, facts, ready, refused, sends, started, tell

from fieldctl.events import AllOffOrdered
from sims.field import Field


async def _break_ledger(made: Field) -> None:
    made.ledger.limit_pages(0)
    for n in range(200):  # until the pages that are there already are full
        await made.ask("manual-out", unit=f"hand {n}", zone="upper", place="x" * 400, by="Ansel")
        if made.ledger.failed:
            return
    raise AssertionError("the ledger did not fail")


def test_by_somebody_new_when_the_ledger_has_failed() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await _break_ledger(made)
        row = await ask(made, "all-off", by="Somebody new", via="test")
        assert row["in_force"]
        await asyncio.sleep(2)
        status = await ask(made, "status")
        assert len(status["all_off"]["confirmed"]) == 3
        assert status["all_off"]["unconfirmed"] == []

    tell(story)


def test_by_somebody_new_is_kept_by_name_beside_the_ledger() -> None:
    async def story(made: Field) -> None:
        controller = await ready(made)
        exercise = await started(made)
        assert any(sends(made, t) for t in made.nodes)
        await ask(made, "all-off", by="Tove", via="test")
        await asyncio.sleep(2)
        assert not any(sends(made, t) for t in made.nodes), exercise
        (order,) = facts(made, AllOffOrdered)
        assert order.by != "Tove"
        assert controller.person("tove") == order.by

    tell(story)


def test_half_a_character_ends_neither_the_ledger_nor_an_all_off() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        error = await refused(made, "day-renewed", by="\udcff", how="tilled")
        assert error.code == "bad-input"
        assert (await ask(made, "all-off", by="\udcff", via="\ud800"))["in_force"]
        await asyncio.sleep(1)
        assert made.ledger.failed is None

    tell(story)
