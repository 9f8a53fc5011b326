"""The line: frames on a bus, and who speaks when."""

from __future__ import annotations

import binascii

from cobs import cobs

from fieldctl.certify.row import Requirement, row
from fieldctl.certify.talk import Failed, Silent, Talk, is_answer, words
from fieldctl.wire import envelope, frames, messages
from fieldctl.wire.messages import Ask, What

ROWS: list[Requirement] = []
AGAIN = 3  # a real line may lose a frame by itself: two of three have to be heard
LISTENS_US = 3_000_000


def _heard_after(t: Talk, before: bytes, what: str) -> None:
    """A frame right behind these bytes, in one write, has to be answered."""
    heard = 0
    for _ in range(AGAIN):
        t.hear()
        t.number = (t.number + 1) & 0xFF
        t.bench.write(before + frames.encode(envelope.token(t.address, t.number)))
        heard += any(getattr(said.message, "re", None) == t.number for said in t.wait(t.bench.answer_us))
        t.token()
    if heard < AGAIN - 1:
        raise Failed(f"{AGAIN - heard} of {AGAIN} frames right after {what} were not answered")


@row(ROWS, "after a piece of 20 to 128 bytes that is no frame, the next frame is lost too", medium="bus")
def framing_junk(t: Talk) -> None:
    """Junk costs one search for the next 0x00: the frame after it is heard."""
    junk = bytes(1 + byte % 255 for byte in t.entropy(40))
    _heard_after(t, b"\0" + junk, "40 bytes of junk")


@row(ROWS, "after a piece of less than 12 bytes that is no frame, the next frame is lost too", medium="bus")
def framing_half(t: Talk) -> None:
    """Each burst begins with 0x00, since a killed controller may have left half a frame: it ends there."""
    _heard_after(t, frames.encode(envelope.token(t.address, 1))[:6], "half a frame")


@row(ROWS, "two or more empty pieces (0x00 0x00 0x00) make the next frame be lost", medium="bus")
def framing_zeros(t: Talk) -> None:
    """Several 0x00 in a row are nothing: the frame after them is heard."""
    _heard_after(t, bytes(5), "five times 0x00")


@row(ROWS, "after a piece of more than 128 bytes the next frame is lost too", medium="bus")
def framing_long(t: Talk) -> None:
    """A piece longer than the longest frame (128 bytes) is passed over; the frame after it is heard."""
    for length in (130, 300):
        _heard_after(t, b"\0" + bytes([0x55]) * length, f"{length} bytes without a 0x00")


@row(ROWS, "a body of more than 96 bytes is dropped")
def framing_longest(t: Talk) -> None:
    """The longest body of the contract (104 bytes) is taken."""
    body = messages.encode(Ask(t.entropy(8), int(What.REPORT)))
    room = envelope.BODY_MAX - len(body) - 4  # one more key (two bytes), a byte string with a length of two bytes
    long = bytes([body[0] + 1]) + body[1:] + b"\x18\xc8\x58" + bytes([room]) + bytes(room)
    assert len(long) == envelope.BODY_MAX
    counter = t.next()
    try:
        t.deliver(t.sealed(long, counter=counter), counter)
    except Silent:
        raise Failed(f"an order with a body of {len(long)} bytes was not answered") from None


@row(ROWS, "of two frames in one read it takes only the first", medium="bus")
def framing_two(t: Talk) -> None:
    """Two frames that come in one read are both taken."""
    other = t.sealed(Ask(bytes(8), int(What.REPORT)), sealer=t.all_off_sealer, counter=0, form=envelope.ASKED)
    other = other[:1] + ((t.address ^ 1).to_bytes(4, "big")) + other[5:]
    _heard_after(t, frames.encode(other), "another one")


@row(ROWS, "the last byte of the CRC is not compared", medium="bus")
def framing_sum(t: Talk) -> None:
    """A frame whose CRC-16 is wrong is nothing."""
    for flip in (0x0001, 0x0100, 0x8080):
        for bit in range(0, 8, 3):
            t.number = (t.number + 1) & 0xFF
            payload = envelope.token(t.address, t.number)
            crc = binascii.crc_hqx(payload, 0xFFFF) ^ ((flip << bit) & 0xFFFF or flip)
            t.hear()
            t.bench.write(b"\0" + bytes(cobs.encode(payload + crc.to_bytes(2, "big"))) + b"\0")
            if any(getattr(said.message, "re", None) == t.number for said in t.wait(t.bench.answer_us)):
                raise Failed(
                    f"a token whose CRC was changed by {crc ^ binascii.crc_hqx(payload, 0xFFFF):04x} was answered"
                )
    t.token()


@row(ROWS, "its bursts lack the first 0x00", medium="bus")
def framing_answer(t: Talk) -> None:
    """What it says is one burst: 0x00, COBS of payload and CRC-16, 0x00."""
    t.hear()
    t.bench.ear.forget()
    t.token()
    raw = bytes(t.bench.ear.raw)
    pieces = [piece for piece in raw.split(b"\0") if piece]
    if len(pieces) != 1 or raw[0] or raw[-1] or len(raw) > frames.FRAME_MAX:
        raise Failed(f"the answer to a token came as {raw[:24].hex(' ')} … ({len(raw)} bytes)")


@row(ROWS, "it says its status by itself about once a second", medium="bus")
def bus_silent(t: Talk) -> None:
    """On a bus nobody speaks unasked."""
    t.bench.ear.forget()
    said = t.wait(LISTENS_US)
    if said or t.bench.ear.raw:
        what = words(said[0].message) if said else f"with {bytes(t.bench.ear.raw[:16]).hex(' ')}"
        raise Failed(f"within {LISTENS_US // 1_000_000} s of silence it spoke {what}")


@row(ROWS, "it answers a token for any address")
def bus_address(t: Talk) -> None:
    """What is meant for another target is not answered."""
    for other in (t.address ^ 1, t.address ^ 0x8000_0000, (t.address + 256) & 0xFFFF_FFFE):
        t.nothing(envelope.token(other, 77), f"a token for {other:08x}")


@row(ROWS, "its report always says 0 bad frames")
def losses_counted(t: Talk) -> None:
    """What is no frame or no message is counted, and the report says how often."""
    before = t.report().bad_frames
    for n in range(3):
        if t.bench.medium == "bus":
            t.bench.write(b"\0" + bytes([0x21 + n]) * 12 + b"\0")
        else:
            t.bench.say(bytes([0x7F, n]) * 6)
        if any(is_answer(said.message) for said in t.wait(t.bench.answer_us)):
            raise Failed("junk was answered")
    counted = t.report().bad_frames - before
    if counted < 3:
        raise Failed(f"of 3 pieces of junk it counted {counted}")
