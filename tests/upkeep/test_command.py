"""fieldctl upkeep: the list as people and programs read it, offline, beside a writer, on bad input."""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema_rs import Draft202012Validator
from upkeep_kit import BOOT, site_text, swapped, target_of, write_site

from fieldctl.events import VisitBegun, VisitTicked
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site, read_site
from fieldctl.units import HostTime, PersonId
from fieldctl.upkeep.as_json import SCHEMA, as_row
from fieldctl.upkeep.history import read_history
from fieldctl.upkeep.read import read_field, read_upkeep
from fieldctl.upkeep.readings import date_of
from fieldctl.upkeep.words import LANGUAGES, words_about
from fieldctl.web.upkeep_said import said_list
from sims.winter import FIRST_DAY, Winter

FIELDCTL = str(Path(sys.executable).with_name("fieldctl"))
UPTO = 45
TODAY = date_of(FIRST_DAY + UPTO).isoformat()
WINTER = Winter.of(901)


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [FIELDCTL, *words, "--site", str(site)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=60, env={**os.environ, "TZ": "UTC"}
    )
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("larch")
    return write_site(folder, WINTER, UPTO, "[upkeep]\nclosing_day = 2026-04-12\n")


def test_the_list_for_people(site: Path) -> None:
    done = run("upkeep", "--on", TODAY, site=site)
    assert done.returncode == 0, done.stderr
    first, head, *rows = done.stdout.splitlines()
    assert "to change now" in first
    assert head.split()[:3] == ["target", "place", "battery"]
    assert sum(row.startswith("Larch ") for row in rows) >= 24
    assert "finding." not in done.stdout


def test_a_closing_day_that_is_over_is_said(site: Path, tmp_path: Path) -> None:
    """On the list, on its page, and by the check of the file; nothing is said to last until then."""
    text = site_text(WINTER, "[upkeep]\nclosing_day = 2025-04-12\n")
    shutil.copytree(site, tmp_path / "over")
    (tmp_path / "over" / "site.toml").write_text(text, encoding="utf-8")
    shown = run("upkeep", "--on", TODAY, site=tmp_path / "over").stdout
    assert "Closing day 2025-04-12 is over" in shown
    assert "it lasts until" not in shown
    assert int(shown.split(" to change now")[0].rsplit(maxsplit=1)[-1]) > 0
    assert "is over" not in run("upkeep", "--on", TODAY, site=site).stdout
    with Reader.read(tmp_path / "over" / "ledger.sqlite") as reader:
        found = read_upkeep(reader, read_site(text), datetime.date.fromisoformat(TODAY))
    closing = {language: said_list(found, read_site(text), {}, language)["closing"] for language in LANGUAGES}
    assert all("2025-04-12" in each["says"] and "closing_day" in each["says"] for each in closing.values())
    assert len({each["says"] for each in closing.values()}) == 4
    (tmp_path / "checked").mkdir()
    (tmp_path / "checked" / "site.toml").write_text(text, encoding="utf-8")
    assert "Closing day 2025-04-12 is over" in run("site", "check", site=tmp_path / "checked").stdout
    assert len(json.loads(run("site", "check", "--json", site=tmp_path / "checked").stdout)["notes"]) == 1
    (tmp_path / "checked" / "site.toml").write_text(text.replace("2025-", "2999-"), encoding="utf-8")
    assert json.loads(run("site", "check", "--json", site=tmp_path / "checked").stdout)["notes"] == []


def test_as_json_by_its_schema_and_as_csv(site: Path) -> None:
    schema = json.loads(run("upkeep", "--schema", site=site).stdout)
    assert schema == SCHEMA
    row = json.loads(run("upkeep", "--json", "--on", TODAY, site=site).stdout)
    Draft202012Validator(schema).validate(row)
    assert not Draft202012Validator(schema).is_valid({**row, "more": 1})
    assert row["closing_day"] == "2026-04-12"
    rows = list(csv.DictReader(io.StringIO(run("upkeep", "--csv", "--on", TODAY, site=site).stdout)))
    assert [each["target"] for each in rows] == [each["target"] for each in row["batteries"]]
    assert {each["state"] for each in rows} <= {"now", "soon", "later", "holds", "unknown"}


def test_beside_a_writer_and_after_a_tick(site: Path) -> None:
    """Read while another process would serve: the writer's lock is held, and what it wrote is seen."""
    with Ledger.open(site / "ledger.sqlite", inline=True, durable=False) as ledger:
        before = json.loads(run("upkeep", "--json", "--on", TODAY, site=site).stdout)
        target = next(each for each in before["batteries"] if not each["fresh"] and each["chemistry"] == "lithium-fr6")
        number = int(target["target"], 16) - int(target_of(0), 16)
        ledger.append([swapped(number, UPTO - 1)], at=HostTime(BOOT, 2))
        after = json.loads(run("upkeep", "--json", "--on", TODAY, site=site).stdout)
        now = next(each for each in after["batteries"] if each["target"] == target["target"])
        assert now["fresh"] or "ticked-not-done" in [finding["key"] for finding in now["findings"]]


