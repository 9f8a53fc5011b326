"""What lasts: power cut at every word that is written, a worn and a damaged flash, keys, counters and strikes."""

from __future__ import annotations

import os
from random import Random

import pytest
from life import ADDRESS, Life, S

from fieldctl.wire import adding, envelope, messages, seal
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Flags, Reason, Result

PAGE = 1024
LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))


def busy(life: Life, strikes: int, keep_every: int) -> None:
    """An afternoon: strikes, most of them acknowledged, all off, grants, generations."""
    life.order(m.Arm(life.boot(), 1, True, 0))
    for n in range(strikes):
        if life.cut:
            return
        life.strike()
        said = life.token()
        if n % keep_every and isinstance(said, m.Strike):
            life.ack((life.boot(), life.sim.look().number))
        if n % 10 == 3:
            said = life.order(m.AllOff(life.epoch + 1))
            life.epoch += said is not None and said.result == Result.DONE
        if n % 10 == 6:
            now = life.ticks + 1000
            good = m.Grant(life.boot(), n + 1, life.epoch, 9, now, now + 30 * S, now + 60 * S, 1000, 100)
            said = life.order(good)
            life.generation = n + 1 if said is not None and said.result == Result.DONE else life.generation


def words_of(strikes: int, keep_every: int) -> int:
    life = Life()
    before = life.sim.c.words
    busy(life, strikes, keep_every)
    life.check()
    return int(life.sim.c.words) - before


@pytest.mark.parametrize(("strikes", "keep_every"), [(12, 3), (150, 7)])
def test_power_cut_at_every_word(strikes, keep_every) -> None:
    """Of the long afternoon, in which pages are moved, every word of its end and some of the rest; all with --long."""
    words = words_of(strikes, keep_every)
    assert words > strikes * 17
    last = range(words - 250, words + 1)
    for nth in range(1, words + 1):
        if strikes > 12 and not LONG and nth not in last and nth % 41:
            continue
        life = Life()
        life.sim.c.cut_words = True
        life.sim.c.cut_in = nth
        busy(life, strikes, keep_every)
        assert life.cut, f"word {nth} was never written"
        for again in (1, 2, 4, 0):  # and again while it starts
            life.again()
            life.sim.c.cut_in = again
            life.token()
        life.again()
        life.check()
        life.again()
        life.check()
        for _ in range(3):
            life.strike()


@pytest.mark.parametrize("when", [0, 1, 2])
def test_power_cut_before_in_and_after_every_write(when) -> None:
    nth = 0
    while True:
        nth += 1
        life = Life()
        life.sim.c.cut_words = False
        life.sim.c.cut_when = when
        life.sim.c.cut_in = nth
        busy(life, 8, 2)
        if not life.cut:
            assert nth > 20
            return
        life.again()
        life.check()


def test_a_log_that_is_full_keeps_its_oldest_for_ever_and_counts_what_it_drops() -> None:
    life = Life(log_max=64)
    life.order(m.Arm(1, 1, True, 0))
    for _ in range(70):
        life.strike()
    assert len(life.sim.waiting()) == 64
    assert life.sim.look().dropped == 6
    rng = Random(1)
    for _ in range(400):  # round the pages many times, the oldest never acknowledged
        waiting = life.sim.waiting()
        assert waiting[0] == (1, 1)
        life.ack(rng.choice(waiting[1:]))
        life.strike()
    assert len(life.sim.waiting()) == 64
    life.again()
    assert len(life.sim.waiting()) == 64
    life.check()


def test_counters_for_hours() -> None:
    """The pages of the counters go round; each turn begins with everything."""
    life = Life()
    for _ in range(20_000):
        life.token()
    life.again()
    life.token()
    life.check()


def damage(life: Life, page: int, at: int, by: int = 0x10) -> None:
    life.sim.c.flash[page * PAGE + at] ^= by


