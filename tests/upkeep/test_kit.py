"""The base's own supply and the club's kit: rest volts as published, flat curves, about half, lent and broken."""

from __future__ import annotations

import csv
import datetime
import io
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator

from fieldctl.controller.verbs_kit import CELSIUS
from fieldctl.errors import FileFaults
from fieldctl.events import KitRead
from fieldctl.site.files import read_site
from fieldctl.site.model import KIT_KINDS, Battery, Kit, UpkeepRules
from fieldctl.site.new import templates
from fieldctl.units import HostTime, PersonId
from fieldctl.upkeep.account import Upkeep
from fieldctl.upkeep.as_json import csv_lines
from fieldctl.upkeep.kit import KitRow, kit_account
from fieldctl.upkeep.kit_charge import CHANGE_AT, DISPLAY_NEAR
from fieldctl.upkeep.kit_words import (
    KIT_SCHEMA,
    advice_words,
    basis_words,
    finding_words,
    kind_words,
    kit_rows,
    left_words,
    seen_words,
    state_words,
    summary_words,
)
from fieldctl.upkeep.readings import COLDEST_C, HOTTEST_C
from fieldctl.upkeep.words import LANGUAGES, words_of

TODAY = datetime.date(2026, 1, 24)
RULES = UpkeepRules()
LEAD = Battery("lead-acid", 6, 7.0)
CELLS = Battery("alkaline", 3, 1.2)
BASE = Kit("base", "base", battery=LEAD)
T1 = Kit("T1", "transceiver", battery=CELLS)
P1 = Kit("P1", "probe")
WHO = PersonId("p-mira")


def read(item: str, found: str = "read", days_ago: int = 0, **said: object) -> KitRead:
    day = (TODAY - datetime.timedelta(days=days_ago)).isoformat()
    return KitRead(item, day, found, WHO, HostTime("b", 1), **said)  # type: ignore[arg-type]


def one(item: Kit, *reads: KitRead, rules: UpkeepRules = RULES, today: datetime.date = TODAY) -> KitRow:
    (row,) = kit_account([item], reads, rules, today)
    return row


def keys(row: KitRow) -> list[str]:
    return [finding.key for finding in row.findings]


def base_at(volts: float, celsius: float | None = None, battery: Battery = LEAD) -> KitRow:
    return one(replace(BASE, battery=battery), read("base", volts=volts, celsius=celsius))


# ---- charge ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("volts", [(12.66, 12.45, 12.30, 12.15), (12.6, 12.4, 12.2, 12.0)])
def test_lead_acid_by_the_published_rest_volts(volts: tuple[float, ...]) -> None:
    """Both tables of rest volts (second-hand, they differ by up to 0.15 V; `tests/published/test_batteries.py`)."""
    states = []
    for percent, row in zip((100, 75, 50, 25), map(base_at, volts), strict=True):
        assert (row.share is None) == (row.basis == "nothing")
        if row.low is not None:
            assert row.high is not None
            assert row.low <= percent / 100 <= row.high, (percent, row)
        states.append((row.state, row.advice))
    assert states[0] == ("holds", "holds")
    assert all(state in ("now", "soon") and advice.startswith("charge") for state, advice in states[2:])


def test_what_the_cold_leaves_by_the_manual_s_figures() -> None:
    """US Army TM 10-6140-200-14: at -18 °C two fifths of what there is at 27 °C, at 0 °C three quarters."""
    for celsius, keeps in ((-18.0, 0.40), (0.0, 0.75), (27.0, 1.0)):
        row = base_at(12.66, celsius)
        assert row.low is not None
        assert row.had_low == pytest.approx(max(0.0, row.low - (1 - keeps)))
        assert row.had_high is not None
        assert row.had_high <= keeps + 1e-9
    assert base_at(12.66).had_low is None  # nobody said how cold it is


@pytest.mark.parametrize(
    ("battery", "volts", "state", "advice"),
    [
        (Battery("lithium-fr6", 3, 3.0), 5.13, "unknown", "flat"),
        (Battery("lithium-thionyl", 1, 3.0), 3.65, "unknown", "flat"),
        (Battery("lifepo4", 4, 20.0), 13.18, "soon", "charge-unsure"),
    ],
)
def test_no_percentage_where_the_curve_is_too_flat(battery: Battery, volts: float, state: str, advice: str) -> None:
    row = base_at(volts, -5.0, battery)
    assert (row.share, row.low, row.high, row.basis) == (None, None, None, "nothing")
    assert (row.state, row.advice) == (state, advice)
    assert left_words(row) == "-"


