"""The debrief of one exercise: worked cases, odd ones, and the same answer in whatever order the entries arrived."""

from __future__ import annotations

from dataclasses import replace

import pytest
from debrief_kit import drill, everything, said, started, told, went_on_by_itself, worked
from exercise_kit import TICK_US, Made, Shell, after, target_of
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.debrief.account import past
from fieldctl.debrief.model import Debrief
from fieldctl.debrief.past import LEAST, Past
from fieldctl.debrief.report import page_fragment
from fieldctl.debrief.show import AUDIENCES
from fieldctl.drill.plan import Burial, Signal
from fieldctl.events import (
    ANYBODY,
    Fact,
    OrderEnded,
    SignalDue,
    SignalOn,
    StrikeRecorded,
    StrikesDropped,
    TargetOdd,
)
from fieldctl.units import BootId, HostTime

S = 1_000_000
BY_CALL = drill(Burial("A", find="call"))
ONE = drill(Burial("A"))
TWO = drill(Burial("A"), Burial("B"))


# ---- the worked case ------------------------------------------------------------


@pytest.mark.parametrize("void", [True, False])
@pytest.mark.parametrize("plan", [BY_CALL, ONE])
def test_the_worked_case_names_the_82_s_and_has_no_survival_figure(void: bool, plan) -> None:
    d = told(plan, worked(Made(plan), void=void), survival="rauch-2024")
    a = d.burial("A")
    text = everything(d)
    assert [(t.kind, t.gap_us, t.void) for t in a.touches] == [
        ("early", 50 * S, void),
        ("unnoticed", 82 * S, False),
    ]
    assert "Touched but not noticed: A was touched at 4:10 and called 82 s later, at 5:32." in text
    assert "Called but not touched: A was called at 3:20, 50 s before its pad was first touched, at 4:10." in text
    assert ("That call was voided: “seen from the side”." in text) is void
    assert [(s.kind, s.net_us) for s in a.stretches] == [
        ("signal", 65 * S),
        ("coarse", 85 * S),
        ("fine", 75 * S),
        ("probing", 25 * S),
        ("noticing", 82 * S),
    ]
    assert a.alive is None
    assert "No survival figure for A: no airway was tapped, and no digging time is assumed." in text
    assert "No airway was tapped for A" in text


def test_what_took_longest_is_one_sentence_that_a_person_would_say() -> None:
    make = Made(BY_CALL)
    facts = [f for f in worked(make) if getattr(f, "name", "") != "coarse"]
    assert said(told(BY_CALL, facts).longest) == (
        "What took longest was the way from the first signal of A to the end of the fine search for A: "
        "4:00 min of 5:33."
    ).replace("4:00 min", "2:40 min")
    slow = [*worked(make)[:4], make.split("fine", 160, "A"), make.strike("A", 180), make.call("A", 332)]
    assert said(told(BY_CALL, slow).longest).startswith("What took longest was noticing A: the probe had touched it ")
    usual = [make.started(), make.on("A", 0, 1), make.split("signal", 30, "A"), make.split("coarse", 200, "A")]
    assert said(told(ONE, [*usual, make.strike("A", 240)]).longest) == (
        "What took longest was the coarse search for A: 2:50 min of 4:00."
    )
    only = [make.started(), make.on("A", 0, 1), make.strike("A", 250)]
    assert said(told(ONE, only).longest) == (
        "What took longest was the way from the start to the probe's touch of A: 4:10 min of 4:10."
    )


def test_a_burials_time_begins_at_the_find_before_it() -> None:
    make = Made(TWO)
    on = [make.started(), make.on("A", 0, 1), make.on("B", 0, 2), make.split("signal", 30, "A")]
    d = told(TWO, [*on, make.strike("A", 100), make.split("signal", 140, "B"), make.strike("B", 400)])
    assert [(s.kind, s.from_us, s.to_us) for s in d.burial("B").stretches] == [
        ("signal", 100 * S, 140 * S),
        ("between", 140 * S, 400 * S),
    ]
    assert said(d.burial("B").stretches[0].first) == "the find of A"
    at_once = told(TWO, [*on, make.split("signal", 60, "B"), make.strike("A", 100), make.strike("B", 400)])
    assert at_once.burial("B").stretches[0].from_us == 0  # it had been begun before A was found


