"""One target's history: pictures with gaps as gaps, moments in order, nothing of an exercise that goes on."""

from __future__ import annotations

import datetime
import itertools
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from upkeep_kit import BOOT, hours_of_winter, site_text, swapped, target_of, write_site

from fieldctl.events import (
    KINDS,
    ExerciseEnded,
    ExerciseStarted,
    StrikeRecorded,
    TargetBarred,
    TargetGreeted,
    TargetOdd,
)
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site, read_site
from fieldctl.site.model import Place
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId
from fieldctl.upkeep import moments
from fieldctl.upkeep.charts import by_weeks, drawn, in_words, pieces
from fieldctl.upkeep.history import History, Line, Picture, as_row, health_pictures, read_history
from fieldctl.upkeep.moments import REBOOTS, TOLD, Moment, placed
from fieldctl.upkeep.moments import in_words as moment_in_words
from fieldctl.upkeep.readings import date_of
from fieldctl.upkeep.series import Series
from fieldctl.upkeep.words import ENGLISH, LANGUAGES, words_of
from fieldctl.wire.messages import Why
from sims.winter import FIRST_DAY, Winter

WINTER = Winter.of(901)
UPTO = 90
TODAY = date_of(FIRST_DAY + UPTO)
CHANGED = next(target for target, day in WINTER.ticks if day < UPTO)
AT = HostTime(BOOT, 5)


def strike(target: TargetId, number: int, exercise: str | None, taken_for: str = "probe") -> StrikeRecorded:
    stamp = Stamp(HostTime(BOOT, number), 1000)
    features = (120, 10, 30, 5, 5, 1)
    return StrikeRecorded(
        target, BootId(1), number, NodeTicks(number), stamp, features, taken_for, "invented", exercise, None, "bus"
    )


def started(name: str, target: TargetId) -> ExerciseStarted:
    return ExerciseStarted(name, "one", {}, 1, {"A": target}, (), PersonId("p-mira"), Stamp(AT, 1))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_site(tmp_path_factory.mktemp("larch"), WINTER, UPTO, "[upkeep]\nclosing_day = 2026-04-12\n")


def told(site: Path, number: int = CHANGED) -> History:
    with Reader.read(site / "ledger.sqlite") as reader:
        return read_history(reader, load_site(site), target_of(number), TODAY)


def test_every_reading_day_is_drawn_and_no_other(site: Path) -> None:
    found = told(site)
    lines = {line.key: line for picture in found.pictures for line in picture.lines}
    assert [picture.key for picture in found.pictures][:3] == ["charge", "volts", "celsius"]
    said = np.unique(np.floor(hours_of_winter(WINTER, CHANGED).day))
    assert set(lines["rest"].day) <= set(said[said < FIRST_DAY + UPTO])
    assert lines["rest"].size > 0.9 * np.sum(said < FIRST_DAY + UPTO)
    for line in lines.values():
        assert np.all(np.diff(line.day) > 0)
        assert not np.isnan(line.value).any()


def test_the_charge_goes_on_from_today_with_its_band_and_begins_at_the_change(site: Path) -> None:
    found = told(site)
    picture = next(picture for picture in found.pictures if picture.key == "charge")
    back, ahead = picture.lines
    assert found.row.estimate is not None
    assert back.value[-1] == pytest.approx(100 * found.row.estimate.share, abs=0.01)
    assert np.all(np.diff(back.value) <= 1e-9), "no charge comes back within one battery"
    assert back.day[0] >= max(day for day in found.swaps if day <= FIRST_DAY + UPTO) - 3
    assert ahead.low is not None
    assert ahead.high is not None
    assert np.all(ahead.low <= ahead.value)
    assert np.all(ahead.value <= ahead.high)


