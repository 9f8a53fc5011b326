"""Sleep, radio, and what else a whole target does beside answering."""

from __future__ import annotations

import itertools
from random import Random

import pytest
from csim import BYTES, CONNECTED, NEVER, PAYLOAD, PRESSED, Sim
from life import ADDRESS, KEYS, Life, S

from fieldctl.units import EVERYBODY
from fieldctl.wire import adding, envelope, frames, messages, seal
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Flags, Reason, Result, Why

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


def test_the_longest_wake_is_kept() -> None:
    """Its microseconds are more than 32 bits hold."""
    wake_s = 65_535
    life = asleep(3 * wake_s, wake_s)
    until = life.ticks + 3 * wake_s * S - 1001
    life.sim.step(until - 2 * wake_s * S - S)
    turns, was, at = [], life.sim.c.listens, life.sim.ticks
    assert not was
    for n in range(200):
        life.sim.step(at + n * 10_000)
        if life.sim.c.listens != was:
            was = life.sim.c.listens
            turns.append((life.sim.ticks - (until - 2 * wake_s * S)) / S)
    assert turns == pytest.approx([-0.25, 0.0], abs=0.02)
    life.sim.step(until - wake_s * S - 3_000 * S)
    assert not life.sim.c.listens


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


# ---- bodies that are nearly messages ------------------------------------------------------------------------------

NEARLY = {
    "a1": "not-cbor",
    "a119": "not-cbor",
    "a11901": "not-cbor",
    "a2000406f810": "not-cbor",
    "a2000406f820": "ill-typed",
    "a2000406fa00000000": "ill-typed",
    "a200040681818181818181818101": "not-cbor",
    "a2000406818181818101": "ill-typed",
    "a20004069bffffffffffffffff": "not-cbor",
    "a20004065affffffff": "not-cbor",
    "a200040698ff01": "not-cbor",
    "a2000406a301020304": "not-cbor",
    "b802000406187b": "not-deterministic",
    "a200041806187b": "not-deterministic",
    "a200180406187b": "not-deterministic",
    "a2000406190001": "not-deterministic",
    "a20004061a00000001": "not-deterministic",
    "a20004061b0000000000000001": "not-deterministic",
    "a106187b": "unknown-kind",
    "a20019ffff0601": "unknown-kind",
    "a3000406187b0641": "not-cbor",
    "a300040618 7b0601".replace(" ", ""): "not-cbor",
    "a3000406187bd8640100": "bad-key",
    "c0a2000406187b": "no-map",
    "00": "no-map",
}


@pytest.mark.parametrize("body", NEARLY)
@pytest.mark.parametrize("form", [envelope.DOWN, envelope.ASKED, envelope.ALL_OFF])
def test_what_is_nearly_a_message_is_counted_under_its_word(form, body) -> None:
    sim = Sim(keys=KEYS)
    key = KEYS.all_off if form == envelope.ALL_OFF else KEYS.own
    address = EVERYBODY if form == envelope.ALL_OFF else ADDRESS
    counter = 123 if form != envelope.ASKED else 0
    assert sim.hear(seal.Sealer(key).seal(form, address, counter, bytes.fromhex(body)), S) == b""
    assert sim.lost() == {NEARLY[body]: 1}


def test_24_and_more_pairs_are_passed_over_when_the_first_are_known() -> None:
    life = Life()
    more = b"".join(bytes([0x18, 100 + n, n % 24]) for n in range(26))
    body = b"\xb8\x1d" + messages.encode(m.Ask(b"a nonce!", 1))[1:] + more
    life.counter += 1
    assert isinstance(life.hear(seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, 1, body)), m.Greeting)


def test_payloads_of_every_length_and_form() -> None:
    sim = Sim(keys=KEYS)
    for form in (0x10, 0x20, 0x21, 0x22, 0x30, 0x40, 0x41, 0x42, 0x50, 0):
        for size in range(130):
            sim.hear(bytes([form]) + ADDRESS.to_bytes(4, "big") + bytes(size), S)
    lost = sim.lost()
    assert lost["bad-tag"] == 2 * 104 + 0 or lost["bad-tag"] > 200
    assert sim.look().boot == 1


def test_late_by_more_than_the_contract_can_say() -> None:
    life = Life()
    life.ticks = 5_000 * S
    said = life.order(m.Grant(1, 1, 0, 9, 0, life.ticks + 30 * S, life.ticks + 60 * S, 1000, 100))
    assert (said.result, said.late) == (Result.LATE, 0xFFFF_FFFF)


