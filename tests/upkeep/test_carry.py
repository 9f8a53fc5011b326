"""The carry list: the way, what is to be done where, cells and parts, what changed since the last signed visit."""

from __future__ import annotations

import csv
import datetime
import io
import json
import math
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator
from upkeep_kit import BOOT, FIRST_DAY, Winter, date_of, swapped, target_of, write_site

from fieldctl.events import KitRead, TargetAdded, TargetBarred, VisitBegun, VisitClosed
from fieldctl.ledger.store import Ledger
from fieldctl.site.model import Battery, Kit, Place, Site, Stake, UpkeepRules, Zone
from fieldctl.site.snow import Reading
from fieldctl.site.whereabouts import Snow
from fieldctl.units import HostTime, PersonId, TargetId
from fieldctl.upkeep import account
from fieldctl.upkeep.account import Finding, Row, Upkeep
from fieldctl.upkeep.carry import Before, Carry, carry_of, since
from fieldctl.upkeep.carry_as_json import SCHEMA
from fieldctl.upkeep.carry_read import before_of, last_day, read_carry
from fieldctl.upkeep.kit import KitRow, kit_account
from fieldctl.upkeep.route import length_m, walk
from fieldctl.upkeep.words import finding_words, words_of
from fieldctl.web.carry_said import said_carry, stops_of
from fieldctl.web.carry_sheet import carry_sheet
from fieldctl.web.words import LANGUAGES, words

FIELDCTL = str(Path(sys.executable).with_name("fieldctl"))
TODAY = datetime.date(2026, 1, 24)
FR6 = Battery("lithium-fr6", 2, 3.0)
points = st.tuples(*(st.floats(-500, 500) for _ in range(2)))


# ---- the way -----------------------------------------------------------------------------------------------------


@given(start=points, places=st.lists(points, max_size=24))
@settings(max_examples=150, deadline=None)
def test_every_place_once_and_never_longer_than_the_file_s_order(
    start: tuple[float, float], places: list[tuple[float, float]]
) -> None:
    way = walk(start, places)
    assert sorted(way) == list(range(len(places)))
    assert length_m(start, [places[i] for i in way]) <= length_m(start, places) + 1e-6


@given(places=st.lists(points, min_size=1, max_size=7, unique=True))
@settings(max_examples=60, deadline=None)
def test_no_turning_round_of_a_piece_makes_it_shorter(places: list[tuple[float, float]]) -> None:
    way = [places[i] for i in walk((0.0, 0.0), places)]
    before = length_m((0.0, 0.0), way)
    for first in range(len(way)):
        for last in range(first + 1, len(way)):
            turned = way[:first] + way[first : last + 1][::-1] + way[last + 1 :]
            assert length_m((0.0, 0.0), turned) >= before - 1e-6


def test_a_row_of_targets_is_walked_along_it() -> None:
    assert walk((0.0, 0.0), [(30.0, 0.0), (10.0, 0.0), (40.0, 0.0), (20.0, 0.0)]) == [1, 3, 0, 2]
    assert walk((0.0, 0.0), []) == []


# ---- the list ----------------------------------------------------------------------------------------------------


def target(n: int) -> TargetId:
    return TargetId(f"5ee0{n:04x}")


def row(n: int, state: account.State = "holds", *findings: Finding, battery: Battery | None = FR6) -> Row:
    place = account.Place(target(n), f"Larch {n}", "upper")
    return Row(place, battery, state, state, None, None, None, None, None, False, None, None, None, None, findings)


def field(*rows: Row, stakes: bool = True, places: int = 6) -> tuple[Upkeep, Site]:
    site = Site(
        "larch-hollow",
        "Larch Hollow (invented)",
        zones=(Zone("upper", "Upper hollow"),),
        stakes=(Stake("Red", 0.0, 0.0),) if stakes else (),
        places=tuple(
            Place(
                target(n), f"Larch {n}", "upper", 10.0 * n, 0.0, 1.0, snow_m=1.5, surveyed_on=datetime.date(2026, 1, 20)
            )
            for n in range(1, places + 1)
        ),
        upkeep=UpkeepRules(),
    )
    return Upkeep(TODAY, None, rows, 0), site


def listed(
    *rows: Row,
    barred: dict[TargetId, str] | None = None,
    snow: Snow | None = None,
    kit: tuple[KitRow, ...] = (),
    box: dict[TargetId, str] | None = None,
    **more: bool,
) -> Carry:
    upkeep, site = field(*rows, **more)
    upkeep = replace(upkeep, kit=kit)
    return carry_of(upkeep, site, snow or Snow(), barred or {}, {target(9): "Spruce 9"}, None, box or {})