def test_moments_in_order_with_reasons_and_people(tmp_path: Path) -> None:
    folder = write_site(tmp_path / "larch", WINTER, 20)
    target = target_of(3)
    with Ledger.open(folder / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.name_person(PersonId("p-mira"), "Mira")
        for wall, fact in (
            ("2025-12-03T09:00:00.000Z", TargetGreeted(target, BootId(2), "brown-out", "", "1.0", 1, (), AT)),
            ("2025-12-02T09:00:00.000Z", TargetBarred(target, "heard though it says quiet", PersonId("p-mira"))),
            ("2025-12-04T09:00:00.000Z", TargetGreeted(target, BootId(3), "code 9", "", "1.0", 1, (), AT)),
            ("2025-12-05T09:00:00.000Z", TargetOdd(target, "clock", "It jumped. To do: nothing.", AT)),
        ):
            ledger.append([fact], at=AT, wall=wall)
        ledger.append([swapped(3, 4)], at=AT)
    found = told(folder, 3)
    keys = [moment.key for moment in found.moments]
    assert keys == ["surveyed", "barred", "greeted", "swapped", "greeted", "odd"]
    said = [moment_in_words(moment, ENGLISH) for moment in found.moments]
    assert said[1] == ("Barred from use, by Mira.", "heard though it says quiet")
    assert said[2][0].endswith("its supply fell too low.")
    assert said[4][0].endswith("it did not say why.")
    assert said[5][1] == "It jumped. To do: nothing."
    json.dumps(as_row(found))


def test_strikes_by_day_and_none_of_an_exercise_that_goes_on(tmp_path: Path) -> None:
    folder = write_site(tmp_path / "larch", WINTER, 3)
    target, day = target_of(3), TODAY.isoformat()
    with Ledger.open(folder / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append([started("x1", target), strike(target, 1, "x1"), strike(target, 2, "x1", "step")], at=AT,
                      wall=f"{day}T09:00:00.000Z")  # fmt: skip
        ledger.append([ExerciseEnded("x1", "found", PersonId("p-mira"), AT)], at=AT, wall=f"{day}T09:20:00.000Z")
        ledger.append([started("x2", target), strike(target, 3, "x2")], at=AT, wall=f"{day}T10:00:00.000Z")
    found = told(folder, 3)
    assert found.left_out == 1
    assert [m.values for m in found.moments if m.key == "struck"] == [{"n": 2, "probes": 1}]
    assert [m.when for m in found.moments if m.key == "probed"] == [f"{day}T09:00:00.000Z"]
    assert not any("strikes" in (p.key for p in found.pictures) and p.lines[0].day[-1] >= FIRST_DAY + UPTO
                   for p in found.pictures if p.key == "strikes")  # fmt: skip
    with Ledger.open(folder / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append([ExerciseEnded("x2", "stopped", PersonId("p-mira"), AT)], at=AT, wall=f"{day}T10:20:00.000Z")
    after = told(folder, 3)
    assert after.left_out == 0
    assert [m.values for m in after.moments if m.key == "struck"] == [{"n": 3, "probes": 2}]


def test_a_survey_that_lies_elsewhere_is_a_move_and_one_within_the_plus_minus_is_none() -> None:
    place = Place(target_of(1), "Larch 2", "upper", 10.0, 5.0, 1.0, surveyed_on=datetime.date(2025, 12, 1))
    near = Place(target_of(1), "Larch 2", "upper", 10.5, 5.5, 1.0, surveyed_on=datetime.date(2026, 1, 1))
    far = Place(target_of(1), "Larch 2", "upper", 13.0, 5.0, 1.0, surveyed_on=datetime.date(2026, 2, 1))
    found = placed([far, place, near])
    assert [m.key for m in found] == ["surveyed", "surveyed", "moved"]
    assert found[2].values["away_m"] == pytest.approx(np.hypot(2.5, 0.5))
    assert "2.5 m from where it was" in moment_in_words(found[2], ENGLISH)[0]


def test_a_day_of_strikes_that_is_not_told_yet_is_in_no_picture() -> None:
    day = np.arange(100.0, 104.0)
    nothing = np.full(4, np.nan)
    noise = np.array([3.0, np.nan, 3.0, np.nan])
    strikes = np.array([1.0, 0.0, 2.0, 5.0])
    series = Series(day, noise, nothing, strikes, nothing, np.zeros(4), nothing, nothing, nothing)
    for picture in health_pictures(series, struck_until=103.0):
        assert picture.lines[0].day[-1] == 102.0
    assert next(p for p in health_pictures(series) if p.key == "strikes").lines[0].value[-1] == 5.0


@given(st.lists(st.integers(0, 300), min_size=1, max_size=60, unique=True).map(sorted))
def test_a_line_is_whole_between_its_gaps_and_parted_at_each(days: list[int]) -> None:
    line = Line("rest", "V", np.array(days, dtype=float), np.linspace(3.0, 4.5, len(days)))
    found = pieces(line)
    assert [int(i) for piece in found for i in piece] == list(range(len(days)))
    assert all(np.all(np.diff(line.day[piece]) == 1) for piece in found)
    gaps = sum(b - a > 1 for a, b in itertools.pairwise(days))
    assert len(found) == gaps + 1
    tree = ET.fromstring(drawn(Picture("volts", (line,)), ENGLISH))
    assert len([one for one in tree if one.tag in ("polyline", "circle")]) == gaps + 1
    missing = days[-1] - days[0] + 1 - len(days)
    told = " ".join(in_words(Picture("volts", (line,)), ENGLISH))
    assert (f"nothing is known: {missing}." in told) == (missing > 0)
    assert len(by_weeks(line)) <= (days[-1] - days[0]) // 7 + 1


@given(st.lists(st.floats(-40, 20), min_size=2, max_size=30))
def test_all_that_is_drawn_lies_inside_the_picture(values: list[float]) -> None:
    line = Line("celsius", "°C", np.arange(len(values), dtype=float), np.array(values))
    svg = drawn(Picture("celsius", (line,)), ENGLISH)
    (points,) = re.findall(r'<polyline class="line-0" points="([^"]+)"', svg)
    for point in points.split():
        x, y = (float(part) for part in point.split(","))
        assert 0 <= x <= 340
        assert 0 <= y <= 130
    assert "style=" not in svg
    assert "<script" not in svg


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_moment_has_a_sentence(language: str) -> None:
    words = words_of(language)
    keys = {key.removeprefix("moment.") for key in words if key.startswith("moment.")}
    assert {"struck", "probed", "touched", "surveyed", "moved", *_keys()} <= keys
    assert {str(why.name).lower().replace("_", "-") for why in Why} == set(REBOOTS)
    assert moment_in_words(Moment("", "dropped", {"n": 3}), words)[0]


def _keys() -> set[str]:
    text = Path(moments.__file__).read_text(encoding="utf-8")
    table = text[text.index("TOLD:") : text.index('"""Fact ->')]
    return set(re.findall(r'\("([a-z-]+)"', table)) | {"lost", "taken-out"}


def test_what_happens_to_a_target_is_told_or_left_out_on_purpose() -> None:
    """A new kind of fact about one target has to be thought of here."""
    left_out = {
        "AllOffConfirmed", "GrantEnded", "GrantGiven", "OrderEnded", "SendingHeard", "SignalDue", "SignalOff",
        "SignalOn", "StrikeRecorded", "RetrievalUnticked", "TraceRead",
    }  # fmt: skip
    about = {name for name, kind in KINDS.items() if "target" in kind.__dataclass_fields__}
    assert about - {kind.__name__ for kind in TOLD} == left_out & about


def test_a_target_without_a_battery_on_file_has_a_history_all_the_same(tmp_path: Path) -> None:
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False):
        pass
    with Reader.read(tmp_path / "ledger.sqlite") as reader:
        found = read_history(reader, read_site(site_text(WINTER, battery=False)), target_of(0), TODAY)
    assert found.pictures == ()
    assert [m.key for m in found.moments] == ["surveyed"]


FIELDCTL = str(Path(sys.executable).with_name("fieldctl"))


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [FIELDCTL, "target", "history", *words, "--site", str(site), "--on", TODAY.isoformat()]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert "Traceback" not in done.stderr
    return done


def test_the_command_for_people_and_for_programs(site: Path) -> None:
    name = f"larch {CHANGED + 1}"
    done = run(name, site=site)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(f"Larch {CHANGED + 1}, upper: ")
    assert "Volts of the battery" in done.stdout
    assert "Fresh cells put in, as p-mira said." in done.stdout
    table = [line.split() for line in done.stdout.splitlines() if re.match(r"\d{4}-\d\d-\d\d  +[-\d]", line)]
    assert 5 <= len(table) <= 14
    row = json.loads(run(target_of(CHANGED), "--json", site=site).stdout)
    assert (row["what"], row["battery"]["target"]) == ("fieldctl target history", target_of(CHANGED))
    volts = next(picture for picture in row["pictures"] if picture["key"] == "volts")["lines"][0]
    last = table[-1]
    assert dict(zip(volts["days"], volts["values"], strict=True))[last[0]] == pytest.approx(float(last[1]), abs=0.005)
    assert "swapped" in [moment["key"] for moment in row["moments"]]


def test_the_command_asked_for_what_there_is_not(site: Path) -> None:
    missing = run("Larch 99", site=site)
    assert missing.returncode == 4
    assert "Larch 1," in missing.stderr
    assert "To do:" in missing.stderr
