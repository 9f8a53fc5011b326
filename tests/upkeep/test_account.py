"""The account: advice by forecast, cost of digging and threshold; findings in words; the order of the list."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from upkeep_kit import BOOT, battery_of, hours_of_winter, target_of

from fieldctl.events import BatterySwapped, DayClosed, DayOpened, ExerciseStarted, TargetAdded, TargetGreeted
from fieldctl.ledger.entry import Entry
from fieldctl.site.model import Battery, SerialLink, Site, UpkeepRules
from fieldctl.site.model import Place as Buried
from fieldctl.units import BootId, HostTime, PersonId
from fieldctl.upkeep.account import Field, Finding, Place, Row, Upkeep, account_of, field_account
from fieldctl.upkeep.as_json import as_row, csv_lines
from fieldctl.upkeep.curves import rest_v
from fieldctl.upkeep.energy import Calendar
from fieldctl.upkeep.estimate import load_v
from fieldctl.upkeep.read import calendars
from fieldctl.upkeep.readings import Hours, date_of
from fieldctl.upkeep.words import (
    ENGLISH,
    LANGUAGES,
    advice_words,
    basis_words,
    finding_words,
    last_words,
    say,
    words_about,
    words_of,
)
from sims.winter import FIRST_DAY, TARGETS, Winter

ALKALINE = Battery("alkaline", 3, 10.0, least_v=2.7)
DAY = 20_450


def by_the_book(battery: Battery, shares: np.ndarray, celsius: float = 5.0) -> Hours:
    """One reading at noon of every day up to `DAY` of a battery that is as the table has it."""
    n = shares.size
    cold = np.full(n, celsius)
    day = DAY - n + 1 + np.arange(n) + 0.5
    rest = battery.cells * rest_v(battery.chemistry, shares)
    load = load_v(battery, shares, cold, 1.0)
    return Hours(day, rest, load, cold, (shares[0] - shares) * battery.capacity_ah * 3.6e6)


def field(hours: Mapping[int, Hours], kind: Battery | None = ALKALINE, **more: Any) -> Field:
    places = tuple(Place(target_of(n), f"Larch {n + 1}", "upper") for n in hours)
    rules = more.pop("rules", UpkeepRules())
    ticks = {target_of(n): days for n, days in more.pop("ticks", {}).items()}
    batteries = {} if kind is None else {place.target: kind for place in places}
    return Field(
        float(DAY), rules, places, batteries, {target_of(n): h for n, h in hours.items()}, ticks,
        more.pop("calendars", {}), **more,
    )  # fmt: skip


def one(hours: Hours, kind: Battery | None = ALKALINE, **more: Any) -> Row:
    about = field({0: hours}, kind, **more)
    return account_of(about, about.places[0])


def keys(row: Row) -> list[str]:
    return [finding.key for finding in row.findings]


FULL = by_the_book(ALKALINE, np.linspace(1.0, 0.95, 30))
HALF = by_the_book(ALKALINE, np.linspace(1.0, 0.8, 30))
LOW = by_the_book(ALKALINE, np.linspace(1.0, 0.46, 30))


def test_advice_follows_the_forecast() -> None:
    assert (one(FULL).state, one(LOW).state) == ("later", "now")
    assert one(HALF).state in ("soon", "later")
    assert one(LOW).by is not None
    assert one(LOW).by >= DAY  # type: ignore[operator]


def test_what_lasts_until_closing_day_is_left_in_peace() -> None:
    soon = UpkeepRules(closing_day=date_of(DAY + 10))
    far = UpkeepRules(closing_day=date_of(DAY + 140))
    assert one(HALF, rules=soon).state == "holds"
    assert one(HALF, rules=far).state != "holds"
    assert "closing" not in advice_words(one(HALF), Upkeep(date_of(DAY), None, (), 0))


def test_a_closing_day_that_is_over_says_nothing() -> None:
    """Nothing is left in peace for having lasted until a day of last winter."""
    over, none = UpkeepRules(closing_day=date_of(DAY - 1)), UpkeepRules()
    today = UpkeepRules(closing_day=date_of(DAY))
    for hours in (LOW, HALF, FULL):
        assert one(hours, rules=over).state == one(hours, rules=none).state != "holds"
        assert one(hours, rules=over).forecast.lasts is None  # type: ignore[union-attr]
    assert one(LOW, rules=today).forecast.lasts is not None  # type: ignore[union-attr]


def test_the_cost_of_digging_weighs() -> None:
    """Where digging takes an hour, a chance is taken that nobody takes where the battery lies in the hut."""
    states = {}
    for days in range(1, 80):
        for dig in (2.0, 60.0):
            row = one(HALF, rules=UpkeepRules(closing_day=date_of(DAY + days), dig_min=dig))
            states.setdefault(dig, []).append(row.state == "holds")
    assert sum(states[60.0]) > sum(states[2.0]) > 0


def test_a_plain_threshold_for_those_who_want_one() -> None:
    wanted = replace(ALKALINE, change_at=0.85)
    row = one(HALF, wanted, ticks={0: [DAY - 29.0]})
    assert (row.state, row.advice) == ("now", "threshold")
    assert "85 %" in advice_words(row, Upkeep(date_of(DAY), None, (row,), 0))
    assert one(FULL, wanted, ticks={0: [DAY - 29.0]}).advice != "threshold"


def test_a_target_that_nobody_knows_anything_of() -> None:
    assert keys(one(HALF, None)) == ["kind-unknown"]
    about = field({0: HALF})
    assert keys(account_of(replace(about, hours={}), about.places[0])) == ["never-read"]
    late = replace(field({0: HALF}), today=float(DAY + 9))
    assert "silent" in keys(account_of(late, late.places[0]))


@pytest.mark.parametrize(
    ("what", "value", "key"),
    [("rest_v", -2.0, "wrong-way-round"), ("rest_v", 0.0, "no-volts"), ("rest_v", 9.9, "too-many-volts"),
     ("rest_v", 1.5, "wrong-way-round"), ("load_v", 0.0, "no-load-volts"), ("load_v", -1.0, "no-load-volts"),
     ("counted_mas", 4294967295.0, "wild-count"), ("celsius", 60.0, "thermometer")],
)  # fmt: skip
def test_impossible_readings_are_shown_and_change_nothing(what: str, value: float, key: str) -> None:
    """One wild hour among three of a day: a person sees it, the estimate does not."""
    thrice = Hours(*(np.repeat(getattr(HALF, name), 3) for name in Hours.__slots__))
    values = getattr(thrice, what).copy()
    values[-2] = value
    wild = replace(thrice, **{what: values})
    before, after = one(thrice), one(wild)
    assert key in keys(after)
    assert keys(before) == []
    assert after.estimate == before.estimate
    assert (after.state, after.by) == (before.state, before.by)


def test_three_days_of_no_load_volts_do_not_move_the_charge() -> None:
    off = replace(HALF, load_v=np.where(HALF.day > DAY - 2, 0.0, HALF.load_v))
    before, after = one(HALF).estimate, one(off)
    assert keys(after) == ["no-load-volts"]
    assert after.findings[0].sure == "likely"
    assert before is not None
    assert after.estimate is not None
    assert after.estimate.share == pytest.approx(before.share, abs=0.02)


def test_a_cell_the_wrong_way_round_leaves_nothing_foreseen() -> None:
    """Fresh cells were ticked, and one of three was put in turned: no percentage, no advice to leave it alone."""
    turned = replace(FULL, rest_v=FULL.rest_v / 3.0, load_v=FULL.load_v / 3.0)
    row = one(turned, ticks={0: [DAY - 29.0]}, rules=UpkeepRules(closing_day=date_of(DAY + 5)))
    assert keys(row) == ["wrong-way-round"]
    assert (row.state, row.estimate, row.forecast) == ("unknown", None, None)
    assert "wrong way round" in finding_words(row.findings[0], row)[1]


def test_what_was_kept_out_long_ago_and_seldom_is_only_perhaps() -> None:
    volts = np.repeat(HALF.rest_v, 8)
    volts[[8, 40, 90, 150, 236]] = 19.9
    thrice = Hours(*(np.repeat(getattr(HALF, name), 8) for name in Hours.__slots__))
    (found,) = one(replace(thrice, rest_v=volts)).findings
    assert (found.key, found.sure, found.values["times"]) == ("too-many-volts", "perhaps", 5)


def test_fresh_cells_of_which_nothing_was_read_are_not_asked_for_again() -> None:
    """As long as the readings are the old ones': the list, the commands and the carry list say so alike."""
    row = one(LOW, ticks={0: [float(DAY)]})
    assert (row.state, row.advice, row.by, row.forecast, row.findings) == ("unknown", "unread", None, None, ())
    assert date_of(DAY).isoformat() in advice_words(row, Upkeep(date_of(DAY), None, (row,), 0))
    found = field_account(field({0: LOW}, ticks={0: [float(DAY)]}))
    assert found.rows == (row,)
    assert as_row(found)["batteries"][0]["change_by"] is None
    assert one(LOW, ticks={0: [float(DAY - 40)]}).state == "now"


