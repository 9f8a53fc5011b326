"""How the talk with each target went, as telemetry tells it: what a good line and a bad one leave in the counts."""

from __future__ import annotations

import asyncio

import pytest
from kit import ready, tell

from sims.field import Field
from sims.network import Weather


@pytest.mark.parametrize("loss", [0.0, 0.2])
def test_questions_without_an_answer_are_counted(loss: float) -> None:
    async def story(made: Field) -> None:
        controller = await ready(made)
        made.network.set_weather(Weather(loss=loss))
        await asyncio.sleep(240)
        talks = [known.talk for known in controller.known.values()]
        lost = controller.lines["bus"].counts["unanswered"]
        assert lost == sum(talk.asked - talk.answered for talk in talks)
        assert (lost > 100) == (loss > 0)
        assert (sum(talk.resent for talk in talks) > 0) == (loss > 0)
        made.ledger.flush_telemetry()
        for row in made.ledger.telemetry():
            assert 0 < row.extra["answered"] <= row.extra["asked"]
            assert row.extra["orders_lost"] <= row.extra["resent"]
            assert 0 < row.extra["plus_minus_us"] < 20_000
        assert {row.target for row in made.ledger.telemetry()} == set(controller.known)

    tell(story)


def test_moisture_is_told_by_a_target_with_a_sensor_and_by_no_other() -> None:
    async def story(made: Field) -> None:
        wet, *others = made.site.targets
        made.nodes[wet].moisture = 92
        await ready(made)
        await asyncio.sleep(60)
        made.ledger.flush_telemetry()
        told = {row.target: row.extra.get("moisture") for row in made.ledger.telemetry()}
        assert told == {wet: 92, **dict.fromkeys(others)}

    tell(story)
