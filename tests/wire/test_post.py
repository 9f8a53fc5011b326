"""A post's button and horn: short and held are never both, every rule hit alone, and a horn that always ends."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import messages as m
from fieldctl.wire.messages import Ability, Reason, Result
from fieldctl.wire.obey import Answer, Standing
from fieldctl.wire.post import HOLD_US, HORN_MAX_US, RULES, Presses, blows_at, horn

S = 1_000_000
BASE = Standing(boot=3, ticks=60 * S, generation=5, abilities=int(Ability.BUTTON | Ability.HORN))
GOOD = m.Horn(3, 5, 60 * S, 61 * S, 1000, 600)


def test_short_and_held() -> None:
    short = Presses().down(S).up(S + HOLD_US - 1)
    assert (short.short, short.held, short.ticks) == (1, 0, S + HOLD_US - 1)
    held = Presses().down(S).up(S + HOLD_US)
    assert (held.short, held.held, held.ticks) == (0, 1, S + HOLD_US)


def test_a_held_press_counts_while_it_is_still_held_and_only_once() -> None:
    down = Presses().down(S)
    assert down.at(S + HOLD_US - 1).held == 0
    counted = down.at(S + HOLD_US)
    assert counted.held == 1
    assert counted.at(S + 9 * HOLD_US) == counted
    assert counted.down(S + 2 * HOLD_US) == counted, "it was not let go in between"
    assert counted.up(S + 9 * HOLD_US).held == 1
    assert counted.up(S + 9 * HOLD_US).short == 0


@given(st.lists(st.tuples(st.sampled_from(["down", "up", "at"]), st.integers(1, 3 * S)), max_size=40))
def test_every_press_is_counted_once_as_one_of_the_two(steps) -> None:
    """Against a plain account of the same edges."""
    presses, now = Presses(), 0
    since, spans = None, []
    for what, after in steps:
        now += after
        presses = getattr(presses, what)(now)
        if what == "down" and since is None:
            since = now
        elif what == "up" and since is not None:
            spans.append(now - since)
            since = None
    going_on = since is not None and now - since >= HOLD_US and presses.at(now).held
    presses = presses.at(now)
    assert presses.short == sum(span < HOLD_US for span in spans)
    assert presses.held == sum(span >= HOLD_US for span in spans) + (1 if going_on else 0)
    assert (presses.due() is None) == (since is None or now - since >= HOLD_US)


ALONE = {
    "retained": ({"retained": True}, {}),
    "older generation": ({}, {"generation": 4}),
    "other boot": ({}, {"boot": 2}),
    "no horn": ({"abilities": int(Ability.BUTTON | Ability.TRANSMITTER)}, {}),
    "empty": ({}, {"from_": 61 * S}),
    "too long": ({}, {"until": 60 * S + HORN_MAX_US + 1}),
    "pattern": ({}, {"on": 0}),
    "late": ({"ticks": 61 * S}, {}),
}


def test_every_rule_is_hit_below() -> None:
    assert list(ALONE) == [rule.name for rule in RULES]


@pytest.mark.parametrize("name", ALONE)
def test_rule_alone(name: str) -> None:
    standing, order = replace(BASE, **ALONE[name][0]), replace(GOOD, **ALONE[name][1])
    (rule,) = [rule for rule in RULES if rule.name == name]
    assert [r.name for r in RULES if r.holds(standing, order)] == [name]
    answer = horn(standing, order)
    assert (answer.result, answer.reason) == (rule.result, rule.reason)


def test_one_step_back_from_each_rule_it_blows() -> None:
    near = [
        {"generation": 6},
        {"until": 60 * S + 1},
        {"until": 60 * S + HORN_MAX_US},
        {"on": 1, "period": 200},
        {"on": 2000, "period": 2000},
        {"from_": 0},
    ]
    assert {horn(BASE, replace(GOOD, **change)) for change in near} == {Answer(Result.DONE)}
    assert horn(BASE, replace(GOOD, on=1001)).reason is Reason.KEYING
    assert horn(BASE, replace(GOOD, period=199, on=100)).reason is Reason.KEYING
    assert horn(replace(BASE, ticks=63 * S), GOOD) == Answer(Result.LATE, late=2 * S)


@given(st.integers(0, 100 * S), st.integers(0, 100 * S), st.integers(0, 100 * S))
def test_what_is_done_ends_within_the_most_from_now_or_its_start(start, end, tick) -> None:
    order = replace(GOOD, from_=start, until=end)
    if horn(BASE, order).result is Result.DONE and blows_at(order, tick) and tick >= BASE.ticks:
        assert tick < end <= max(start, BASE.ticks) + HORN_MAX_US


def test_blasts_and_pauses() -> None:
    order = replace(GOOD, until=62 * S)
    assert [blows_at(order, 60 * S + n * 100_000) for n in range(-1, 21)] == [
        False,
        *([True] * 6 + [False] * 4) * 2,
        False,
    ]
    assert not blows_at(None, 60 * S)