def test_as_of_an_earlier_day_nothing_later_counts(site: Path, tmp_path: Path) -> None:
    """What was told, ticked and read after that day changes nothing; before the first day nothing is known."""
    then = UPTO - 12
    day = date_of(FIRST_DAY + then)
    earlier = write_site(tmp_path / "earlier", WINTER, then + 1, "[upkeep]\nclosing_day = 2026-04-12\n")
    found = []
    for folder in (site, earlier):
        with Reader.read(folder / "ledger.sqlite") as reader:
            found.append(read_upkeep(reader, load_site(folder), day))
    late, early = (as_row(each) for each in found)
    assert late == early
    assert any(row["last_heard"] == day.isoformat() for row in late["batteries"])
    with Reader.read(site / "ledger.sqlite") as reader:
        history = read_history(reader, load_site(site), target_of(0), day)
        assert read_upkeep(reader, load_site(site), datetime.date(1999, 1, 1)).rows[0].findings[0].key == "never-read"
    drawn = [line for picture in history.pictures for line in picture.lines if not line.ahead]
    assert drawn
    assert max(float(line.day[-1]) for line in drawn) < FIRST_DAY + then + 1


def test_a_change_that_two_phones_disagree_about_is_asked_about(tmp_path: Path) -> None:
    """The old battery stays in until somebody who knew both ticks it once more."""
    site, today = read_site(site_text(WINTER)), date_of(FIRST_DAY + UPTO)
    target, tove, here = target_of(0), PersonId("p-tove"), HostTime(BOOT, 2)
    item, day = f"{target}:battery", date_of(FIRST_DAY + UPTO - 3).isoformat()

    def tick(name: str, done: bool, knew: tuple[str, ...] = ()) -> VisitTicked:
        return VisitTicked("v1", name, item, done, "" if done else "ice", knew, None, day, tove, here)

    swap = replace(swapped(0, 0), day=day)
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append([VisitBegun("v1", (item,), (), tove, here, day), tick("a", True), swap], at=here)
        assert len(read_field(ledger, site, today).ticks[target]) == 1
        ledger.append([tick("b", False)], at=here, wall=f"{today}T12:00:00Z")
        assert len(read_field(ledger, site, today - datetime.timedelta(days=1)).ticks[target]) == 1  # not known yet
        found = read_field(ledger, site, today)
        assert target not in found.ticks
        (asked,) = [finding for finding in found.also[target] if finding.key == "two-say"]
        assert (asked.sure, date_of(asked.since or 0).isoformat()) == ("sure", day)
        assert day in words_about(asked, "Larch 1")[0]
        ledger.append([tick("c", True, ("a", "b"))], at=here)
        settled = read_field(ledger, site, today)
        assert len(settled.ticks[target]) == 1
        assert "two-say" not in [finding.key for finding in settled.also[target]]


def test_the_kind_that_was_put_in_last_counts(tmp_path: Path) -> None:
    """The file's kind stands until a tick names another; its limits stand all the time."""
    found = read_site(site_text(WINTER))
    put_in = [("2025-12-01", "li-ion", 1, 2.6), ("2025-12-20", "alkaline", 3, 2.5), ("2026-01-05", "", 0, 0.0)]
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False) as ledger:
        for number in (0, 1):
            for day, chemistry, cells, capacity in put_in[: 2 + number]:
                fact = replace(swapped(number, 0), day=day, chemistry=chemistry, cells=cells, capacity_ah=capacity)
                ledger.append([fact], at=HostTime(BOOT, 2))
        batteries = read_field(ledger, found, datetime.date(2026, 1, 10)).batteries
    by_file = found.battery(target_of(0))
    assert by_file is not None
    expected = replace(by_file, chemistry="alkaline", cells=3, capacity_ah=2.5)
    assert batteries[target_of(0)] == expected
    assert batteries[target_of(1)] == found.battery(target_of(1))  # the last tick named none: what the file says


def test_without_any_log_and_without_any_battery(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(site_text(WINTER), encoding="utf-8")
    missing = run("upkeep", site=tmp_path)
    assert missing.returncode == 4
    assert "To do:" in missing.stderr
    with Ledger.open(tmp_path / "ledger.sqlite", inline=True, durable=False):
        pass
    (tmp_path / "site.toml").write_text(site_text(WINTER, battery=False), encoding="utf-8")
    done = run("upkeep", site=tmp_path)
    assert done.returncode == 0
    assert "[battery]" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("upkeep", "--csv", "--json"), "Leave one"),
        (("upkeep", "--on", "tomorrow"), "YEAR-MONTH-DAY"),
        (("upkeep", "--json", "swapped", "Larch 1"), "after it"),
    ],
)
def test_asked_wrong(words: tuple[str, ...], said: str, site: Path) -> None:
    done = run(*words, site=site)
    assert done.returncode == 2
    assert said in done.stderr


def test_swapped_needs_a_serve(site: Path) -> None:
    done = run("upkeep", "swapped", "Larch 1", site=site)
    assert done.returncode == 4
    assert "To do:" in done.stderr


def test_batteries_in_the_site_s_file() -> None:
    usual = '[battery]\nchemistry = "lithium-fr6"\ncells = 2\ncapacity_ah = 3.0\nchange_at = 40\n'
    both = read_site(
        site_text(WINTER, usual, battery=False)
        + '[target.battery]\nchemistry = "li-ion"\ncells = 1\ncapacity_ah = 2.6\n'
    )
    assert both.usual_battery is not None
    assert both.usual_battery.change_at == 0.4
    assert both.battery(target_of(0)) == both.usual_battery
    own = both.battery(target_of(23))
    assert own is not None
    assert (own.chemistry, own.cells) == ("li-ion", 1)
    closing = read_site(site_text(WINTER, "[upkeep]\nclosing_day = 2026-04-12\ndig_min = 45\n")).upkeep
    assert (closing.closing_day, closing.dig_min) == (datetime.date(2026, 4, 12), 45.0)
