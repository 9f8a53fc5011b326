"""Frames: whole, in pieces, between junk; every truncation and every flipped bit; work that grows with the input."""

from __future__ import annotations

import binascii

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.wire import envelope, frames, messages, seal

payloads = st.binary(min_size=1, max_size=frames.PAYLOAD_MAX)
# junk without a delimiter cannot end a frame that follows, since that begins with one
junk = st.binary(max_size=300).map(lambda data: data.replace(b"\0", b"\1"))
SEALER = seal.Sealer(bytes(range(16)))
SAMPLES = [
    envelope.token(0x0A1B2C3D, 7),
    SEALER.seal(envelope.DOWN, 0x0A1B2C3D, 9, messages.encode(messages.AllOff(3))),
    SEALER.seal(envelope.UP, 1, 0xFFFFFFFF, messages.encode(messages.Status(1, 2**40, 3, 200, 5, 2**39))),
    bytes(frames.PAYLOAD_MAX),
    bytes(range(1, 1 + frames.PAYLOAD_MAX)),
    b"\0",
    b"\xff\0\xff\0",
]


def feed_by(deframer: frames.Deframer, data: bytes, size: int) -> list[bytes]:
    return [p for at in range(0, len(data), size) for p in deframer.feed(data[at : at + size])]


@given(payloads, st.integers(1, 7))
def test_whole_and_in_pieces(payload, size):
    frame = frames.encode(payload)
    assert len(frame) == len(payload) + frames.OVERHEAD <= frames.FRAME_MAX
    assert frame[0] == frame[-1] == 0
    assert 0 not in frame[1:-1]
    assert frames.Deframer().feed(frame) == [payload]
    assert feed_by(frames.Deframer(), frame, size) == [payload]
    assert feed_by(frames.Deframer(), frame, 1) == [payload]


@given(payloads, payloads, payloads)
def test_three_in_one_read(one, two, three):
    deframer = frames.Deframer()
    assert deframer.feed(b"".join(map(frames.encode, (one, two, three)))) == [one, two, three]
    assert not deframer.lost
    assert not deframer.in_frame


@given(st.lists(st.tuples(junk, payloads), max_size=6), st.integers(1, 400))
def test_junk_between(parts, size):
    """Every frame is found whatever stands between, however the reads fall, and every piece of junk is counted."""
    deframer = frames.Deframer()
    stream = b"".join(noise + frames.encode(payload) for noise, payload in parts)
    found = feed_by(deframer, stream, size)
    assert found == [payload for _, payload in parts]
    assert deframer.lost.total() == sum(1 for noise, _ in parts if noise)


pieces = st.lists(st.binary(max_size=20) | st.integers(1, 400).map(lambda n: b"\x55" * n) | st.just(b"\0"), max_size=12)


@given(st.binary(max_size=2000) | pieces.map(b"".join), st.integers(1, 400))
def test_any_bytes_at_all(data, size):
    """Nothing raises, however the reads fall the findings are the same, and what follows two delimiters is found."""
    one, other = frames.Deframer(), frames.Deframer()
    found, at_once = feed_by(one, data, size), other.feed(data)
    assert found == at_once
    assert one.lost == other.lost
    assert one.feed(b"\0" + frames.encode(b"after"))[-1:] == [b"after"]


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\0" + b"\1" * 127 + b"\0", "oversized"),
        (b"\0" + b"\1" * 129, "oversized"),
        (b"\0\x05\x01\x02\0", "not-cobs"),
        (b"\0\x01\x01\0", "short"),
        (b"\0\x03\x11\x22\0", "short"),
        (b"\0\x05\x11\x22\x33\x44\0", "crc"),
    ],
)
def test_loss_by_kind(data, kind):
    deframer = frames.Deframer()
    assert deframer.feed(data) == []
    assert deframer.lost == {kind: 1}


def test_an_endless_piece_is_counted_once():
    deframer = frames.Deframer()
    for _ in range(51):  # so that a part of it is held when the delimiter comes
        assert deframer.feed(b"\x55" * 100) == []
        assert len(deframer._rest) <= frames.FRAME_MAX
    assert deframer.feed(frames.encode(b"next")) == [b"next"]
    assert deframer.lost == {"oversized": 1}


@pytest.mark.parametrize("payload", SAMPLES)
def test_every_truncation(payload):
    """A killed controller leaves half a frame: it is not taken for another, and the next frame is found."""
    frame = frames.encode(payload)
    for cut in range(len(frame) - 1):
        for half in (frame[: cut + 1], frame[cut + 1 :]):
            deframer = frames.Deframer()
            found = deframer.feed(half + frames.encode(b"next"))
            whole = half.strip(b"\0") == frame[1:-1]  # only a delimiter is lost: the next one stands in for it
            assert found == ([payload, b"next"] if whole else [b"next"])


@pytest.mark.parametrize("payload", SAMPLES)
def test_every_single_bit_flip(payload):
    """Nothing but the payload is ever found, with one exception that the sum cannot see: a closing delimiter turned
    into 0x01 adds a zero, and a CRC without final inversion stays right over added zeros."""
    frame = frames.encode(payload)
    for bit in range(8 * len(frame)):
        flipped = bytearray(frame)
        flipped[bit // 8] ^= 1 << bit % 8
        found = frames.Deframer().feed(bytes(flipped) + b"\0")
        if bit == 8 * (len(frame) - 1):
            longer = payload + binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big")[:1]
            assert found == ([longer] if len(longer) <= frames.PAYLOAD_MAX else [])
        else:
            assert found in ([], [payload])


MESSAGE = messages.Add(bytes(8), 1, bytes(32), bytes(8))


@pytest.mark.parametrize("payload", [*SAMPLES[:3], envelope.bare(envelope.ADD, 5, messages.encode(MESSAGE))])
def test_the_exception_is_refused_one_step_later(payload):
    """A byte too many: a token has one length, a tag covers all before it, a map ends where the body ends."""
    (longer,) = frames.Deframer().feed(frames.encode(payload)[:-1] + b"\1\0")
    env = envelope.read(longer)
    if env is None:
        return
    if env.form in envelope.SEALED:
        assert SEALER.holds(envelope.read(payload))
        assert not SEALER.holds(env)
    else:
        with pytest.raises(messages.Malformed, match="surplus"):
            messages.decode(env.body)


@pytest.mark.parametrize("size", [1, 64, 4096])
@pytest.mark.parametrize("noise", [b"\x55", b"\0", b"\1\2\3\0", bytes(range(256))])
def test_work_is_linear(size, noise):
    """What is held over from one read to the next is never longer than a frame, so a byte is copied a bounded number
    of times; the time itself is held in tests/bench/bench_wire.py."""
    work = []
    for times in (1, 2):
        deframer = frames.Deframer()
        touched = 0
        data = (noise * (20_000 * times))[: 20_000 * times]
        for at in range(0, len(data), size):
            touched += len(deframer._rest) + size
            deframer.feed(data[at : at + size])
            assert len(deframer._rest) <= frames.FRAME_MAX
        work.append(touched)
    assert work[1] <= 2.01 * work[0] + frames.FRAME_MAX
    assert work[1] <= 40_000 * (1 + frames.FRAME_MAX / size) + size


def test_empty_and_oversized_payloads_are_our_own_mistake():
    for payload in (b"", bytes(frames.PAYLOAD_MAX + 1)):
        with pytest.raises(AssertionError):
            frames.encode(payload)
