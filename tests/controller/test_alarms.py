"""Alarms latch: a dead target keeps its own; a good reading of the same kind ends it, or a person with a reason."""

from __future__ import annotations

import asyncio
import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from kit import ask, facts, ready, refused, sends, tell

from fieldctl.controller.alarms import RULES, Alarm, Found, Latched, Rule, Watch, account_changes, after, step
from fieldctl.events import FIELD, AlarmCleared, AlarmRaised, TargetBarred, TargetOdd
from fieldctl.ledger.entry import Entry
from fieldctl.units import HostTime, HostUs, PersonId, TargetId
from sims.cell import Cell
from sims.field import Field

ONE, TWO = TargetId("5ee00001"), TargetId("5ee00002")
T = HostTime("boot-1", 1_000_000)
RULE = Rule("x", "{name} is odd.", "Look.", bad_for_s=30.0, good_for_s=60.0)


# ---- the table and the step ------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.sampled_from(["bad", "good", None]), st.integers(1, 40)), max_size=60))
def test_an_alarm_is_raised_by_bad_readings_and_ended_by_good_ones_alone(readings: list[tuple[Any, int]]) -> None:
    """Held against the plain reading of the rule, over any row of readings."""
    watch, in_force, now = Watch(), False, 0
    told: list[tuple[int, str]] = []
    for said, gap_s in readings:
        now += gap_s
        watch, change = step(watch, RULE, said, HostUs(now * 1_000_000), in_force=in_force)
        if said is not None:
            told.append((now, said))
        same = list(itertools.takewhile(lambda one: one[1] == told[-1][1], told[::-1]))
        span = now - same[-1][0] if same else 0
        expected = None
        if said == "bad" and not in_force and span >= 30:
            expected = "raise"
        if said == "good" and in_force and span >= 60:
            expected = "clear"
        assert change == expected
        in_force = in_force if change is None else change == "raise"


def test_nothing_said_clears_nothing_however_long_it_lasts() -> None:
    watch = Watch()
    for hour in range(1000):
        watch, change = step(watch, RULE, None, HostUs(hour * 3_600_000_000), in_force=True)
        assert (watch, change) == (Watch(), None)


def test_a_single_good_reading_long_ago_and_then_silence_ends_nothing() -> None:
    watch, change = step(Watch(), RULE, "good", HostUs(0), in_force=True)
    assert change is None
    watch, change = step(watch, RULE, None, HostUs(10**12), in_force=True)
    assert change is None


def entry(fact: Any, seq: int = 1, wall: str | None = "2031-01-18T08:00:00Z") -> Entry:
    return Entry(seq, fact, T, wall, "")


def raised(target: TargetId | None = ONE, what: str = "battery", link: str = "") -> AlarmRaised:
    return AlarmRaised(target, link, what, "says", "remedy", T)


def test_the_fold_knows_what_is_in_force_and_what_a_person_mended() -> None:
    latched = Latched()
    for n, fact in enumerate(
        (
            raised(),
            raised(TWO),
            raised(None, "link-down", "bus"),
            AlarmCleared(TWO, "", "battery", FIELD, "a good reading came", T),
            AlarmCleared(None, "bus", "link-down", PersonId("p-1"), "plugged in", T),
        )
    ):
        latched = after(latched, entry(fact, n))
    assert list(latched.in_force) == [(ONE, "battery")]
    assert list(latched.mended) == [("link:bus", "link-down")]


def test_each_kind_says_what_and_what_to_do_and_none_invites_to_discount_a_signal() -> None:
    for rule in RULES.values():
        said = rule.sentence.format(name="Larch 3")
        assert "Larch 3" in said
        assert said.endswith(".")
        assert rule.remedy.endswith(".")
        for word in ("ignore", "harmless", "false alarm", "disregard"):
            assert word not in (said + rule.remedy).lower()


# ---- findings of the account -----------------------------------------------------------------------------------------


def found(since: str = "2031-01-18", key: str = "loses", target: TargetId = ONE) -> Found:
    return Found(target, key, "It loses.", "Dig it out.", since, False, {})


def latch(*alarms: AlarmRaised, mended: dict[tuple[str, str], str | None] | None = None) -> Latched:
    held = {(alarm.target or "", alarm.what): Alarm(alarm, 1, None) for alarm in alarms}
    return Latched(held, mended or {})


def test_a_finding_raises_one_alarm_and_a_living_target_without_it_ends_that() -> None:
    new, gone = account_changes(Latched(), [found()], {ONE}, "2031-01-18")
    assert (new, gone) == ([found()], [])
    held = latch(raised(what="upkeep:loses"))
    assert account_changes(held, [found()], {ONE}, "2031-01-19") == ([], [])
    assert [a.fact.what for a in account_changes(held, [], {ONE}, "2031-01-19")[1]] == ["upkeep:loses"]
    assert account_changes(held, [], {TWO}, "2031-03-19") == ([], []), "a dead target clears nothing"
    assert account_changes(latch(raised()), [], {ONE}, "2031-01-19") == ([], []), (
        "nor does an account a reading's alarm"
    )