def test_uses_more_than_the_calendar_explains() -> None:
    idle = Calendar(0.0, 0.0, sleeps=True)
    assert "uses-more" in keys(one(HALF, calendars={target_of(0): idle}))
    assert "uses-more" not in keys(one(HALF, calendars={target_of(0): Calendar(8.0, 3.0, sleeps=False)}))


def test_lead_may_freeze() -> None:
    lead = Battery("lead-acid", 6, 7.0)
    cold = UpkeepRules(expected_c=-25.0)
    empty, full = (by_the_book(lead, np.linspace(1.0, left, 30)) for left in (0.35, 0.97))
    assert "may-freeze" in keys(one(empty, lead, rules=cold))
    assert "may-freeze" not in keys(one(full, lead, rules=cold))


def test_the_one_ticked_and_the_one_done_can_differ() -> None:
    """Larch 1 was ticked, Larch 2 was done: both are told, and the one names the other."""
    old = by_the_book(ALKALINE, np.linspace(0.9, 0.5, 40))
    new = by_the_book(ALKALINE, np.concatenate([np.linspace(0.9, 0.6, 30), np.linspace(1.0, 0.9, 10)]))
    tick = float(DAY - 10)
    found = field_account(field({0: old, 1: new}, ticks={0: [tick]}))
    rows = {row.place.name: row for row in found.rows}
    ticked = next(f for f in rows["Larch 1"].findings if f.key == "ticked-not-done")
    assert "done-not-ticked" in keys(rows["Larch 2"])
    says, remedy = finding_words(ticked, rows["Larch 1"])
    assert date_of(tick).isoformat() in says
    assert "fieldctl upkeep swapped 'Larch 2' --day" in remedy
    assert not rows["Larch 1"].fresh
    right = field_account(field({0: old, 1: new}, ticks={1: [tick]}))
    assert [f for row in right.rows for f in row.findings if "ticked" in f.key] == []
    assert next(row for row in right.rows if row.place.name == "Larch 2").fresh