@pytest.mark.parametrize(
    ("at", "by"), [*((at, 0x10) for at in (0, 5, 9, 14, 40, 70, 110, 130, 156)), (0, 0x02), (1, 0x43), (3, 0xFF)]
)
def test_a_damaged_page_refuses_to_send_and_says_why(at, by) -> None:
    """Whichever byte: what is legible holds, or nothing sends; it lives, and says so under a reason of its own."""
    life = Life()
    for n in range(6):
        life.order(m.AllOff(n + 1))
    life.again()
    damage(life, 1, at, by)
    life.again()
    life.counter = 5_000
    life.up_high = 0
    now = life.ticks + 1000
    said = life.order(m.Grant(life.boot(), 9, 9, 9, now, now + 30 * S, now + 60 * S, 1000, 100))
    if said is None:
        assert not life.sim.look().has_keys  # its keys lay in what was damaged: it is silent
    else:
        assert (said.result, said.reason) == (Result.REFUSED, Reason.STORAGE)
        assert said.flags & Flags.ALL_OFF
    assert not life.sim.look().sends
    assert life.sim.look().boot >= 1


def test_damage_is_over_when_the_keys_are_given_anew() -> None:
    life = Life()
    for n in range(6):
        life.order(m.AllOff(n + 1))
    damage(life, 1, 130)
    life.again()
    assert life.sim.look().damaged
    life.sim.c.nonce_set = True
    life.sim.c.nonce = b"my nonce"
    life.sim.step(life.ticks, 5)
    body = messages.encode(m.Hail(b"asker  1", 1, 0))
    assert life.sim.hear(envelope.bare(envelope.HAIL, ADDRESS, body), life.ticks + 1000)
    unit = b"factory secret 1", bytes.fromhex("000102030a1b2c3d")
    add = adding.make_add(*unit, b"asker  1", b"my nonce", seal.derive_keys(bytes(16), ADDRESS, 7))
    life.sim.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(add)), life.ticks + 2000)
    seen = life.sim.look()
    assert (seen.damaged, seen.version, seen.off, seen.generation) == (False, 7, True, 0)


def test_flash_that_refuses_every_write() -> None:
    """Quiet is obeyed all the same; what has to last is refused as storage; in the end it has to stay silent."""
    life = Life()
    now = life.ticks + 1000
    life.order(m.Grant(1, 1, 0, 9, now, now + 30 * S, now + 60 * S, 1000, 100))
    life.sim.c.broken_flash = True
    said = life.order(m.AllOff(4))
    assert (said.result, said.reason) == (Result.REFUSED, Reason.STORAGE)
    assert not said.flags & (Flags.GRANTED | Flags.GATE_ON)
    now = life.ticks + 1000
    said = life.order(m.Grant(1, 2, 0, 9, now, now + 30 * S, now + 60 * S, 1000, 100))
    assert (said.result, said.reason) == (Result.REFUSED, Reason.STORAGE)
    answers = [life.token() for _ in range(200)]
    assert answers[-1] is None, "a counter was used that is not on file"
    assert life.sim.lost()["storage"] > 0
    life.sim.c.broken_flash = False
    assert life.token() is not None


def moving(life: Life) -> None:
    """Sixty strikes that wait all over the log, and more that come and go: pages are moved again and again."""
    rng = Random(2)
    life.order(m.Arm(life.boot(), 1, True, 0))
    for _ in range(60):
        life.strike()
    for _ in range(70):
        if life.cut:
            return
        life.ack(rng.choice(life.sim.waiting()))
        life.strike()


def test_power_cut_while_a_page_is_moved() -> None:
    """A strike that was copied and not yet taken out of its old place is there once."""
    whole = Life()
    moving(whole)
    calls = int(whole.sim.c.writes)
    doubled = 0
    for nth in range(calls - 190, calls - 40):
        life = Life()
        life.sim.c.cut_words = False
        life.sim.c.cut_when = 2
        life.sim.c.cut_in = nth - 4  # a new target has written that often before
        moving(life)
        assert life.cut
        writes = int(life.sim.c.writes)
        life.again()
        doubled += int(life.sim.c.writes) - writes > 3  # it had something to tidy
        life.check()
    assert doubled


def test_power_cut_at_every_word_of_a_page_turn() -> None:
    """Counters fill a page; the next one is begun, and the power goes at any word of it, and again while it starts."""
    for nth in range(1, 46):
        life = Life()
        for _ in range(64 * 73):
            life.token()
        life.sim.c.cut_words = True
        life.sim.c.cut_in = nth
        for _ in range(64 * 8):
            life.token()
        assert life.cut, f"word {nth} was never written"
        for again in (3, 1, 0):
            life.again()
            life.sim.c.cut_in = again
            life.token()
        life.again()
        life.check()
