"""The site's own times for a drill: of the same burial only, the others counted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldctl.drill.files import plan_to_mapping
from fieldctl.drill.plan import Burial, Signal
from fieldctl.events import ExerciseEnded, ExerciseStarted
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.rehearsal import as_lines, beside_recorded, preview
from fieldctl.rehearsal.recorded import recorded_times
from fieldctl.units import HostTime, PersonId, Stamp

WHERE = [(20, 20, 1.0, 20, 0), (45, 22, 1.0, 0, 0)]


@pytest.fixture
def played(tools, tmp_path):
    """A ledger with exercises of plans, each of which ran out of time; gives the recorded times of a drill."""

    def of(drill, plans):
        at = HostTime("boot", 1)
        with Ledger.open(tmp_path / "ledger.sqlite", inline=True) as ledger:
            for n, plan in enumerate(plans):
                picks = {burial.name: "5ee00001" for burial in plan.burials}
                mapping = plan_to_mapping(plan)
                started = ExerciseStarted(f"x{n}", "try", mapping, 1, picks, (), PersonId("p"), Stamp(at, 0))
                ledger.append([started, ExerciseEnded(f"x{n}", "time-up", PersonId("p"), at)], at=at)
        with Reader.read(tmp_path / "ledger.sqlite") as reader:
            return recorded_times(reader, drill)

    return of


def test_a_burial_that_was_renamed_or_removed_is_left_out_and_counted(tools, played):
    site, drill, picks = tools.staffed([Burial("B"), Burial("C", Signal("never"))], WHERE)
    before = replace(drill, burials=(Burial("A"), Burial("C", Signal("never"))))
    found = played(drill, [before, before, drill])
    assert found.times == {"B": [None], "C": [None, None, None]}
    assert found.left_out == {"B": 2}
    shown = beside_recorded(preview(site, drill, picks, runs=20), found.times, found.left_out)
    assert (shown.burial("B").recorded_count, shown.burial("B").left_out) == (1, 2)
    assert shown.as_json()["burials"][0]["left_out"] == 2
    assert any("was another then: 2" in line for line in as_lines(shown))


@pytest.mark.parametrize("changed", [{"level": 40}, {"target": "5ee00002"}, {"find": "call"}, {"depth_m": (1.0, 2.0)}])
def test_times_of_another_burial_or_limit_do_not_count(changed, tools, played):
    _, drill, _ = tools.staffed([Burial("A")], WHERE[:1])
    other = replace(drill, burials=(replace(drill.burials[0], **changed),))
    found = played(drill, [drill, other, replace(drill, limit_s=60.0), replace(drill, title="By another name")])
    assert len(found.times["A"]) == 2
    assert found.left_out == {"A": 2}