def test_a_tick_that_could_not_show_is_asked_about_where_another_changed_unticked() -> None:
    """Larch 1, still nearly full, was ticked; Larch 2 was done. Until that is answered Larch 1 has its old battery."""
    old = by_the_book(ALKALINE, np.linspace(1.0, 0.93, 40))
    new = by_the_book(ALKALINE, np.concatenate([np.linspace(0.9, 0.6, 30), np.linspace(1.0, 0.9, 10)]))
    tick = float(DAY - 10)
    alone = field_account(field({0: old}, ticks={0: [tick]}))
    assert alone.rows[0].fresh  # believed, as long as nothing speaks against it
    about = field({0: old, 1: new}, ticks={0: [tick]})
    rows = {row.place.name: row for row in field_account(about).rows}
    assert not rows["Larch 1"].fresh
    assert keys(account_of(about, about.places[0])) == keys(rows["Larch 1"])
    asked = {name: next(f for f in row.findings if "ticked" in f.key) for name, row in rows.items()}
    assert [f.key for f in asked.values()].count("ticked-not-done") == 1
    assert "Larch 1" in finding_words(asked["Larch 2"], rows["Larch 2"])[1]
    assert "visit untick 'Larch 1'" in finding_words(asked["Larch 2"], rows["Larch 2"])[1]
    assert "swapped 'Larch 2' --day" in finding_words(asked["Larch 1"], rows["Larch 1"])[1]
    both = field_account(field({0: old, 1: new}, ticks={0: [tick], 1: [tick]}))
    assert [f for row in both.rows for f in row.findings if "ticked" in f.key] == []
    assert all(row.fresh for row in both.rows)
    far = field_account(field({0: old, 1: new}, ticks={0: [tick - 8]}))
    assert next(row for row in far.rows if row.place.name == "Larch 1").fresh


def test_commands_in_remedies_can_be_pasted() -> None:
    """Names with blanks and quotes are quoted as a shell wants them, in every language."""
    values = {"other": "Jo's Larch"}
    for language in LANGUAGES:
        for finding in (
            Finding("done-not-ticked", "likely", DAY),
            Finding("done-not-ticked", "likely", DAY, values, "done-not-ticked-other"),
            Finding("ticked-not-done", "sure", DAY, values, "ticked-not-done-other"),
            Finding("two-say", "sure", DAY),
        ):
            _, remedy = words_about(finding, "Larch 1", words_of(language))
            commands = re.findall(r"fieldctl upkeep (?:swapped|visit tick|visit untick) (.*?)(?= --|[,.:;)])", remedy)
            assert commands
            for command in commands:
                assert shlex.split(command) in (["Larch 1"], ["Jo's Larch"]), (language, command)


