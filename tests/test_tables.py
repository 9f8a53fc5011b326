from __future__ import annotations

import csv
import io

import pytest

from fieldctl.tables import csv_line, list_of, object_of


@pytest.mark.parametrize("name", ["=1+1", "+49 79 Tove", "-x", "@sum", "\tTove", "\rTove"])
def test_no_name_becomes_a_formula(name: str) -> None:
    (row,) = csv.reader(io.StringIO(csv_line(["x1", name]), newline=""))
    assert row == ["x1", "'" + name]


def test_numbers_stay_numbers_and_what_is_unknown_is_empty() -> None:
    assert csv_line([None, True, False, -1.5, "-0.123", "-1 m", "a,b", 'say "so"']) == (
        ',1,0,-1.5,-0.123,\'-1 m,"a,b","say ""so"""\r\n'
    )


def test_a_schema_asks_for_exactly_what_is_named() -> None:
    made = object_of(b=list_of({"type": "string"}, maxItems=2), a={"type": "integer"})
    assert made["required"] == ["a", "b"]
    assert made["additionalProperties"] is False
    assert made["properties"]["b"] == {"type": "array", "items": {"type": "string"}, "maxItems": 2}