def test_two_stretches_inside_their_plus_minus_are_not_ranked() -> None:
    d = told(BY_CALL, worked(Made(BY_CALL)))
    assert said(d.longest) == (
        "Two things took longest, as far as can be told: the coarse search for A (85 s) and noticing the touch "
        "for A (82 s)."
    )


def test_a_moment_tapped_for_the_whole_is_the_burials_where_there_is_but_one() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.on("A", 0, 1), make.split("signal", 30), make.strike("A", 100)])
    assert [s.kind for s in d.burial("A").stretches] == ["signal", "between"]
    assert d.marks == ()
    make = Made(TWO)
    d = told(TWO, [make.started(), make.on("A", 0, 1), make.split("signal", 30), make.strike("A", 100)])
    assert [s.kind for s in d.burial("A").stretches] == ["between"]  # whose it was, nobody said
    assert [(m.name, m.at_us) for m in d.marks] == [("signal", 30 * S)]


def test_the_first_end_counts() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.ended("stopped", 300), make.ended("all-off", 320)]
    assert told(ONE, facts).length_us == 300 * S


# ---- gaps ------------------------------------------------------------


def test_a_find_voided_after_14_s_gross_and_net() -> None:
    plan = drill(Burial("A", after_find="falls-quiet"), Burial("B"))
    field = Shell(plan).run(120)
    false = field.strike("A")
    field.run(134)
    field.correct("void", f"{false.target}-{false.boot}-{false.number}")
    field.run(250)
    field.strike("A")
    field.run(260)
    d = told(plan, field.ledger)
    a = d.burial("A")
    assert (a.gross_us, a.net_us) == (250 * S, 250 * S - 14 * S - TICK_US)
    away = [g for g in d.gaps if g.burial == "A"]
    assert [(g.from_us, g.until_us) for g in away] == [
        (120 * S, 134 * S + TICK_US)
    ]  # the shell lets it send a tick after the word
    assert said(away[0].text) == "A's signal was away from 2:00 to 2:14: 14 s (it fell quiet after a find)."
    assert next(s for s in d.strikes if s.at_us == 120 * S).became == "void"
    row = d.corrections[0]
    assert (row.change, row.by, row.why, row.at_us, row.in_force) == (
        "void",
        "Mira",
        "seen from the side",
        134 * S,
        True,
    )
    assert said(row.text) == "the strike on A at 2:00 does not count. Mira, at 2:14: “seen from the side”"


def test_a_voided_find_that_kept_sending_has_no_gap() -> None:
    field = Shell(TWO).run(120)
    false = field.strike("A")
    field.run(134)
    field.correct("void", f"{false.target}-{false.boot}-{false.number}")
    field.run(250)
    field.strike("A")
    a = told(TWO, field.run(255).ledger).burial("A")
    assert (a.gross_us, a.net_us) == (250 * S, 250 * S)


def test_dark_for_12_s_leaves_no_hole() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), went_on_by_itself(make, 112, 12), make.strike("A", 200)]
    d = told(ONE, [*facts, make.off("A", 201, 1, "stopped"), make.ended("complete", 201)])
    assert [(g.kind, g.from_us, g.until_us) for g in d.gaps] == [("dark", 100 * S, 112 * S)]
    assert "no hole in the log" in everything(d)
    assert not d.repeat
    a = d.burial("A")
    assert a.net_us == a.gross_us == 200 * S


def test_dark_for_three_minutes_is_technical_and_to_be_repeated() -> None:
    make = Made(ONE)
    facts: list[Fact] = [
        make.started(),
        make.on("A", 0, 1),
        make.off("A", 130, 1, "ran-out"),
        make.interrupted(make.at(100), make.at(280)),
        make.resumed(make.at(300), 200 * S),
        make.on("A", 301, 2),
        make.strike("A", 400),
        make.off("A", 401, 2, "stopped"),
        make.ended("complete", 401),
    ]
    d = told(ONE, facts, survival="rauch-2024", digging_s=480)
    assert d.repeat
    assert [(g.kind, g.from_us, g.until_us) for g in d.gaps] == [
        ("technical", 100 * S, 300 * S),
        ("signal", 130 * S, 301 * S),
    ]
    text = everything(d)
    assert "A technical gap of 3:20 min, from 1:40 to 5:00: the controller was away." in text
    assert "repeat, never fail" in text
    a = d.burial("A")
    assert (a.gross_us, a.net_us) == (400 * S, 400 * S - 201 * S)  # the two gaps overlap, and count once
    assert a.alive is None
    assert "No survival figure: the exercise had a technical gap." in text


