"""A simulated post: its presses as the contract tells them, its horn as it was ordered."""

from __future__ import annotations

from mountain import Mountain, mountain

from fieldctl.wire import messages
from fieldctl.wire.messages import Reason, Result, Why
from fieldctl.wire.post import HOLD_US
from sims.node import ABILITIES_OF_A_POST

S = 1_000_000


def told(m: Mountain) -> tuple[int | None, int | None, int | None]:
    status = m.token(m.nodes[0])
    assert isinstance(status, messages.Status)
    return status.presses, status.holds, status.press_ticks


def test_presses_are_told_as_counts_and_before_the_first_not_at_all() -> None:
    m = mountain(1, abilities=ABILITIES_OF_A_POST, base_ppm=140.0)
    n = m.nodes[0]
    assert told(m) == (None, None, None)
    n.press()
    m.go(1 * S)
    first = told(m)
    assert first[:2] == (1, 0)
    n.hold()
    m.go(HOLD_US - 50_000)
    assert told(m) == first, "not yet: it may still become a short one"
    m.go(100_000)
    held = told(m)
    assert held[:2] == (1, 1)
    m.go(3 * S)
    assert told(m) == held
    n.reboot(Why.POWER)
    m.go(1 * S)
    m.open(n)
    assert told(m) == (None, None, None)


def test_a_press_that_a_reboot_cuts_off_counts_as_nothing() -> None:
    m = mountain(1, abilities=ABILITIES_OF_A_POST)
    n = m.nodes[0]
    n.hold()
    m.go(1 * S)
    n.reboot(Why.POWER)
    m.go(5 * S)
    m.open(n)
    assert told(m) == (None, None, None)


def test_a_horn_blows_as_ordered_and_a_target_without_one_says_so() -> None:
    m = mountain(1, abilities=ABILITIES_OF_A_POST)
    n = m.nodes[0]
    now = n.ticks(m.world.now_us())
    order = messages.Horn(n.storage.boot, 1, now, now + S, 1000, 1000)
    assert m.order(n, order).result == Result.DONE
    assert [blown for _, blown in n.blown] == [order]
    m.go(2 * S)
    late = m.order(n, order)
    assert late.result == Result.LATE
    assert len(n.blown) == 1
    plain = mountain(1)
    other = messages.Horn(plain.nodes[0].storage.boot, 1, 0, plain.nodes[0].ticks(plain.world.now_us()) + S, 1000, 500)
    answer = plain.order(plain.nodes[0], other)
    assert (answer.result, answer.reason) == (Result.REFUSED, Reason.NO_ABILITY)
    assert plain.nodes[0].blown == []