def test_nobody_walks_for_what_is_in_the_box_and_it_is_named_apart() -> None:
    rows = (row(1, "now"), row(2, "now"), row(3, "holds", DEAF, Finding("kind-unknown", "sure")))
    bare, found = listed(*rows), listed(*rows, box={target(1): "2026-04-20", target(3): "2026-04-21"})
    assert {stop.name for stop in bare.stops} == {"Larch 1", "Larch 2", "Larch 3"}
    assert [stop.name for stop in found.stops] == ["Larch 2"]
    assert sum(cells.needed for cells in found.cells) * 2 == sum(cells.needed for cells in bare.cells)
    assert (found.parts, found.desk) == ((), ())
    assert found.box == ((target(1), "Larch 1", "2026-04-20"), (target(3), "Larch 3", "2026-04-21"))
    assert not listed(rows[0], barred={target(1): "heard"}, box={target(1): "2026-04-20"}).stops
    for language in LANGUAGES:
        said = said_carry(found, field(*rows)[1], language, {})
        assert [("Larch 1" in line, "2026-04-20" in line) for line in said["box"]] == [(True, True), (False, False)]
        assert all(line in carry_sheet(said, language).replace("&#x27;", "'") for line in said["box"])


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_came_to_the_list_of_a_visit_is_said_in_sentences(language: str) -> None:
    deaf = replace(DEAF, values={"percent": 40, "blows": 12})
    rows = (row(1, "now"), row(2, "holds", deaf), row(3))
    found = listed(*rows, barred={target(3): "heard"})
    names = {target(n): f"Larch {n}" for n in (1, 2, 3)}
    new = stops_of((), found, field(*rows)[1], language, names)["new"]
    says = finding_words(deaf, rows[1], words_of(language))[0]
    t = words(language)
    assert new == [f"Larch 1: {t('carry.battery_due')}", f"Larch 2: {says}", f"Larch 3: {t('carry.barred')}"]
    assert not any("deaf" in line for line in new)


DEAF = Finding("deaf", "likely", about="pad")


def test_what_takes_a_walk_and_what_is_mended_at_the_desk() -> None:
    found = listed(
        row(1, "now"),
        row(2, "later"),
        row(3, "holds", DEAF),
        row(4, "unknown", Finding("kind-unknown", "sure"), battery=None),
        row(5, "soon", Finding("no-volts", "perhaps"), Finding("thermometer", "likely")),
        row(6, "holds", Finding("no-volts", "perhaps"), Finding("creep", "sure", about="place")),
    )
    assert found.items == ("5ee00001:battery", "5ee00003:deaf", "5ee00005:battery")
    assert [finding.key for finding in found.stops[2].jobs[0].findings] == ["no-volts"]
    desk = [(row.place.name, finding.key) for row, finding in found.desk]
    assert desk == [
        ("Larch 4", "kind-unknown"),
        ("Larch 5", "thermometer"),
        ("Larch 6", "no-volts"),
        ("Larch 6", "creep"),
    ]
    told = {f"{one.place.target}:{finding.key}" for one in found.upkeep.rows for finding in one.findings}
    assert told <= set(found.found), "nothing that was found is dropped"


def test_cells_by_kind_with_spares_and_sets_in_case() -> None:
    other = Battery("lithium-fr6", 3, 3.0)
    found = listed(
        row(1, "now"),
        row(2, "soon", battery=other),
        row(3, "now", battery=Battery("alkaline", 4, 2.5)),
        row(4, "holds", Finding("silent", "sure")),
    )
    assert [(c.chemistry, c.targets, c.needed, c.spare) for c in found.cells] == [
        ("alkaline", 1, 4, 4),
        ("lithium-fr6", 2, 5, 3 + 2),
    ]
    many = listed(*(row(n, "now") for n in range(1, 13)), **{})
    assert [(c.needed, c.spare) for c in many.cells] == [(24, 4)], "a second spare set from the eleventh target on"


def test_cells_of_the_club_s_kit_are_counted_along() -> None:
    kit = (Kit("Transceiver 1", "transceiver", battery=Battery("alkaline", 3, 1.2)), Kit("Probe 1", "probe"))
    reads = (KitRead("Transceiver 1", "2026-01-23", "read", PersonId("p1"), HostTime("boot", 1), percent=40.0),)
    rows = kit_account(kit, reads, UpkeepRules(), TODAY)
    found = listed(row(1, "now"), kit=rows)
    assert [(c.chemistry, c.targets, c.needed, c.spare) for c in found.cells] == [
        ("alkaline", 0, 3, 0),
        ("lithium-fr6", 1, 2, 2),
    ]
    assert listed(row(1), kit=rows).tools == ("receiver",), "for them alone nobody digs"


def test_parts_and_tools() -> None:
    found = listed(
        row(1, "holds", DEAF, Finding("chatters", "likely", about="pad")),
        row(2, "holds", Finding("loses-frames", "sure", about="link"), Finding("wet", "likely", about="housing")),
    )
    assert dict(found.parts) == {"pad": 1, "cable": 1, "housing": 1}
    assert found.tools == ("receiver", "probe", "shovel"), "no meter where no battery is touched"
    assert "meter" in listed(row(1, "now")).tools
    assert listed(row(1)).tools == ("receiver",), "the listening walk is made on every visit"