def test_a_gap_over_a_reboot_is_not_measured() -> None:
    make, later = Made(ONE), Made(ONE, boot="boot-b", zero_us=0)
    facts: list[Fact] = [
        make.started(),
        make.on("A", 0, 1),
        make.interrupted(make.at(100), later.at(20)),
        make.resumed(later.at(60)),
        replace(make.strike("A", 0), at=later.stamp(70)),
        replace(make.ended("complete", 0), at=later.at(71)),
    ]
    d = told(ONE, facts)
    assert [(g.kind, g.measured) for g in d.gaps] == [("technical", False)]
    text = everything(d)
    assert "How long it lasted cannot be measured" in text
    assert "The host's clock began anew (times: 1)" in text
    assert d.burial("A").gross_us == 110 * S
    assert d.repeat


def test_of_two_interruptions_in_a_row_the_first_tells_where_the_gap_began() -> None:
    make = Made(ONE)
    facts = [
        make.started(),
        make.on("A", 0, 1),
        make.interrupted(make.at(100), make.at(180)),
        make.interrupted(make.at(170), make.at(200)),
        make.resumed(make.at(300)),
        make.strike("A", 400),
    ]
    assert [(g.kind, g.from_us, g.until_us) for g in told(ONE, facts).gaps] == [("technical", 100 * S, 300 * S)]


def test_an_interruption_that_nobody_ended_stays_open() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.on("A", 0, 1), make.interrupted(make.at(100), make.at(300))])
    assert [(g.kind, g.until_us) for g in d.gaps] == [("technical", None)]
    assert d.state == "interrupted"
    assert d.repeat
    assert "Nobody let the exercise go on." in everything(d)


@pytest.mark.parametrize(("off_s", "gaps"), [(249.99, 0), (249.9, 1)])
def test_a_signal_that_ended_inside_the_plus_minus_of_the_find_was_not_away(off_s: float, gaps: int) -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 250, plus_minus_ms=15), make.off("A", off_s, 1)]
    assert len(told(ONE, [*facts, make.ended("complete", 251)]).gaps) == gaps


@pytest.mark.parametrize(
    ("why", "told_as"), [("rebooted", "its target rebooted"), ("limit", "its limit was reached"), ("wet", "wet")]
)
def test_why_a_signal_was_away(why: str, told_as: str) -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.off("A", 50, 1, why), make.on("A", 70, 2), make.strike("A", 90)]
    assert said(told(ONE, facts).gaps[0].text) == f"A's signal was away from 0:50 to 1:10: 20 s ({told_as})."


def test_ended_and_taken_back_stood_still() -> None:
    field = Shell(TWO).run(100)
    field.stop()
    field.run(108)
    field.reopen()
    field.run(200)
    field.strike("A")
    d = told(TWO, field.run(210).ledger)
    stood = [g for g in d.gaps if g.kind == "stopped"]
    assert [(g.from_us, g.until_us) for g in stood] == [(100 * S, 108 * S)]
    a = d.burial("A")
    assert a.gross_us == 200 * S
    assert a.net_us == pytest.approx(192 * S, abs=0.2 * S)
    assert not d.repeat


# ---- touching and noticing ------------------------------------------------------------


@pytest.mark.parametrize(("call_s", "kind"), [(250.5, "noticed"), (253.9, "noticed"), (254.1, "unnoticed")])
def test_a_moment_to_speak_is_no_failing(call_s: float, kind: str) -> None:
    make = Made(BY_CALL)
    d = told(BY_CALL, [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.call("A", call_s)])
    assert [t.kind for t in d.burial("A").touches] == [kind]


def test_a_call_inside_the_plus_minus_before_the_touch_is_no_false_call() -> None:
    make = Made(BY_CALL)
    d = told(BY_CALL, [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.call("A", 249.2)])
    assert [(t.kind, t.called_us) for t in d.burial("A").touches] == [("noticed", 249_200_000)]
    early = told(BY_CALL, [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.call("A", 248.9)])
    assert [t.kind for t in early.burial("A").touches] == ["early"]


