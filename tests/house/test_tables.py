"""The tables printed in DEVELOPERS.md are the tables that run."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fieldctl.drill import phases
from fieldctl.wire import obey, session

TEXT = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")


def session_table() -> str:
    rows = [line[4:] for line in (session.__doc__ or "").splitlines() if line.startswith("    ")]
    return "\n".join(["```", *rows, "```"])


@pytest.mark.parametrize(
    ("name", "table"),
    [("phases", phases.table_as_text()), ("obey", obey.table_as_text()), ("session", session_table())],
)
def test_a_printed_table_is_true(name: str, table: str) -> None:
    found = re.search(rf"<!-- table: {name} -->\n(.*?)\n<!-- end -->", TEXT, re.DOTALL)
    assert found is not None
    assert found.group(1) == table, "print it anew: the table was changed"


def test_every_test_named_in_the_hazard_table_is_there() -> None:
    hazards = TEXT.split("## Hazards")[1].split("## ")[0]
    names = set(re.findall(r"`((?:\w+/)+(?:test|bench)_\w+\.py)`", hazards))
    assert len(names) >= 10
    for name in names:
        assert (Path(__file__).parents[1] / name).is_file(), name
