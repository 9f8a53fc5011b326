"""Tags, replay windows against a model that remembers everything, counters over power cuts, keys."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import envelope, seal

KEY = bytes(range(16))
OTHER = bytes(range(1, 17))


def test_tag_covers_all_of_it():
    """A flipped bit anywhere, another key, another direction: the tag does not hold."""
    payload = seal.Sealer(KEY).seal(envelope.DOWN, 0x0A1B2C3D, 5, b"\xa2\x00\x04\x06\x03")
    assert seal.Sealer(KEY).holds(envelope.read(payload))
    assert not seal.Sealer(OTHER).holds(envelope.read(payload))
    for bit in range(8 * len(payload)):
        flipped = bytearray(payload)
        flipped[bit // 8] ^= 1 << bit % 8
        env = envelope.read(bytes(flipped))
        assert env is None or not env.tag or not seal.Sealer(KEY).holds(env)
    turned = envelope.read(bytes([envelope.UP]) + payload[1:])
    assert not seal.Sealer(KEY).holds(turned)


@given(st.integers(0, seal.COUNTER_MAX), st.binary(min_size=1, max_size=envelope.BODY_MAX))
def test_seal_and_holds_are_a_pair(counter, body):
    env = envelope.read(seal.Sealer(KEY).seal(envelope.UP, 7, counter, body))
    assert seal.Sealer(KEY).holds(env)
    assert (env.counter, env.body) == (counter, body)


def test_a_counter_that_ran_out_is_our_own_mistake():
    with pytest.raises(AssertionError, match="rotate"):
        seal.Sealer(KEY).seal(envelope.UP, 1, seal.COUNTER_MAX + 1, b"x")
    with pytest.raises(AssertionError, match="16 bytes"):
        seal.Sealer(KEY[:15])


class Remembers:
    """The rule in words: new is what is above the highest, or not seen and less than `size` behind it."""

    def __init__(self, size: int, high: int) -> None:
        self.size, self.high, self.seen = size, high, set(range(high + 1))

    def fresh(self, counter: int) -> bool:
        return counter not in self.seen and counter > self.high - self.size

    def take(self, counter: int) -> None:
        self.seen.add(counter)
        self.high = max(self.high, counter)


steps = st.lists(st.one_of(st.integers(-40, 40), st.integers(-3, 3), st.integers(-100, 5000)), max_size=120)


@pytest.mark.parametrize("size", [1, 32])
@given(steps=steps, start=st.integers(0, 200))
def test_window_against_the_model(size, steps, start):
    window, model = seal.ReplayWindow(size, start), Remembers(size, start)
    for step in steps:
        counter = max(0, model.high + step)
        assert window.fresh(counter) == model.fresh(counter)
        if model.fresh(counter):
            window.take(counter)
            model.take(counter)
            assert not window.fresh(counter)
        assert window.high == model.high


@given(st.permutations(range(1, 33)))
def test_a_whole_window_in_any_order(order):
    """With 32 every order of 32 counters is taken once; with 1 only those that rise."""
    window, strict = seal.ReplayWindow(32), seal.ReplayWindow(1)
    rising = []
    for counter in order:
        assert window.fresh(counter)
        window.take(counter)
        if strict.fresh(counter):
            strict.take(counter)
            rising.append(counter)
    assert not any(map(window.fresh, range(33)))
    assert rising == sorted(rising)


@given(st.lists(st.one_of(st.just("next"), st.just("cut"), st.integers(1, 500)), max_size=200), st.integers(0, 10**6))
def test_counter_over_power_cuts(events, start):
    """Whatever is used lies above everything used before, and at or below what is on file, over any number of cuts."""
    on_file = [start]
    counter = seal.StepCounter(start, on_file.append)
    used = start
    for event in events:
        if event == "cut":
            counter = seal.StepCounter(on_file[-1], on_file.append)
            continue
        if event == "next":
            value = counter.next()
        else:
            counter.advance_to(counter.value + event)
            value = counter.value
        assert used < value <= on_file[-1]
        used = value
    assert on_file == sorted(set(on_file))


class PowerCut(Exception):
    pass


@pytest.mark.parametrize("torn", ["before", "after"])
def test_power_cut_at_every_persist(torn):
    """The power goes at the write itself, just before it counts or just after: nothing is ever used twice."""
    on_file, used = [0], []

    def persist(mark: int) -> None:
        if torn == "after":
            on_file.append(mark)
        raise PowerCut

    for _ in range(50):
        counter = seal.StepCounter(on_file[-1], persist)
        with pytest.raises(PowerCut):
            used.append(counter.next())
        counter = seal.StepCounter(on_file[-1], on_file.append)  # power is back, the next write goes well
        used += [counter.next() for _ in range(seal.COUNTER_STEP + 2)]
    assert used == sorted(set(used))


def test_persists_once_a_step():
    on_file: list[int] = []
    counter = seal.StepCounter(0, on_file.append)
    for _ in range(10 * (seal.COUNTER_STEP + 1)):
        counter.next()
    assert len(on_file) == 10


def test_mark_stays_within_32_bits():
    on_file: list[int] = []
    seal.StepCounter(0, on_file.append).advance_to(seal.COUNTER_MAX)
    assert on_file == [seal.COUNTER_MAX]


@given(st.binary(min_size=16, max_size=16), st.integers(1, 0xFFFF_FFFE), st.integers(0, 0xFFFF_FFFF))
def test_keys_differ_by_target_and_version(site_key, address, version):
    keys = seal.derive_keys(site_key, address, version)
    again = seal.derive_keys(site_key, address, version)
    assert keys == again
    assert keys.all_off == seal.all_off_key(site_key)
    others = {
        keys.own,
        keys.all_off,
        site_key,
        seal.derive_keys(site_key, address ^ 1, version).own,
        seal.derive_keys(site_key, address, version ^ 1).own,
        seal.derive_keys(site_key, version, address).own if version != address else b"",
    }
    assert len(others) == 6
    assert all(len(key) == seal.KEY_BYTES for key in (keys.own, keys.all_off))


@given(st.binary(min_size=16, max_size=16), st.binary(min_size=16, max_size=16), st.integers(0, 0xFFFF_FFFF))
def test_wrap_and_unwrap_are_a_pair(secret, nonces, version):
    keys = seal.derive_keys(KEY, 5, version)
    wrapped = seal.wrap(secret, b"label", nonces, keys)
    assert len(wrapped) == 32
    assert seal.unwrap(secret, b"label", nonces, wrapped, version) == keys
    assert seal.wrap(secret, b"other", nonces, keys) != wrapped
    assert seal.wrap(secret, b"label", nonces[::-1] + b"\0", keys) != wrapped
