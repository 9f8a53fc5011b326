"""Sleep, radio, and what else a whole target does beside answering."""

from __future__ import annotations

import itertools

import pytest
from csim import BYTES, CONNECTED, NEVER, PAYLOAD, PRESSED, Sim
from life import ADDRESS, KEYS, Life, S

from fieldctl.units import EVERYBODY
from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Flags, Result, Why

ALL = 0x1FF


def sealed(message: m.Message, counter: int) -> bytes:
    return seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, counter, messages.encode(message))


def opened(payload: bytes) -> m.Message:
    env = envelope.read(payload)
    assert env is not None
    if env.form == envelope.UP:
        assert seal.Sealer(KEYS.own).holds(env)
    return messages.decode(env.body)


# ---- on a bus -----------------------------------------------------------------------------------------------------


def test_an_answer_goes_out_after_the_turnaround_and_is_one_burst() -> None:
    sim = Sim(keys=KEYS)
    due = sim.step(S, BYTES, frames.encode(envelope.token(ADDRESS, 3)))
    assert due == S + 200
    assert sim.c.sent_count == 0
    assert sim.step(due) == NEVER
    sent = sim.c.sent[0]
    raw = sim.ffi.buffer(sent.data, sent.size)[:]
    assert (sent.at, raw[0], raw[-1], raw.count(0)) == (S + 200, 0, 0, 2)
    (payload,) = sim.take()
    assert opened(payload).re == 3


def test_a_line_that_has_no_room_gets_it_a_little_later() -> None:
    sim = Sim(keys=KEYS)
    sim.c.sent_count = 32
    due = sim.step(S, BYTES, frames.encode(envelope.token(ADDRESS, 3)))
    again = sim.step(due)
    assert again == due + 1000
    sim.c.sent_count = 0
    sim.step(again)
    assert len(sim.take()) == 1


def test_on_a_bus_nobody_speaks_unasked() -> None:
    life = Life()
    life.order(m.Arm(1, 1, True, 0))
    life.strike()
    life.sim.step(life.ticks, CONNECTED)
    for _ in range(100):
        life.ticks += S
        assert life.sim.step(life.ticks) == NEVER
    assert life.sim.take() == []


def test_the_watchdog_is_fed_twice_a_second_and_only_by_steps() -> None:
    sim = Sim(keys=KEYS)
    sim.step(10 * S)
    assert 20 <= sim.c.watchdog <= 30


# ---- asleep -------------------------------------------------------------------------------------------------------


def asleep(until_s: float, wake_s: int) -> Life:
    life = Life()
    life.sim.c.unit.abilities = ALL
    life.order(m.Arm(1, 1, True, 0))
    life.sim.step(life.ticks)
    assert life.sim.c.pad_on
    said = life.order(m.Sleep(1, 1, life.ticks + round(until_s * S), wake_s))
    assert said.result == Result.DONE
    assert said.flags & Flags.ASLEEP_SOON
    assert not said.flags & Flags.ARMED
    life.sim.step(life.ticks + 1)
    return life


@pytest.mark.parametrize("wake_s", [1, 5, 60])
def test_a_sleeper_listens_a_quarter_of_a_second_at_every_wake(wake_s) -> None:
    life = asleep(600, wake_s)
    assert not life.sim.c.pad_on
    heard = on = 0
    begin = life.ticks
    step = 10_000
    for n in range(1, 200 * wake_s):
        life.sim.step(begin + n * step)
        on += life.sim.c.listens
        heard += 1
    assert on / heard == pytest.approx(min(1.0, 0.25 / wake_s), rel=0.2)
    assert life.sim.look().asleep


def test_only_an_open_ear_hears_and_a_word_to_it_wakes_it() -> None:
    life = asleep(600, 60)
    begin = life.ticks
    life.ticks = begin + 5 * S
    assert life.token() is None
    assert life.sim.look().asleep
    until = begin + 600 * S
    life.ticks = until - 7 * 60 * S - 100_000
    life.ticks -= 1000
    assert isinstance(life.token(), m.Status)
    assert not life.sim.look().asleep
    life.ticks += 5 * S
    assert life.token() is not None


def test_sleep_ends_by_itself_and_strikes_are_not_noticed_meanwhile() -> None:
    life = asleep(30, 0)
    assert not life.sim.strike((1, 2, 3), life.ticks + 1000)
    life.ticks += 31 * S
    life.sim.step(life.ticks)
    assert not life.sim.look().asleep
    assert life.sim.c.listens
    assert life.token() is not None


def test_all_off_for_everybody_wakes_a_sleeper_too() -> None:
    life = asleep(600, 1)
    life.ticks += 3 * S
    for n in range(10):
        body = messages.encode(m.AllOff(3))
        payload = seal.Sealer(KEYS.all_off).seal(envelope.ALL_OFF, EVERYBODY, 3, body)
        life.sim.hear(payload, life.ticks + n * 100_000)
    assert life.sim.look().epoch == 3


# ---- over radio ---------------------------------------------------------------------------------------------------


