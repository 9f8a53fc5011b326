"""A controller that is away while people search, on the simulated field: 12 s and three minutes, as a debrief."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "controller"))

from debrief_kit import said
from kit import ask, probe, ready, started, tell

from fieldctl.debrief.model import Debrief
from fieldctl.debrief.read import read_debrief
from sims.field import Field

TARGET = "5ee00001"


def story(away_s: float, during: Callable[[Field], None], press: bool) -> Debrief:
    """Start, the controller is killed and away, comes back; the probe touches, and everybody is found."""

    async def tells(made: Field) -> None:
        await ready(made)
        exercise = await started(made, targets={"A": TARGET})
        await asyncio.sleep(30)
        await made.kill()
        await asyncio.sleep(away_s / 2)
        during(made)
        await asyncio.sleep(away_s / 2)
        made.begin()
        await asyncio.sleep(8)
        if press:
            await ask(made, "exercise-resume", exercise=exercise, by="Mira")
            await asyncio.sleep(30)
            probe(made, TARGET)
        await asyncio.sleep(20)

    made = tell(tells)
    return read_debrief(made.ledger, made.site, "x1")


def test_twelve_seconds_leave_no_hole_and_a_touch_meanwhile_is_there() -> None:
    d = story(12, lambda made: probe(made, TARGET), press=False)
    dark = [g for g in d.gaps if g.kind == "dark"]
    assert len(dark) == 1
    assert 10e6 < dark[0].until_us - dark[0].from_us < 16e6  # type: ignore[operator]
    assert "no hole in the log" in said(dark[0].text)
    assert not d.repeat
    a = d.burial("A")
    assert a.found is not None
    assert dark[0].from_us < a.found.at_us < dark[0].until_us  # type: ignore[operator]
    assert a.found.plus_minus_us < 1_000_000  # the pad's own stamp, not a thumb's
    assert a.net_us == a.gross_us
    assert d.state == "complete"


def test_three_minutes_are_a_technical_gap_to_be_repeated() -> None:
    d = story(180, lambda made: None, press=True)
    technical = [g for g in d.gaps if g.kind == "technical"]
    assert len(technical) == 1
    assert 180e6 < technical[0].until_us - technical[0].from_us < 200e6  # type: ignore[operator]
    assert d.repeat
    assert "repeat, never fail" in said(technical[0].text)
    a = d.burial("A")
    assert a.gross_us is not None
    assert a.net_us is not None
    away = [g for g in d.gaps if g.kind == "signal"]
    assert len(away) == 1  # nobody heard its grant run out: it was away from the gap's end at the latest
    assert away[0].from_us == technical[0].until_us
    assert away[0].until_us == a.sent[1][0]
    assert a.gross_us - a.net_us == a.sent[1][0] - technical[0].from_us
    assert a.sent[0][1] == technical[0].from_us  # nobody heard it after that
    assert d.anomalies == ()
    assert a.search_us == pytest.approx(a.net_us, abs=1e6)