def test_the_probe_reaches_the_deepest_that_it_may_be() -> None:
    usual = listed(row(1, "now"))
    assert usual.probe_m == 2.4
    deep = Snow(readings=(Reading(TODAY, 4.0, "upper"),))
    found = listed(row(1, "now"), snow=deep)
    burial = found.stops[0].where and found.stops[0].where.burial
    assert burial is not None
    assert burial.most_m is not None
    assert burial.most_m > 3.0
    assert burial.most_m + 0.3 <= found.probe_m < burial.most_m + 0.4 + 1e-9


def test_a_barred_target_is_dug_out_even_where_it_belongs_to_the_field_no_more() -> None:
    found = listed(row(1), row(2), barred={target(2): "heard", target(9): "heard as well"})
    assert found.items == ("5ee00002:barred", "5ee00009:barred")
    lost = found.stops[-1]
    assert (lost.name, lost.where, lost.row, lost.barred) == ("Spruce 9", None, None, "heard as well")


def test_without_a_stake_the_way_begins_at_the_first_target() -> None:
    found = listed(row(3, "now"), row(1, "now"), stakes=False)
    assert [stop.target for stop in found.stops] == [target(1), target(3)]
    assert (found.start, found.way_m) == ("", 20.0)
    with_stake = listed(row(3, "now"), row(1, "now"))
    assert (with_stake.start, with_stake.way_m) == ("Red", 30.0)
    (way, *_) = with_stake.stops[1].where.stakes if with_stake.stops[1].where else ()
    assert (way.stake.name, way.bearing_deg, way.distance_m) == ("Red", 90.0, 30.0)


def test_since_the_last_visit() -> None:
    before = Before("v1", "2026-01-17", ("a:x", "b:y"))
    found = since(before, ("b:y", "c:z"))
    assert (found.new, found.gone) == (("c:z",), ("a:x",))


# ---- from a ledger -----------------------------------------------------------------------------------------------

UPTO = 45
DAY = date_of(FIRST_DAY + UPTO)
WINTER = Winter.of(901)
PERSON = PersonId("p-tove")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("larch")
    return write_site(folder, WINTER, UPTO, '[[stake]]\nname = "Red"\nx_m = -3.0\ny_m = 4.0\n')


def test_what_changed_since_the_last_signed_visit_alone(site: Path) -> None:
    from fieldctl.site.files import load_site

    here = HostTime(BOOT, 5)
    begun = VisitBegun("v1", (), ("5ee00001:gone-by-now",), PERSON, here, "2026-01-10")
    with Ledger.open(site / "ledger.sqlite", inline=True, durable=False) as ledger:
        ledger.append([swapped(3, 20)], at=here)
        ledger.append([begun, VisitClosed("v1", (), "", PERSON, "2026-01-10", PERSON, here)], at=here)
        ledger.append(
            [
                swapped(4, 44),
                TargetAdded(TargetId("5ee000f1"), "00", "bus", 1, PERSON, "New one"),
                TargetBarred(target_of(2), "heard", PERSON),
                replace(begun, visit="v2", found=()),  # goes on: no measure of what is new
            ],
            at=here,
        )
        found = read_carry(ledger, load_site(site), DAY)
        before = before_of(ledger)
        assert before is not None
        assert (before.visit, before.swapped) == ("v1", ((target_of(4), date_of(FIRST_DAY + 44).isoformat()),))
        assert (before.added, before.barred) == ((TargetId("5ee000f1"),), (target_of(2),))
        assert found.since is not None
        assert found.since.gone == ("5ee00001:gone-by-now",)
        assert f"{target_of(2)}:barred" in found.since.new
        assert last_day(ledger) is None, "none of these entries knew the wall's time"


def run(*words: str, site: Path) -> subprocess.CompletedProcess[str]:
    command = [FIELDCTL, *words, "--site", str(site)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=90, env={**os.environ, "TZ": "UTC"}
    )
    assert "Traceback" not in done.stderr
    return done


def test_the_command_for_people_for_programs_and_for_a_printer(site: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "carry.html"
    shown = run("upkeep", "carry", "--json", "--on", DAY.isoformat(), "--html", str(sheet), site=site)
    found = json.loads(shown.stdout)
    Draft202012Validator(SCHEMA).validate(found)
    assert not Draft202012Validator(SCHEMA).is_valid({**found, "more": 1})
    assert found["items"]
    assert math.isfinite(found["way_m"])
    html = sheet.read_text(encoding="utf-8")
    assert "<script" not in html
    assert all(stop["name"] in html for stop in found["stops"])
    rows = list(csv.DictReader(io.StringIO(run("upkeep", "carry", "--csv", "--on", DAY.isoformat(), site=site).stdout)))
    assert [row["item"] for row in rows] == found["items"]
    text = run("upkeep", "carry", "--on", DAY.isoformat(), site=site).stdout
    assert "Pack" in text
    assert "Any signal is a person until proved otherwise." in text


@pytest.mark.parametrize(
    ("words", "said"), [(("--csv", "--json"), "Leave one"), (("--on", "tomorrow"), "YEAR-MONTH-DAY")]
)
def test_asked_wrong(words: tuple[str, ...], said: str, site: Path) -> None:
    done = run("upkeep", "carry", *words, site=site)
    assert done.returncode == 2
    assert said in done.stderr
