"""Whose turn it is, played through in virtual time with the bytes' own durations; and the search for new targets."""

from __future__ import annotations

import itertools
import random
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import bus, envelope, frames, messages
from fieldctl.wire.bus import BYTE_US, LISTENS_US, SILENT_AFTER, WAKE_US, Bus, Pace, Search, slot_of

TOKEN_BYTES = len(frames.encode(envelope.token(1, 1)))
ANSWER_BYTES = len(
    frames.encode(
        envelope.sealed(envelope.UP, 1, 1, messages.encode(messages.Status(12, 2 * 3600 * 10**6, 0, 200)), bytes(8))
    )
)
TURNAROUND_US = 300
TURN_US = round((TOKEN_BYTES + ANSWER_BYTES) * BYTE_US) + TURNAROUND_US
TIMEOUT_US = round(TOKEN_BYTES * BYTE_US) + 3_000  # a token, then silence
ORDER_US = round((80 + 70) * BYTE_US) + TURNAROUND_US  # a grant and its outcome


def test_turns_take_what_the_design_reckons_with():
    assert (TOKEN_BYTES, ANSWER_BYTES) == (11, 42)
    assert 32 * TURN_US < 170_000


@dataclass
class Play:
    """A bus of targets, some dead, some with endless strikes; every turn is written down."""

    members: int = 32
    exercise: tuple[int, ...] = ()
    dead: frozenset[int] = frozenset()
    babbling: frozenset[int] = frozenset()
    strikes: bool = True  # what there is no end of: strikes, or orders that it answers with something else
    quiet: bool = False
    pace: Pace = field(default_factory=Pace)
    now: int = 0

    def __post_init__(self) -> None:
        self.bus = Bus(self.pace)
        self.bus.quiet = self.quiet
        for address in range(1, self.members + 1):
            self.bus.join(address, 0)
        self.bus.set_exercise(self.exercise, 0)
        self.turns: dict[int, list[int]] = defaultdict(list)
        self.orders: set[int] = set()
        self.busy_us = 0

    def turn(self) -> int | None:
        member = self.bus.next(self.now)
        if member is None:
            self.now = self.bus.next_due()
            return None
        began = self.now
        self.turns[member.address].append(began)
        if member.address in self.dead:
            self.now += TIMEOUT_US
            self.bus.missed(member, self.now)
        else:
            self.now += ORDER_US if member.address in self.orders else TURN_US
            self.orders.discard(member.address)
            endless = member.address in self.babbling
            self.bus.answered(member, self.now, more=endless and not self.strikes, strikes=endless and self.strikes)
        self.busy_us += self.now - began
        return member.address

    def run(self, seconds: float) -> Play:
        end = self.now + round(seconds * 1e6)
        while self.now < end:
            self.turn()
        return self

    def order(self, address: int) -> None:
        self.orders.add(address)
        self.bus.want(address, self.now)

    def gaps(self, address: int, after: int = 0) -> list[int]:
        return [b - a for a, b in itertools.pairwise(self.turns[address]) if a >= after]


def test_ring_of_an_exercise():
    """Four in an exercise among 32: never more than 100 ms from turn to turn; the idle once a second all the same."""
    play = Play(exercise=(3, 9, 20, 31)).run(60)
    for address in range(1, 33):
        limit = 100_000 if address in play.exercise else 1_100_000
        assert max(play.gaps(address, 1_000_000)) <= limit
    assert play.busy_us / play.now < 0.5


def test_turns_do_not_lengthen_the_period():
    """As many turns as the pace says, however long they take: a turn is due from when the one before was due."""
    play = Play(exercise=(3, 9, 20, 31)).run(60)
    assert len(play.turns[3]) == pytest.approx(60 / 0.075, abs=2)
    assert len(play.turns[1]) == pytest.approx(60, abs=2)


def test_a_silent_one_goes_before_nobody_though_an_order_waits_for_it():
    some = Bus()
    for address in (1, 2):
        some.join(address, 0)
    some.set_exercise([2], 0)
    for _ in range(SILENT_AFTER):
        some.missed(some[1], 0)
    some.want(1, 2_000_000)
    assert some.next(2_000_000) is some[2]
    some.answered(some[2], 2_000_000, more=False)
    some[2].due_us = 3_000_000
    assert some.next(2_000_000) is some[1]


def test_ring_with_orders_now_and_then():
    """Renewals for each of the four, a few a minute, and one for an idle target."""
    play = Play(exercise=(3, 9, 20, 31))
    rng = random.Random(5)
    for _ in range(200):
        play.run(rng.uniform(0.1, 0.5))
        play.order(rng.choice([3, 9, 20, 31, 5]))
    assert max(max(play.gaps(address, 1_000_000)) for address in play.exercise) <= 100_000


