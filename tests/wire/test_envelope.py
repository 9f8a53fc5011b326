"""Envelopes: what is written is read again; what is of no form is nothing."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import envelope, frames

u32 = st.integers(0, 0xFFFF_FFFF)
bodies = st.binary(min_size=1, max_size=envelope.BODY_MAX)
tags = st.binary(min_size=8, max_size=8)


@given(u32, st.integers(0, 255))
def test_token(address, number):
    payload = envelope.token(address, number)
    assert len(payload) == 6
    assert envelope.read(payload) == envelope.Envelope(envelope.TOKEN, address, number, b"", b"")


@given(st.sampled_from(sorted(envelope.SEALED)), u32, u32, bodies, tags)
def test_sealed(form, address, counter, body, tag):
    payload = envelope.sealed(form, address, counter, body, tag)
    assert len(payload) <= frames.PAYLOAD_MAX
    assert envelope.read(payload) == envelope.Envelope(form, address, counter, body, tag)
    assert payload == envelope.signed_part(form, address, counter, body) + tag


@given(st.sampled_from(sorted(envelope.UNSEALED)), u32, bodies)
def test_unsealed(form, address, body):
    assert envelope.read(envelope.bare(form, address, body)) == envelope.Envelope(form, address, 0, body, b"")


@given(st.binary(max_size=130))
def test_any_bytes(payload):
    """Whatever is read has a form of the contract and writes the same bytes again."""
    env = envelope.read(payload)
    if env is None:
        return
    if env.form == envelope.TOKEN:
        again = envelope.token(env.address, env.counter)
    elif env.form in envelope.SEALED:
        again = envelope.sealed(env.form, env.address, env.counter, env.body, env.tag)
    else:
        again = envelope.bare(env.form, env.address, env.body)
    assert again == payload


@given(st.sampled_from([*envelope.SEALED, *envelope.UNSEALED, envelope.TOKEN]), st.integers(0, 200))
def test_lengths(form, length):
    """Every form has its least and its greatest length."""
    least, most = {
        envelope.TOKEN: (6, 6),
        **dict.fromkeys(envelope.SEALED, (18, 121)),
        **dict.fromkeys(envelope.UNSEALED, (6, 109)),
    }[form]
    assert (envelope.read(bytes([form]) + bytes(length)) is not None) == (least <= length + 1 <= most)


microseconds = st.integers(0, envelope.HELD_MAX_US)


@given(microseconds, microseconds, st.binary(min_size=1, max_size=frames.PAYLOAD_MAX))
def test_relayed_and_unrelay_are_a_pair(before, after, payload):
    assert envelope.unrelay(envelope.relayed(before, after, payload)) == (payload, before, after)


@given(st.integers(0, 2**40), st.integers(0, 2**40), st.binary(min_size=1, max_size=40))
def test_a_bridge_never_claims_to_have_held_for_longer_than_proves_something(before, after, payload):
    """Claiming less only widens the ±; claiming more would narrow it to what is not known."""
    _, said_before, said_after = envelope.unrelay(envelope.relayed(before, after, payload))
    assert said_before == min(before, envelope.HELD_MAX_US)
    assert said_after == min(after, envelope.HELD_MAX_US)


@given(st.binary(max_size=140))
def test_what_no_bridge_relayed_is_passed_as_it_is(payload):
    inner, before, after = envelope.unrelay(payload)
    if payload[:1] != bytes([envelope.RELAYED]):
        assert (inner, before, after) == (payload, 0, 0)
    assert 0 <= before <= envelope.HELD_MAX_US
    assert 0 <= after <= envelope.HELD_MAX_US
    assert payload.endswith(inner)


def test_times_beyond_the_most_are_not_believed():
    over = (envelope.HELD_MAX_US + 1).to_bytes(4, "big")
    for times in (over + bytes(4), bytes(4) + over):
        payload = bytes([envelope.RELAYED]) + times + b"inside"
        assert envelope.unrelay(payload) == (payload, 0, 0)
        assert envelope.read(payload) is None


def test_no_form():
    assert envelope.read(b"") is None
    forms = {envelope.TOKEN, *envelope.SEALED, *envelope.UNSEALED}
    assert all(envelope.read(bytes([form]) + bytes(20)) is None for form in set(range(256)) - forms)