def test_touched_and_never_called() -> None:
    make = Made(BY_CALL)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.off("A", 900, 1, "limit")]
    d = told(BY_CALL, [*facts, make.ended("time-up", 900)])
    touch = d.burial("A").touches[0]
    assert (touch.kind, touch.gap_us) == ("never-called", 650 * S)
    assert "nobody called it until the end, 10:50 min later" in said(touch.text)


def test_called_and_never_touched() -> None:
    make = Made(BY_CALL)
    d = told(BY_CALL, [make.started(), make.on("A", 0, 1), make.call("A", 300), make.ended("complete", 301)])
    assert said(d.burial("A").touches[0].text) == (
        "Called but not touched: A was called at 5:00, and its pad was never touched."
    )


def test_where_nobody_taps_calls_nothing_is_said_of_noticing() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.ended("complete", 300)])
    assert d.burial("A").touches == ()
    assert "No call was tapped for A, so whether it was noticed is not known." in said(d.missing)


# ---- survival ------------------------------------------------------------


def test_no_survival_unless_the_site_wants_it() -> None:
    make = Made(ONE)
    facts = [*worked(make), make.split("airway", 700, "A")]
    d = told(ONE, facts)
    assert d.survival is None
    assert d.burial("A").alive is None
    assert "alive" not in everything(d)


def test_it_counts_to_the_airway_or_to_the_call_and_a_stated_digging_time() -> None:
    make = Made(ONE)
    to_airway = told(ONE, [*worked(make), make.split("airway", 1200, "A")], survival="rauch-2024", digging_s=480)
    alive = to_airway.burial("A").alive
    assert alive is not None
    assert (alive.minutes, alive.counted) == (20.0, "airway")
    assert alive.alive == pytest.approx(0.61)  # half-way from .91 at 10 min to .31 at 30
    assert (alive.low, alive.high) == (0.11, 1.0)
    assert "20.0 min from the start to the free airway" in said(alive.text)
    assert "Rauch" in everything(to_airway)
    to_call = told(ONE, worked(make), survival="rauch-2024", digging_s=480)
    alive = to_call.burial("A").alive
    assert alive is not None
    assert alive.counted == "call"
    assert alive.minutes == pytest.approx((332 + 480) / 60)
    assert "call, and 8:00 min of digging assumed" in said(alive.text)


def test_before_the_first_and_after_the_last_published_point_there_is_no_figure() -> None:
    make = Made(ONE)
    soon = told(ONE, [*worked(make), make.split("airway", 400, "A")], survival="rauch-2024").burial("A").alive
    late = told(ONE, [*worked(make), make.split("airway", 9000, "A")], survival="rauch-2024").burial("A").alive
    assert soon is not None
    assert late is not None
    assert soon.alive is late.alive is None
    assert "The study's first figure is for 10 min: 91 % alive (80 % to 100 %)" in said(soon.text)
    assert "nothing beyond 130 min" in said(late.text)


def test_an_interval_that_no_study_gives_is_not_claimed() -> None:
    make = Made(ONE)
    at = {s: [*worked(make), make.split("airway", s, "A")] for s in (400, 600, 1200)}
    early = told(ONE, at[400], survival="haegeli-2011-canada").burial("A").alive
    assert early is not None
    assert "for 10 min: 77 % alive (no interval was at hand)" in said(early.text)
    later = told(ONE, at[1200], survival="falk-1994").burial("A").alive
    assert later is not None
    assert (later.low, later.high) == (None, None)
    assert "between the study's points, 92 % at 15 min and 30 % at 35 min (no interval was at hand)" in said(later.text)
    between = told(ONE, at[1200], survival="rauch-2024").burial("A").alive
    assert between is not None
    assert "points for 10 and 30 min, whose intervals reach from 11 % to 100 %" in said(between.text)
    point = told(ONE, at[600], survival="rauch-2024").burial("A").alive
    assert point is not None
    assert "91 % were alive (interval 80 % to 100 %)" in said(point.text)


