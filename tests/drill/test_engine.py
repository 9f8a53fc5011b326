"""The engine, carried out by a small shell in virtual time: what sends when, what is asked, what a restart changes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from exercise_kit import Made, Shell, after, drill, folded, standing
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldctl.drill.corrections import strike_id
from fieldctl.drill.engine import Clock, Committed, FallQuiet, Send, Write, after_restart, next_due, step
from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.drill.score import score
from fieldctl.events import (
    ExerciseEnded,
    GrantGiven,
    QuestionAsked,
    SignalDue,
    SignalOff,
    SignalOn,
    StrikeRecorded,
)
from fieldctl.units import HostTime, HostUs

NEVER = Signal("never")


def dues(shell: Shell) -> dict[str, tuple[float, str]]:
    found = [f for f in shell.ledger if isinstance(f, SignalDue)]
    return {f.burial: ((f.at.us - shell.make.zero_us) / 1e6, f.because) for f in found}


def began_s(shell: Shell, name: str) -> list[float]:
    return [
        (f.at.at.us - shell.make.zero_us) / 1e6 for f in shell.ledger if isinstance(f, SignalOn) and f.burial == name
    ]


# ---- when signals come --------------------------------------------------------------------------------------


def test_a_signal_comes_at_the_start_after_a_delay_after_a_find_or_never() -> None:
    plan = drill(
        Burial("A"),
        Burial("B", signal=Signal("delay", 30)),
        Burial("C", signal=after("A")),
        Burial("D", signal=after("A", 20)),
        Burial("N", signal=NEVER),
    )
    shell = Shell(plan).run(29)
    assert shell.phases() == {"A": "sending", "B": "waiting", "C": "waiting", "D": "waiting", "N": "silent"}
    shell.run(60)
    assert shell.phase("B") == "sending"
    shell.strike("A")
    shell.run(79)
    assert (shell.phase("C"), shell.phase("D")) == ("sending", "waiting")
    shell.run(200)
    assert dues(shell) == {
        "A": (0, "start"),
        "B": (30, "30 s after the start"),
        "C": (60, "find of A"),
        "D": (80, "find of A"),
    }
    assert began_s(shell, "A") == [0]
    assert began_s(shell, "B") == [30]
    assert began_s(shell, "D") == [80]
    assert began_s(shell, "N") == []
    assert {send.ends_since_us for send in shell.sends} == {600_000_000}


def test_an_order_leaves_before_its_moment_and_not_long_before() -> None:
    shell = Shell(drill(Burial("B", signal=Signal("delay", 30))))
    at = shell.engine.times
    assert at is not None
    assert next_due(shell.engine) == 29_600_000
    for now, wanted in ((29_599_999, 0), (29_600_000, 1)):
        _, effects = step(shell.engine, Clock(HostUs(shell.make.zero_us + now), shell.make.boot))
        assert len(effects) == wanted, now


def test_before_its_start_is_committed_the_clock_proposes_nothing() -> None:
    shell = Shell(drill(Burial("A")), start=False)
    assert next_due(shell.engine) is None
    assert step(shell.engine, Clock(HostUs(shell.now_us), shell.make.boot)) == (shell.engine, ())
    assert not shell.engine.searching


def test_a_chain_of_finds_switches_on_one_after_another() -> None:
    shell = Shell(drill(Burial("A"), Burial("B", signal=after("A")), Burial("C", signal=after("B")))).run(20)
    shell.strike("A")
    shell.run(40)
    assert shell.phases() == {"A": "found", "B": "sending", "C": "waiting"}
    shell.strike("B")
    shell.run(60)
    assert shell.phases() == {"A": "found", "B": "found", "C": "sending"}
    assert shell.sending() == {"A", "B", "C"}  # real ones keep sending


def test_a_no_signal_find_may_switch_a_signal_on() -> None:
    shell = Shell(drill(Burial("N", signal=NEVER), Burial("A", signal=after("N")))).run(20)
    strike = shell.strike("N")
    shell.run(30)
    assert shell.phase("A") == "sending"
    shell.correct("void", strike_id(strike))
    assert shell.phase("N") == "silent"
    assert [q.about for q in shell.questions()] == ["A"]


def test_weak_and_dropping_out_are_carried_to_the_grant_by_the_plan() -> None:
    """The engine orders a burial; how it sends is its plan's, which stands beside it unchanged."""
    burial = Burial("A", level=40, drop_on_s=20, drop_off_s=5)
    shell = Shell(drill(burial)).run(5)
    assert shell.engine.burials["A"].plan == burial