def test_dead_ones_cost_one_probe_a_round():
    dead = frozenset({2, 3, 17})
    play = Play(exercise=(3, 9, 20, 31), dead=dead).run(30)
    settled = 5_000_000
    for address in dead:
        gaps = play.gaps(address, settled)
        assert min(gaps) >= 0.9 * play.pace.idle_us
        assert play.bus[address].silent
    assert max(max(play.gaps(address, settled)) for address in (9, 20, 31)) <= 100_000


def test_a_dead_one_with_an_order_is_tried_soon_and_then_once_a_round():
    play = Play().run(0.5)
    play.dead = frozenset({2})
    start = play.now
    play.order(2)
    turns = [play.turn() for _ in range(SILENT_AFTER - 1)]
    assert turns == [2] * (SILENT_AFTER - 1)
    play.run(20)
    assert min(play.gaps(2, start + 1_000_000)) >= 0.9 * play.pace.idle_us


def test_urgent_before_all():
    """All off for everybody in the middle of an exercise: every one has its turn before anybody's second."""
    play = Play(exercise=(3, 9, 20, 31)).run(7.77)
    for address in range(1, 33):
        play.order(address)
    began = play.now
    order = []
    while len(set(order)) < 32:
        address = play.turn()
        assert address is not None
        order.append(address)
    assert len(order) == 32
    assert play.now - began == 32 * ORDER_US < 500_000


def test_pressing_asks_on_and_on_and_ends_when_told():
    """All off that is not confirmed: who does not answer is asked again and again, among the others that are."""
    play = Play(exercise=(3, 9), dead=frozenset({2, 17})).run(10)
    assert play.bus[2].silent
    play.bus.press(True, play.now)
    for address in (2, 9, 17):
        play.order(address)
    began = play.now
    play.run(1)
    assert not play.bus[2].silent
    assert began <= play.turns[9][-1] < began + 20_000, "one that answers is not kept waiting by those that do not"
    asked = {address: sum(at >= began for at in play.turns[address]) for address in (2, 17)}
    assert min(asked.values()) > 50
    assert abs(asked[2] - asked[17]) <= 1
    play.bus.press(False, play.now)
    assert play.bus[2].silent
    play.run(1)
    settled = play.now
    play.run(10)
    assert min(play.gaps(2, settled)) >= 0.9 * play.pace.idle_us
    assert max(play.gaps(3, settled)) <= 100_000


def listens(until: int, at: int) -> bool:
    """As a target reckons it."""
    return at >= until or (until - at) % WAKE_US <= LISTENS_US


def test_a_sleeper_is_left_alone_until_the_end_of_its_sleep():
    play = Play().run(5)
    until = play.now + 45_000_000
    play.bus.sleeps(7, until)
    slept = play.now
    play.run(50)
    assert min(at for at in play.turns[7] if at > slept) in range(until, until + 170_000)
    assert max(play.gaps(7, until)) < 1.2 * play.pace.idle_us, "and then it is asked like any other"


@pytest.mark.parametrize("wanted", ["order", "all off"])
@pytest.mark.parametrize("after_s", [0.0, 0.3, 1.7, 11.11, 44.95])
def test_a_sleeper_that_is_wanted_is_asked_when_it_listens(wanted, after_s):
    play = Play(exercise=(3, 9, 11, 12), dead=frozenset({7})).run(5)
    until = play.now + 45_000_000
    play.bus.sleeps(7, until)
    play.run(after_s)
    began = play.now
    if wanted == "order":
        play.order(7)
    else:
        play.bus.press(True, play.now)
    play.run(10)
    asked = [at for at in play.turns[7] if began <= at < until]
    assert all(listens(until, at) for at in asked)
    first = min(at for at in play.turns[7] if at >= began)
    assert first - began <= WAKE_US + 40_000
    assert all(b - a <= WAKE_US + 40_000 for a, b in pairwise(asked)), "at every time at which it listens"


def test_who_answered_sleeps_no_more():
    play = Play().run(5)
    play.bus.sleeps(7, play.now + 45_000_000)
    play.order(7)
    play.run(2.5)
    assert play.bus[7].asleep_until_us is None
    settled = play.now
    play.run(10)
    assert max(play.gaps(7, settled)) <= 1.2 * play.pace.idle_us


