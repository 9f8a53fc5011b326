"""fieldctl target trace shows what was read before from the log alone, and asks the controller for the rest."""

from __future__ import annotations

import csv
import io
import json

import pytest
from typer.testing import CliRunner

from fieldctl.cli.main import app
from fieldctl.cli.outside import ledger_path
from fieldctl.controller import socket
from fieldctl.errors import FieldctlError
from fieldctl.events import Fact, StrikeRecorded, TraceRead
from fieldctl.ledger.store import Ledger
from fieldctl.strikes.trace import as_row, of_row
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId
from fieldctl.upkeep.trace_figure import in_words, trace_figure

SITE = """
name = "invented"
title = "An invented field"

[[zone]]
name = "upper"

[[target]]
id = "5ee00001"
name = "Larch 1"
zone = "upper"
x_m = 1.0
y_m = 2.0
depth_m = 1.0
"""
TARGET = TargetId("5ee00001")
STEPS = (1, -1, 0, 2, -2, 0, 1, 0, 30, 90, -120, 60, *(round(80 * 0.9**n) * (-1) ** n for n in range(116)))


def struck(number: int, boot: int = 2) -> StrikeRecorded:
    at = Stamp(HostTime("boot", number), 5)
    features = (400, 1000, 9000, 200, 5, 0, 0)
    return StrikeRecorded(
        TARGET, BootId(boot), number, NodeTicks(number), at, features, "probe", "r", None, None, "bus"
    )


def read(number: int, *missing: int) -> TraceRead:
    steps = tuple(0 if n // 32 in missing else step for n, step in enumerate(STEPS))
    by, at = PersonId("p-jon"), HostTime("boot", 50)
    return TraceRead(TARGET, BootId(2), number, 250, 8, 14, 0, steps, 4, 32, missing, by, at)


@pytest.fixture
def log(tmp_path):
    """A site's folder, and how to put facts into its log."""
    (tmp_path / "site.toml").write_text(SITE)

    def put(*facts: Fact):
        with Ledger.open(ledger_path(tmp_path), inline=True, who="a test") as ledger:
            ledger.append(list(facts), at=HostTime("boot", 99))
        return tmp_path

    return put


@pytest.fixture
def asked(monkeypatch):
    """What the controller was asked; it answers with a trace of which half is missing."""
    found = []

    def ask(_folder, verb, arguments):
        found.append((verb, {key: arguments[key] for key in ("target", "number", "boot")}))
        return as_row(read(arguments["number"], 2, 3), "Larch 1", "it does not answer")

    monkeypatch.setattr(socket, "ask", ask)
    return found


def run(*words: object):
    result = CliRunner().invoke(app, ["target", "trace", *map(str, words)])
    assert result.exit_code == 0, result.output
    return result


def refused(*words: object) -> str:
    result = CliRunner().invoke(app, ["target", "trace", *map(str, words)])
    assert isinstance(result.exception, FieldctlError), result.output
    return result.exception.what


def test_what_was_read_is_shown_without_a_controller(log) -> None:
    site = log(struck(6), struck(7), read(6, 1), read(6), read(7))
    row = json.loads(run("Larch 1", "--site", site, "--json").stdout)
    assert (row["schema"], row["number"], row["boot"], row["whole"], tuple(row["samples"])) == (1, 7, 2, True, STEPS)
    assert json.loads(run("5ee00001", 6, "--site", site, "--json").stdout)["whole"]
    rows = list(csv.reader(io.StringIO(run("Larch 1", "--csv", "--site", site).stdout)))
    assert rows[0] == ["ms", "steps"]
    assert (rows[1], rows[9], len(rows)) == (["-2.0", "1"], ["0.0", "30"], 129)
    said = run("larch 1", "--site", site).stdout
    assert "Larch 1: strike 7 of boot 2" in said
    assert "Farthest from the baseline: -120 steps at 0.5 ms; a strike began beyond 14." in said
    assert len([line for line in said.splitlines() if " ms " in line[4:9]]) == 32


def test_what_was_not_read_is_asked_for_and_gaps_are_said(log, asked) -> None:
    site = log(struck(6), struck(7), read(7, 2, 3))
    result = run("Larch 1", "--site", site)
    assert asked == [("target-trace", {"target": "5ee00001", "number": 7, "boot": 2})]
    assert "Not heard: from 14 to 30 ms." in result.stdout
    assert "  14 ms  not heard" in result.stdout
    assert "2 of 4 parts are missing: it does not answer. Ask again" in result.output
    rows = list(csv.reader(io.StringIO(run("Larch 1", 6, "--csv", "--site", site).stdout)))
    assert asked[-1] == ("target-trace", {"target": "5ee00001", "number": 6, "boot": 2})
    assert rows[-1] == ["29.75", ""]


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_picture_is_written_and_says_the_same_in_words(log, ending) -> None:
    site = log(struck(7), read(7))
    path = site / f"strike.{ending}"
    assert f"written: {path}" in run("Larch 1", "--picture", path, "--site", site).stdout
    first = path.read_bytes()
    run("Larch 1", "--picture", path, "--site", site)
    assert path.read_bytes() == first, "the same trace gives the same bytes"
    assert b"Farthest from the baseline: -120 steps" in first


def test_a_picture_with_gaps_joins_nothing_over_them() -> None:
    trace = of_row(as_row(read(7, 1), "Larch 1"))
    drawn = trace_figure(trace, "Larch 1: strike 7 of boot 2")
    assert "Not heard: from 6 to 14 ms." in in_words(trace)
    assert "Not heard: from 6 to 14 ms." in drawn.text
    assert trace.peak == (0.5, -120)


def test_what_cannot_be_is_said_with_what_to_do(log, tmp_path) -> None:
    site = log(struck(7), read(7))
    assert "CSV is not JSON" in refused("Larch 1", "--csv", "--json", "--site", site)
    assert "There is no target" in refused("Larch 9", "--site", site)
    assert "No picture" in refused("Larch 1", "--picture", tmp_path / "strike.gif", "--site", site)
    assert "no strike in boot 9" in refused("Larch 1", "--boot", 9, "--site", site)
