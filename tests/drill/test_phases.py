"""The table of phases: complete, printed as it is, and every row of it met by a scenario."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import get_args

import pytest
from exercise_kit import Shell, after, drill

from fieldctl.drill import moves
from fieldctl.drill.engine import Exercise, FallQuiet, Send, Write
from fieldctl.drill.phases import HAPPENINGS, PHASES, TABLE, Act, Happening, Phase, table_as_text
from fieldctl.drill.plan import Burial, Signal
from fieldctl.events import GrantEnded, QuestionAnswered


def test_every_phase_and_happening_is_explained_and_used() -> None:
    assert set(PHASES) == set(get_args(Phase))
    assert set(HAPPENINGS) == set(get_args(Happening))
    assert {what for _, what in TABLE} == set(HAPPENINGS)
    assert {phase for phase, _ in TABLE} == set(PHASES)
    assert {act for _, act in TABLE.values()} == set(get_args(Act))


def test_every_phase_but_over_ends_with_the_exercise() -> None:
    assert {phase for phase, what in TABLE if what == "over"} == set(PHASES) - {"over"}


def test_what_may_still_send_falls_quiet_whenever_it_leaves_for_a_quiet_phase() -> None:
    """No row lets a signal that may be on slip away without an order to fall quiet or an end that was seen."""
    may_send = {"ordered", "sending", "found-early", "found"}
    seen_to_end = {"went", "not-begun"}
    for (phase, what), (then, act) in TABLE.items():
        if phase in may_send and then not in may_send and what not in seen_to_end:
            assert act == "quiet", (phase, what)


def test_only_a_fixed_moment_or_a_person_makes_it_send() -> None:
    by = {what for (_, what), (_, act) in TABLE.items() if act == "send"}
    assert by == {"due", "not-begun", "again", "unfound"}


def test_the_printed_table_is_the_table() -> None:
    head, rule, *rows = table_as_text().splitlines()
    assert head == "| phase | what happens | next phase | the field |"
    assert rule == "|---|---|---|---|"
    words = {"sends under a new grant": "send", "falls quiet": "quiet", "asks a person": "ask", "-": ""}
    read = {}
    for row in rows:
        phase, what, then, act = (cell.strip() for cell in row.strip("|").split("|"))
        read[phase, what] = (then, words[act])
    assert read == TABLE


@pytest.mark.parametrize(("phase", "happening"), list(product(get_args(Phase), get_args(Happening))))
def test_whatever_happens_in_whatever_phase(phase: Phase, happening: Happening) -> None:
    """No pair raises; a listed one does what the table says, any other changes nothing."""
    shell = Shell(drill(Burial("A"))).run(20)
    b = replace(shell.engine.burials["A"], phase=phase)
    before = shell.engine.putting(b)
    then, effects = moves.move(before, "A", happening, shell.make.at(shell.now_s), "rebooted")
    if (phase, happening) not in TABLE:
        assert (then, effects) == (before, ())
        return
    expected, act = TABLE[phase, happening]
    assert then.burials["A"].phase == expected
    kinds = {"": [], "send": [Send], "quiet": [FallQuiet], "ask": [Write]}[act]
    assert [type(effect) for effect in effects] == kinds


# ---- every row by a scenario --------------------------------------------------------------------------------


def plain() -> Shell:
    return Shell(drill(Burial("A"), Burial("B"), Burial("C", signal=after("A")))).run(20)


def quiet_after() -> Shell:
    quiet = Burial("A", after_find="falls-quiet")
    return Shell(drill(quiet, Burial("B", signal=Signal("delay", 60), after_find="falls-quiet"), Burial("C"))).run(20)


def silent() -> Shell:
    return Shell(drill(Burial("N", signal=Signal("never")), Burial("A"))).run(20)


def found_then(shell: Shell, name: str = "A") -> Shell:
    strike = shell.strike(name)
    shell.run(shell.now_s + 5)
    shell.correct("void", f"{strike.target}-{strike.boot}-{strike.number}")
    return shell


def early(outcome: str = "") -> Shell:
    """A is struck while its grant is on the way."""
    shell = Shell(drill(Burial("A"), Burial("B")))
    shell.outcomes["A"] = [outcome] if outcome else []
    shell.run(-0.1)
    assert shell.phase("A") == "ordered"
    shell.commit(shell.make.strike("A", 1.0))
    assert shell.phase("A") == "found-early"
    return shell


def scenario_start_find_stop() -> None:
    shell = plain()
    shell.strike("A")
    shell.run(30)
    shell.stop()
    shell.reopen()


def scenario_found_early_and_begun() -> None:
    early().run(5)


def scenario_found_early_and_late() -> None:
    early("late").run(5)


def scenario_found_early_and_refused() -> None:
    early("refused").run(5)


def scenario_found_early_and_voided() -> None:
    shell = early()
    strike = shell.engine.result.burial("A").find if shell.engine.result else None
    assert strike is not None
    shell.correct("void", strike.moment.source)


def scenario_found_early_and_stopped() -> None:
    early().stop()


def scenario_found_and_rebooted_and_voided() -> None:
    shell = plain()
    strike = shell.strike("A")
    shell.reboots("A")
    shell.correct("void", f"{strike.target}-{strike.boot}-{strike.number}")


def scenario_found_and_lost() -> None:
    shell = plain()
    shell.strike("A")
    shell.end("A", "lost")
    shell.drain()


def scenario_voided_while_it_sends() -> None:
    found_then(plain())


def scenario_begun_all_the_same() -> None:
    shell = plain()
    shell.end("A", "lost")
    shell.drain()


def scenario_gone_and_again() -> None:
    shell = plain()
    shell.reboots("A")
    shell.answer(shell.questions()[0], "send-again")


def scenario_gone_and_found() -> None:
    shell = plain()
    shell.reboots("A")
    shell.strike("A")


def scenario_gone_and_stopped() -> None:
    shell = plain()
    shell.reboots("A")
    shell.stop()


def scenario_late_refused() -> None:
    shell = Shell(drill(Burial("A"), Burial("B")))
    shell.outcomes["A"] = ["late", "refused"]
    shell.run(5)


def scenario_stopped_before_anything() -> None:
    shell = Shell(drill(Burial("A"), Burial("D", signal=Signal("delay", 60)), Burial("N", signal=Signal("never"))))
    shell.run(-0.1)
    shell.stop()
    shell.reopen()


def scenario_falls_quiet() -> None:
    shell = quiet_after()
    shell.strike("A")
    shell.strike("B")  # before its moment
    shell.stop()
    shell.reopen()


def scenario_falls_quiet_while_ordered() -> None:
    shell = Shell(drill(Burial("A", after_find="falls-quiet"), Burial("B"))).run(-0.1)
    shell.commit(shell.make.strike("A", 1.0))


def scenario_falls_quiet_when_gone() -> None:
    shell = quiet_after()
    shell.reboots("A")
    shell.strike("A")


def scenario_found_before_its_moment() -> None:
    shell = Shell(drill(Burial("A", signal=Signal("delay", 60)), Burial("B"))).run(20)
    found_then(shell)


def scenario_no_signal() -> None:
    found_then(silent(), "N")


def scenario_no_signal_for_good() -> None:
    shell = Shell(drill(Burial("N", signal=Signal("never"), after_find="falls-quiet"), Burial("A"))).run(20)
    shell.strike("N")


def take_back(reach: Callable[[Shell], None], phase: str) -> None:
    shell = plain()
    if phase == "ordered":
        shell.unheard.add("C")
    strike = shell.strike("A")
    shell.run(30)
    reach(shell)
    assert shell.phase("C") == phase
    shell.correct("void", f"{strike.target}-{strike.boot}-{strike.number}")
    question = next(q for q in shell.questions() if "take-back" in q.choices)
    shell.answer(question, "take-back")
    assert shell.phase("C") == "waiting"


def scenario_taken_back_while_ordered() -> None:
    take_back(lambda shell: None, "ordered")


def scenario_taken_back_while_sending() -> None:
    take_back(lambda shell: None, "sending")


def scenario_taken_back_while_gone() -> None:
    take_back(lambda shell: shell.reboots("C"), "gone")


SCENARIOS = {name: made for name, made in globals().items() if name.startswith("scenario_")}


@pytest.fixture
def rows_met(monkeypatch: pytest.MonkeyPatch) -> set[tuple[str, str]]:
    met: set[tuple[str, str]] = set()

    class Watched(dict[tuple[Phase, Happening], tuple[Phase, Act]]):
        def get(self, key, default=None):  # type: ignore[no-untyped-def, override]
            if key in self:
                met.add(key)
            return super().get(key, default)

    monkeypatch.setattr(moves, "TABLE", Watched(TABLE))
    return met


def test_every_row_is_met_by_a_scenario(rows_met: set[tuple[str, str]]) -> None:
    for scenario in SCENARIOS.values():
        scenario()
    assert set(TABLE) - rows_met == set()


def test_an_answer_or_end_that_nobody_waits_for_changes_nothing() -> None:
    shell = plain()
    before: Exercise = shell.engine
    at = shell.make.at(21)
    shell.commit(GrantEnded(999, shell.engine.burials["A"].target, "rebooted", at))
    assert shell.engine == before
    shell.commit(QuestionAnswered("x1", "again-A-1", "send-again", shell.make.started().by, at))
    assert shell.phases() == {name: b.phase for name, b in before.burials.items()}