def test_own_limit_ends_a_burial_without_a_question() -> None:
    shell = Shell(drill(Burial("A", sends_at_most_s=60), Burial("B"))).run(100)
    assert shell.sends[0] == Send("A", shell.engine.burials["A"].target, 0, 60_000_000)
    assert shell.phase("A") == "gone"
    assert shell.questions() == []
    shell.killed()
    shell.starts_again()
    assert shell.questions() == []


def test_nothing_sends_past_its_own_limit_whoever_wants_it() -> None:
    shell = Shell(drill(Burial("A", sends_at_most_s=60), Burial("B"))).run(30)
    strike = shell.strike("A")
    shell.run(70)
    sent = len(shell.sends)
    shell.correct("void", strike_id(strike))
    assert shell.phase("A") == "gone"
    shell.stop()
    shell.reopen()
    assert shell.phase("A") == "gone"
    assert {send.burial for send in shell.sends[sent:]} == {"B"}


# ---- finds and the end --------------------------------------------------------------------------------------


def test_hit_and_call_finds() -> None:
    shell = Shell(drill(Burial("A"), Burial("B", find="call"))).run(20)
    shell.call("A")
    shell.strike("B")
    assert shell.phases() == {"A": "sending", "B": "sending"}  # called but not touched, touched but not noticed
    shell.run(30)
    shell.strike("A", "step")
    assert shell.phase("A") == "sending"
    shell.strike("A")
    shell.call("B", "Tove")
    assert shell.phases() == {"A": "found", "B": "found"}
    shell.run(31)
    assert shell.engine.status == "complete"
    assert shell.engine.result is not None
    assert shell.engine.result.state == "complete"


def test_a_find_keeps_sending_unless_the_drill_says_otherwise() -> None:
    shell = Shell(drill(Burial("A"), Burial("B", after_find="falls-quiet"), Burial("C"))).run(20)
    shell.strike("A")
    shell.strike("B")
    assert shell.phases() == {"A": "found", "B": "found-quiet", "C": "sending"}
    assert shell.sending() == {"A", "C"}
    assert [(q.burial, q.why) for q in shell.quiets] == [("B", "found")]
    assert shell.questions() == []


def test_complete_is_written_by_the_clock_and_everything_falls_quiet() -> None:
    shell = Shell(drill(Burial("A"), Burial("N", signal=NEVER))).run(20)
    shell.strike("N")
    shell.strike("A")
    assert shell.of(ExerciseEnded) == []
    assert next_due(shell.engine) == 0
    shell.run(21)
    (ended,) = shell.of(ExerciseEnded)
    assert isinstance(ended, ExerciseEnded)
    assert (ended.how, ended.at) == ("complete", shell.make.at(20.1))
    assert set(shell.phases().values()) == {"over"}
    assert shell.sending() == set()
    assert next_due(shell.engine) is None


def test_a_late_strike_that_completes_ends_it_now_and_not_in_the_past() -> None:
    """The end is when it was ended: a strike of before the reopening must not slip its end in before it."""
    shell = Shell(drill(Burial("A"))).run(30)
    shell.stop()
    shell.run(35).reopen()
    shell.commit(shell.make.strike("A", 25, late=True))
    shell.run(40)
    assert shell.engine.status == "complete"
    assert shell.engine.result == score(shell.plan, shell.engine.facts)
    assert shell.engine.result.state == "complete"


def test_time_up_at_the_limit() -> None:
    shell = Shell(drill(Burial("A"), limit_s=60)).run(61)
    (ended,) = shell.of(ExerciseEnded)
    assert isinstance(ended, ExerciseEnded)
    assert (ended.how, ended.at) == ("time-up", shell.make.at(60))
    assert shell.sending() == set()


