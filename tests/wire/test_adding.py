"""Giving keys to a new target: only under its own secret, for its own hardware and these two nonces."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import adding, messages, seal

SECRET = b"factory secret 1"
HARDWARE = bytes.fromhex("0011223344556677")
ASKER, THEIRS = b"asker  1", b"theirs 1"
KEYS = seal.derive_keys(bytes(16), adding.address_of(HARDWARE), 3)
ADD = adding.make_add(SECRET, HARDWARE, ASKER, THEIRS, KEYS)

b8 = st.binary(min_size=8, max_size=8)
b16 = st.binary(min_size=16, max_size=16)


@given(b16, b8, b8, b8, b16, st.integers(0, 0xFFFF_FFFF))
def test_the_right_secret_gives_the_keys(secret, hardware, asker, theirs, site_key, version):
    keys = seal.derive_keys(site_key, adding.address_of(hardware), version)
    add = adding.make_add(secret, hardware, asker, theirs, keys)
    assert messages.decode(messages.encode(add)) == add
    assert adding.accept_add(secret, hardware, asker, theirs, add) == keys
    assert keys.own not in messages.encode(add)
    assert keys.all_off not in messages.encode(add)


@pytest.mark.parametrize(
    "wrong",
    [
        {"secret": b"factory secret 2"},
        {"hardware": bytes.fromhex("1011223344556677")},
        {"asker": b"asker  2"},
        {"theirs": b"theirs 2"},
        {"add": replace(ADD, nonce=b"theirs 2")},
        {"add": replace(ADD, key_version=4)},
        {"add": replace(ADD, proof=bytes(8))},
        {"add": replace(ADD, wrapped=bytes(32))},
        {"add": replace(ADD, nonce=b"theirs 2"), "theirs": b"theirs 2"},
    ],
    ids=lambda wrong: "-".join(wrong),
)
def test_anything_else_is_refused(wrong):
    right = {"secret": SECRET, "hardware": HARDWARE, "asker": ASKER, "theirs": THEIRS, "add": ADD}
    assert adding.accept_add(**right) == KEYS
    assert adding.accept_add(**right | wrong) is None


def test_every_flipped_bit_is_refused():
    for name in ("nonce", "wrapped", "proof"):
        value = getattr(ADD, name)
        for bit in range(8 * len(value)):
            flipped = (int.from_bytes(value, "big") ^ 1 << bit).to_bytes(len(value), "big")
            assert adding.accept_add(SECRET, HARDWARE, ASKER, THEIRS, replace(ADD, **{name: flipped})) is None


def test_the_address_is_the_end_of_the_hardware_id():
    assert adding.address_of(HARDWARE) == 0x44556677


@given(b16, b8, b16, st.integers(0, 0xFFFF_FFFF))
def test_rotating(own, nonce, site_key, version):
    keys = seal.derive_keys(site_key, 9, version)
    order = adding.make_rekey(own, nonce, keys)
    assert messages.decode(messages.encode(order)) == order
    assert adding.accept_rekey(own, order) == keys
    other = bytes([own[0] ^ 1]) + own[1:]
    assert adding.accept_rekey(other, order) != keys, "the seal refuses it before; the wrapping gives nothing either"


def test_a_secret_used_for_adding_and_rotating_gives_different_wrappings():
    rekey = adding.make_rekey(SECRET, ASKER + THEIRS, KEYS)
    assert rekey.wrapped != ADD.wrapped
