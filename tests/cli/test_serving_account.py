"""The account of a served field once an hour: in another process, only what is sure, and as the ledger can hold it."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import json
import logging
import os
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldctl.cli import serving_account
from fieldctl.cli.serving_account import found_today, run_account, worth
from fieldctl.controller.alarms import Found
from fieldctl.events import AlarmRaised
from fieldctl.ledger.codec import decode, encode
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.units import HostTime, TargetId
from fieldctl.upkeep.account import Finding
from fieldctl.upkeep.words import ENGLISH

ONE, TWO = TargetId("5ee00001"), TargetId("5ee00002")
DAY = datetime.datetime(2031, 1, 18, 9, tzinfo=datetime.UTC)
SITE = """
name = "larch-hollow"
title = "Larch Hollow (invented)"
[battery]
chemistry = "alkaline"
cells = 3
capacity_ah = 8.0
[[zone]]
name = "upper"
"""
PLACE = '[[target]]\nid = "{target}"\nname = "Larch {n}"\nzone = "upper"\nx_m = {n}.0\ny_m = 1.0\ndepth_m = 1.0\n'


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """Two targets for a fortnight; the thermometer of the second one says +60 °C every morning."""
    places = "".join(PLACE.format(target=target, n=n) for n, target in enumerate((ONE, TWO), 1))
    (tmp_path / "site.toml").write_text(SITE + places)
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True) as ledger:
        for day in range(14):
            for hour in range(8):
                at = DAY + datetime.timedelta(days=day - 13, hours=hour)
                us = (day * 24 + hour) * 3_600_000_000 + 1
                wall = at.isoformat().replace("+00:00", "Z")
                for target in (ONE, TWO):
                    celsius = 60.0 if target == TWO and hour == 0 else -8.0
                    extra = {"charge_mas": 1000 * (day * 8 + hour)}
                    volts = 4.6 - 0.004 * day
                    sample = Telemetry(target, HostTime("b", us), wall, volts, volts - 0.15, celsius, 3.0, extra)
                    ledger.put_telemetry([sample])
    return tmp_path


def test_what_the_account_is_sure_of_is_found(site: Path) -> None:
    found = {(one.target, one.key): one for one in found_today(str(site), "2031-01-18")}
    one = found[TWO, "thermometer"]
    assert not [key for key in found if key[0] == ONE]
    assert one.sentence.startswith("Larch 2: ")
    assert "60" in one.sentence
    assert one.remedy == ENGLISH["remedy.thermometer"]
    assert one.since == "2031-01-18"
    assert not one.fault, "a thermometer is no sick target"


@dataclass
class Field:
    """As much of a controller as is asked for."""

    told: list[list[Found]] = field(default_factory=list)
    today: str | None = "2031-01-18T12:00:00Z"

    @property
    def outside(self) -> Any:
        return SimpleNamespace(clock=SimpleNamespace(wall=lambda: self.today))

    @property
    def alarms(self) -> Any:
        return SimpleNamespace(account=self.told.append)


@contextlib.asynccontextmanager
async def running(made: Field, site: Path) -> Any:
    task = asyncio.create_task(run_account(made, site))  # type: ignore[arg-type]
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_it_is_worked_out_in_another_process_and_the_loop_goes_on(
    site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving_account, "FIRST_AFTER_S", 0.01)
    made, late = Field(), []
    loop = asyncio.get_running_loop()
    async with running(made, site):
        begin = os.times()
        for _ in range(3000):
            due = loop.time() + 0.01
            await asyncio.sleep(0.01)
            late.append(loop.time() - due)
            if made.told:
                break
        end = os.times()
    assert {one.key for one in made.told[0]} == {"thermometer"}
    assert sorted(late)[len(late) // 2] < 0.02
    assert end.user - begin.user < 1.5, "numpy's work is done elsewhere"


async def test_a_site_that_cannot_be_read_is_logged_and_tried_again(
    site: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(serving_account, "FIRST_AFTER_S", 0.01)
    monkeypatch.setattr(serving_account, "EVERY_S", 0.01)
    text = (site / "site.toml").read_text()
    (site / "site.toml").write_text("name = ")
    made = Field()
    with caplog.at_level(logging.ERROR):
        async with running(made, site):
            async with asyncio.timeout(60):
                while not caplog.records:
                    await asyncio.sleep(0.05)
                (site / "site.toml").write_text(text)
                while not made.told:
                    await asyncio.sleep(0.05)
    assert "the upkeep account could not be made" in caplog.text


async def test_without_a_clock_nobody_knows_the_day(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving_account, "FIRST_AFTER_S", 0.01)
    monkeypatch.setattr(serving_account, "EVERY_S", 0.01)
    made = Field(today=None)
    async with running(made, site):
        await asyncio.sleep(0.3)
    assert made.told == []


ROW: Any = SimpleNamespace(place=SimpleNamespace(target=ONE, name="Larch 1", zone="upper"))


@pytest.mark.parametrize("key", ["kind-unknown", "never-read", "silent"])
def test_what_is_told_otherwise_is_no_alarm(key: str) -> None:
    assert worth(Finding(key, "sure", 1.0), ROW) is None


def test_what_is_only_perhaps_is_no_alarm() -> None:
    values = {"freezes": -5.0, "cold": -10.0}
    assert worth(Finding("may-freeze", "perhaps", None, values), ROW) is None
    assert worth(Finding("may-freeze", "likely", None, values), ROW) is not None


def test_every_value_of_a_finding_can_be_written_down() -> None:
    """An array's own numbers cannot; and a fact that cannot be written would end sending."""
    values = {"percent": np.float64(3.2), "times": np.int64(4), "odd": float("nan")}
    found = worth(Finding("loses", "likely", 19_000.0, values), ROW)
    assert found is not None
    assert found.fault
    fact = AlarmRaised(
        ONE, "", "upkeep:loses", found.sentence, found.remedy, HostTime("b", 1), dict(found.values), True
    )
    assert decode("AlarmRaised", encode(fact)) == (fact, ())
    assert json.loads(encode(fact))["values"]["times"] == 4