class Radio:
    """A target over radio: everything that it says, with its ticks."""

    def __init__(self) -> None:
        self.sim = Sim(keys=KEYS, log_max=64, on=False)
        self.sim.c.unit.radio = True
        self.sim.power_on()
        self.said: list[tuple[int, m.Message]] = []
        self.ticks = S
        self.counter = 0

    def run(self, until: int, what: int = 0, data: bytes = b"") -> None:
        soon = self.sim.step(self.ticks, what, data)
        while True:
            for i in range(self.sim.c.sent_count):
                sent = self.sim.c.sent[i]
                self.said.append((sent.at, opened(self.sim.ffi.buffer(sent.data, sent.size)[:])))
            self.sim.c.sent_count = 0
            if soon > until:
                break
            self.ticks = max(soon, self.ticks)
            soon = self.sim.step(self.ticks)
        self.ticks = until

    def order(self, message: m.Message) -> None:
        self.counter += 1
        self.run(self.ticks + 20_000, PAYLOAD, sealed(message, self.counter))

    def take(self, kind: type[m.Message]) -> list[int]:
        """When it said something of this kind."""
        found = [at for at, message in self.said if isinstance(message, kind)]
        self.said.clear()
        return found


def test_connected_it_says_who_it_is_and_what_waits() -> None:
    radio = Radio()
    radio.run(10 * S)
    assert radio.said == []
    radio.run(20 * S, CONNECTED)
    ((_, greeting),) = radio.said
    assert isinstance(greeting, m.Greeting)
    assert greeting.re is None
    assert (greeting.why, greeting.boot) == (int(Why.POWER), 1)


def test_strikes_are_pushed_at_once_and_again_with_longer_pauses() -> None:
    radio = Radio()
    radio.order(m.Arm(1, 1, True, 0))
    radio.said.clear()
    assert radio.sim.strike((200, 1000, 9000), radio.ticks)
    begin = radio.ticks
    radio.run(begin + 40 * S)
    pushed = [at - begin for at in radio.take(m.Strike)]
    assert pushed[0] < 5_000
    gaps = [b - a for a, b in itertools.pairwise(pushed)]
    for wanted, gap in zip((0.4, 0.8, 1.6, 3.2, 5.0, 5.0), gaps, strict=False):
        assert wanted * S * 0.98 <= gap <= wanted * 1.3 * S + 5_000
    radio.order(m.Ack(1, 1))
    radio.said.clear()
    radio.run(radio.ticks + 30 * S)
    assert radio.take(m.Strike) == []


def test_at_most_eight_in_one_push_oldest_first() -> None:
    radio = Radio()
    radio.order(m.Arm(1, 1, True, 0))
    for _ in range(11):
        radio.sim.strike((200, 1000, 9000), radio.ticks)
        radio.ticks += 1
    radio.said.clear()
    radio.run(radio.ticks + 300_000, CONNECTED)
    told = [said.number for _, said in radio.said if isinstance(said, m.Strike)]
    assert told[-8:] == list(range(1, 9))
    radio.order(m.Ack(1, 3))
    radio.said.clear()
    radio.run(radio.ticks + 700_000)
    assert [said.number for _, said in radio.said if isinstance(said, m.Strike)][:8] == [1, 2, 4, 5, 6, 7, 8, 9]


def test_without_keys_it_is_silent_over_radio_too() -> None:
    sim = Sim(on=False)
    sim.c.unit.radio = True
    sim.power_on()
    assert sim.step(S, CONNECTED) == NEVER
    assert sim.step(2 * S, PAYLOAD, sealed(m.Ask(bytes(8), 1), 1)) == NEVER
    assert sim.lost()["no-keys"] == 1


# ---- the edges of numbers -----------------------------------------------------------------------------------------


def test_the_last_counter_of_all_is_never_passed() -> None:
    life = Life()
    life.counter = 0xFFFF_FFFE
    assert life.order(m.Ask(bytes(8), 1)) is not None
    assert life.sim.look().seen == 0xFFFF_FFFF
    sim = Sim(keys=KEYS, on=False)
    sim.lib.fc_sim_power_on(sim.c, 0, 0)


def test_losses_stop_counting_at_their_top() -> None:
    sim = Sim(keys=KEYS)
    junk = b"\0\x11\x22" * 22_000
    for _ in range(4):
        sim.step(S, BYTES, junk)
    assert sim.lost()["not-cobs"] == 65_535


def test_strikes_that_fit_no_slot_are_not_logged() -> None:
    life = Life()
    life.order(m.Arm(1, 1, True, 0))
    assert not life.sim.strike((1 << 31,) * 15, life.ticks)
    assert not life.sim.strike((), life.ticks)
    assert life.sim.strike((23, 24, 255, 256, 65_535, 65_536, 0xFFFF_FFFF), life.ticks)
    told = life.token()
    assert told.features == (23, 24, 255, 256, 65_535, 65_536, 0xFFFF_FFFF)


def test_a_press_counts_for_two_minutes() -> None:
    life = Life()
    life.sim.step(life.ticks, PRESSED)
    assert life.token().flags & Flags.PRESSED
    life.ticks += 121 * S
    assert not life.token().flags & Flags.PRESSED


def test_a_boot_that_cannot_be_written_says_nothing() -> None:
    life = Life()
    life.sim.c.broken_flash = True
    life.again()
    assert life.token() is None
    assert life.sim.lost()["no-keys"] == 1
