"""Snow and place from the command line: offline from the files and the log, and on a served site."""

from __future__ import annotations

import csv
import datetime
import io
import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from served import FIELDCTL, Served, served

from fieldctl.events import SnowMeasured, TargetMoved, TargetNamed
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import load_site
from fieldctl.site.new import new_site
from fieldctl.units import HostTime, PersonId, TargetId

pytestmark = pytest.mark.timeout(200)
LARCH = TargetId("5ee00001")
ON = "2025-12-01"  # eleven days after the survey of the example
TAPES = ("--from", "red post=72.55", "--from", "hut corner=98.2")


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [FIELDCTL, *words, "--site", str(site)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=60, env={**os.environ, "TZ": "UTC"}
    )
    assert "Traceback" not in done.stderr
    return done


def row(*words: str, site: Path, code: int = 0) -> dict[str, Any]:
    done = run(*words, "--json", site=site)
    assert done.returncode == code, done.stdout + done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "larch"
    new_site(folder)
    return folder


def put(site: Path, *facts: Any) -> None:
    with Ledger.open(site / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append(list(facts), at=HostTime("b", 1))


def snow(metres: float, day: str = ON, zone: str | None = None) -> SnowMeasured:
    return SnowMeasured(zone, day, metres, PersonId("p-mira"), HostTime("b", 1))


def test_where_every_target_lies(site: Path) -> None:
    put(site, snow(2.3), TargetNamed(LARCH, "Lone larch", PersonId("p-mira")))
    places = row("site", "places", "--on", ON, site=site)["places"]
    assert len(places) == 12
    assert (places[0]["name"], places[0]["snow_m"], places[0]["depth_why"]) == (
        "Lone larch",
        2.3,
        ["whole-site", "settling"],
    )
    assert places[0]["depth_least_m"] < places[0]["depth_m"] < places[0]["depth_most_m"]
    table = run("site", "places", "--on", ON, site=site).stdout.splitlines()
    assert table[0].split()[:2] == ["target", "zone"]
    assert len(table) == 13
    read = list(csv.DictReader(io.StringIO(run("site", "places", "--csv", "--on", ON, site=site).stdout)))
    assert [each["target"] for each in read] == [each["target"] for each in places]
    assert "red post" in read[0]["from_stakes"]
    one = run("site", "places", "lone LARCH", "--on", ON, site=site).stdout
    for word in ("Lone larch (5ee00001)", "from red post: 9.5°", "72.99 m level", "deep today", "surveyed 2025-11-20"):
        assert word in one
    nobody = run("site", "places", "larch 99", site=site)
    assert (nobody.returncode, "Lone larch" in nobody.stderr) == (4, True)
    assert run("site", "places", "--csv", "--json", site=site).returncode == 2


def test_coordinates_where_the_site_has_an_origin(site: Path) -> None:
    file = site / "site.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("# ---- links", "[origin]\nlat_deg = 10.0\nlon_deg = 20.0\n\n# ---- links", 1))
    found = row("site", "places", "Larch 1", "--on", ON, site=site)["places"][0]
    assert found["lat_deg"] == pytest.approx(10.00065, abs=1e-5)
    assert found["lon_deg"] == pytest.approx(20.00011, abs=1e-5)
    said = run("site", "places", "Larch 1", "--on", ON, site=site).stdout
    assert "lat 10.00065" in said
    assert "from true north" in said
    assert json.loads(run("site", "no-go", "--geojson", site=site).stdout)["type"] == "FeatureCollection"
    assert run("site", "no-go", "--gpx", site=site).stdout.startswith("<?xml")


def test_a_survey_by_tape_becomes_a_file_and_tells_how_far_it_came(site: Path) -> None:
    found = row("site", "resurvey", "Larch 1", *TAPES, "--day", "2026-01-20", site=site)
    assert found["file"] == "surveys/2026-01-20-resurvey-01.csv"
    assert (found["side"], found["side_by"], found["came_days"]) == ("left", "old-place", 61)
    place = load_site(site).place(LARCH)
    assert (place.x_m, place.y_m) == (found["x_m"], found["y_m"])
    assert place.method == "tape from red post 72.55 m, hut corner 98.2 m"
    again = run(
        "site", "resurvey", "Larch 1", *TAPES, "--depth", "1.2", "--snow", "2.2", "--day", "2026-01-21", site=site
    )
    assert again.returncode == 0, again.stderr
    for word in ("as its old place tells", "so it may not have moved at all", "2026-01-21-resurvey-01.csv"):
        assert word in again.stdout
    assert [each.surveyed_on for each in load_site(site).history if each.target == LARCH] == [
        datetime.date(2025, 11, 20),
        datetime.date(2026, 1, 20),
    ]


@pytest.mark.parametrize(
    ("words", "code", "word"),
    [
        (("--from", "red post=72"), 2, "Two stakes"),
        (("--from", "red post=72", "--from", "hut=3"), 4, "hut corner"),
        (("--from", "red post", "--from", "hut corner=3"), 2, "no tape"),
        (("--from", "red post=-1", "--from", "hut corner=3"), 2, "no tape"),
        (("--from", "red post=nan", "--from", "hut corner=3"), 2, "no tape"),
        (("--from", "red post=1", "--from", "hut corner=3"), 2, "do not meet"),
        ((*TAPES, "--depth", "1.0"), 2, "--snow"),
        ((*TAPES, "--depth", "-1", "--snow", "2"), 2, "no depth"),
        ((*TAPES, "--day", "soon"), 2, "no day"),
        ((*TAPES, "--day", "2025-11-01"), 5, "later survey would stand"),
        ((*TAPES, "--side", "up"), 2, "left or right"),
        ((*TAPES, "--side", "right"), 1, "outside zone upper"),
    ],
)
def test_a_survey_that_cannot_be_writes_nothing(words: tuple[str, ...], code: int, word: str, site: Path) -> None:
    done = run("site", "resurvey", "Larch 1", *words, site=site)
    assert done.returncode == code
    assert word in done.stderr
    assert list((site / "surveys").iterdir()) == []


def test_what_was_put_elsewhere_has_no_old_place_to_tell_the_side(site: Path) -> None:
    put(site, TargetMoved(LARCH, "2026-01-10", PersonId("p-mira"), HostTime("b", 1), "", 12.0, 72.0, "2025-11-20"))
    said = run("site", "places", "Larch 1", "--on", "2026-01-12", site=site).stdout
    assert "put elsewhere on 2026-01-10 without a survey" in said
    done = run("site", "resurvey", "Larch 1", *TAPES, "--day", "2026-01-20", site=site)
    assert (done.returncode, "--side" in done.stderr) == (2, True)
    found = row("site", "resurvey", "Larch 1", *TAPES, "--side", "left", "--day", "2026-01-20", site=site)
    assert (found["came_m"], found["crept"]) == (None, False)
    said = run("site", "places", "Larch 1", "--on", "2026-01-21", site=site).stdout
    assert "put elsewhere" not in said


def test_the_line_for_machines_and_what_it_does_not_keep_safe(site: Path) -> None:
    today = datetime.datetime.now(datetime.UTC).date()
    put(site, snow(1.0, (today - datetime.timedelta(days=1)).isoformat()))
    found = row("site", "no-go", site=site)
    assert [line["name"] for line in found["lines"]] == ["upper", "lower"]
    assert not any(line["drawn"] for line in found["lines"])
    assert {each["key"] for each in found["findings"]} >= {"bare"}
    assert all(each["remedy"] for each in found["findings"])
    rows = list(csv.DictReader(io.StringIO(run("site", "no-go", "--csv", site=site).stdout)))
    assert {each["line"] for each in rows} == {"upper", "lower"}
    for form in ("--geojson", "--gpx"):
        done = run("site", "no-go", form, site=site)
        assert (done.returncode, "[origin]" in done.stderr) == (5, True)
    assert run("site", "no-go", "--gpx", "--csv", site=site).returncode == 2
    assert run("site", "no-go", "--picture", str(site / "map.svg"), site=site).returncode == 0
    assert "no grooming machines inside" in (site / "map.svg").read_text(encoding="utf-8").lower()
    assert run("site", "no-go", "--picture", str(site / "map.pdf"), site=site).returncode == 2


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("snow") / "site", seed=11) as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
        yield made


