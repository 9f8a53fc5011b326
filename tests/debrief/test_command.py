"""fieldctl debrief beside the log of a site: lines, JSON, CSV, the sheet, the figures; and what bad input gets."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from debrief_kit import worked
from exercise_kit import Made

from fieldctl.cli.debrief import debrief
from fieldctl.cli.person import certificate
from fieldctl.cli.season import season
from fieldctl.debrief.as_json import schema
from fieldctl.debrief.read import read_debrief
from fieldctl.drill.files import plan_to_mapping, read_drill
from fieldctl.errors import BadInput, FieldctlError, NotFound, Refused
from fieldctl.events import ExerciseEnded, ExerciseStarted, Fact, StrikesDropped
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site
from fieldctl.site.new import templates
from fieldctl.units import BootId, HostTime, PersonId, TargetId

LARCH = TargetId("5ee00001")
WALL = "2026-01-31T09:30:00.000Z"


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("fieldctl")), "debrief", *words, "--site", str(site)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert "Traceback" not in done.stderr
    return done


def on_larch(facts: list[Fact], plan: object, exercise: str) -> list[Fact]:
    """The same facts, played by a target of the template's site, under another exercise's name."""
    made: list[Fact] = []
    for fact in facts:
        changes: dict[str, object] = {"exercise": exercise} if hasattr(fact, "exercise") else {}
        if hasattr(fact, "target"):
            changes["target"] = LARCH
        if isinstance(fact, ExerciseStarted):
            changes |= {"plan": plan_to_mapping(plan), "picks": {"A": LARCH}, "drill": "one-burial"}  # type: ignore[arg-type]
        made.append(replace(fact, **changes))  # type: ignore[arg-type]
    return made


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("larch")
    files = dict(templates())
    (folder / "site.toml").write_text(files["site.toml"] + '\n[debrief]\nsurvival = "rauch-2024"\ndigging_min = 8\n')
    plan = read_drill('title = "One"\nlimit_min = 15\n[[burial]]\nname = "A"\n', "one-burial.toml")
    at = HostTime("boot-a", 1)
    with Ledger.open(folder / "ledger.sqlite", inline=True) as ledger:
        for i in range(6):
            make = Made(plan, f"x{i + 1}", zero_us=10_000_000 + i * 1_000_000_000)
            facts = on_larch(worked(make, void=i == 5), plan, f"x{i + 1}")
            if i == 5:
                facts.insert(4, StrikesDropped(LARCH, BootId(3), 2, make.at(120)))
            for fact in facts:
                strike = type(fact).__name__ == "StrikeRecorded"
                ledger.append([replace(fact, number=100 + i) if strike else fact], at=at, wall=WALL)  # type: ignore[call-arg]
        ledger.append([ExerciseEnded("x9", "stopped", PersonId("p-mira"), at)], at=at)
        ledger.name_person(PersonId("p-mira"), "Mira Larch")
    return folder


def test_read_with_earlier_times_and_what_its_target_told(site: Path) -> None:
    with Reader.read(site / "ledger.sqlite") as reader:
        d = read_debrief(reader, load_site(site), "x6")
        first = read_debrief(reader, load_site(site), "x1")
    a = d.burial("A")
    assert a.before is not None
    assert a.before.count == 5
    assert a.before.median_us == 250_000_000
    assert a.target_name == "Larch 1"
    assert d.started == WALL
    assert any(text.key == "odd.dropped" for text in d.anomalies)
    assert [c.wall for c in d.corrections] == [WALL]
    assert first.burial("A").before is None  # what came later is no earlier time
    assert not any(text.key == "odd.dropped" for text in first.anomalies)


def test_beside_a_writer_that_goes_on(site: Path, tmp_path: Path) -> None:
    copy = tmp_path / "ledger.sqlite"
    copy.write_bytes((site / "ledger.sqlite").read_bytes())
    with Ledger.open(copy, inline=True) as writing, Reader.read(copy) as reader:
        before = read_debrief(reader, load_site(site), "x6")
        plan = read_drill('title = "One"\nlimit_min = 15\n[[burial]]\nname = "A"\n', "one-burial.toml")
        airway = replace(Made(plan, "x6", zero_us=5_010_000_000).split("airway", 1500, "A"), split="late-tap")
        writing.append([airway], at=HostTime("boot-a", 2))
        after = read_debrief(reader, load_site(site), "x6")
    assert before.burial("A").alive is not None
    assert before.burial("A").alive.counted == "call"
    assert after.burial("A").alive is not None
    assert (after.burial("A").alive.counted, after.burial("A").alive.minutes) == ("airway", 25.0)


def test_lines_for_people_from_the_command_line(site: Path) -> None:
    done = run("x6", site=site)
    assert done.returncode == 0
    assert "Touched but not noticed: A was touched at 4:10 and called 82 s later, at 5:32." in done.stdout
    assert "A: the same drill before (5 times): 4:10 in the middle." in done.stdout
    assert "13.5 min from the start to the call, and 8:00 min of digging assumed" in done.stdout
    assert "Mira Larch" in done.stdout


def test_an_exercise_that_there_is_not_is_told_with_its_exit_code(site: Path) -> None:
    done = run("x77", "--json", site=site)
    assert done.returncode == 4
    assert "holds no exercise" in done.stderr
    assert json.loads(done.stdout)["error"]


def test_json_and_csv_on_stdout(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    debrief("x6", site=site, json=True)
    jsonschema_rs.Draft202012Validator(schema()).validate(json.loads(capsys.readouterr().out))
    debrief("x6", site=site, csv=True)
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [r["at_s"] for r in rows if r["what"] == "strike"] == ["250.000"]


def test_the_sheet_and_the_figures_as_files(site: Path, tmp_path: Path) -> None:
    file = tmp_path / "x6.html"
    debrief("x6", site=site, html=file, audience="public")
    text = file.read_text()
    assert text.startswith("<!doctype html>")
    assert "Mira Larch" not in text
    assert "Rauch" not in text
    assert "2026-01-31 09:30 UTC" in text
    folder = tmp_path / "figures"
    debrief("x6", site=site, figures=folder)
    kinds = {f"{name}.{ending}" for name in ("timeline", "map") for ending in ("svg", "png", "txt")}
    assert {path.name for path in folder.iterdir()} == kinds


@pytest.mark.parametrize(
    ("exercise", "asked", "error", "says"),
    [
        ("x9", {}, Refused, "start of x9 cannot be read"),
        ("x6", {"csv": True, "json": True}, BadInput, "at once"),
        ("x6", {"audience": "everybody"}, BadInput, "crew, group, public"),
        ("x6", {"html": Path("nowhere/x.html")}, BadInput, "a folder that is there"),
    ],
)
def test_bad_input_is_told(
    exercise: str, asked: dict[str, Any], error: type[FieldctlError], says: str, site: Path
) -> None:
    with pytest.raises(error, match=says):
        debrief(exercise, site=site, **asked)


def test_what_cannot_be_read(site: Path) -> None:
    with Reader.read(site / "ledger.sqlite") as reader:
        with pytest.raises(NotFound):
            read_debrief(reader, load_site(site), "x77")
        with pytest.raises(Refused, match="cannot be read"):
            read_debrief(reader, load_site(site), "x9")


def test_paper_is_written_in_the_language_of_the_site(site: Path, tmp_path: Path) -> None:
    for name in ("site.toml", "ledger.sqlite"):
        (tmp_path / name).write_bytes((site / name).read_bytes())
    text = (tmp_path / "site.toml").read_text(encoding="utf-8")
    german = re.sub(r'(?m)^language = "\w+"', 'language = "de"', text)
    assert german != text
    (tmp_path / "site.toml").write_text(german, encoding="utf-8")
    debrief("x6", site=tmp_path, html=tmp_path / "x6.html")
    season(site=tmp_path, html=tmp_path / "season.html")
    certificate(site=tmp_path, html=tmp_path / "certificate.html")
    debrief("x6", site=tmp_path, figures=tmp_path / "drawn")
    for name, says in (
        ("x6.html", "Berühren und Bemerken"),
        ("season.html", "Zeit bis zum Fund"),
        ("certificate.html", "Teilnahmebestätigung"),
        ("drawn/timeline.txt", "Zeitlinie von One"),
    ):
        assert says in (tmp_path / name).read_text(encoding="utf-8"), name
    assert '<html lang="de"' in (tmp_path / "x6.html").read_text(encoding="utf-8")


def test_the_schema_of_the_json_on_stdout_and_an_exercise_is_needed_otherwise(
    capsys: pytest.CaptureFixture[str],
) -> None:
    debrief(schema=True)
    assert json.loads(capsys.readouterr().out) == schema()
    with pytest.raises(BadInput, match="No exercise is named"):
        debrief()
