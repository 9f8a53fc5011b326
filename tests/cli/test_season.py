"""The season, certificates and sheets on the command line; none of them needs a serve."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import jsonschema_rs
import pytest
from served import FIELDCTL

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from many_exercises import build

from fieldctl.debrief.summary import VERSION
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [FIELDCTL, *words, "--site", str(site)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("larch")
    build(folder / "ledger.sqlite", 80, people=8)
    return folder


def test_the_book_in_every_way(site: Path, tmp_path: Path) -> None:
    done = run("season", site=site)
    assert done.returncode == 0
    assert "80 exercises" in done.stdout
    assert "Half are found within" in done.stdout
    with Reader.read(site / "ledger.sqlite") as reader:  # nobody served, so the summaries were kept
        assert len(reader.summaries(VERSION)) == 80
    row = json.loads(run("season", "--json", site=site).stdout)
    assert row["schema"] == 1
    schema = json.loads(run("season", "--schema", site=site).stdout)
    jsonschema_rs.Draft202012Validator(schema).validate(row)
    rows = list(csv.DictReader(io.StringIO(run("season", "--csv", site=site).stdout)))
    assert {r["exercise"] for r in rows} == {f"x{n + 1}" for n in range(80)}
    page, figures = tmp_path / "book.html", tmp_path / "figures"
    done = run("season", "--html", str(page), "--figures", str(figures), site=site)
    assert done.stdout.splitlines()[0] == f"written: {page}"
    assert page.read_text().startswith("<!doctype html>")
    names = sorted(path.name for path in figures.iterdir())
    assert names == [f"{n}.{kind}" for n in ("kinds", "time-to-find") for kind in ("png", "svg", "txt")]
    assert (figures / "time-to-find.png").read_bytes().startswith(b"\x89PNG")


def test_one_person_and_some_days(site: Path, tmp_path: Path) -> None:
    done = run("season", "--person", "mira 1", site=site)
    assert done.returncode == 0
    assert "Mira 1: " in done.stdout
    assert run("season", "--person", "Mira 1", "--html", str(tmp_path / "m.html"), site=site).returncode == 0
    assert "Mira 1" in (tmp_path / "m.html").read_text()
    assert run("season", "--person", "Nobody", site=site).returncode == 4
    row = json.loads(run("season", "--since", "2025-12-02", "--until", "2025-12-02", "--json", site=site).stdout)
    assert (row["exercises"], row["first_day"], row["last_day"]) == (20, "2025-12-02", "2025-12-02")


@pytest.mark.parametrize(
    "words",
    [
        ("--csv", "--json"),
        ("--person", "Mira 1", "--json"),
        ("--since", "yesterday"),
        ("--since", "2025-13-01"),
        ("--since", "20251201"),
        ("--since", "2026-01-02", "--until", "2026-01-01"),
    ],
)
def test_wrong_use_says_what_to_do(site: Path, words: tuple[str, ...]) -> None:
    done = run("season", *words, site=site)
    assert done.returncode == 2
    assert "To do:" in done.stderr


def test_an_empty_log_and_none_at_all(tmp_path: Path) -> None:
    assert run("season", site=tmp_path).returncode == 4
    Ledger.open(tmp_path / "ledger.sqlite", inline=True).close()
    done = run("season", site=tmp_path)
    assert done.returncode == 0
    assert "There is no exercise in this season yet" in done.stdout
    assert run("season", "--html", str(tmp_path / "b.html"), site=tmp_path).returncode == 0
    assert run("person", "certificate", site=tmp_path).returncode == 2
    done = run("assessment", "list", site=tmp_path)
    assert (done.returncode, "There is no assessment" in done.stdout) == (0, True)
    assert json.loads(run("assessment", "list", "--json", site=tmp_path).stdout)["assessments"] == []


def test_beside_a_writer_it_reads_and_keeps_nothing(tmp_path: Path) -> None:
    build(tmp_path / "ledger.sqlite", 5)
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True) as ledger:
        assert run("season", site=tmp_path).returncode == 0
        assert ledger.summaries(VERSION) == []
    assert run("season", site=tmp_path).returncode == 0
    with Reader.read(tmp_path / "ledger.sqlite") as reader:
        assert len(reader.summaries(VERSION)) == 5


def test_certificates(site: Path, tmp_path: Path) -> None:
    path = tmp_path / "c.html"
    row = json.loads(run("person", "certificate", "Tove 1", "p-0001", "--html", str(path), "--json", site=site).stdout)
    assert row["people"] == ["p-0002", "p-0001"]
    assert path.read_text().count("<section>") == 2
    everybody = run("person", "certificate", "--html", str(path), site=site)
    assert "8 of them" in everybody.stdout
    assert run("person", "certificate", "Nobody", site=site).returncode == 4


def test_forgetting_wants_to_be_meant(site: Path) -> None:
    done = run("person", "forget", "Mira 1", site=site)
    assert done.returncode == 2
    assert "--yes" in done.stderr
    assert run("person", "forget", "Mira 1", "--yes", site=site).returncode == 4  # nobody serves


def test_a_sheet_of_what_is_none(site: Path) -> None:
    done = run("assessment", "show", "x1", "--candidate", "p-0002", site=site)
    assert done.returncode in (2, 5)
    assert run("assessment", "show", "x999", site=site).returncode == 4