def test_the_first_end_counts() -> None:
    shell = Shell(drill(Burial("A"))).run(20)
    shell.stop()
    shell.commit(shell.make.ended("time-up", 20.1))
    assert shell.engine.status == "stopped"
    assert shell.engine.result is not None
    assert shell.engine.result.state == "stopped"


def test_facts_of_another_exercise_change_nothing() -> None:
    """Two exercises at once do not mix."""
    one, two = Shell(drill(Burial("A")), "x1").run(20), Shell(drill(Burial("A")), "x2").run(20)
    before = one.engine
    for fact in [*two.ledger, two.make.strike("A", 20), two.make.ended("stopped", 20), two.make.correct("void", "s")]:
        if type(fact).__name__ != "GrantEnded":
            one.commit(fact)
    assert one.engine == before
    one.commit(one.make.strike(None, 21))  # a strike outside every exercise
    assert one.engine == before


# ---- stop, reopen, interruption -----------------------------------------------------------------------------


def test_stop_taken_back_sends_again_under_a_new_grant() -> None:
    plan = drill(
        Burial("A"),
        Burial("B", after_find="falls-quiet"),
        Burial("C"),
        Burial("D", signal=Signal("delay", 60)),
        Burial("N", signal=NEVER),
    )
    shell = Shell(plan).run(20)
    shell.strike("A")
    shell.strike("B")
    shell.run(30)
    first = {name: lease.grant for name, lease in shell.leases.items()}
    shell.stop()
    assert shell.sending() == set()
    assert shell.engine.status == "stopped"
    shell.run(35)
    shell.reopen()
    shell.run(36)
    assert shell.phases() == {"A": "found", "B": "found-quiet", "C": "sending", "D": "waiting", "N": "silent"}
    assert shell.sending() == {"A", "C"}
    assert all(shell.leases[name].grant > first[name] for name in ("A", "C"))
    shell.run(61)
    assert shell.phase("D") == "sending"
    assert shell.questions() == []


def test_stop_taken_back_while_a_target_has_not_yet_confirmed_quiet() -> None:
    """The end of the old grant, confirmed late, is not taken for an end of the new one."""
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.holding_back.add("A")
    shell.stop()
    shell.reopen()
    assert shell.phase("A") == "ordered"
    shell.release("A", "stopped")
    assert shell.phase("A") == "ordered"
    shell.run(21)
    assert shell.phase("A") == "sending"
    assert shell.questions() == []


def test_a_grant_committed_after_the_stop_is_ended() -> None:
    shell = Shell(drill(Burial("A", signal=Signal("delay", 20))))
    shell.run(19.5)
    shell.now_us += 200_000
    engine, effects = step(shell.engine, Clock(HostUs(shell.now_us), shell.make.boot))
    (write,) = effects
    assert isinstance(write, Write)
    for fact in (*write.facts, shell.make.ended("stopped", 19.7)):
        engine, _ = step(engine, Committed(fact))
    given_late = shell.make.given("A", 9, shell.make.at(600))
    engine, effects = step(engine, Committed(given_late))
    assert effects == (FallQuiet("A", given_late.target, "stopped"),)
    assert engine.burials["A"].leaving == 9


def test_questions_end_with_the_exercise() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.reboots("A")
    (question,) = shell.questions()
    shell.stop()
    assert shell.questions() == []
    sent = len(shell.sends)
    shell.answer(question, "send-again")
    assert shell.phase("A") == "over"
    assert len(shell.sends) == sent


