"""What the ledger holds of a winter becomes the same pasts as it was made from; corrections and odd entries count."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from health_kit import health_samples, invented, write_facts
from upkeep_kit import BOOT, site_text, target_of

from fieldctl.errors import LedgerBroken
from fieldctl.events import CallMade, Corrected, ExerciseStarted, StrikeRecorded, TargetAdded
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import read_site
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp
from fieldctl.upkeep.past import Turn
from fieldctl.upkeep.read import read_field
from fieldctl.upkeep.read_health import PAST_DAYS, read_pasts, read_series
from fieldctl.upkeep.readings import date_of
from fieldctl.upkeep.told import told_of
from sims.winter import DAYS, FIRST_DAY, TARGETS

SEED = 1  # one of few strikes
FROM_DAY = 60  # the telemetry before is left out: it takes long to write
TODAY = date_of(FIRST_DAY + DAYS - 1)
WHO = PersonId("p-mira")
ZERO = HostTime(BOOT, 0)


def test_a_winter_through_the_ledger(tmp_path: Path) -> None:
    """What comes back is what the signs were tried on; the account has findings of every kind that there is."""
    winter = invented(SEED)
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.put_telemetry(list(health_samples(winter.winter, winter.health, 60, range(FROM_DAY, DAYS))))
        write_facts(ledger, winter.health)
    site = read_site(site_text(winter.winter))
    with Reader.read(tmp_path / "ledger.sqlite") as reader:
        log = told_of(reader.telemetry_hours())
        found = read_pasts(reader, site, log, TODAY)
        field = read_field(reader, site, TODAY)
        series = read_series(reader, site, target_of(3), TODAY)
    since = FIRST_DAY + DAYS - 1 - PAST_DAYS
    for n, made in enumerate(winter.pasts):
        back = found[target_of(n)]
        late = made.strikes.day >= since
        assert back.strikes.day == pytest.approx(made.strikes.day[late], abs=2 / 1440)
        for name in ("peak", "sharp", "probe", "unsure", "repeats"):
            assert getattr(back.strikes, name).sum() == getattr(made.strikes, name)[late].sum()
        turns = [turn for turn in made.turns if turn.day - 0.002 >= since]
        assert [(turn.touched, turn.called) for turn in back.turns] == [(turn.touched, turn.called) for turn in turns]
        assert len(back.touched) == sum(day >= since for day in made.touched)
        assert [start.why for start in back.starts] == [start.why for start in made.starts if start.day >= since]
        assert back.line == made.line
        told = made.told.day >= FIRST_DAY + FROM_DAY
        assert np.array_equal(back.told.noise, made.told.noise[told])
        assert np.array_equal(back.told.asked, made.told.asked[told])
    evening = {target_of(n): {f.key for f in said} for n, said in enumerate(winter.found(DAYS - 1))}
    account = {
        target: {f.key for f in said if f.about in ("pad", "link", "housing")} for target, said in field.also.items()
    }
    sick = {target for target, keys in evening.items() if keys}
    assert sum(account[target] == evening[target] for target in evening) >= TARGETS - 2  # it looks back 75 days
    assert sick & {target for target, keys in account.items() if keys}
    assert series.strikes.sum() == winter.pasts[3].strikes.day.size  # a page shows the whole season


def strike(
    number: int, exercise: str | None = "x1", taken_for: str = "probe", features: object = None
) -> StrikeRecorded:
    return StrikeRecorded(
        target_of(0), BootId(1), number, NodeTicks(1), Stamp(ZERO, 1),
        (500, 1_000, 9_000, 200, 5, 0, 0) if features is None else features,  # type: ignore[arg-type]
        taken_for, "knock", exercise, "A", "bus",
    )  # fmt: skip


def started(exercise: str) -> ExerciseStarted:
    picks = {"A": target_of(0), "B": target_of(1)}
    return ExerciseStarted(exercise, "one", {}, 1, picks, (), WHO, Stamp(ZERO, 0))


def call(exercise: str, name: str, burial: str | None) -> CallMade:
    return CallMade(exercise, name, burial, None, Stamp(ZERO, 0), WHO)


def corrected(name: str, change: str, about: str, value: str | None = None) -> Corrected:
    return Corrected("x1", name, change, about, WHO, "so it was", ZERO, value)


STRIKE_1 = f"{target_of(0)}-1-1"


@pytest.mark.parametrize(
    ("corrections", "turn"),
    [
        ((), (True, True)),
        ((corrected("c1", "void", STRIKE_1),), (False, True)),
        ((corrected("c1", "judge", STRIKE_1, "step"),), (False, True)),
        ((corrected("c1", "judge", STRIKE_1, "unsure"),), (True, True)),
        ((corrected("c1", "void", "k1"),), (True, None)),
        ((corrected("c1", "place-call", "k1", "B"),), (True, False)),
        ((corrected("c1", "void", STRIKE_1), corrected("c2", "undo", "c1")), (True, True)),
        (
            (
                corrected("c1", "void", STRIKE_1),
                corrected("c2", "undo", "c1"),
                corrected("c3", "undo", "c2"),
            ),
            (False, True),
        ),
    ],
)
def test_what_people_corrected_counts(
    corrections: tuple[Corrected, ...], turn: tuple[bool, bool | None], tmp_path: Path
) -> None:
    site = read_site(site_text(invented(SEED).winter))
    wall = f"{TODAY}T10:00:00.000Z"
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append([started("x1"), strike(1), call("x1", "k1", "A"), *corrections], at=ZERO, wall=wall)
        pasts = read_pasts(ledger, site, told_of([]), TODAY)
    assert [row[1:] for row in pasts[target_of(0)].turns] == [turn]


def test_calls_that_belong_to_no_burial_and_numbers_that_are_none(tmp_path: Path) -> None:
    """Where a call has no burial, or nobody tapped any, nobody can say who was called; odd strikes do no harm."""
    site = read_site(site_text(invented(SEED).winter))
    wall = f"{TODAY}T10:00:00.000Z"
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append(
            [started("x1"), call("x1", "k1", None), started("x2"), strike(1, "x2", "step")], at=ZERO, wall=wall
        )
        ledger.append([strike(2, None, features=()), strike(3, None, features=(1, 2))], at=ZERO, wall=wall)
        ledger.append([strike(4, None)], at=ZERO)  # nobody knows when
        ledger.append([TargetAdded(target_of(0), "", "east", 1, WHO)], at=ZERO, wall="2024-12-01T10:00:00.000Z")
        old = f"{TODAY - datetime.timedelta(days=PAST_DAYS + 1)}T10:00:00.000Z"
        ledger.append([replace(strike(5, None), number=5)], at=ZERO, wall=old)
        past = read_pasts(ledger, site, told_of([]), TODAY)[target_of(0)]
    day = FIRST_DAY + DAYS - 1 + 10 / 24
    assert past.turns == (Turn(pytest.approx(day), False, None), Turn(pytest.approx(day), False, None))
    assert past.strikes.day == pytest.approx(np.full(3, day))
    assert past.strikes.peak.tolist() == [500, 0, 1]
    assert past.line == "east"


def test_a_file_that_is_damaged_says_so(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    with Ledger.open(path, inline=True, durable=False) as ledger:
        for n in range(400):
            ledger.append([strike(n, None)], at=ZERO)
    data = bytearray(path.read_bytes())
    data[len(data) // 3 : len(data) - 4096] = b"\x55" * (len(data) - 4096 - len(data) // 3)
    path.write_bytes(data)
    with Reader.read(path) as reader, pytest.raises(LedgerBroken, match="damaged"):
        reader.rows_of(StrikeRecorded, ("number",))
