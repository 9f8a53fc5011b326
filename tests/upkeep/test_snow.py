"""Findings about places: too deep, bare, under a blade, outside the line, crept, put elsewhere; what is not said."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from fieldctl.events import DayOpened, Fact, SnowMeasured, TargetMoved
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.store import Ledger
from fieldctl.site.files import read_site
from fieldctl.site.model import Grooming, NoGo, Place, Site, UpkeepRules, Zone
from fieldctl.site.snow import Reading
from fieldctl.site.whereabouts import Snow
from fieldctl.units import HostTime, PersonId, TargetId
from fieldctl.upkeep.account import Finding
from fieldctl.upkeep.read import read_upkeep
from fieldctl.upkeep.snow import place_findings
from fieldctl.upkeep.snow_log import OPENING, read_snow, take
from fieldctl.upkeep.words import LANGUAGES, finding_words, words_of

DAY = datetime.date(2026, 1, 10)
TODAY = datetime.date(2026, 1, 15)
AT = HostTime("boot", 1)
MIRA = PersonId("p-mira")
LARCH = TargetId("5ee00001")
PLACE = Place(LARCH, "Larch 1", "upper", 12, 72, 1.0, plus_minus_m=0.3, snow_m=2.0, surveyed_on=DAY)
SITE = Site("larch-hollow", "Larch Hollow", zones=(Zone("upper", "Upper"),), places=(PLACE,))


def found(site: Site = SITE, snow: Snow | None = None, today: datetime.date = TODAY) -> dict[str, Finding]:
    return {each.key: each for each in place_findings(site, snow or Snow(), today).get(LARCH, ())}


def snow_of(metres: float, day: datetime.date = TODAY) -> Snow:
    return Snow((Reading(day, metres, "upper"),))


def lying(**changes: object) -> Site:
    return replace(SITE, places=(replace(PLACE, **changes),))  # type: ignore[arg-type]


def test_nothing_is_told_of_a_target_that_lies_well() -> None:
    assert found(snow=snow_of(2.1)) == {}
    assert found() == {}


@pytest.mark.parametrize(
    ("metres", "sure"), [(2.6, None), (3.0, "perhaps"), (3.2, "likely"), (3.6, "sure")]
)  # a probe of 2.4 m reaches 2.1 m; the target lies 1 m under the first 2 m
def test_too_deep_for_a_probe_by_its_own_plus_minus(metres: float, sure: str | None) -> None:
    finding = found(snow=snow_of(metres)).get("too-deep")
    assert (finding.sure if finding else None) == sure
    longer = replace(SITE, upkeep=UpkeepRules(probe_m=3.2))
    assert found(longer, snow_of(metres)).get("too-deep") is None


def test_bare_and_under_a_blade() -> None:
    assert set(found(snow=snow_of(1.4))) == {"under-blade"}
    assert found(snow=snow_of(0.4))["bare"].sure == "likely"
    assert found(snow=snow_of(0.9))["bare"].sure == "perhaps"
    assert "under-blade" not in found(snow=snow_of(0.0))
    gentle = replace(SITE, grooming=Grooming(blade_m=0.0))
    assert "under-blade" not in found(gentle, snow_of(1.4))


def test_what_cannot_be_said_is_told_where_snow_is_measured() -> None:
    elsewhere = Snow((Reading(TODAY, 2.1, "lower"),))
    for changes, key in (({"snow_m": None}, "depth-no-snow-then"), ({"surveyed_on": None}, "depth-no-day")):
        assert set(found(lying(**changes), elsewhere)) == {key}
        assert found(lying(**changes)) == {}  # nobody measures snow here: one sentence a target would be noise
    assert set(found(lying(snow_m=None), snow_of(2.1))) == {"depth-no-snow-then"}


def test_a_depth_that_nobody_can_tell_any_more_is_one_sentence() -> None:
    """Without a reading for two months each target may be too deep, bare and under a blade: that says nothing."""
    later = TODAY + datetime.timedelta(days=70)
    assert set(found(snow=snow_of(2.1), today=later)) == {"depth-vague"}
    assert found(today=later) == {}
    assert set(found(snow=snow_of(4.0), today=later)) == {"depth-vague", "too-deep"}


def moved(day: str, place: Place = PLACE) -> Snow:
    surveyed = "" if place.surveyed_on is None else place.surveyed_on.isoformat()
    fact = TargetMoved(LARCH, day, MIRA, AT, "", place.x_m, place.y_m, surveyed)
    return Snow((Reading(TODAY, 0.0, "upper"),), {LARCH: fact})


def test_put_elsewhere_keeps_out_every_other_finding_until_a_newer_survey() -> None:
    snow = moved("2026-01-12")
    assert set(found(snow=snow)) == {"put-elsewhere"}
    assert set(found(lying(surveyed_on=datetime.date(2026, 1, 13)), snow)) == {"bare"}
    same_day = lying(surveyed_on=datetime.date(2026, 1, 12), x_m=13.0)
    assert set(found(same_day, snow)) == {"bare"}  # surveyed after it was put there
    assert "put-elsewhere" not in found(snow=snow, today=datetime.date(2026, 1, 10))  # as of a day before
    before = moved("2026-01-12", replace(PLACE, surveyed_on=datetime.date(2026, 1, 12)))
    assert set(found(lying(surveyed_on=datetime.date(2026, 1, 12)), before)) == {"put-elsewhere"}  # the place it left


def test_outside_the_sites_own_line_by_the_places_own_plus_minus() -> None:
    def line(edge_m: float) -> Site:
        outline = ((0.0, 60.0), (edge_m, 60.0), (edge_m, 110.0), (0.0, 110.0))
        return replace(SITE, grooming=Grooming(lines=(NoGo("a", "A", outline),)))

    sure = {edge: found(line(edge)).get("outside-no-go") for edge in (11.0, 11.9, 12.1, 12.5)}
    assert [f and f.sure for f in sure.values()] == ["sure", "likely", "perhaps", None]


OLD = replace(PLACE, surveyed_on=datetime.date(2025, 12, 11))
CREPT = replace(SITE, places=(replace(PLACE, x_m=12.9),), history=(OLD,))


def test_creep_beyond_both_plus_minus() -> None:
    finding = found(CREPT)["creep"]
    assert finding.values == {"away": pytest.approx(0.9), "bearing": 90, "days": 30, "open": 0.6}
    assert "creep" not in found(replace(CREPT, places=(replace(PLACE, x_m=12.5),)))
    assert "creep" not in found(CREPT, today=DAY + datetime.timedelta(days=61))


def test_what_was_carried_elsewhere_did_not_creep() -> None:
    assert "creep" not in found(CREPT, moved("2025-12-20", OLD))


def test_two_surveys_of_one_day_are_no_creep() -> None:
    again = replace(CREPT, history=(OLD, replace(PLACE, x_m=12.0)))
    assert found(again)["creep"].values["days"] == 30


def entry(fact: Fact, wall: str | None) -> Entry:
    return Entry(1, fact, AT, wall, "")


def opened(snow_m: float) -> DayOpened:
    return DayOpened(MIRA, AT, "low", snow_m, (), (), (), "nothing")


def test_readings_from_the_log() -> None:
    snow = Snow()
    for fact, wall in (
        (opened(1.0), None),
        (opened(1.5), "2026-01-10T07:00:00Z"),
        (opened(1.6), None),
        (SnowMeasured("upper", "2026-01-09", 1.4, MIRA, AT, "winter.csv"), "2026-01-12T07:00:00Z"),
    ):
        snow = take(snow, entry(fact, wall))
    assert snow.undated == 1
    assert snow.readings == (
        Reading(DAY, 1.5, None, OPENING),
        Reading(DAY, 1.6, None, OPENING),
        Reading(datetime.date(2026, 1, 9), 1.4, "upper", "winter.csv"),
    )


TOML = (
    'name = "a"\ntitle = "A"\n[[zone]]\nname = "upper"\n[[target]]\nid = "5ee00001"\nname = "Larch 1"\nzone = "upper"\n'
    "x_m = 12\ny_m = 72\ndepth_m = 1.0\nsnow_m = 2.0\nsurveyed_on = 2026-01-10\n"
)


def test_they_stand_in_the_account_with_remedies_in_every_language() -> None:
    site = read_site(TOML)
    with Ledger.open(":memory:", inline=True, durable=False) as ledger:
        ledger.append([SnowMeasured(None, TODAY.isoformat(), 4.0, MIRA, AT)], at=AT)
        assert read_snow(ledger).readings == (Reading(TODAY, 4.0, None, ""),)
        (row,) = read_upkeep(ledger, site, TODAY).rows
    finding = next(each for each in row.findings if each.about == "place")
    assert finding.key == "too-deep"
    for language in LANGUAGES:
        says, remedy = finding_words(finding, row, words_of(language))
        assert "2.4" in says
        assert remedy
        assert "(en)" not in says + remedy


def test_every_finding_has_words_in_every_language() -> None:
    keys = (
        "too-deep",
        "bare",
        "under-blade",
        "outside-no-go",
        "creep",
        "put-elsewhere",
        "depth-no-day",
        "depth-no-snow-then",
    )
    for language in LANGUAGES:
        for key in keys:
            for kind in ("finding", "remedy"):
                assert not words_of(language)[f"{kind}.{key}"].startswith("(en)")