def test_a_host_reboot_interrupts_and_one_press_goes_on_from_the_last_known_moment() -> None:
    plan = drill(Burial("A"), Burial("B", signal=after("A", 30)), Burial("C"))
    shell = Shell(plan).run(40)
    shell.strike("A")
    shell.run(45)
    shell.host_reboots("boot-b", 0, known_until_s=45)
    assert shell.engine.status == "interrupted"
    assert set(shell.phases().values()) == {"over"}
    assert not shell.engine.searching
    sent = len(shell.sends)
    shell.commit(shell.make.resumed(HostTime("boot-b", 500_000_000)))
    shell.make.zero_us = shell.now_us = 500_000_000 - 45_000_000  # the exercise's clock stood at 45 s meanwhile
    shell.now_us = 500_000_000
    assert shell.engine.times is not None
    assert shell.engine.times.since_start(HostTime("boot-b", 500_000_000)) == 45_000_000
    assert {send.burial for send in shell.sends[sent:]} == {"A", "C"}
    shell.run(46)
    assert shell.phases() == {"A": "found", "B": "waiting", "C": "sending"}
    shell.run(71)
    assert shell.phase("B") == "sending"
    assert began_s(shell, "B") == [70]
    shell.strike("C")
    shell.strike("B")
    shell.run(80)
    assert shell.engine.status == "complete"
    result = shell.engine.result
    assert result is not None
    found = result.burial("C").find
    assert found is not None
    assert found.moment.at_us == 71_000_000
    assert "the host's clock began anew 1 time: how long it was away is not known" in result.anomalies


def test_an_exercise_resumed_in_another_boot_still_ends_at_its_limit() -> None:
    """Interrupted, then the host rebooted before anybody pressed: no interruption is noticed in the new boot."""
    shell = Shell(drill(Burial("A"), limit_s=60)).run(40)
    shell.commit(shell.make.interrupted(shell.make.at(40), shell.make.at(40)))
    assert shell.engine.status == "interrupted"
    resumed = HostTime("boot-z", 7_000_000)
    shell.commit(shell.make.resumed(resumed))
    shell.make.boot, shell.make.zero_us, shell.now_us = "boot-z", 7_000_000 - 40_000_000, 7_000_000
    shell.run(61)
    assert shell.engine.status == "time-up"


def test_a_short_gap_goes_on_by_itself_and_changes_no_phase() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    before = shell.phases()
    sent = len(shell.sends)
    shell.commit(shell.make.resumed(shell.make.at(24), 4_000_000))
    assert shell.phases() == before
    assert len(shell.sends) == sent
    assert shell.engine.result is not None
    assert shell.engine.result.state == "running"


def test_a_strike_while_interrupted_counts_once_it_goes_on() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.commit(shell.make.interrupted(shell.make.at(20), shell.make.at(80)))
    shell.commit(shell.make.strike("A", 50, late=True))
    assert shell.phase("A") == "over"
    shell.now_us = shell.make.at(90).us
    shell.commit(shell.make.resumed(shell.make.at(90), 70_000_000))
    shell.run(95)
    assert shell.phases() == {"A": "found", "B": "sending"}


def test_in_a_boot_where_it_has_not_gone_on_its_clock_proposes_nothing() -> None:
    """Between a reboot of the host and the fact that tells of it, the exercise still stands as running."""
    shell = Shell(drill(Burial("A", signal=Signal("delay", 30)), Burial("B"), limit_s=60)).run(20)
    for us in (0, shell.make.at(29.9).us, shell.make.at(900).us):
        assert step(shell.engine, Clock(HostUs(us), "boot-b")) == (shell.engine, ())
    elsewhere = Made(shell.plan, boot="boot-b", zero_us=0)
    shell.commit(elsewhere.strike("B", 29.9), elsewhere.correct("give", "B", "Jon", s=29.9))
    assert shell.phases() == {"A": "waiting", "B": "sending"}
    assert shell.engine.result is not None
    assert [j.why for j in shell.engine.result.to_judge] == ["it cannot be dated: the host's clock began anew"]
    shell.run(31)
    assert shell.phase("A") == "sending"


def test_what_was_seen_to_fall_quiet_is_not_told_again() -> None:
    shell = Shell(drill(Burial("A", after_find="falls-quiet"), Burial("B"))).run(20)
    shell.holding_back.add("A")
    shell.strike("A")
    here = shell.make.at(21)
    target = shell.engine.burials["A"].target
    assert after_restart(shell.engine, here)[1] == (FallQuiet("A", target, "found"),)
    shell.release("A", "found")
    assert shell.engine.burials["A"].leaving == 0
    assert after_restart(shell.engine, here)[1] == ()