def test_what_a_person_mended_comes_again_only_by_what_was_seen_later() -> None:
    mended = latch(mended={(ONE, "upkeep:loses"): "2031-01-18T12:00:00Z"})
    assert account_changes(mended, [found("2031-01-17")], {ONE}, "2031-01-31")[0] == []
    assert account_changes(mended, [found("2031-01-17")], {ONE}, "2031-02-01")[0] == [found("2031-01-17")]
    unknown = latch(mended={(ONE, "upkeep:loses"): None})
    assert account_changes(unknown, [found("2031-01-17")], {ONE}, "2031-01-19")[0] == [found("2031-01-17")]
    assert account_changes(mended, [found("2031-01-18")], {ONE}, "2031-01-18")[0] == []
    assert account_changes(mended, [found("2031-01-19")], {ONE}, "2031-01-19")[0] == [found("2031-01-19")]
    assert account_changes(mended, [found("")], {ONE}, "2031-01-18")[0] == []
    assert account_changes(mended, [found("")], {ONE}, "2031-01-19")[0] == [found("")]


# ---- the field -------------------------------------------------------------------------------------------------------


async def alarms(made: Field) -> dict[tuple[str | None, str], dict[str, Any]]:
    rows = (await ask(made, "alarm-list"))["alarms"]
    return {(row["target"], row["what"]): row for row in rows}


def mend(made: Field, target: TargetId) -> None:
    """Its cable is whole again."""
    made.hub.cut(made.nodes[target], whole=True)


def test_a_silent_target_of_an_open_field_is_one_alarm_and_being_heard_ends_it() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        assert await alarms(made) == {}
        made.hub.cut(made.nodes[ONE])
        await asyncio.sleep(20)
        assert await alarms(made) == {}, "a reboot is no alarm"
        await asyncio.sleep(20)
        row = (await alarms(made))[ONE, "overdue"]
        assert row["name"] == "Larch 1"
        assert "Larch 1 was not heard" in row["says"]
        assert row["remedy"]
        assert row["since"]
        await asyncio.sleep(600)
        assert list(await alarms(made)) == [(ONE, "overdue")], "one silence, one alarm; a dead one does not end it"
        mend(made, ONE)
        await asyncio.sleep(30)
        assert list(await alarms(made)) == [(ONE, "overdue")], "heard now and then is not mended"
        await asyncio.sleep(60)
        assert await alarms(made) == {}
        assert [(f.by, f.what) for f in facts(made, AlarmCleared)] == [(FIELD, "overdue")]
        assert len(facts(made, AlarmRaised)) == 1

    tell(story)


def test_a_closed_field_waits_longer() -> None:
    async def story(made: Field) -> None:
        made.begin()
        await asyncio.sleep(5)
        made.hub.cut(made.nodes[ONE])
        await asyncio.sleep(280)
        assert await alarms(made) == {}
        await asyncio.sleep(60)
        assert list(await alarms(made)) == [(ONE, "not-heard")]

    tell(story)


def test_a_link_that_is_down_is_one_alarm_for_all_its_targets() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        made.unplug(200_000_000)
        await asyncio.sleep(150)
        rows = await alarms(made)
        assert list(rows) == [(None, "link-down")]
        assert rows[None, "link-down"]["link"] == "bus"
        await asyncio.sleep(120)
        assert await alarms(made) == {}

    tell(story)


def test_a_weak_battery_latches_over_death_and_restart_and_fresh_cells_end_it() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        node = made.nodes[ONE]
        node.cell = Cell(share_left=0.02)
        await asyncio.sleep(90)
        assert list(await alarms(made)) == [(ONE, "battery")]
        made.hub.cut(node)
        await made.kill()
        made.begin()
        await asyncio.sleep(700)
        assert (ONE, "battery") in await alarms(made), "a dead target does not end its own alarm"
        node.cell = Cell()
        mend(made, ONE)
        await asyncio.sleep(300)
        assert (ONE, "battery") in await alarms(made), "volts that come back for a while are no new battery"
        await asyncio.sleep(400)
        assert await alarms(made) == {}

    tell(story)


def test_a_person_ends_an_alarm_with_a_reason_and_what_is_still_bad_comes_again() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        made.nodes[ONE].cell = Cell(share_left=0.02)
        await asyncio.sleep(60)
        error = await refused(made, "alarm-clear", about="Larch 1", what="battery", by="Tove", reason="  ")
        assert "reason" in error.what
        error = await refused(made, "alarm-clear", about="Larch 2", what="battery", by="Tove", reason="changed")
        assert "5ee00001 battery" in error.expected
        row = await ask(made, "alarm-clear", about="larch 1", what="battery", by="Tove", reason="changed")
        assert row["alarms"] == []
        (fact,) = facts(made, AlarmCleared)
        assert (fact.reason, fact.by) != ("changed", "Tove"), "the ledger holds an id"
        await asyncio.sleep(60)
        assert list(await alarms(made)) == [(ONE, "battery")]

    tell(story)