def test_who_was_not_found_or_freed_before_the_find_has_no_survival_figure() -> None:
    make = Made(ONE)
    head = [make.started(), make.on("A", 0, 1), make.call("A", 200), make.ended("time-up", 900)]
    nobody = told(ONE, head, survival="rauch-2024", digging_s=480)
    assert nobody.burial("A").alive is None
    assert "alive" not in said(nobody.burial("A").touches[0].text)
    tapped = told(ONE, [*head, make.split("airway", 700, "A")], survival="rauch-2024", digging_s=480)
    assert tapped.burial("A").alive is None
    found = [*head, make.strike("A", 250)]
    early = told(ONE, [*found, make.split("airway", 15, "A")], survival="rauch-2024", digging_s=480)
    assert early.burial("A").alive is None
    assert "No survival figure for A: the airway was tapped before the find." in everything(early)
    touched = told(BY_CALL, [*found, make.split("airway", 240, "A")], survival="rauch-2024", digging_s=480)
    assert touched.burial("A").alive is None
    inside = told(ONE, [*found, make.split("airway", 249.5, "A")], survival="rauch-2024", digging_s=480)
    assert inside.burial("A").alive is not None


def test_why_there_is_no_survival_figure_is_what_is_missing() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.ended("complete", 300)]
    stated = everything(told(ONE, facts, survival="rauch-2024", digging_s=480))
    assert "No survival figure for A: neither an airway nor a call that counts was tapped." in stated
    assert "no digging time is assumed" not in stated
    bare = everything(told(ONE, facts, survival="rauch-2024"))
    assert "No survival figure for A: no airway was tapped, and no digging time is assumed." in bare


@pytest.mark.parametrize("whose", ["walk-in", "children"])
def test_of_children_and_walk_ins_no_survival_figure_is_made_for_anybody(whose: str) -> None:
    plan = replace(ONE, children=whose == "children")
    make = Made(plan)
    first = started(make, by=ANYBODY, searchers=()) if whose == "walk-in" else make.started()
    d = told(plan, [first, *worked(make)[1:], make.split("airway", 1200, "A")], survival="rauch-2024", digging_s=480)
    assert d.survival is None
    assert d.burial("A").alive is None
    for audience in AUDIENCES:
        assert "alive" not in page_fragment(d, audience=audience)
    assert "alive" not in everything(d)


# ---- what is odd ------------------------------------------------------------


def test_a_find_before_the_signal_was_on() -> None:
    plan = drill(Burial("A"), Burial("B", Signal("delay", 100)))
    make = Made(plan)
    d = told(plan, [make.started(), make.on("A", 0, 1), make.strike("B", 60), make.on("B", 100, 2)])
    assert "B was found before its signal was on." in said(d.anomalies)
    assert d.burial("B").search_us is None


@pytest.mark.parametrize(("on_s", "late"), [(1.2, False), (7.0, True)])
def test_a_signal_that_came_late(on_s: float, late: bool) -> None:
    make = Made(ONE)
    due = SignalDue("x1", "A", make.at(0), "start")
    d = told(ONE, [make.started(), due, make.on("A", on_s, 1), make.strike("A", 60)])
    assert ("A's signal came 7 s late: due at 0:00, on at 0:07." in said(d.anomalies)) is late


def test_a_signal_that_never_came_and_what_targets_told() -> None:
    make = Made(ONE)
    target = target_of(ONE, "A")
    facts: list[Fact] = [
        make.started(),
        SignalDue("x1", "A", make.at(0), "start"),
        StrikesDropped(target, BootId(3), 4, make.at(50)),
        TargetOdd(target, "clock-jumped", "Its clock jumped by 3 s.", make.at(60)),
        OrderEnded(target, 9, "grant", "late", "its moment was over", 2_500_000, make.at(1)),
    ]
    text = said(told(ONE, facts).anomalies)
    assert "A's signal was due at 0:00, and its target never said that it sends." in text
    assert "Larch 1 (A) had a full log and dropped 4 strikes: a hit may be missing." in text
    assert "Larch 1 (A): Its clock jumped by 3 s." in text
    assert "An order reached Larch 1 (A) 3 s late." in text or "An order reached Larch 1 (A) 2 s late." in text


def test_two_finds_inside_their_plus_minus_have_no_order() -> None:
    make = Made(TWO)
    on = [make.started(), make.on("A", 0, 1), make.on("B", 0, 2)]
    at_once = told(TWO, [*on, make.strike("A", 100, plus_minus_ms=15), make.strike("B", 100.02, plus_minus_ms=15)])
    assert at_once.order == (("A", "B"),)
    apart = told(TWO, [*on, make.strike("A", 100.1, plus_minus_ms=15), make.strike("B", 100.02, plus_minus_ms=15)])
    assert apart.order == (("B",), ("A",))