def test_keys_that_cannot_be_stored_change_nothing() -> None:
    life = Life()
    life.order(m.Ask(bytes(8), 1))
    life.sim.c.broken_flash = True
    nonce = b"a nonce."
    other = seal.derive_keys(bytes(16), ADDRESS, 2)
    said = life.order(adding.make_rekey(KEYS.own, nonce, other))
    assert (said.result, said.reason) == (Result.REFUSED, Reason.STORAGE)
    assert life.sim.look().version == 1
    life.sim.step(life.ticks, PRESSED)
    life.sim.c.nonce_set = True
    life.sim.c.nonce = b"my nonce"
    life.sim.hear(envelope.bare(envelope.HAIL, ADDRESS, messages.encode(m.Hail(b"asker  1", 1, 0))), life.ticks)
    add = adding.make_add(b"factory secret 1", bytes.fromhex("000102030a1b2c3d"), b"asker  1", b"my nonce", other)
    life.sim.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(add)), life.ticks)
    assert life.sim.look().version == 1
    assert life.sim.lost()["storage"] == 1
    assert not life.sim.lib.fc_sim_give_keys(life.sim.c, other.own, other.all_off, 2)
    life.sim.hear(envelope.bare(envelope.ADD, EVERYBODY, messages.encode(add)), life.ticks)


def test_the_same_own_key_under_another_version_is_another_set() -> None:
    life = Life()
    life.sim.step(life.ticks, PRESSED)
    life.sim.c.nonce_set = True
    life.sim.c.nonce = b"my nonce"
    life.sim.hear(envelope.bare(envelope.HAIL, ADDRESS, messages.encode(m.Hail(b"asker  1", 1, 0))), life.ticks)
    for keys in (
        seal.TargetKeys(KEYS.own, bytes(16), 1),
        seal.TargetKeys(bytes(16), bytes(16), 1),
        seal.TargetKeys(bytes(16), bytes(16), 1),
        KEYS,
    ):
        add = adding.make_add(b"factory secret 1", bytes.fromhex("000102030a1b2c3d"), b"asker  1", b"my nonce", keys)
        life.sim.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(add)), life.ticks)
        assert bytes(life.sim.ffi.buffer(life.sim.look().all_off)) == keys.all_off


def test_strikes_of_the_site_before_are_nobodys() -> None:
    life = Life()
    life.order(m.Arm(1, 1, True, 0))
    life.strike()
    life.sim.step(life.ticks, PRESSED)
    life.sim.c.nonce_set = True
    life.sim.c.nonce = b"my nonce"
    life.sim.hear(envelope.bare(envelope.HAIL, ADDRESS, messages.encode(m.Hail(b"asker  1", 1, 0))), life.ticks)
    other = seal.derive_keys(bytes(16), ADDRESS, 2)
    add = adding.make_add(b"factory secret 1", bytes.fromhex("000102030a1b2c3d"), b"asker  1", b"my nonce", other)
    life.sim.hear(envelope.bare(envelope.ADD, ADDRESS, messages.encode(add)), life.ticks)
    assert life.sim.waiting() == []
    life.again()
    assert life.sim.waiting() == []


def test_dropped_strikes_stop_counting_at_their_top() -> None:
    life = Life(log_max=1)
    life.order(m.Arm(1, 1, True, 0))
    for _ in range(65_600):
        life.sim.strike((200, 1000, 9000), life.ticks)
    assert life.sim.look().dropped == 0xFFFF


def test_all_off_heard_by_everybody_while_the_flash_is_broken() -> None:
    """It falls quiet all the same; it is not latched, and the next one that comes is tried again."""
    life = Life()
    now = life.ticks + 1000
    life.order(m.Grant(1, 1, 0, 9, now, now + 30 * S, now + 60 * S, 1000, 100))
    life.sim.c.broken_flash = True
    payload = seal.Sealer(KEYS.all_off).seal(envelope.ALL_OFF, EVERYBODY, 3, messages.encode(m.AllOff(3)))
    life.sim.hear(payload, life.ticks)
    assert not life.sim.look().held
    assert life.sim.look().epoch == 0
    life.sim.c.broken_flash = False
    life.sim.hear(payload, life.ticks)
    assert life.sim.look().epoch == 3


def test_noise_on_the_line_costs_nothing_but_itself() -> None:
    sim = Sim(keys=KEYS)
    rng = Random(5)
    for _ in range(2_000):
        whole = frames.encode(rng.randbytes(rng.randint(1, 9)))
        at = rng.randrange(len(whole))
        sim.step(S, BYTES, b"\0\1\0" + whole[:at] + rng.randbytes(1) + whole[at + 1 :] + b"\0\0")
    for _ in range(300):
        sim.step(S, BYTES, bytes(rng.choice((0, 1, 2, 3, 255)) for _ in range(60)))
    assert {"short", "crc", "not-cbor"} & set(sim.lost()) >= {"short", "crc"}
    sim.step(S, BYTES, frames.encode(envelope.token(ADDRESS, 9)))
    sim.step(2 * S)
    assert opened(sim.take()[-1]).re == 9


def test_a_pad_that_is_disarmed_in_the_middle_of_a_batch_notices_no_more() -> None:
    life = Life()
    life.order(m.Arm(1, 1, True, 0))
    life.sim.step(life.ticks + 1)
    samples = life.sim.ffi.new("int16_t[]", [0] * 8000 + [900] * 4000)
    life.sim.lib.fc_sim_samples(life.sim.c, samples, 9000, life.ticks)
    life.ticks = int(life.sim.c.now)
    life.order(m.Arm(1, 1, False, 0))
    life.sim.lib.fc_sim_samples(life.sim.c, samples, 80, life.ticks)
    assert life.sim.waiting() == []