def test_resuming_what_was_stopped_does_not_bring_it_back() -> None:
    shell = Shell(drill(Burial("A"))).run(20)
    shell.stop()
    sent = len(shell.sends)
    shell.commit(shell.make.resumed(shell.make.at(25)))
    assert shell.engine.status == "stopped"
    assert len(shell.sends) == sent


# ---- orders that fail, and questions ------------------------------------------------------------------------


@pytest.mark.parametrize("outcome", ["late", "lost"])
def test_an_order_that_came_late_or_was_lost_is_sent_again_at_a_new_moment(outcome: str) -> None:
    shell = Shell(drill(Burial("A")))
    shell.outcomes["A"] = [outcome, outcome]
    shell.run(5)
    assert shell.phase("A") == "sending"
    assert [f.grant for f in shell.ledger if isinstance(f, GrantGiven)] == [1, 2, 3]
    assert shell.questions() == []


@pytest.mark.parametrize("why", ["refused", "superseded", "rebooted", "ran-out", "gone"])
@pytest.mark.parametrize("before", ["ordered", "sending"])
def test_what_went_by_itself_is_asked_about_and_never_sends_by_itself(why: str, before: str) -> None:
    shell = Shell(drill(Burial("A"), Burial("B")))
    if before == "ordered":
        shell.outcomes["A"] = [why]
        shell.run(20)
    else:
        shell.run(20).reboots("A", why)
    assert shell.phase("A") == "gone"
    (question,) = shell.questions()
    assert question.about == "A"
    assert why in question.what
    sent = len(shell.sends)
    shell.run(60)
    assert len(shell.sends) == sent
    shell.answer(question, "send-again")
    shell.run(61)
    assert shell.phase("A") == "sending"
    assert shell.questions() == []
    shell.answer(question, "send-again")  # a second phone answers the same question
    assert shell.phase("A") == "sending"


def test_of_two_questions_the_one_that_was_answered_counts() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.reboots("A")
    shell.reboots("B")
    shell.answer(next(q for q in shell.questions() if q.about == "B"), "send-again")
    assert shell.phases() == {"A": "gone", "B": "ordered"}
    assert [q.about for q in shell.questions()] == ["A"]


def test_left_away_stays_away_also_after_a_restart() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.reboots("A")
    shell.answer(shell.questions()[0], "leave")
    shell.killed()
    shell.starts_again()
    assert shell.phase("A") == "gone"
    assert shell.questions() == []
    shell.strike("A")  # and it can be found all the same
    assert shell.phase("A") == "found-quiet"


def test_all_off_asks_nobody_to_send_again() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    shell.end("A", "all-off")
    shell.end("B", "all-off")
    shell.drain()
    assert shell.of(QuestionAsked) == []
    shell.commit(shell.make.ended("all-off", 20))
    assert shell.engine.status == "all-off"


# ---- voided finds -------------------------------------------------------------------------------------------


def test_a_voided_find_that_still_sends_keeps_its_grant() -> None:
    shell = Shell(drill(Burial("A"), Burial("B"))).run(20)
    strike = shell.strike("A")
    shell.run(34)
    sent, grant = len(shell.sends), shell.leases["A"].grant
    _, effects = step(shell.engine, Committed(shell.make.correct("void", strike_id(strike), s=34)))
    assert effects == ()
    shell.correct("void", strike_id(strike))
    assert shell.phase("A") == "sending"
    assert (len(shell.sends), shell.leases["A"].grant) == (sent, grant)


def test_a_voided_find_that_fell_quiet_sends_again_at_once_under_a_new_grant() -> None:
    shell = Shell(drill(Burial("A", after_find="falls-quiet"), Burial("B"))).run(20)
    strike = shell.strike("A")
    grant = next(f.grant for f in shell.ledger if isinstance(f, SignalOff))
    shell.run(34)
    shell.correct("void", strike_id(strike))
    shell.run(35)
    assert shell.phase("A") == "sending"
    assert shell.leases["A"].grant > grant
    result = shell.engine.result
    assert result is not None
    (first, second) = result.burial("A").sent  # the gap shows in the debrief: gross and net times
    assert first == (0, 20_000_000)
    assert second == (34_100_000, None)
    assert "A's signal was away between 2 stretches of sending" in result.anomalies