@pytest.mark.parametrize(
    ("volts", "key"),
    [(16.0, "kit-too-many-volts"), (13.6, "kit-charging"), (2.0, "kit-empty"), (0.0, "kit-empty")],
)
def test_what_no_rested_battery_says_is_kept_out_and_shown(volts: float, key: str) -> None:
    row = base_at(volts, -5.0)
    assert keys(row) == [key]
    assert (row.share, row.basis) == (None, "none")
    assert row.state == ("now" if key == "kit-empty" else "unknown")


def test_a_thermometer_that_no_winter_has() -> None:
    row = base_at(12.66, 40.0)
    assert keys(row) == ["kit-thermometer"]
    assert row.share is not None  # the volts are used
    assert row.had_low is None
    summer = one(BASE, read("base", volts=12.66, celsius=40.0), today=TODAY)
    july = replace(read("base", volts=12.66, celsius=40.0), day="2025-07-10")
    assert keys(summer) == ["kit-thermometer"]
    assert keys(one(BASE, july, today=datetime.date(2025, 7, 11))) == []
    assert (COLDEST_C, HOTTEST_C) == CELSIUS  # what is refused at the door


def test_acid_that_may_freeze() -> None:
    assert keys(base_at(11.9, -12.0)) == ["kit-may-freeze"]
    assert keys(base_at(12.9, -12.0)) == []
    assert "kit-may-freeze" in keys(one(BASE, read("base", volts=11.9), rules=UpkeepRules(expected_c=-20.0)))


# ---- at about half -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percent", "state", "advice"),
    [
        (100, "holds", "holds"),
        (61, "holds", "holds"),
        (60, "soon", "change-soon"),
        (51, "soon", "change-soon"),
        (50, "now", "change-now"),
        (0, "now", "change-now"),
    ],
)
def test_worn_transceivers_are_changed_at_about_half(percent: float, state: str, advice: str) -> None:
    assert DISPLAY_NEAR == 0.10
    row = one(T1, read("T1", percent=percent))
    assert (row.state, row.advice, row.basis) == (state, advice, "display")
    assert (row.low, row.high) == (None, None)  # nobody knows how true a display is
    assert row.wants_cells == (state != "holds")


def test_the_half_says_where_it_comes_from_and_that_it_is_not_for_buried_cells() -> None:
    row = one(T1, read("T1", percent=45))
    said = advice_words(row)
    assert "common practice" in CHANGE_AT["transceiver"].source
    assert "no source" in CHANGE_AT["transceiver"].source
    assert "not for buried cells" in CHANGE_AT["transceiver"].source
    assert "common practice for worn transceivers (no source); buried cells follow their forecast" in said
    assert set(CHANGE_AT) == {"base", *KIT_KINDS}  # no row for a buried cell
    assert all(rule.source for rule in CHANGE_AT.values())
    own = replace(T1, battery=replace(CELLS, change_at=0.3))
    mine = one(own, read("T1", percent=35))
    assert (mine.state, mine.advice) == ("soon", "change-soon")
    assert "30 %" in advice_words(mine)
    assert "common practice" not in advice_words(mine)


def test_volts_of_a_transceiver_by_the_same_curve_as_buried_cells() -> None:
    assert one(T1, read("T1", volts=4.6)).state == "holds"
    half = one(T1, read("T1", volts=3.9))
    assert half.basis == "volts"
    assert (half.state, half.advice) == ("now", "change-now")
    assert keys(one(replace(T1, battery=None), read("T1", volts=3.9))) == ["kit-kind-unknown"]


# ---- looked at, broken, away -------------------------------------------------------------------------------------


