"""fieldctl upkeep reading on a served site, and the list with base and kit below the batteries."""

from __future__ import annotations

import csv
import datetime
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema_rs import Draft202012Validator
from served import TARGETS, Served, served

from fieldctl.cli.kit import machine_percent
from fieldctl.errors import NotFound

pytestmark = pytest.mark.timeout(120)

KIT = """
[base.battery]
chemistry = "lead-acid"
cells = 6
capacity_ah = 7.0

[[kit]]
name = "Transceiver 1"
kind = "transceiver"
battery = { chemistry = "alkaline", cells = 3, capacity_ah = 1.2 }

[[kit]]
name = "P1"
kind = "probe"
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("kit") / "site", seed=4) as made:
        file = made.folder / "site.toml"
        file.write_text(file.read_text(encoding="utf-8") + KIT, encoding="utf-8")
        made.start()
        yield made


def upkeep(site: Served) -> dict[str, Any]:
    row: dict[str, Any] = json.loads(site.cli("upkeep", "--json").stdout)
    return row


def test_from_nobody_said_to_fine_and_back(site: Served) -> None:
    before = {row["name"]: row for row in upkeep(site)["kit"]}
    assert [row["state"] for row in before.values()] == ["unknown"] * 3
    for words in (
        ("base", "--volts", "12.66", "--celsius", "-5"),
        ("transceiver 1", "--percent", "45"),
        ("P1", "--broken", "third section bent", "--by", "Tove"),
    ):
        done = site.cli("upkeep", "reading", *words)
        assert done.returncode == 0, done.stderr
        assert "written into the log" in done.stdout
    row = upkeep(site)
    Draft202012Validator(json.loads(site.cli("upkeep", "--schema").stdout)).validate(row)
    now = {each["name"]: each for each in row["kit"]}
    assert list(now) == ["P1", "Transceiver 1", "base"]
    assert now["base"]["state"] == "holds"
    assert now["base"]["share_low"] < 1.0 <= now["base"]["share_high"]
    assert now["base"]["had_high"] < now["base"]["share_high"]
    assert (now["Transceiver 1"]["share"], now["Transceiver 1"]["wants_cells"]) == (0.45, True)
    assert (now["P1"]["seen_by"], now["P1"]["seen_on"]) == (
        "Tove",
        datetime.datetime.now(datetime.UTC).date().isoformat(),
    )
    said = site.cli("upkeep").stdout
    assert "2 to see to now" in said
    assert "third section bent" in said
    assert "common practice for worn transceivers" in said
    assert "finding." not in said
    assert site.cli("upkeep", "reading", "P1", "--fine").returncode == 0
    assert next(each for each in upkeep(site)["kit"] if each["name"] == "P1")["state"] == "holds"


def test_one_table_of_everything(site: Served) -> None:
    rows = list(csv.DictReader(io.StringIO(site.cli("upkeep", "--csv").stdout)))
    assert sorted(row["what"] for row in rows) == sorted([*["target"] * len(TARGETS), "base", "probe", "transceiver"])
    assert all(len(row) == len(rows[0]) and None not in row for row in rows)


def test_what_this_machine_says_of_its_own_battery(tmp_path: Path) -> None:
    """Folders as Linux has them; the lowest of several, never a mouse's, never the mains."""
    with pytest.raises(NotFound, match="tells of no battery"):
        machine_percent(tmp_path / "nowhere")
    for name, said in {
        "AC": {"type": "Mains", "online": "1"},
        "BAT0": {"type": "Battery", "capacity": "81"},
        "BAT1": {"type": "Battery", "capacity": "64", "scope": "System"},
        "BAT2": {"type": "Battery", "capacity": "?"},
        "mouse": {"type": "Battery", "capacity": "7", "scope": "Device"},
    }.items():
        (tmp_path / name).mkdir()
        for key, text in said.items():
            (tmp_path / name / key).write_text(text + "\n", encoding="ascii")
    assert machine_percent(tmp_path) == 64.0


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("base", "--volts", "-12.4"), 2, "the wrong way round"),
        (("base", "--volts", "nan"), 2, "is no volts"),
        (("base", "--volts", "12.4", "--celsius", "60"), 2, "°C has no battery here"),
        (("P1", "--percent", "140"), 2, "runs on nothing"),
        (("P1",), 2, "Nothing was said"),
        (("base", "--this-machine", "--percent", "50"), 2, "said twice"),
        (("P2", "--fine"), 4, "Nothing here is called"),
    ],
)
def test_asked_wrong(words: tuple[str, ...], code: int, said: str, site: Served) -> None:
    done = site.cli("upkeep", "reading", *words)
    assert done.returncode == code
    assert said in done.stderr
    assert "To do:" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_list_is_there_without_a_serve_and_a_reading_is_not(site: Served) -> None:
    site.kill()
    assert "Transceiver 1" in site.cli("upkeep").stdout
    done = site.cli("upkeep", "reading", "P1", "--fine")
    assert done.returncode == 4
    assert "To do:" in done.stderr