def test_one_urgent_target_waits_for_the_turn_at_hand_only():
    play = Play(exercise=tuple(range(1, 33))).run(3)
    for _ in range(50):
        play.run(0.05)
        play.order(32)
        assert next(a for a in iter(play.turn, 0) if a is not None) == 32


@pytest.mark.parametrize("strikes", [True, False])
@pytest.mark.parametrize("babbling", [{5}, {9}, {5, 9}, {9, 20}, set(range(1, 33))])
def test_one_that_always_has_more_keeps_nobody_from_a_turn(babbling, strikes):
    """It gets what is left over, and no more, in an exercise or out of it, alone or all of them together."""
    play = Play(exercise=(3, 9, 20, 31), babbling=frozenset(babbling), strikes=strikes).run(30)
    assert play.busy_us / play.now > 0.99
    for address in range(1, 33):
        crowded = len(babbling) == 32 and not strikes
        limit = 1.4 * 32 * TURN_US if crowded else 100_000 if address in play.exercise else 1_300_000
        assert max(play.gaps(address, 3_000_000)) <= limit
    play.order(12)
    assert next(a for a in iter(play.turn, 0) if a is not None) == 12


@pytest.mark.parametrize("many", [12, 20, 28, 32])
def test_an_exercise_with_many_targets_leaves_turns_for_the_idle(many):
    """More in the ring than 100 ms can hold: the ring grows by what it lacks, and nobody is left out."""
    play = Play(exercise=tuple(range(1, many + 1))).run(20)
    for address in range(1, 33):
        limit = max(100_000, 1.4 * many * TURN_US) if address <= many else 1_300_000
        assert max(play.gaps(address, 3_000_000)) <= limit


def test_quiet_bus():
    """Less chatter: in an exercise five times a second, the idle and the dead once in four seconds."""
    loud = Play(exercise=(3, 9), dead=frozenset({7, 9})).run(40)
    quiet = Play(exercise=(3, 9), dead=frozenset({7, 9}), quiet=True).run(40)
    assert quiet.busy_us < 0.35 * loud.busy_us
    settled = 10_000_000
    assert 150_000 <= min(quiet.gaps(3, settled)) <= max(quiet.gaps(3, settled)) <= 230_000
    for address in (1, 7, 32):
        assert min(quiet.gaps(address, settled)) >= 3_800_000
    assert min(quiet.gaps(9, settled)) >= 900_000, "a dead one in an exercise is looked for once a round"
    quiet.order(5)
    assert next(a for a in iter(quiet.turn, 0) if a is not None) == 5


def test_silent_comes_back():
    play = Play(exercise=(3,), dead=frozenset({3})).run(10)
    assert play.bus[3].silent
    play.dead = frozenset()
    play.run(2)
    assert not play.bus[3].silent
    assert max(play.gaps(3, play.now - 900_000)) <= 100_000


def test_joining_and_leaving():
    some = Bus()
    assert some.next(0) is some.next_due() is None
    one = some.join(5, 100)
    assert some.join(5, 900) is one
    assert (len(some), 5 in some, 6 in some) == (1, True, False)
    assert some.next(99) is None
    assert some.next(100) is one
    assert some.next_due() == 100
    some.leave(5)
    some.leave(5)
    assert len(some) == 0


def test_newcomers_of_an_exercise_are_due_at_once():
    some = Bus()
    for address in (1, 2):
        some.join(address, 0)
        some.answered(some[address], 0, more=False)
    some.set_exercise([2], 5)
    assert some.next(5) is some[2]
    some.set_exercise([], 6)
    assert not some[2].in_exercise


@given(
    st.lists(
        st.tuples(st.sampled_from(["want", "answer", "more", "strikes", "miss", "wait"]), st.integers(1, 6)),
        max_size=100,
    ),
    st.booleans(),
)
def test_nobody_is_forgotten(steps, quiet):
    """Whatever happens, everybody has a turn again within the longest period and the turns of the others."""
    some, now = Bus(), 0
    some.quiet = quiet
    for address in range(1, 7):
        some.join(address, now)
    some.set_exercise([1, 2], now)
    for what, which in steps:
        member = some.next(now)
        now += 5_000
        if what == "want":
            some.want(which, now)
        elif what == "wait":
            now += which * 300_000
        elif member is not None and what == "miss":
            some.missed(member, now)
        elif member is not None:
            some.answered(member, now, more=what == "more", strikes=what == "strikes")
    seen = set()
    for _ in range(2_000):
        member = some.next(now)
        if member is None:
            now = some.next_due()
            continue
        seen.add(member.address)
        now += 5_000
        some.answered(member, now, more=False)
        if len(seen) == 6:
            break
    assert seen == set(range(1, 7))
    assert (
        now - 5_000 * len(steps) - 300_000 * sum(w for s, w in steps if s == "wait") <= some.pace.quiet_idle_us + 10**6
    )