def test_what_is_broken_stays_so_until_somebody_finds_it_fine() -> None:
    broken = read("T1", "broken", 5, notes="switch")
    row = one(T1, read("T1", percent=90, days_ago=9), broken)
    assert (row.state, row.advice, keys(row)) == ("now", "mend", ["kit-broken"])
    assert "switch" in finding_words(row.findings[0], row)[0]
    still = one(T1, read("T1", percent=90, days_ago=9), broken, read("T1", percent=95))
    assert (still.state, keys(still)) == ("now", ["kit-broken"])
    mended = one(T1, read("T1", percent=90, days_ago=9), broken, read("T1", "fine", 1, notes="switch soldered"))
    assert (mended.state, mended.notes) == ("holds", "switch soldered")


def test_what_has_no_battery_is_looked_at_and_overdue_after_the_site_s_days() -> None:
    never = one(P1)
    assert (never.state, never.advice, keys(never)) == ("unknown", "look", ["kit-never"])
    assert one(P1, read("P1", "fine", 30)).state == "holds"
    late = one(P1, read("P1", "fine", 31))
    assert (late.state, late.advice, keys(late)) == ("soon", "look", ["kit-overdue"])
    assert one(P1, read("P1", "fine", 31), rules=UpkeepRules(kit_days=40)).state == "holds"
    assert finding_words(late.findings[0], late)[1].endswith("fieldctl upkeep reading P1 --fine, or --broken.")


def test_a_look_is_no_reading_of_what_runs_on_something() -> None:
    row = one(T1, read("T1", percent=90, days_ago=40), read("T1", "fine", 1))
    assert (row.state, row.advice, keys(row)) == ("soon", "read", ["kit-overdue"])
    assert one(T1, read("T1", "fine", 1)).advice == "read"


def test_lent_missing_and_back() -> None:
    charge = read("T1", percent=90, days_ago=20)
    lent = one(T1, charge, read("T1", "lent", 10, lent_to="p-jon"))
    assert (lent.state, lent.advice, keys(lent), lent.lent_to) == ("later", "lent", ["kit-lent"], "p-jon")
    long = one(T1, read("T1", "lent", 31, lent_to="p-jon"))
    assert (long.state, long.advice, keys(long)) == ("soon", "fetch", ["kit-lent-long"])
    missing = one(T1, charge, read("T1", "missing", 1))
    assert (missing.state, missing.advice, keys(missing)) == ("now", "look-for", ["kit-missing"])
    for back in (read("T1", percent=80), read("T1", "fine"), read("T1", "broken", notes="strap")):
        again = one(T1, charge, read("T1", "lent", 10, lent_to="p-jon"), back)
        assert again.lent_to == ""
        assert not {"kit-lent", "kit-missing"} & set(keys(again))


def test_people_by_name_and_the_forgotten_by_id() -> None:
    reads = [read("T1", "lent", 2, lent_to="p-jon"), read("P1", "fine", 1)]
    rows = {row.name: row for row in kit_account([T1, P1], reads, RULES, TODAY, {WHO: "Mira"})}
    assert rows["P1"].seen_by == "Mira"
    assert rows["T1"].lent_to == "p-jon"
    assert seen_words(rows["P1"]) == "2026-01-23, Mira"


def test_as_of_a_day_and_what_the_file_names_no_more() -> None:
    reads = [read("T1", percent=40), read("old", "fine", 10), read("older", "fine", 41)]
    rows = {row.name: row for row in kit_account([T1], reads, RULES, TODAY)}
    assert set(rows) == {"T1", "old"}
    assert keys(rows["old"]) == ["kit-gone"]
    yesterday = kit_account([T1], reads, RULES, TODAY - datetime.timedelta(days=1))
    assert next(row for row in yesterday if row.name == "T1").share is None


# ---- whatever is said --------------------------------------------------------------------------------------------

BATTERIES = st.builds(
    Battery,
    st.sampled_from(("alkaline", "lithium-fr6", "lithium-thionyl", "li-ion", "lifepo4", "lead-acid")),
    st.integers(1, 12),
    st.floats(0.5, 100),
    change_at=st.none() | st.floats(0.01, 0.95),
)
ITEMS = st.builds(Kit, st.just("it"), st.sampled_from(("base", *KIT_KINDS)), battery=st.none() | BATTERIES)
SAID = st.one_of(
    st.builds(dict, found=st.just("read"), volts=st.floats(0, 60), celsius=st.none() | st.floats(*CELSIUS)),
    st.builds(dict, found=st.just("read"), percent=st.floats(0, 100)),
    st.builds(dict, found=st.just("broken"), notes=st.text(max_size=20)),
    st.builds(dict, found=st.just("lent"), lent_to=st.just("p-jon")),
    st.builds(dict, found=st.sampled_from(("fine", "missing"))),
)