def asked(live: Served, *words: str, code: int = 0) -> dict[str, Any]:
    done = live.cli(*words, "--json")
    assert "Traceback" not in done.stderr
    assert done.returncode == code, done.stdout + done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_readings_one_by_one_and_from_a_long_file(live: Served, tmp_path: Path) -> None:
    assert asked(live, "site", "snow", "measured", "1.85", "--zone", "upper")["again"] is False
    assert asked(live, "site", "snow", "measured", "1.85", "--zone", "upper")["again"] is True
    wrong = live.cli("site", "snow", "measured", "185")
    assert (wrong.returncode, "cannot be right" in wrong.stderr) == (2, True)
    file = tmp_path / "winter.csv"
    days = [datetime.date(2020, 1, 1) + datetime.timedelta(days=n) for n in range(600)]
    file.write_text("date,snow_m\n" + "".join(f"{day},{1 + n % 7 / 10:.1f}\n" for n, day in enumerate(days)))
    first, again = (asked(live, "site", "snow", "import", str(file)) for _ in range(2))
    assert (first["readings"], first["new"], first["again"]) == (600, 600, 0)
    assert (again["readings"], again["new"], again["again"]) == (600, 0, 600)
    listed = asked(live, "site", "snow", "list")
    assert (listed["readings"][0]["snow_m"], listed["left_off"]) == (1.85, 541)
    assert "winter.csv" in live.cli("site", "snow", "list").stdout
    file.write_text("date,snow_m,zone\nx,1,\n2020-01-02,99,nowhere\n")
    bad = live.cli("site", "snow", "import", str(file))
    assert bad.returncode == 1
    for word in ("winter.csv:2: row[1].date", "winter.csv:3: row[2].snow_m", "winter.csv:3: row[2].zone"):
        assert word in bad.stderr


def test_finding_one_and_putting_it_elsewhere(live: Served) -> None:
    found = asked(live, "target", "find", LARCH)
    assert found["where"]["zone"] == "upper"
    assert found["sending"] is False
    said = live.cli("target", "find", LARCH).stdout
    assert f"({LARCH})" in said
    assert "surveyed" in said
    moved = live.cli("target", "moved", LARCH, "--notes", "out of the cornice", "--by", "Mira")
    assert moved.returncode == 0, moved.stderr
    assert "put elsewhere on" in moved.stdout
    assert "out of the cornice" in live.cli("target", "find", LARCH).stdout
    later = live.cli("target", "moved", LARCH, "--day", "2999-01-01")
    assert (later.returncode, "still to come" in later.stderr) == (2, True)
