"""An assessment's sheet: frozen conditions, what is technical, what the assessor has to decide; pages and lists."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from exercise_kit import MIRA, Made
from hypothesis import given, settings
from hypothesis import strategies as st
from season_kit import WALL, on_file, started

from fieldctl.cli.assessment import list_
from fieldctl.debrief.assessment import (
    ITEMS,
    ROLES,
    VALUES,
    VERDICTS,
    Standing,
    digest_of,
    sheet_of,
    standing,
    ticks_of,
)
from fieldctl.debrief.assessment_list import read_assessments, read_standing
from fieldctl.debrief.assessment_page import ENGLISH, item_name, say, sheet_lines, sheet_page, sheet_row
from fieldctl.debrief.season_page import About
from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import (
    AssessmentDecided,
    AssessmentListed,
    AssessmentSigned,
    AssessmentTicked,
    Fact,
    StrikesDropped,
    TargetOdd,
)
from fieldctl.ledger.codec import decode, encode
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.units import BootId, PersonId, TargetId

PLAN = Drill("entrance", "Entrance, invented", 300.0, (Burial("A"), Burial("B")), assessed=True)
JON, ODD, TOVE = PersonId("p-jon"), PersonId("p-odd"), PersonId("p-tove")
NAMES = {MIRA: "Mira", JON: "Jon", ODD: "Odd", TOVE: "Tove"}
ABOUT = About("Larch Hollow", 9)


def facts_of(make: Made, a: float | None = 100, b: float | None = 200, end: float = 300, **changes: Any) -> list[Fact]:
    hits = [make.strike(name, s) for name, s in (("A", a), ("B", b)) if s is not None]
    how = "complete" if a is not None and b is not None else "time-up"
    return [
        started(make, searchers=(JON,), **changes), make.on("A", 0.5, 1), make.on("B", 0.5, 2), *hits,
        make.ended(how, end),
    ]  # fmt: skip


def sheet(facts: list[Fact], *beside: Fact) -> dict[str, Any]:
    return sheet_of(facts, beside, JON)


def tick(item: str, value: str, nth: int, by: PersonId = MIRA, **more: Any) -> AssessmentTicked:
    at = Made(PLAN).at(nth)
    return AssessmentTicked("x1", f"t{nth}", JON, item, value, more.pop("why", ""), by, at, nth=nth, **more)


def decided(facts: list[Fact], verdict: str, nth: int = 1) -> AssessmentDecided:
    made = sheet(facts)
    return AssessmentDecided("x1", JON, verdict, "seen", made, digest_of(made), MIRA, Made(PLAN).at(400), nth)


def signed(role: str, digest: str, by: PersonId) -> AssessmentSigned:
    return AssessmentSigned("x1", JON, role, digest, by, Made(PLAN).at(500))


# ---- what the field proposes ---------------------------------------------------------------------------------


def test_all_in_time_is_passed_and_a_limit_that_was_not_kept_is_not() -> None:
    make = Made(PLAN)
    made = sheet(facts_of(make))
    assert (made["proposal"], made["because"]) == ("passed", ["in-time"])
    assert [row["limit"] for row in made["burials"]] == ["kept", "kept"]
    made = sheet(facts_of(make, b=None))
    assert (made["proposal"], made["because"]) == ("failed", ["not-found"])
    made = sheet(facts_of(make, b=310, end=320))
    assert (made["proposal"], made["because"]) == ("failed", ["not-kept"])
    assert sheet(facts_of(make)[:-1])["proposal"] == "not-over"


def test_who_was_stopped_before_the_limit_did_not_have_the_whole_time_and_is_the_assessors() -> None:
    make = Made(PLAN)

    def stopped(a: float | None, at: float) -> dict[str, Any]:
        return sheet([*facts_of(make, a=a, b=None)[:-1], make.ended("stopped", at)])

    for a, at in ((None, 5), (2, 5), (100, 299.9)):
        made = stopped(a, at)
        assert (made["proposal"], made["because"]) == ("assessor", ["stopped"])
        assert made["state"] == "stopped"
    assert (stopped(100, 300)["proposal"], stopped(100, 300)["because"]) == ("failed", ["not-found"])
    both = [*facts_of(make)[:-1], make.ended("stopped", 250)]
    assert sheet(both)["proposal"] == "passed"


def test_inside_the_plus_minus_of_the_limit_the_assessor_decides() -> None:
    make = Made(PLAN)
    made = sheet(facts_of(make, b=300.001, end=301))  # the pad's own ± is 2 ms
    assert (made["proposal"], made["because"]) == ("assessor", ["inside"])
    assert made["burials"][1]["limit"] == "inside"
    by_hand = [*facts_of(make, b=None), make.correct("add-hit", "B", 299.2)]  # a thumb's is 1 s
    assert sheet(by_hand)["proposal"] == "assessor"
    assert sheet([*facts_of(make, b=None), make.correct("add-hit", "B", 298.9)])["proposal"] == "passed"


def test_what_waits_for_a_judgement_or_was_called_but_not_touched_is_the_assessors() -> None:
    make = Made(PLAN)
    unsure = [*facts_of(make, b=None), make.strike("B", 150, "unsure")]
    assert sheet(unsure)["because"] == ["to-judge"]
    called = [*facts_of(make, b=None), make.call("B", 150)]
    made = sheet(called)
    assert (made["proposal"], made["because"]) == ("assessor", ["untouched"])
    assert made["burials"][1]["untouched"] is True


def dropped(make: Made, s: float, target: str | None = None) -> StrikesDropped:
    return StrikesDropped(TargetId(target or make.started().picks["A"]), BootId(3), 4, make.at(s))


def odd(make: Made, s: float) -> TargetOdd:
    return TargetOdd(TargetId(make.started().picks["B"]), "clock", "its clock jumped", make.at(s))


TECHNICAL = {
    "interrupted": lambda m: (
        [*facts_of(m, b=None)[:-1], m.interrupted(m.at(150), m.at(330)), m.resumed(m.at(331)), m.ended("time-up", 400)],
        [],
    ),
    "all-off": lambda m: ([*facts_of(m, b=None)[:-1], m.ended("all-off", 150)], []),
    "ledger-failed": lambda m: ([*facts_of(m, b=None)[:-1], m.ended("ledger-failed", 150)], []),
    "never-on": lambda m: ([f for f in facts_of(m, b=None) if getattr(f, "grant", 0) != 2], []),
    "late-on": lambda m: (
        [m.on("B", 30, 2) if getattr(f, "grant", 0) == 2 else f for f in facts_of(m, b=None)],
        [],
    ),
    "away": lambda m: ([*facts_of(m, b=None), m.off("B", 100, 2, "rebooted"), m.on("B", 130, 3)], []),
    "found-early": lambda m: (
        [m.on("B", 4, 2) if getattr(f, "grant", 0) == 2 else f for f in facts_of(m, b=3)],
        [],
    ),
    "dropped": lambda m: (facts_of(m, b=None), [dropped(m, 50)]),
    "odd": lambda m: (facts_of(m, b=None), [odd(m, 50)]),
}


@pytest.mark.parametrize("key", TECHNICAL)
def test_something_technical_means_repeat_and_never_failed(key: str) -> None:
    facts, beside = TECHNICAL[key](Made(PLAN))
    made = sheet(facts, *beside)
    assert key in [row["key"] for row in made["technical"]]
    assert (made["proposal"], made["because"]) == ("repeat", ["technical"])
    said = sheet_lines(standing(facts, beside, JON), NAMES)
    assert any(line.startswith("Technical: ") for line in said)
    assert f"fault.{key}" in ENGLISH


def test_what_is_not_technical_in_this_exercise() -> None:
    make = Made(PLAN)
    facts = facts_of(make, b=None)
    other = "000000ff"
    assert sheet(facts, dropped(make, -50), dropped(make, 50, other), odd(Made(PLAN, boot="b9"), 50))["technical"] == []
    whole = facts_of(make)
    assert sheet(whole, dropped(make, 250))["technical"] == []  # after the last find
    # dark for 12 s within one grant: targets went on and kept every strike, so there is no hole in the log
    resumed = [*whole, make.resumed(make.at(62), gap_us=12_000_000)]
    assert sheet(resumed)["technical"] == []
    # the last signal ends with the exercise; a pause of two seconds costs nobody a strip
    short = [*whole, make.off("A", 50, 1, "gone"), make.on("A", 52, 3)]
    assert sheet(short)["technical"] == []
    never = replace(PLAN, burials=(Burial("A"), Burial("B", Signal("never"))))
    probing = Made(never)
    assert sheet([f for f in facts_of(probing) if getattr(f, "grant", 0) != 2])["technical"] == []


def test_a_clock_that_began_anew_is_technical() -> None:
    make, later = Made(PLAN), Made(PLAN, boot="b2", zero_us=0)
    facts = [
        *facts_of(make, b=None)[:-1],
        make.interrupted(make.at(150), later.at(5)),
        later.resumed(later.at(9)),
        later.ended("stopped", 60),
    ]
    assert {"clock-anew", "interrupted"} <= {row["key"] for row in sheet(facts)["technical"]}


# ---- frozen --------------------------------------------------------------------------------------------------


def test_the_conditions_of_that_day_are_on_the_sheet_and_the_sheet_goes_through_the_ledger_unchanged() -> None:
    make = Made(PLAN)
    made = sheet(facts_of(make))
    b = made["burials"][1]
    assert (b["depth_m"], b["tilt_deg"], b["keying"], b["level"], b["signal"]) == (
        1.5, 90.0, {"period_ms": 1000, "on_ms": 100}, 100, "start",
    )  # fmt: skip
    assert made["conditions"]["version"] == "0.1.0"
    assert made["plan"]["assessed"] is True
    fact = decided(facts_of(make), "passed")
    again, extra = decode("AssessmentDecided", encode(fact))
    assert extra == ()
    assert digest_of(again.sheet) == fact.digest  # type: ignore[attr-defined]


def final(facts: list[Fact]) -> list[Fact]:
    verdict = decided(facts, "passed")
    return [*facts, verdict, signed("assessor", verdict.digest, MIRA), signed("second", verdict.digest, ODD)]


def test_a_decided_sheet_is_not_changed_by_a_correction_a_survey_or_another_version(monkeypatch: Any) -> None:
    make = Made(PLAN)
    facts = final(facts_of(make))
    before = standing(facts, (), JON)
    assert before.final
    assert before.now == ()
    hit = facts[3]
    voided = [*facts, make.correct("void", f"{hit.target}-3-{hit.number}")]  # type: ignore[attr-defined]
    monkeypatch.setattr("fieldctl.debrief.assessment.__version__", "9.9")
    after = standing(voided, (), JON)
    assert (after.sheet, after.digest, after.final) == (before.sheet, before.digest, True)
    assert {"version", "burials", "corrections", "proposal"} <= {key.split(".")[0] for key in after.now}
    page = sheet_page(after, NAMES, ABOUT, WALL)
    assert "these would be otherwise: why the field proposes it, the burials, the corrections, " in page
    unreadable = [replace(f, plan={}) if n == 0 else f for n, f in enumerate(voided)]  # type: ignore[type-var]
    later = standing(unreadable, (), JON)
    assert (later.sheet, later.now) == (before.sheet, ("everything",))


def test_a_new_decision_makes_earlier_signatures_void_and_a_changed_sheet_is_seen() -> None:
    make = Made(PLAN)
    facts = facts_of(make)
    first = decided(facts, "passed")
    with_tick = [*facts, tick("probing", "no", 1)]
    second = decided(with_tick, "failed", nth=2)
    it = standing([*with_tick, first, signed("assessor", first.digest, MIRA), second], (), JON)
    assert (it.decided, dict(it.signed), it.void, it.final) == (second, {}, 1, False)
    forged = replace(second, sheet={**second.sheet, "limit_s": 999.0})
    twice = [signed("assessor", second.digest, MIRA), signed("second", second.digest, MIRA)]
    assert not standing([*with_tick, second, *twice], (), JON).final  # one person signs once
    it = standing([*with_tick, forged, twice[0], signed("second", second.digest, ODD)], (), JON)
    assert it.altered
    assert not it.final
    assert "not the one that was decided" in sheet_page(it, NAMES, ABOUT, None)
    assert "not the one that was decided" in " ".join(sheet_lines(it, NAMES))


@given(st.permutations(range(12)))
@settings(max_examples=30, deadline=None)
def test_in_any_order_of_arrival_the_sheet_is_the_same(order: list[int]) -> None:
    make = Made(PLAN)
    facts: list[Fact] = [
        *facts_of(make),
        make.correct("give", "A", "p-jon", nth=1),
        tick("probing", "no", 1),
        tick("probing", "yes", 2),
        tick("own words", "4 m apart", 3, why="measured", by_hand=True),
        make.split("tools ready", 90),
        tick("hazard", "not seen", 4),
    ]
    assert len(facts) == 12
    straight = sheet(facts)
    assert sheet([facts[n] for n in order]) == straight
    assert [(t["item"], t["value"]) for t in straight["ticks"]] == [
        ("hazard", "not seen"), ("probing", "yes"), ("own words", "4 m apart"),
    ]  # fmt: skip
    assert [t.item for t in ticks_of(facts, TOVE)] == []


# ---- pages ---------------------------------------------------------------------------------------------------


def standing_of(facts: list[Fact]) -> Standing:
    return standing(facts, (), JON)


def test_the_sheet_on_paper_says_everything_and_names_people() -> None:
    make = Made(PLAN)
    facts = [*facts_of(make), tick("probing", "yes", 1, why="in a spiral"), tick("<b>own</b>", "7", 2, by_hand=True)]
    page = sheet_page(standing_of(final(facts)), NAMES, ABOUT, WALL)
    for text in (
        "Assessment: Jon", "Larch Hollow", "Decided: passed", "1.5 m", "every 1000 ms, 100 %", "1:40.0 ±", "kept",
        "in a spiral", "7 (by hand)", "signed by Mira", "signed by Odd", "&lt;b&gt;own&lt;/b&gt;", WALL, "p-mira",
        "Signed twice", "fieldctl 0.1.0",
    ):  # fmt: skip
        assert text in page or text == "p-mira", text
    assert "<b>own" not in page
    assert "<script" not in page
    assert "@page" in page
    draft = sheet_page(standing_of(facts), NAMES, ABOUT, None)
    assert "Not decided yet" in draft
    assert draft.count("not signed") == 2
    gone = sheet_page(standing_of(final(facts)), {MIRA: "Mira"}, ABOUT, WALL)
    assert "Assessment: p-jon" in gone
    assert "Odd" not in gone


def test_the_sheet_as_json_and_as_lines() -> None:
    it = standing_of(final(facts_of(Made(PLAN))))
    row = json.loads(json.dumps(sheet_row(it, NAMES), allow_nan=False))
    assert row["decided"]["verdict"] == "passed"
    assert row["signed"] == {"assessor": "p-mira", "second": "p-odd"}
    assert row["names"] == {"p-jon": "Jon", "p-mira": "Mira", "p-odd": "Odd"}
    assert row["final"] is True
    assert row["digest"] == digest_of(row["sheet"])
    lines = sheet_lines(it, NAMES)
    assert lines[0] == "Assessment: Jon"
    assert "Assessor: signed by Mira" in lines


def test_every_item_verdict_value_and_role_has_its_words() -> None:
    for item in ITEMS:
        assert item_name(item) != item
    assert item_name("a free one") == "a free one"
    for verdict in VERDICTS:
        assert say(f"verdict.{verdict}")
        assert say(f"proposal.{verdict}")
    for value in VALUES:
        assert say(f"value.{value}")
    for role in ROLES:
        assert say(f"role.{role}")
    with pytest.raises(KeyError):
        say("nothing of that name")


# ---- the list ------------------------------------------------------------------------------------------------


def test_candidates_in_a_list_with_their_exercises_and_where_each_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Ledger.open(tmp_path / "l.db", inline=True) as ledger:
        assert read_assessments(ledger) == []
        at = Made(PLAN).at(0)
        lists = [
            AssessmentListed("entrance", (ODD,), MIRA, at, 1),
            AssessmentListed("entrance", (TOVE, JON), MIRA, at, 2),
            AssessmentListed("other", (ODD,), MIRA, at, 3),
        ]
        first = Made(PLAN, "x1")
        again = Made(PLAN, "x2")
        plain = Made(replace(PLAN, assessed=False), "x3")
        facts = final(facts_of(first))
        on_file(ledger, [*lists, *facts, *facts_of(again), *facts_of(plain)])
        ledger.name_person(JON, "Jon")
        rows = {(row.drill, row.candidate): row for row in read_assessments(ledger)}
        assert list(rows) == [("entrance", TOVE), ("entrance", JON), ("other", ODD)]
        assert rows["entrance", TOVE].state == "waiting"
        jon = rows["entrance", JON]
        assert [name for name, _ in jon.attempts] == ["x1", "x2"]
        assert (jon.listed, jon.state) == (True, "waiting")  # the latest is not decided
        assert jon.attempts[0][1].final
        assert {row.drill for row in read_assessments(ledger, "other")} == {"other"}
    shutil.copy(tmp_path / "l.db", tmp_path / "ledger.sqlite")
    list_("entrance", site=tmp_path)
    _, *lines = capsys.readouterr().out.splitlines()
    assert [line.split()[1:4] for line in lines] == [
        ["p-tove", "-", "waiting"],
        ["Jon", "x1", "passed"],  # decided and signed, whatever came after
        ["Jon", "x2", "waiting"],
    ]
    assert ["2 of 2" in line for line in lines] == [False, True, False]
    with Reader.read(tmp_path / "l.db") as ledger:
        for who in (None, "Jon", "jon ", "p-jon"):
            it, wall = read_standing(ledger, "x1", who)
            assert it.final
            assert wall == WALL
        with pytest.raises(BadInput, match="does not search in it"):
            read_standing(ledger, "x1", "Tove")
        with pytest.raises(NotFound):
            read_standing(ledger, "x99", None)
        with pytest.raises(Refused, match="not marked as assessed"):
            read_standing(ledger, "x3", None)


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        ([Made(PLAN).strike("A", 5)], "its start is not in the log"),
        ([started(Made(PLAN), searchers=(TOVE,))], "does not search in it"),
    ],
)
def test_what_is_no_assessment_says_why(facts: list[Fact], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        sheet(facts)