def test_most_urgent_first_in_an_invented_winter() -> None:
    winter = Winter.of(900)
    today = 70
    places = tuple(Place(target_of(t), f"Larch {t + 1}", "upper") for t in range(TARGETS))
    hours = {}
    for t in range(TARGETS):
        whole = hours_of_winter(winter, t)
        until = whole.day < FIRST_DAY + today + 1
        hours[target_of(t)] = Hours(*(getattr(whole, name)[until] for name in Hours.__slots__))
    ticks: dict[Any, list[float]] = {}
    for t, day in winter.ticks:
        if day <= today:
            ticks.setdefault(target_of(t), []).append(float(FIRST_DAY + day))
    about = Field(
        float(FIRST_DAY + today), UpkeepRules(), places, {target_of(t): battery_of(winter, t) for t in range(TARGETS)},
        hours, ticks, {},
    )  # fmt: skip
    found = field_account(about)
    order = [("now", "soon", "unknown", "later", "holds").index(row.state) for row in found.rows]
    assert order == sorted(order)
    now = [row.by for row in found.rows if row.state == "now"]
    assert now == sorted(now)  # type: ignore[type-var]
    assert len(as_row(found)["batteries"]) == TARGETS
    lines = list(csv_lines(found))
    assert len(lines) == TARGETS + 1
    for row in found.rows:
        for text in (
            advice_words(row, found),
            last_words(row),
            basis_words(row),
            *(word for finding in row.findings for word in finding_words(finding, row)),
        ):
            assert re.fullmatch(r"[^{}]{3,}", text), text


def test_every_finding_has_its_sentence_and_its_remedy() -> None:
    said = {key.split(".", 1)[1] for key in ENGLISH if key.startswith("finding.")}
    remedies = {key.split(".", 1)[1] for key in ENGLISH if key.startswith("remedy.")}
    assert said - {"kit-never", "kit-overdue"} <= remedies  # theirs goes by how the thing is looked at
    assert {"kit-read", "kit-look"} <= remedies
    with pytest.raises(KeyError):
        finding_words(Finding("no-such-thing", "sure"), one(HALF))
    assert say("percent", {"percent": "{low} bis {high} %"}, low=1, high=2) == "1 bis 2 %"
    with pytest.raises(KeyError):
        say("nothing", {})  # never English for another language unseen: `words_of` marks what it lacks


def test_days_and_exercises_as_carried_out() -> None:
    place = Buried(target_of(0), "Larch 1", "upper", 0, 0, 1.0)
    rules = UpkeepRules(open_hours=5.0, exercises=4)
    site = Site("larch", "Larch Hollow (invented)", places=(place,), upkeep=rules, serial=(SerialLink("bus", "x"),))
    at, who = HostTime(BOOT, 1), PersonId("p-mira")
    facts: list[Entry] = []

    def note(fact: Any, wall: str | None) -> None:
        facts.append(Entry(len(facts) + 1, fact, at, wall, ""))

    assert calendars([], site)[target_of(0)] == Calendar(5.0, 8.0, sleeps=False)
    for day in range(1, 5):
        note(DayOpened(who, at, "low", 1.9, (), (), (), "none"), f"2026-01-0{day}T09:00:00Z")
        for n in range(3):
            started = ExerciseStarted(
                **dict.fromkeys(ExerciseStarted.__dataclass_fields__)  # type: ignore[arg-type]
            )
            started = replace(started, exercise=f"x{day}{n}", picks={"A": target_of(0)})
            note(started, f"2026-01-0{day}T1{n}:00:00Z")
        note(DayClosed(who, at, True, "quiet", (), (), "Ansel"), f"2026-01-0{day}T16:00:00Z")
    note(BatterySwapped(target_of(0), "2026-01-04", "", 0, 0.0, who, at), None)
    assert calendars(facts, site)[target_of(0)] == Calendar(7.0, 3.0, sleeps=False, from_log=True)
    for link, can, sleeps in (("bus", ("pad",), False), ("air", ("pad", "sleep"), False), ("bus", ("sleep",), True)):
        note(TargetAdded(target_of(0), "", link, 1, who), None)
        note(TargetGreeted(target_of(0), BootId(1), "power", "", "", 1, can, at), None)
        assert calendars(facts, site)[target_of(0)] == Calendar(7.0, 3.0, sleeps, from_log=True)