@settings(max_examples=120, deadline=None)
@given(ITEMS, st.lists(SAID, max_size=5), st.randoms())
def test_any_order_of_any_readings_makes_one_row_with_words(
    item: Kit, said: list[dict[str, object]], luck: object
) -> None:
    reads = [read("it", str(each.pop("found")), 7 * n, **each) for n, each in enumerate([dict(e) for e in said])]
    mixed = list(reads)
    luck.shuffle(mixed)  # type: ignore[attr-defined]
    row = one(item, *reads)
    assert row == one(item, *mixed)  # of different days: whenever they arrive
    if row.low is not None:
        assert row.high is not None
        assert row.share is not None
        assert 0 <= row.low <= row.share <= row.high <= 1
    for language in LANGUAGES:
        words = words_of(language)
        texts = [
            kind_words(row, words), state_words(row, words), advice_words(row, words), basis_words(row, words),
            summary_words([row], words),
        ]  # fmt: skip
        for finding in row.findings:
            texts += finding_words(finding, row, words)
        for text in texts:
            assert "(en)" not in text
            assert len(text) > 3
    assert Draft202012Validator(KIT_SCHEMA).is_valid(kit_rows([row]))
    lines = list(csv.DictReader(io.StringIO("".join(csv_lines(Upkeep(TODAY, None, (), 0, (row,)))))))
    assert [(line["what"], line["name"], line["state"]) for line in lines] == [(row.kind, "it", row.state)]


def test_the_most_urgent_first() -> None:
    reads = [read("P1", "fine"), read("base", volts=12.9), read("T1", percent=30)]
    assert [row.name for row in kit_account([BASE, P1, T1], reads, RULES, TODAY)] == ["T1", "base", "P1"]


# ---- site.toml ---------------------------------------------------------------------------------------------------

SITE = 'name = "larch"\ntitle = "Larch Hollow (invented)"\n{}\n[[zone]]\nname = "upper"\n'
LEAD_TEXT = '[base.battery]\nchemistry = "lead-acid"\ncells = 6\ncapacity_ah = 7.0\n'
KIT_TEXT = '[[kit]]\nname = "{}"\nkind = "{}"\n'


def test_base_and_kit_in_the_site_s_file() -> None:
    cells = 'battery = { chemistry = "alkaline", cells = 3, capacity_ah = 1.2 }\n'
    text = LEAD_TEXT + KIT_TEXT.format("T1", "transceiver") + cells + KIT_TEXT.format("P1", "probe")
    found = read_site(SITE.format("[upkeep]\nkit_days = 14\n" + text))
    assert found.kit == (BASE, T1, P1)
    assert found.upkeep.kit_days == 14
    assert read_site(SITE.format("")).kit == ()


def test_the_lines_of_a_new_site_are_right_when_somebody_takes_them_out_of_their_comment() -> None:
    text = dict(templates())["site.toml"]
    head, rest = text.split("# [base.battery]\n")
    lines, tail = rest.split("\n\n\n", 1)
    found = read_site(head + "\n".join(line[2:] for line in ("# [base.battery]\n" + lines).splitlines()) + "\n" + tail)
    assert [(row.name, row.kind) for row in found.kit] == [
        ("base", "base"), ("Transceiver 1", "transceiver"), ("P1", "probe"),
    ]  # fmt: skip
    assert read_site(text).kit == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (KIT_TEXT.format("T1", "transciever"), "did you mean 'transceiver'"),
        (KIT_TEXT.format("T1", "probe") * 2, "a second time"),
        (LEAD_TEXT + KIT_TEXT.format("base", "probe"), "called 'base' too"),
        ("[base]\n", "base.battery.chemistry: it is missing"),
        (KIT_TEXT.format("T1", "probe") + "batery = 1\n", "did you mean battery"),
        ("[upkeep]\nkit_days = 0\n", "1 to 400"),
    ],
)
def test_what_the_file_may_not_say(text: str, said: str) -> None:
    with pytest.raises(FileFaults, match=re.escape(said)):
        read_site(SITE.format(text))