def test_undos_that_undo_each_other_count_for_nothing() -> None:
    make = Made(ONE)
    strike = make.strike("A", 100)
    void = make.correct("void", f"{strike.target}-{strike.boot}-{strike.number}", nth=1)
    first = replace(make.correct("undo", "second", nth=2), correction="first")
    second = replace(make.correct("undo", "first", nth=3), correction="second")
    d = told(ONE, [make.started(), make.on("A", 0, 1), strike, void, first, second])
    assert [(c.correction, c.in_force) for c in d.corrections][1:] == [("first", False), ("second", False)]
    assert "“" in said(d.corrections[1].text)
    once = replace(make.correct("undo", void.correction, nth=4), correction="third")
    d = told(ONE, [make.started(), make.on("A", 0, 1), strike, void, once])
    assert [c.in_force for c in d.corrections] == [False, True]
    assert d.burial("A").found is not None


def test_a_correction_that_a_later_one_replaced_is_not_told_as_in_force() -> None:
    make = Made(ONE)
    first, other = make.strike("A", 250), make.strike("A", 260)
    one, two = (f"{s.target}-{s.boot}-{s.number}" for s in (first, other))
    rows = [
        make.correct("shift-start", "x1", 5, s=400, nth=1),
        make.correct("shift-start", "x1", 10, s=401, nth=2),
        make.correct("give", "A", "Tove", s=402, nth=3),
        make.correct("give", "A", "Mira", s=403, nth=4),
        make.correct("judge", one, "step", s=404, nth=5),
        make.correct("judge", one, "probe", s=405, nth=6),
        make.correct("merge", two, one, s=406, nth=7),
        make.correct("merge", one, two, s=407, nth=8),
        make.correct("void", one, s=408, nth=9),
        make.correct("void", one, s=409, nth=10),
        make.correct("add-hit", "A", 30, s=410, nth=11),
        make.correct("add-hit", "A", 40, s=411, nth=12),
    ]
    facts = [make.started(), make.on("A", 0, 1), first, other, make.ended("complete", 300), *rows]
    d = told(ONE, facts)
    assert [c.in_force for c in d.corrections] == [False, True] * 4 + [True] * 4
    assert [c.replaced for c in d.corrections] == [True, False] * 4 + [False] * 4
    assert [said(c.text).endswith("(replaced by a later one)") for c in d.corrections[:4]] == [True, False] * 2
    again = told(ONE, [*facts, make.correct("undo", rows[1].correction, s=420, nth=13)])
    assert [c.in_force for c in again.corrections[:2]] == [True, False]  # the first shift is in force again
    assert [c.replaced for c in again.corrections[:2]] == [False, False]


def test_a_shift_of_the_start_is_told_and_counts() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 100), make.correct("shift-start", "x1", 10)]
    d = told(ONE, facts)
    assert d.burial("A").gross_us == 90 * S
    assert "By a correction the start counts 10 s later than it was recorded." in said(d.anomalies)


# ---- bad input ------------------------------------------------------------


def test_cut_off_in_the_middle() -> None:
    make = Made(TWO)
    d = told(TWO, [make.started(), make.on("A", 0, 1), make.on("B", 0, 2), make.strike("A", 100)])
    assert d.state == "running"
    assert not d.ended
    assert d.length_us == 100 * S
    text = said(d.missing)
    assert "The log holds no end of this exercise; its last entry is of 1:40." in text
    assert "Not found: B." in text
    assert all(s.kind != "open" for b in d.burials for s in b.stretches)  # nothing ran until an end that is not known


def test_no_finds() -> None:
    make = Made(TWO)
    d = told(TWO, [make.started(), make.on("A", 0, 1), make.on("B", 0, 2), make.ended("time-up", 900)])
    assert said(d.longest).endswith("which nobody found: 15:00 min from the start to the end.")
    assert "Nothing was found." in said(d.missing)
    assert d.order == ()


def test_nothing_but_a_start() -> None:
    d = told(TWO, [Made(TWO).started()])
    assert said(d.longest) == "No moment was recorded, so where the time went is not known."
    assert d.length_us is None
    assert all(b.found is None and b.marks == () for b in d.burials)


def test_a_hundred_strikes_on_one_pad() -> None:
    make = Made(ONE)
    rows = [make.strike("A", 100 + i, "probe" if i % 2 else "step") for i in range(100)]
    d = told(ONE, [make.started(), make.on("A", 0, 1), *rows])
    assert len(d.strikes) == 100
    assert "A's pad was struck 100 times." in said(d.anomalies)
    assert d.burial("A").gross_us == 101 * S