def test_a_find_voided_before_its_quiet_was_confirmed() -> None:
    shell = Shell(drill(Burial("A", after_find="falls-quiet"), Burial("B"))).run(20)
    shell.holding_back.add("A")
    strike = shell.strike("A")
    shell.correct("void", strike_id(strike))
    assert shell.phase("A") == "ordered"
    shell.release("A", "found")
    shell.run(21)
    assert shell.phase("A") == "sending"
    assert shell.questions() == []


def test_what_a_voided_find_had_triggered_is_asked_about() -> None:
    plan = drill(Burial("A"), Burial("B", signal=after("A")), Burial("C", signal=after("A", 100)))
    shell = Shell(plan).run(20)
    strike = shell.strike("A")
    shell.run(30)
    shell.correct("void", strike_id(strike))
    (question,) = shell.questions()  # C had not come yet: nothing to ask
    assert (question.about, question.choices) == ("B", ("keep", "take-back"))
    shell.answer(question, "take-back")
    assert shell.phases() == {"A": "sending", "B": "waiting", "C": "waiting"}
    assert shell.sending() == {"A"}
    shell.run(200)
    assert shell.phase("C") == "waiting"
    shell.strike("A")  # the true find
    shell.run(301)
    assert shell.phases() == {"A": "found", "B": "sending", "C": "sending"}


def test_what_was_taken_back_has_no_moment_any_more() -> None:
    """Neither a reopening nor a find of its own that is voided switches it on: only its trigger does."""
    shell = Shell(drill(Burial("A"), Burial("B", signal=after("A")))).run(20)
    strike = shell.strike("A")
    shell.run(30)
    shell.correct("void", strike_id(strike))
    shell.answer(shell.questions()[0], "take-back")
    shell.stop()
    shell.reopen()
    assert shell.phase("B") == "waiting"
    touched = shell.strike("B")
    shell.correct("void", strike_id(touched))
    shell.run(60)
    assert shell.phase("B") == "waiting"
    assert shell.sending() == {"A"}


def test_keep_lets_it_send_on_and_undo_brings_the_find_back() -> None:
    shell = Shell(drill(Burial("A"), Burial("B", signal=after("A")))).run(20)
    strike = shell.strike("A")
    shell.run(30)
    void = shell.correct("void", strike_id(strike))
    shell.answer(shell.questions()[0], "keep")
    assert shell.phases() == {"A": "sending", "B": "sending"}
    undo = shell.correct("undo", void.correction)
    assert shell.phases() == {"A": "found", "B": "sending"}
    shell.correct("undo", undo.correction)
    assert shell.phases() == {"A": "sending", "B": "sending"}
    assert [q.about for q in shell.questions()] == ["B"]


def test_a_trigger_voided_while_its_moment_is_on_its_way_switches_nothing_on() -> None:
    shell = Shell(drill(Burial("A"), Burial("B", signal=after("A")))).run(20)
    strike = shell.make.strike("A", 20)
    shell.queue.append(strike)
    shell.drain(1)
    assert [type(f) for f in shell.queue] == [SignalDue]
    due = shell.queue.popleft()
    shell.queue.append(shell.make.correct("void", strike_id(strike), s=20))
    shell.queue.append(due)
    shell.drain()
    shell.run(60)
    assert shell.phase("B") == "waiting"
    assert shell.questions() == []
    shell.strike("A")
    shell.run(61)
    assert shell.phase("B") == "sending"


def test_a_shifted_start_moves_results_and_not_the_signals() -> None:
    """A find at 60 s by a start that a correction puts 10 s later still switches on 30 s after it happened."""
    shell = Shell(drill(Burial("A"), Burial("B", signal=after("A", 30)))).run(50)
    shell.correct("shift-start", "x1", 10)
    shell.run(60)
    shell.strike("A")
    shell.run(100)
    assert began_s(shell, "B") == [90]
    assert shell.engine.result is not None
    find = shell.engine.result.burial("A").find
    assert find is not None
    assert find.moment.at_us == 50_000_000