def test_clearing_never_unbars_and_a_gate_that_reads_on_comes_again() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        node = made.nodes[ONE]
        node.gate.stuck = True
        await asyncio.sleep(5)
        assert set(await alarms(made)) == {(ONE, "gate-on"), (ONE, "barred")}
        for what in ("gate-on", "barred"):
            await ask(made, "alarm-clear", about=ONE, what=what, by="Tove", reason="looked at it")
        status = await ask(made, "status")
        assert ONE in status["day"]["barred"]
        assert len(facts(made, TargetBarred)) == 1
        await asyncio.sleep(5)
        assert list(await alarms(made)) == [(ONE, "gate-on")], "it still reads on"
        row = await ask(made, "exercise-check", drill="one", targets={"A": ONE})
        assert row["picks"]["A"] != ONE, "what is barred plays no part"
        node.gate.stuck = False
        await asyncio.sleep(120)
        assert await alarms(made) == {}, "it reads off again"
        assert ONE in (await ask(made, "status"))["day"]["barred"]
        assert not sends(made, ONE)

    tell(story)


def test_dug_out_and_seen_quiet_ends_what_was_odd() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        await ask(made, "target-bar", target=ONE, by="Tove", reason="heard though it said quiet")
        await asyncio.sleep(2)
        assert list(await alarms(made)) == [(ONE, "barred")]
        await ask(made, "target-clear", target=ONE, by="Tove", reason="dug out, silent on the bench")
        await asyncio.sleep(2)
        assert await alarms(made) == {}

    tell(story)


def test_a_clock_that_jumped_is_faulty_until_it_was_well_for_a_while_also_over_a_restart() -> None:
    async def story(made: Field) -> None:
        life = await ready(made)
        life.hearing.clock_odd(life.known[ONE], "this target's clock jumped back by at least 300 µs")
        await asyncio.sleep(3)
        assert list(await alarms(made)) == [(ONE, "clock")]
        await made.kill()
        made.begin()
        await asyncio.sleep(10)
        rows = (await ask(made, "target-list"))["targets"]
        states = {row["target"]: [one["state"] for one in row["states"]] for row in rows}
        assert states[ONE] == ["faulty", "online"]
        await asyncio.sleep(700)
        assert await alarms(made) == {}
        assert len(facts(made, TargetOdd)) == 1

    tell(story)


def test_a_target_that_is_taken_out_takes_its_alarms_along_save_that_it_may_send() -> None:
    async def story(made: Field) -> None:
        await ready(made)
        made.nodes[ONE].gate.stuck = True
        made.nodes[TWO].cell = Cell(share_left=0.02)
        await asyncio.sleep(60)
        assert {(ONE, "gate-on"), (TWO, "battery")} <= set(await alarms(made))
        for target in (ONE, TWO):
            await ask(made, "target-take-out", target=target, by="Tove", reason="its mast leans")
        await asyncio.sleep(5)
        assert set(await alarms(made)) == {(ONE, "gate-on"), (ONE, "barred")}

    tell(story)


@pytest.mark.parametrize("what", ["a word nobody knows yet", "clock"])
def test_an_oddity_that_no_rule_names_is_an_alarm_in_its_own_words(what: str) -> None:
    async def story(made: Field) -> None:
        life = await ready(made)
        life.hearing.odd(life.known[ONE], what, "Its {braces} are odd. To do: look at them.")
        await asyncio.sleep(3)
        row = (await alarms(made))[ONE, what]
        if what != "clock":
            assert (row["says"], row["remedy"]) == ("Larch 1: Its (braces) are odd.", "look at them.")

    tell(story)


def test_a_finding_of_the_account_is_raised_once_kept_over_a_restart_and_ends_with_the_finding() -> None:
    async def story(made: Field) -> None:
        life = await ready(made)
        one = Found(ONE, "deaf", "Larch 1: Its pad is deaf.", "Dig it out.", "2031-01-17", True, {"times": 3})
        for _ in range(3):
            life.alarms.account([one])
            await asyncio.sleep(1)
        assert len(facts(made, AlarmRaised)) == 1
        await made.kill()
        life = made.begin().controller
        await asyncio.sleep(5)
        life.alarms.account([one])
        await asyncio.sleep(1)
        row = (await alarms(made))[ONE, "upkeep:deaf"]
        assert (row["says"], row["fault"], row["values"]) == ("Larch 1: Its pad is deaf.", True, {"times": 3})
        assert len(facts(made, AlarmRaised)) == 1
        await asyncio.sleep(1200)
        assert list(await alarms(made)) == [(ONE, "upkeep:deaf")], "being heard is no good reading of a pad"
        made.hub.cut(made.nodes[ONE])
        await asyncio.sleep(20)
        life.alarms.account([])
        await asyncio.sleep(1)
        assert (ONE, "upkeep:deaf") in await alarms(made), "a target that is not heard shows nothing"
        mend(made, ONE)
        await asyncio.sleep(20)
        life.alarms.account([])
        await asyncio.sleep(1)
        assert (ONE, "upkeep:deaf") not in await alarms(made)

    tell(story)
