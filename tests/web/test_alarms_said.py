"""Alarms in the reader's language: those of readings by their sayings, findings from the account's own texts."""

from __future__ import annotations

from typing import Any

import pytest

from fieldctl.controller.alarms import RULES
from fieldctl.web.sayings import say_alarms, say_rows

OTHERS = ("de", "fr", "it")


def one(what: str, says: str, todo: str, **values: Any) -> dict[str, Any]:
    return {"name": "Larch 1", "what": what, "says": says, "remedy": todo, "values": values}


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("what", list(RULES))
def test_every_kind_is_said(language: str, what: str) -> None:
    rule = RULES[what]
    row = {"alarms": [one(what, rule.sentence.format(name="Larch 1"), rule.remedy)]}
    (said,) = say_alarms(language, row)["alarms"]
    assert "Larch 1" in said["says"]
    assert said["says"] != row["alarms"][0]["says"]
    assert said["remedy"] != rule.remedy


@pytest.mark.parametrize(("language", "says"), [("de", "verliert"), ("fr", "erd"), ("it", "Perde")])
def test_a_finding_is_said_with_its_values(language: str, says: str) -> None:
    finding = one("upkeep:loses", "Larch 1: It loses 3.2 %.", "Dig it out.", percent=3.2, times=4.0, remedy="", day="-")
    (said,) = say_rows(language, {"alarms": {"alarms": [finding]}})["alarms"]["alarms"]
    assert said["says"].startswith("Larch 1: ")
    assert says in said["says"]
    assert "3.2" in said["says"]
    assert said["remedy"] != "Dig it out."


def test_a_finding_of_another_version_stays_as_it_was_said() -> None:
    finding = one("upkeep:gone-since", "Larch 1: It was so.", "Look.", remedy="")
    assert say_alarms("de", {"alarms": [finding]})["alarms"] == [finding]
    lacking = one("upkeep:loses", "Larch 1: It loses.", "Look.", remedy="")
    assert say_alarms("de", {"alarms": [lacking]})["alarms"] == [lacking]


def test_english_stays_english_and_names_pages_too() -> None:
    row = {"alarms": [one("battery", "x", "Change its battery, then say so: fieldctl upkeep swapped.")]}
    (said,) = say_alarms("en", row)["alarms"]
    assert (said["says"], said["remedy"]) == ("x", "Change its battery, then say so: page “Upkeep”.")