# ---- any life, any restart ----------------------------------------------------------------------------------

PLAN = drill(
    Burial("A"),
    Burial("B", signal=after("A", 3), after_find="falls-quiet"),
    Burial("C", signal=Signal("delay", 8), find="call", sends_at_most_s=60),
    Burial("N", signal=NEVER),
    limit_s=150,
)

WHAT = [
    "wait",
    "wait",
    "strike",
    "strike",
    "call",
    "void",
    "undo",
    "stop",
    "reopen",
    "reboot",
    "lost",
    "refused",
    "answer",
    "split",
    "interrupt",
    "resume",
    "shift",
    "hold",
    "release",
    "unheard",
    "heard",
    "judge",
]
DOINGS = st.lists(st.tuples(st.sampled_from(WHAT), st.integers(0, 3)), max_size=25)


def do(shell: Shell, what: str, which: int) -> None:
    name = "ABCN"[which]
    strikes = [f for f in shell.ledger if isinstance(f, StrikeRecorded)]
    corrections = [f for f in shell.ledger if type(f).__name__ == "Corrected"]
    match what:
        case "wait":
            shell.run(shell.now_s + 1 + 4 * which)
        case "strike":
            shell.strike(name, "unsure" if which == 3 and len(strikes) % 2 else "probe")
        case "call":
            shell.call(name)
        case "void" if strikes:
            shell.correct("void", strike_id(strikes[which % len(strikes)]))
        case "judge" if strikes:
            shell.correct("judge", strike_id(strikes[which % len(strikes)]), ("probe", "step")[which % 2])
        case "undo" if corrections:
            shell.correct("undo", corrections[-1 - which % len(corrections)].correction)  # type: ignore[attr-defined]
        case "stop":
            shell.stop()
        case "reopen" if shell.engine.status in ("stopped", "complete", "time-up"):
            shell.reopen()
        case "reboot" | "lost" | "refused" if name in shell.leases:
            shell.reboots(name, {"reboot": "rebooted"}.get(what, what))
        case "answer" if shell.questions():
            question = shell.questions()[which % len(shell.questions())]
            shell.answer(question, question.choices[which % 2])
        case "split":
            shell.commit(shell.make.split("airway", shell.now_s, name))
        case "interrupt" if shell.engine.status == "running":
            here = shell.make.at(shell.now_s)
            shell.commit(shell.make.interrupted(here, here))
        case "resume" if shell.engine.status == "interrupted":
            shell.commit(shell.make.resumed(shell.make.at(shell.now_s)))
        case "shift":
            shell.correct("shift-start", "x1", which - 1)
        case "hold":
            shell.holding_back.add(name)
        case "release" if name in shell.leases and name in shell.holding_back:
            shell.release(name, "stopped")
        case "unheard":
            shell.unheard.add(name)
        case "heard":
            shell.unheard.clear()