def test_a_clock_that_jumped_leaves_undated_entries_and_says_so() -> None:
    make = Made(ONE)
    lost = replace(make.strike("A", 0), at=replace(make.stamp(0), at=HostTime("nowhere", 5)))
    d = told(ONE, [make.started(), make.on("A", 0, 1), lost])
    assert d.burial("A").found is None
    assert d.strikes[0].at_us is None
    assert "Entries that cannot be dated and are in no time: 1." in said(d.missing)
    assert len(d.to_judge) == 1


def test_a_find_without_a_place_and_a_person_without_a_name() -> None:
    make = Made(ONE)
    d = told(drill(Burial("A"), outline=False), [make.started(), make.on("A", 0, 1), make.strike("A", 9)], names={})
    assert d.by == "p-mira"
    assert "no outline of the debris, so the map shows no start and no flux line." in said(d.missing)


# ---- a probe line ------------------------------------------------------------


def test_a_probe_line_has_its_area_a_minute_and_its_chances() -> None:
    plan = drill(Burial("A", Signal("never")))
    make = Made(plan)
    found = told(plan, [make.started(), make.strike("A", 1200), make.ended("complete", 1200)]).probe_line
    assert found is not None
    assert found.area_m2 == pytest.approx(70 * 43)
    assert found.m2_per_min == pytest.approx(70 * 43 / 20)
    assert not found.measured
    tapped = told(plan, [make.started(), make.split("pass", 600), make.ended("time-up", 1500)]).probe_line
    assert tapped is not None
    assert tapped.measured
    assert tapped.m2_per_min == pytest.approx(70 * 43 / 10)
    line = {(g.across_m, g.along_m): g for g in found.grids}
    # facts: a stretched body lies between .92 and .997 by geometry; a 40 cm pad by its area over the cell's, derived
    assert line[0.75, 0.70].body == pytest.approx(0.92, abs=0.01)
    assert line[0.60, 0.70].body == pytest.approx(0.96, abs=0.01)
    assert line[0.60, 0.70].pad == pytest.approx(3.14159 * 0.2**2 / (0.6 * 0.7), abs=0.01)
    assert [g.published for g in found.grids] == [0.76, 0.95, 0.88]


def test_only_a_tapped_pass_measures_the_line() -> None:
    plan = drill(Burial("A", Signal("never")))
    make = Made(plan)
    d = told(plan, [make.started(), make.split("ready", 60), make.split("airway", 700), make.strike("A", 600)])
    assert d.probe_line is not None
    assert not d.probe_line.measured
    assert d.probe_line.m2_per_min == pytest.approx(70 * 43 / 10)


# ---- earlier times ------------------------------------------------------------


def earlier(*searches_s: float | None, drill_name: str = "larch", burial: str = "A", **changes) -> list[Past]:
    row = Past("", drill_name, burial, True, False, 0.9, None)
    return [
        replace(row, exercise=f"old{i}", search_us=None if s is None else round(s * S), **changes)
        for i, s in enumerate(searches_s)
    ]


def test_beside_the_same_drill_before_and_what_is_usual_here() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 250), make.ended("complete", 250)]
    a = told(ONE, facts, others=earlier(100, 200, 300, None, None)).burial("A")
    assert a.before is not None
    assert (a.before.count, a.before.median_us) == (5, 300 * S)  # the middle one of five, two of whom did not find
    assert said(a.before.text) == "A: the same drill before (5 times): 5:00 in the middle. This time: 4:10."
    others = earlier(*range(100, 900, 100), drill_name="other", burial="X")
    a = told(ONE, facts, others=[*others, *earlier(1, 2, 3, 4, 5, depth_m=2.0), *earlier(9, several=True)]).burial("A")
    assert a.usual is not None
    assert (a.usual.count, a.usual.median_us, a.usual.low_us, a.usual.high_us) == (8, 400 * S, 200 * S, 600 * S)
    assert "with a signal, 0 to 1 m deep, alone" in said(a.usual.text)


