"""Out as text and back."""

from __future__ import annotations

import csv
import io
import json

import pytest

from fieldctl.errors import BadInput, LedgerBroken
from fieldctl.events import SignalDue, StrikeRecorded, TargetNamed
from fieldctl.ledger.export import STRIKE_COLUMNS, export_lines, load_lines, strikes_csv
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

T = HostTime("b-1", 5_000_000)
ONE = TargetId("0a1b2c3d")
STRIKE = StrikeRecorded(ONE, BootId(2), 9, NodeTicks(77), Stamp(T, 900), (4, 5), "probe", "r1", "e1", "A, left", "bus1")


@pytest.fixture
def ledger():
    with Ledger.open(":memory:", inline=True) as opened:
        opened.name_person(PersonId("p1"), "Mira")
        opened.append([SignalDue("e1", "ü“\n", T, "start"), STRIKE], at=T, wall="2030-01-02T10:00:00Z")
        opened.append([SignalDue("e2", "A", T, "start"), TargetNamed(ONE, "upper", PersonId("p1"))], at=T.plus(3))
        opened.append([SignalDue("e1", f"B{n}", T, "start") for n in range(600)], at=T.plus(4))
        yield opened


def test_the_whole_ledger_there_and_back(ledger: Ledger) -> None:
    lines = list(export_lines(ledger))
    head, entries = load_lines(lines)
    assert list(entries) == list(ledger.entries())
    assert (head.exercise, head.names) == (None, {})
    assert json.loads(lines[0])["schema"] == 1
    assert json.loads(lines[-1]) == {"end": 604}


def test_what_is_written_meanwhile_is_left_to_the_next_export(ledger: Ledger) -> None:
    lines = export_lines(ledger)
    start = next(lines)
    ledger.append([SignalDue("e1", "late", T, "start")], at=T)
    assert len(list(load_lines([start, *lines])[1])) == 604
    assert len(list(load_lines(export_lines(ledger))[1])) == 605


def test_one_exercise_there_and_back(ledger: Ledger) -> None:
    head, entries = load_lines(export_lines(ledger, "e1"))
    assert list(entries) == list(ledger.entries(exercise="e1"))
    assert head.exercise == "e1"


def test_names_only_where_asked_for(ledger: Ledger) -> None:
    assert "Mira" not in "".join(export_lines(ledger))
    assert "Mira" not in "".join(strikes_csv(ledger))
    assert load_lines(export_lines(ledger, names=True))[0].names == {"p1": "Mira"}


def test_what_was_changed_in_the_text_is_named(ledger: Ledger) -> None:
    lines = list(export_lines(ledger))
    for broken, says in (
        ([*lines[:2], lines[2].replace("probe", "step"), *lines[3:]], "Entry 2 .*not what was written"),
        ([*lines[:2], *lines[3:]], "Entry 3 .*does not follow"),
        ([lines[0], lines[2], lines[1], *lines[3:]], "Entry 2 .*does not follow"),
        (lines[:5], "without its last line"),
        ([*lines[:5], lines[-1]], "604 entries were written, 4 are here"),
        ([*lines[:2], '{"seq":2}\n', *lines[3:]], "lacks 'kind'"),
    ):
        with pytest.raises(LedgerBroken, match=says):
            list(load_lines(broken)[1])


def test_what_is_no_export_is_refused(ledger: Ledger) -> None:
    head = next(export_lines(ledger))
    for lines in ([], ["hello"], ["[1]"], [head.replace('"schema":1', '"schema":2')]):
        with pytest.raises(BadInput):
            load_lines(lines)
    with pytest.raises(BadInput):
        list(load_lines([head, "junk"])[1])


def test_strikes_as_csv(ledger: Ledger) -> None:
    rows = list(csv.DictReader(io.StringIO("".join(strikes_csv(ledger)), newline="")))
    assert [tuple(row) for row in rows] == [STRIKE_COLUMNS]
    assert rows[0] == {
        "seq": "2",
        "written": "2030-01-02T10:00:00Z",
        "exercise": "e1",
        "burial": "A, left",
        "target": ONE,
        "boot": "2",
        "number": "9",
        "ticks_us": "77",
        "host_boot": "b-1",
        "at_us": "5000000",
        "plus_minus_us": "900",
        "taken_for": "probe",
        "rule": "r1",
        "link": "bus1",
        "late": "0",
        "features": "4 5",
    }
    assert list(strikes_csv(ledger, "e2")) == [",".join(STRIKE_COLUMNS) + "\r\n"]