def holds(shell: Shell) -> None:
    engine = shell.engine
    assert engine.result == score(shell.plan, engine.facts)
    assert engine.status == engine.result.state
    for name, b in engine.burials.items():
        is_found = engine.result.burial(name).find is not None
        if engine.status == "running":
            assert b.phase != "over"
            assert is_found == b.phase.startswith("found"), (name, b.phase)
        else:
            assert b.phase == "over"
        lease = shell.leases.get(name)
        if lease is not None and name not in shell.holding_back:  # whatever sends is wanted, and known to send
            assert b.phase in ("ordered", "sending", "found-early", "found"), (name, b.phase)
            assert b.grant == lease.grant
        if b.phase in ("sending", "found"):
            assert lease is not None
            assert lease.began
        if b.phase in ("ordered", "found-early"):
            assert name in shell.leases or name in shell.wishes
    assert engine.unasked == ()


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DOINGS)
def test_whatever_people_and_targets_do_the_engine_knows_what_sends(doings: list[tuple[str, int]]) -> None:
    shell = Shell(PLAN)
    holds(shell)
    for what, which in doings:
        do(shell, what, which)
        holds(shell)
    assert standing(folded(PLAN, shell.ledger)) == standing(shell.engine)  # replay equals live
    shell.holding_back.clear()
    for name in [name for name in shell.leases if shell.engine.burials[name].leaving]:
        shell.release(name, "stopped")
    if shell.engine.status == "running":
        shell.run(151)
    assert shell.engine.status in ("complete", "time-up", "stopped", "interrupted")
    assert shell.sending() == set()


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DOINGS, st.data())
def test_folding_anew_at_any_point_gives_the_phases_that_the_living_one_had(
    doings: list[tuple[str, int]], data: st.DataObject
) -> None:
    shell = Shell(PLAN)
    for what, which in doings:
        do(shell, what, which)
    stood = data.draw(st.integers(1, len(shell.ledger)))
    assert standing(folded(PLAN, shell.ledger[:stood])) == standing(shell.states[stood - 1])


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(DOINGS.filter(bool), min_size=1, max_size=3), st.data())
def test_killed_between_any_two_commits_and_started_again_it_goes_on(
    lives: list[list[tuple[str, int]]], data: st.DataObject
) -> None:
    """Whatever was on its way is lost with the controller; the next one asks, orders and quiets what was missing."""
    shell = Shell(PLAN)
    for doings in lives:
        for what, which in doings[:-1]:
            do(shell, what, which)
        shell.commits_left = data.draw(st.integers(0, 3))
        do(shell, *doings[-1])
        shell.killed()
        shell.holding_back.clear()
        shell.starts_again()
        holds(shell)
    if shell.engine.status == "running":
        shell.run(151)
        assert shell.engine.status in ("complete", "time-up")
    assert shell.sending() == set()


def test_what_a_restart_finds_on_its_way_is_wished_again() -> None:
    """Each effect that a kill can swallow: the moment, the order, the quiet, the question, the end."""
    plan: Drill = drill(Burial("A", after_find="falls-quiet"), Burial("B"))
    shell = Shell(plan).run(20)
    here = shell.make.at(20)

    def effects_after(*facts: object) -> tuple[object, ...]:
        engine = folded(plan, [*shell.ledger, *facts])  # type: ignore[list-item]
        return after_restart(engine, here)[1]

    target = shell.engine.burials["A"].target
    assert effects_after() == ()
    assert effects_after(shell.make.strike("A", 20)) == (FallQuiet("A", target, "found"),)
    assert effects_after(shell.make.ended("stopped", 20))[0] == FallQuiet("A", target, "stopped")

    ordered = folded(plan, [shell.ledger[0], *[f for f in shell.ledger if isinstance(f, SignalDue)]])
    assert after_restart(ordered, here)[1] == (
        Send("A", target, 0, 600_000_000),
        Send("B", ordered.burials["B"].target, 0, 600_000_000),
    )
    assert after_restart(ordered, shell.make.at(600))[1] == ()  # its last moment has passed
    granted, _ = step(ordered, Committed(shell.make.given("A", 1, shell.make.at(600))))
    assert [e.burial for e in after_restart(granted, here)[1] if isinstance(e, Send)] == ["B"]  # its lease is taken up

    asked = Shell(plan).run(20)
    asked.end("B", "rebooted")
    asked.drain(2)  # the question is not committed
    assert [type(f) for f in asked.queue] == [QuestionAsked]
    engine = folded(plan, asked.ledger)
    assert after_restart(engine, here)[1] == (Write(tuple(asked.queue)),)  # type: ignore[arg-type]

    started = folded(plan, shell.ledger[:1])
    again, effects = after_restart(replace(started, ending=True), here)
    assert effects == ()
    _, effects = step(again, Clock(HostUs(shell.make.zero_us), shell.make.boot))
    assert [f.burial for e in effects if isinstance(e, Write) for f in e.facts if isinstance(f, SignalDue)] == [
        "A",
        "B",
    ]