def test_nothing_is_claimed_where_there_are_too_few() -> None:
    make = Made(ONE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 250)]
    beside = told(ONE, facts, others=earlier(*range(LEAST - 1))).burial("A")
    few, usual = beside.before, beside.usual
    assert few is not None
    assert few.median_us is None
    assert said(few.text) == "A: the same drill was done too seldom before (4) to compare with."
    assert usual is not None
    assert said(usual.text) == (
        "A: too few such burials here (4: with a signal, 0 to 1 m deep, alone) to say what is usual."
    )
    assert told(ONE, facts).burial("A").before is None
    own = [replace(row, exercise="x1") for row in earlier(*range(10))]
    assert told(ONE, facts, others=own).burial("A").before is None  # it is not compared with itself


def test_what_an_exercise_adds_to_the_times_of_a_site() -> None:
    plan = drill(Burial("A"), Burial("B", after("A", 10)))
    make = Made(plan)
    on = [make.started(), make.on("A", 0, 1), make.strike("A", 100), make.on("B", 110, 2)]
    from debrief_kit import site

    found = past(site(plan), plan, [*on, make.strike("B", 180), make.ended("complete", 180)])
    assert [(p.burial, p.search_us, p.several) for p in found] == [("A", 100 * S, True), ("B", 70 * S, True)]
    up = past(site(plan), plan, [*on, make.ended("time-up", 900)])
    assert [(p.burial, p.search_us) for p in up] == [("A", 100 * S), ("B", None)]
    stopped = past(site(plan), plan, [*on, make.ended("stopped", 300)])
    assert [p.burial for p in stopped] == ["A"]  # nobody knows how long B would have taken


# ---- any order ------------------------------------------------------------


def story() -> list[Fact]:
    plan = drill(Burial("A", after_find="falls-quiet"), Burial("B", after("A", 5)), Burial("C", Signal("never")))
    field = Shell(plan).run(60)
    make = field.make
    field.commit(make.split("signal", 20, "A"), make.split("coarse", 40, "A"), make.call(None, 50))
    false = field.strike("A")
    field.run(74)
    field.correct("void", f"{false.target}-{false.boot}-{false.number}")
    field.run(120)
    field.strike("A")
    field.call("A", "Tove")
    field.run(140)
    field.strike("B", "unsure")
    field.strike("B", "step")
    field.correct("give", "A", "Jon")
    undone = field.correct("shift-start", "x1", 5)
    field.correct("undo", undone.correction)
    field.run(160)
    field.strike("B")
    field.stop()
    field.run(165)
    field.reopen()
    field.run(200)
    field.commit(make.split("airway", 190, "B"))
    field.correct("add-hit", "C", 150.0)
    field.run(220)
    return field.ledger


STORY = story()
PLAN = drill(Burial("A", after_find="falls-quiet"), Burial("B", after("A", 5)), Burial("C", Signal("never")))


def of_story(facts: list[Fact]) -> Debrief:
    return told(PLAN, facts, survival="rauch-2024", digging_s=300)


@settings(max_examples=40, deadline=None)
@given(st.permutations(STORY))
def test_any_order_of_arrival_gives_the_same_debrief(facts: list[Fact]) -> None:
    assert of_story(facts) == of_story(STORY)


def test_the_story_is_worth_turning_over() -> None:
    d = of_story(STORY)
    assert [c.in_force for c in d.corrections].count(False) == 1
    assert {s.became for s in d.strikes} >= {"void", "counts", "no-hit", "to-judge"}
    assert {g.kind for g in d.gaps} >= {"signal", "stopped"}
    assert d.burial("A").searcher == "Jon"
    assert d.burial("C").find_kind == "by-hand"
    assert len(d.to_judge) == 2


@settings(max_examples=40, deadline=None)
@given(st.sets(st.integers(1, len(STORY) - 1)))
def test_whatever_is_missing_it_opens_and_invents_nothing(missing: set[int]) -> None:
    facts = [f for i, f in enumerate(STORY) if i not in missing]
    d = of_story(facts)
    strikes = [f for f in facts if isinstance(f, StrikeRecorded)]
    assert len(d.strikes) == len(strikes)
    for b in d.burials:
        assert {m.source for m in b.marks if m.by == "pad"} <= {s.source for s in d.strikes}
        assert len([m for m in b.marks if m.name == "on"]) == len(
            [f for f in facts if isinstance(f, SignalOn) and f.burial == b.burial]
        )
        assert b.net_us is None or b.gross_us is None or b.net_us <= b.gross_us
    everything(d)