# ---- the search -------------------------------------------------------------------------------------------------


def search(seed: int, new: int, noise: float = 0.0) -> tuple[set[bytes], Search, int]:
    """What a search finds among so many new targets that answer in their slots and garble each other; and its time."""
    rng = random.Random(seed)
    targets = [rng.randbytes(8) for _ in range(new)]
    hunt = Search(lambda: rng.randbytes(8))
    took = 0
    while not hunt.over:
        nonce, slots, salt = hunt.hail()
        assert messages.decode(messages.encode(messages.Hail(nonce, slots, salt)))
        took += hunt.listens_us
        by_slot = defaultdict(list)
        for hardware in targets:
            by_slot[slot_of(hardware, nonce, salt, slots)].append(hardware)
        heard = [(who[0], rng.randbytes(8)) for who in by_slot.values() if len(who) == 1]
        lucky = [answer for answer in heard if rng.random() >= noise]
        hunt.round_over(lucky, garbled=len(lucky) < len(by_slot))
        assert hunt.round < 500, "it ends"
    return set(targets), hunt, took


@pytest.mark.parametrize("new", range(0, 21))
def test_search_finds_all(new):
    for seed in range(50):
        targets, hunt, took = search(seed * 100 + new, new)
        assert set(hunt.found) == targets
        assert took < 40_000_000


def test_search_with_nobody_new_is_over_soon():
    _, hunt, took = search(1, 0)
    assert (hunt.round, hunt.slots) == (bus.CALM_ROUNDS, bus.SLOTS_FIRST)
    assert took < 200_000


def test_search_on_a_noisy_line():
    """A fifth of all answers is lost to noise: still all are found, and it still ends."""
    missed = 0
    for seed in range(60):
        targets, hunt, _ = search(seed, 12, noise=0.2)
        missed += len(targets - set(hunt.found))
    assert missed == 0


def test_a_line_that_is_only_noise_ends_the_search():
    hunt = Search(lambda: bytes(8))
    while not hunt.over:
        hunt.hail()
        hunt.round_over([], garbled=True)
    assert hunt.round == bus.VAIN_ROUNDS
    assert hunt.slots == bus.SLOTS_MAX


def test_two_calm_rounds_after_the_last_new_one():
    hunt = Search(lambda: bytes(8))
    rounds = [([], False), ([(b"hardware", b"nonce...")], False), ([], False), ([], True), ([], False), ([], False)]
    over = []
    for answers, garbled in rounds:
        hunt.round_over(answers, garbled=garbled)
        over.append(hunt.over)
    assert over == [False] * 5 + [True]
    again = Search(lambda: bytes(8))
    for _ in range(2):
        again.round_over([], garbled=False)
    assert again.over
    again.round_over([(b"hardware", b"nonce...")], garbled=False)
    assert not again.over


def test_the_last_nonce_of_each_counts():
    hunt = Search(lambda: bytes(8))
    hunt.round_over([(b"hardware", b"first...")], garbled=False)
    hunt.round_over([(b"hardware", b"second..")], garbled=False)
    assert hunt.found == {b"hardware": b"second.."}


def test_a_slot_holds_a_hail_answer():
    body = messages.encode(messages.HailAnswer(bytes(8), bytes(8), 1, 0xFFFF, True))
    frame = frames.encode(envelope.bare(envelope.HAIL_ANSWER, 1, body))
    assert len(frame) * BYTE_US + TURNAROUND_US < bus.SLOT_US


@given(st.binary(min_size=8, max_size=8), st.binary(min_size=8, max_size=8), st.integers(0, 255), st.integers(1, 255))
def test_slots(hardware, nonce, salt, slots):
    assert 0 <= slot_of(hardware, nonce, salt, slots) < slots
    assert slot_of(hardware, nonce, salt, slots) == slot_of(hardware, nonce, salt, slots)


def test_two_part_sooner_or_later():
    """Any two hardware ids differ in some round of few; nothing binds them together for ever."""
    rng = random.Random(3)
    for _ in range(200):
        one, other = rng.randbytes(8), rng.randbytes(8)
        nonce = rng.randbytes(8)
        apart = [salt for salt in range(1, 40) if slot_of(one, nonce, salt, 4) != slot_of(other, nonce, salt, 4)]
        assert len(apart) > 15
