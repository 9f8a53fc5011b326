"""Which order a target obeys: every rule hit alone, then what must hold whatever is ordered."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.keying import Keying
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Ability, Reason, Result
from fieldctl.wire.obey import (
    LEASE_MAX_US,
    LIMIT_MAX_US,
    RULES,
    Answer,
    Held,
    Standing,
    broadcast_counts,
    obey,
    sends_at,
    table_as_text,
)

S = 1_000_000
HELD = Held(7, 50 * S, 90 * S, 600 * S, Keying(1000, 100))
ALL_ABILITIES = int(Ability.PAD | Ability.TRANSMITTER | Ability.LEVELS | Ability.SLEEP)
# boot 3, at 60 s, generation 5, epoch 2, holding grant 7
BASE = Standing(boot=3, ticks=60 * S, generation=5, epoch=2, held=HELD, abilities=ALL_ABILITIES)
GOOD = {
    m.Grant: m.Grant(3, 5, 2, 8, 60 * S, 90 * S, 600 * S, 1000, 100),
    m.Renew: m.Renew(3, 5, 2, 7, 120 * S),
    m.Quiet: m.Quiet(0, 5, 7),
    m.AllOff: m.AllOff(3),
    m.Arm: m.Arm(3, 5, True, 0),
    m.Sleep: m.Sleep(3, 5, 4000 * S, 60),
    m.Leave: m.Leave(3, 5),
    m.Ack: m.Ack(3, 9),
}
# for each rule: the standing and the order that hit it and no other, and one step back from it that hits none
RETAINED = (lambda s, o: (replace(s, retained=True), o), lambda s, o: (s, o))
OLDER_GENERATION = (lambda s, o: (s, replace(o, generation=4)), lambda s, o: (s, replace(o, generation=6)))
OTHER_BOOT = (lambda s, o: (s, replace(o, boot=2)), lambda s, o: (s, o))
OLDER_EPOCH = (lambda s, o: (s, replace(o, epoch=1)), lambda s, o: (s, replace(o, epoch=3)))


def without(ability: Ability):
    return (lambda s, o: (replace(s, abilities=s.abilities & ~ability), o), lambda s, o: (s, o))


def order(hit: dict, near: dict):
    return (lambda s, o: (s, replace(o, **hit)), lambda s, o: (s, replace(o, **near)))


ALONE = {
    (m.Grant, "retained"): [RETAINED],
    (m.Grant, "older generation"): [OLDER_GENERATION],
    (m.Grant, "older epoch"): [OLDER_EPOCH],
    (m.Grant, "other boot"): [OTHER_BOOT, order({"boot": 4}, {})],
    (m.Grant, "no transmitter"): [without(Ability.TRANSMITTER)],
    (m.Grant, "gate stuck"): [(lambda s, o: (replace(s, gate_ok=False), o), lambda s, o: (s, o))],
    (m.Grant, "battery"): [(lambda s, o: (replace(s, battery_ok=False), o), lambda s, o: (s, o))],
    (m.Grant, "keying"): [
        order({"on": 69}, {"on": 70}),
        order({"on": 601}, {"on": 600}),
        order({"period": 699}, {"period": 700}),
        order({"period": 1301}, {"period": 1300}),
        order({"on": 0}, {"on": 100}),
    ],
    (m.Grant, "empty"): [order({"until": 60 * S}, {"until": 60 * S + 1}), order({"until": 0}, {})],
    (m.Grant, "limit"): [
        order({"limit": 90 * S - 1}, {"limit": 90 * S}),
        order({"limit": 60 * S + LIMIT_MAX_US + 1}, {"limit": 60 * S + LIMIT_MAX_US}),
        order({"limit": 0}, {}),
    ],
    (m.Grant, "lease too long"): [
        order({"until": 60 * S + LEASE_MAX_US + 1}, {"until": 60 * S + LEASE_MAX_US}),
        order({"from_": 70 * S, "until": 70 * S + LEASE_MAX_US + 1}, {"from_": 70 * S, "until": 70 * S + LEASE_MAX_US}),
    ],
    (m.Grant, "late"): [order({"from_": 60 * S - 1}, {"from_": 60 * S})],
    (m.Renew, "retained"): [RETAINED],
    (m.Renew, "older generation"): [OLDER_GENERATION],
    (m.Renew, "older epoch"): [OLDER_EPOCH],
    (m.Renew, "other boot"): [OTHER_BOOT],
    (m.Renew, "no such grant"): [
        order({"grant_id": 8}, {}),
        order({"grant_id": 0}, {}),
        (lambda s, o: (replace(s, held=None), o), lambda s, o: (s, o)),
        (lambda s, o: (replace(s, ticks=90 * S), o), lambda s, o: (replace(s, ticks=90 * S - 1), o)),
    ],
    (m.Renew, "limit"): [
        (
            lambda s, o: (replace(s, held=replace(HELD, limit=120 * S - 1)), o),
            lambda s, o: (replace(s, held=replace(HELD, limit=120 * S)), o),
        )
    ],
    (m.Renew, "lease too long"): [order({"until": 60 * S + LEASE_MAX_US + 1}, {"until": 60 * S + LEASE_MAX_US})],
    (m.Renew, "late"): [order({"until": 60 * S}, {"until": 60 * S + 1})],
    (m.Quiet, "retained"): [RETAINED],
    (m.Quiet, "older generation"): [OLDER_GENERATION],
    (m.Quiet, "no such grant"): [
        order({"grant_id": 8}, {"grant_id": 0}),
        (lambda s, o: (replace(s, held=None), o), lambda s, o: (replace(s, held=None), replace(o, grant_id=0))),
    ],
    (m.Arm, "retained"): [RETAINED],
    (m.Arm, "older generation"): [OLDER_GENERATION],
    (m.Arm, "other boot"): [OTHER_BOOT],
    (m.Arm, "no pad"): [without(Ability.PAD)],
    (m.Sleep, "retained"): [RETAINED],
    (m.Sleep, "older generation"): [OLDER_GENERATION],
    (m.Sleep, "other boot"): [OTHER_BOOT],
    (m.Sleep, "cannot sleep"): [without(Ability.SLEEP)],
    (m.Leave, "retained"): [RETAINED],
    (m.Leave, "older generation"): [OLDER_GENERATION],
    (m.Leave, "other boot"): [OTHER_BOOT],
}


def test_every_rule_is_hit_below():
    assert set(ALONE) == {(cls, rule.name) for cls, rules in RULES.items() for rule in rules}
    assert set(GOOD) == set(RULES)


@pytest.mark.parametrize(("cls", "name"), ALONE, ids=lambda x: getattr(x, "__name__", x))
def test_rule_alone(cls, name):
    (rule,) = [rule for rule in RULES[cls] if rule.name == name]
    for hit, near in ALONE[cls, name]:
        standing, order = hit(BASE, GOOD[cls])
        assert [r.name for r in RULES[cls] if r.holds(standing, order)][:1] == [name]
        answer, after = obey(standing, order)
        assert (answer.result, answer.reason) == (rule.result, rule.reason)
        assert after == standing, "an order that is stopped changes nothing"
        assert obey(*near(BASE, GOOD[cls]))[0] == Answer(Result.DONE)


def test_how_late():
    assert obey(BASE, replace(GOOD[m.Grant], from_=59 * S))[0] == Answer(Result.LATE, late=S)
    assert obey(BASE, replace(GOOD[m.Renew], until=57 * S))[0] == Answer(Result.LATE, late=3 * S)


def test_a_grant_whose_start_is_long_past_is_late_and_not_too_long():
    """What is left of it is within the lease: the engine is told by how much it came late, and can give it anew."""
    late = replace(BASE, ticks=1000 * S)
    order = replace(GOOD[m.Grant], from_=500 * S, until=1030 * S, limit=2000 * S)
    assert obey(late, order)[0] == Answer(Result.LATE, late=500 * S)
    assert obey(late, replace(order, until=1121 * S))[0].reason is Reason.LEASE_TOO_LONG


def test_what_is_carried_out():
    """The standing after each kind of order, whole."""
    held = Held(8, 60 * S, 90 * S, 600 * S, Keying(1000, 100))
    expected = {
        m.Grant: replace(BASE, held=held, off=False),
        m.Renew: replace(BASE, held=replace(HELD, until=120 * S)),
        m.Quiet: replace(BASE, held=None),
        m.AllOff: replace(BASE, held=None, epoch=3, off=True),
        m.Arm: replace(BASE, armed=True),
        m.Sleep: replace(BASE, held=None, armed=False),
        m.Leave: replace(BASE, held=None, off=True),
        m.Ack: BASE,
    }
    assert {cls: obey(BASE, order)[1] for cls, order in GOOD.items()} == expected
    for cls, order in GOOD.items():
        if "generation" in {f.name for f in fields(cls)} and cls is not m.Leave:
            assert obey(BASE, replace(order, generation=9))[1].generation == 9


def test_grant_carries_all_of_its_pattern_and_releases_all_off():
    order = replace(GOOD[m.Grant], epoch=4, level=30, drop_on=5, drop_off=2, period=1300, on=900)
    _, after = obey(replace(BASE, off=True), order)
    assert after == replace(
        BASE, off=False, epoch=4, held=Held(8, 60 * S, 90 * S, 600 * S, Keying(1300, 900), 30, 5, 2)
    )


def test_a_renewal_overtaken_by_a_later_one_shortens_nothing():
    assert obey(BASE, replace(GOOD[m.Renew], until=80 * S))[1].held.until == 90 * S


def test_quiet_at_a_tick():
    """It ends there, cannot be renewed past it, and never lets a grant run longer than it would have."""
    _, after = obey(BASE, replace(GOOD[m.Quiet], ticks=70 * S))
    assert (after.held.until, after.held.limit) == (70 * S, 70 * S)
    assert obey(after, GOOD[m.Renew])[0] == Answer(Result.REFUSED, Reason.LIMIT)
    assert obey(BASE, replace(GOOD[m.Quiet], ticks=500 * S))[1].held.until == 90 * S
    assert obey(BASE, replace(GOOD[m.Quiet], ticks=60 * S))[1].held is None


# ---- whatever is ordered ----------------------------------------------------------------------------------------

near = st.integers(0, 12).map(lambda n: n * 20 * S)
small = st.integers(0, 4)
keys = st.tuples(st.sampled_from([699, 700, 1000, 1300]), st.sampled_from([69, 70, 300, 900]))
orders = st.one_of(
    st.builds(
        m.Grant, small, small, small, small, near, near, st.one_of(near, st.just(10**12)), st.just(1000), st.just(100)
    ),
    st.builds(
        lambda boot, gen, epoch, gid, at, lasts, more, key, drop: m.Grant(
            boot, gen, epoch, gid, at, at + lasts, at + lasts + more, *key, 100, *drop
        ),
        st.just(3), small, small, small, near, near, near, keys, st.tuples(small, small),
    ),
    st.builds(m.Renew, st.sampled_from([3, 3, 2]), small, small, small, near),
    st.builds(m.Quiet, near, small, small),
    st.builds(m.AllOff, small),
    st.builds(m.Arm, st.sampled_from([3, 2]), small, st.booleans(), small),
    st.builds(m.Sleep, st.sampled_from([3, 2]), small, near, small),
    st.builds(m.Leave, st.sampled_from([3, 2]), small),
    st.builds(m.Ack, small, small),
)  # fmt: skip
steps = st.lists(st.tuples(st.integers(0, 25 * S), orders, st.booleans()), max_size=25)


def start() -> Standing:
    return Standing(boot=3, abilities=ALL_ABILITIES)


@settings(max_examples=400, deadline=None)
@given(steps)
def test_never_sends_but_within_what_was_granted(steps):
    """Against a second account kept from the orders alone: whatever order is answered with done, in any sequence."""
    standing = start()
    allowed: dict[int, tuple[int, int, int]] = {}  # grant -> from, until, limit as its orders said, of the held one
    for passes, order, retained in steps:
        standing = replace(standing, ticks=standing.ticks + passes, retained=retained)
        answer, after = obey(standing, order)
        done = answer.result is Result.DONE
        if done and isinstance(order, m.Grant):
            assert Keying(order.period, order.on).legal
            allowed = {order.grant_id: (order.from_, order.until, order.limit)}
        elif done and isinstance(order, m.Renew):
            from_, until, limit = allowed[order.grant_id]
            allowed = {order.grant_id: (from_, max(until, order.until), limit)}
        elif done and (
            isinstance(order, m.AllOff | m.Leave | m.Sleep)
            or (isinstance(order, m.Quiet) and order.ticks <= standing.ticks)
        ):
            allowed = {}
        for at in range(standing.ticks, standing.ticks + 5 * LEASE_MAX_US, 4 * S):
            if sends_at(after.held, at):
                ((from_, until, limit),) = allowed.values()
                assert from_ <= at < min(until, limit)
                assert at < standing.ticks + LEASE_MAX_US or from_ > standing.ticks
        standing = after


@settings(max_examples=400, deadline=None)
@given(steps)
def test_what_an_order_may_never_change(steps):
    standing = start()
    for passes, order, retained in steps:
        standing = replace(standing, ticks=standing.ticks + passes, retained=retained)
        before = standing
        answer, standing = obey(before, order)
        if answer.result is not Result.DONE:
            assert standing == before
        names = {f.name for f in fields(order)}
        if "generation" in names and order.generation < before.generation:
            assert (answer.result, standing) == (Result.REFUSED if retained else Result.SUPERSEDED, before)
        if "epoch" in names and not isinstance(order, m.AllOff) and order.epoch < before.epoch:
            assert standing == before
        assert standing.epoch >= before.epoch
        assert standing.generation >= before.generation
        if retained and not isinstance(order, m.AllOff | m.Ack):
            assert standing == before
        if not isinstance(order, m.Grant):
            assert before.held is not None or standing.held is None, "only a grant begins anything"
            assert standing.off or not before.off, "only a grant ends the latch of all off"
        if isinstance(order, m.Renew):
            now = before.ticks
            assert sends_at(standing.held, now) == sends_at(before.held, now), "renewing starts nothing"
            assert standing.held is None or standing.held.from_ == before.held.from_


@given(steps, small)
def test_all_off_is_always_obeyed(steps, epoch):
    standing = start()
    for passes, order, retained in steps:
        _, standing = obey(replace(standing, ticks=standing.ticks + passes, retained=retained), order)
    answer, after = obey(replace(standing, gate_ok=False, battery_ok=False, abilities=0), m.AllOff(epoch))
    assert answer == Answer(Result.DONE)
    assert (after.held, after.off, after.epoch) == (None, True, max(standing.epoch, epoch))
    for older in range(after.epoch):
        grant = replace(GOOD[m.Grant], epoch=older, generation=9, from_=after.ticks, until=after.ticks + S)
        assert obey(after, replace(grant, limit=after.ticks + S))[0].result is Result.REFUSED


def test_a_recording_of_an_all_off_that_was_released_does_not_count():
    assert broadcast_counts(Standing(1, epoch=4), m.AllOff(5))
    assert broadcast_counts(Standing(1, epoch=5, off=True), m.AllOff(5))
    assert not broadcast_counts(Standing(1, epoch=5), m.AllOff(5))
    assert not broadcast_counts(Standing(1, epoch=5, off=True), m.AllOff(4))


@given(st.integers(0, 100), st.integers(0, 100), st.integers(0, 200 * S))
def test_dropping_out(drop_on, drop_off, at):
    """Tenths of a second on and off in turn, from the start of the grant; counted out tenth by tenth."""
    held = Held(1, 10 * S, 150 * S, 150 * S, Keying(), 100, drop_on, drop_off)
    expected = 10 * S <= at < 150 * S
    if drop_off and expected:
        pattern = [True] * drop_on + [False] * drop_off
        expected = pattern[(at - 10 * S) // 100_000 % len(pattern)]
    assert sends_at(held, at) == expected


def test_no_grant_no_sending():
    assert not any(sends_at(None, at) for at in (0, S, 2**64 - 1))
    assert not sends_at(replace(HELD, limit=55 * S), 55 * S)


def test_printed_table():
    text = table_as_text()
    assert text.count("\n") == 2 + sum(len(rules) + 1 for rules in RULES.values())
    assert "| Grant | older epoch | refused | older epoch |\n" in text
    assert "| Grant | late | late |  |\n" in text
    assert "| AllOff | nothing above | done | |\n" in text
    assert len({line.count("|") for line in text.splitlines()}) == 1
