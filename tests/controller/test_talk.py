"""How the talk with each target went, as telemetry tells it: what a good line and a bad one leave in the counts."""

from __future__ import annotations

import asyncio

import pytest
from kit import ready, tell

from fieldctl.ledger.telemetry import Telemetry
from sims.field import Field
from sims.network import Weather


def latest(made: Field) -> dict[str, Telemetry]:
    made.ledger.flush_telemetry()
    return {row.target: row for row in made.ledger.telemetry()}


@pytest.mark.parametrize("loss", [0.0, 0.2])
def test_questions_without_an_answer_are_counted(loss: float) -> None:
    async def story(made: Field) -> None:
        await ready(made)
        before = latest(made)
        made.network.set_weather(Weather(loss=loss))
        await asyncio.sleep(240)
        after = latest(made)
        for target, row in after.items():
            asked, answered = (row.extra[n] - before[target].extra[n] for n in ("asked", "answered"))
            assert asked > 100
            assert (asked - answered) / asked == pytest.approx(loss * 1.8, abs=0.12)  # a frame each way
            assert 0 < row.extra["plus_minus_us"] < 20_000
            assert row.extra["orders_lost"] <= row.extra["resent"]
        assert (sum(row.extra["resent"] for row in after.values()) > 0) == (loss > 0)

    tell(story)
