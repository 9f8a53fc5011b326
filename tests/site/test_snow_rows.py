"""Readings of the snow from a file: the same out of every spreadsheet, all faults at once with their lines."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.errors import Fault, FileFaults
from fieldctl.site.snow import Reading
from fieldctl.site.snow_rows import READINGS_MOST, as_csv, read_readings
from fieldctl.tomlfile import SIZE_LIMIT

TODAY = datetime.date(2026, 2, 1)
ZONES = ("upper", "lower")
FIRST = datetime.date(2026, 1, 10)


def read(text: str) -> tuple[Reading, ...]:
    return read_readings(text, "winter.csv", ZONES, TODAY)


def faults(text: str) -> list[Fault]:
    with pytest.raises(FileFaults) as caught:
        read(text)
    return list(caught.value.faults)


EXPECTED = (
    Reading(FIRST, 1.85, None, "winter.csv"),
    Reading(FIRST, 1.6, "upper", "winter.csv"),
    Reading(FIRST + datetime.timedelta(days=1), 2.0, None, "winter.csv"),
)


def test_commas_and_a_comment() -> None:
    text = "date,snow_m,zone\n# invented\n2026-01-10,1.85,\n2026-01-10,1.6,upper\n\n2026-01-11,2,\n"
    assert read(text) == EXPECTED


def test_semicolons_with_decimal_commas_and_columns_in_another_order() -> None:
    text = "zone;snow_m;date\r\n;1,85;2026-01-10\r\nupper;1,6;2026-01-10\r\n;2,0;2026-01-11\r\n"
    assert read(text) == EXPECTED


def test_without_a_zone_column() -> None:
    assert read("date,snow_m\n2026-01-10,1.85\n") == EXPECTED[:1]


@pytest.mark.parametrize("text", ["date,snow_m\n", "date,snow_m,zone\r\n\r\n", "date;snow_m\n# nothing yet\n"])
def test_a_file_with_a_header_alone_is_no_file_of_readings(text: str) -> None:
    (fault,) = faults(text)
    assert (fault.key, fault.wrong) == ("(the file)", "it holds no reading")
    assert fault.remedy


@pytest.mark.parametrize(
    ("row", "line", "key", "word"),
    [
        ("2026-01-10,-1,", 2, "row[1].snow_m", "outside"),
        ("2026-01-10,185,", 2, "row[1].snow_m", "outside"),
        ("2026-01-10,nan,", 2, "row[1].snow_m", "outside"),
        ("2026-01-10,deep,", 2, "row[1].snow_m", "text"),
        ("2026-01-10,,", 2, "row[1].snow_m", "missing"),
        (",1.8,", 2, "row[1].date", "missing"),
        ("10.1.2026,1.8,", 2, "row[1].date", ""),
        ("2026-01-32,1.8,", 2, "row[1].date", ""),
        ("2026-02-03,1.8,", 2, "row[1].date", "still to come"),
        ("2026-01-10,1.8,uper", 2, "row[1].zone", "did you mean 'upper'"),
        ("2026-01-10,1.8,,x", 2, "(the row)", "4 cells"),
    ],
)
def test_a_bad_row(row: str, line: int, key: str, word: str) -> None:
    found = faults(f"date,snow_m,zone\n{row}\n")
    assert [(fault.line, fault.key) for fault in found] == [(line, key)]
    assert word in found[0].wrong
    assert found[0].remedy


def test_every_fault_at_once_with_its_line() -> None:
    text = "date,snow_m,zone\n2026-01-10,1.8,\n2026-01-11,-1,nowhere\nx,1.8,\n2026-01-10,1.9,\n"
    assert [(fault.line, fault.key) for fault in faults(text)] == [
        (3, "row[2].snow_m"),
        (3, "row[2].zone"),
        (4, "row[3].date"),
        (5, "row[4].date"),
    ]


def test_what_is_no_such_file() -> None:
    assert "holds nothing" in faults("")[0].wrong
    assert "date,snow_m,zone" in faults("")[0].expected
    assert {fault.key for fault in faults("day,depth\n2026-01-10,1\n")} >= {"row[1].date", "row[1].day"}
    assert "characters" in faults("x" * (SIZE_LIMIT + 1))[0].wrong
    many = "date,snow_m\n" + "2026-01-10,1\n" * (READINGS_MOST + 1)
    assert any("rows" in fault.wrong for fault in faults(many))


days = st.dates(datetime.date(2025, 10, 1), TODAY)
rows = st.dictionaries(
    st.tuples(days, st.sampled_from((None, *ZONES))), st.floats(0, 30).map(lambda m: round(m, 3)), min_size=1
)


@given(rows)
def test_what_is_written_is_read_again(found: dict[tuple[datetime.date, str | None], float]) -> None:
    readings = tuple(Reading(day, metres, zone, "winter.csv") for (day, zone), metres in found.items())
    assert read(as_csv(readings)) == readings


@given(st.text(max_size=200))
def test_whatever_is_in_it_it_is_read_or_refused(text: str) -> None:
    try:
        found: Sequence[Reading | Fault] = read(f"date,snow_m,zone\n{text}")
    except FileFaults as error:
        found = error.faults
    assert all(each.remedy if isinstance(each, Fault) else 0 <= each.snow_m <= 30 for each in found)
