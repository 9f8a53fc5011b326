"""Framing, sums, tags and replay against what is published about them; grades as in the project's table of facts.

seen = read in the source; second-hand = read on a page that names the source; memory = not read anywhere now, so never
the only check; derived = follows from a stated rule, worked out here by another route. No whole
standard was at hand.
"""

from __future__ import annotations

import binascii
import hashlib
from itertools import pairwise

import pytest
from cobs import cobs

from fieldctl.keying import Keying, longest_on_ms
from fieldctl.wire import frames, seal

# ---- COBS -------------------------------------------------------------------------------------------------------

# Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999: an IP header
# as the paper's worked example, and the small examples commonly printed with it. Memory.
EXAMPLES = {
    "paper, start of an IP packet": (
        "45 00 00 2c 4c 79 00 00 40 06 4f 37",
        "02 45 01 04 2c 4c 79 01 05 40 06 4f 37",
    ),
    "one zero": ("00", "01 01"),
    "two zeros": ("00 00", "01 01 01"),
    "zero, 11, zero": ("00 11 00", "01 02 11 01"),
    "zero inside": ("11 22 00 33", "03 11 22 02 33"),
    "no zero": ("11 22 33 44", "05 11 22 33 44"),
    "zeros at the end": ("11 00 00 00", "02 11 01 01 01"),
}


def stuffed(data: bytes) -> bytes:
    """The paper's rule by another route: split at the zeros, and put each piece's length plus one before it."""
    assert len(data) < 254
    return b"".join(bytes([len(piece) + 1]) + piece for piece in data.split(b"\0"))


@pytest.mark.parametrize("name", EXAMPLES)
def test_cobs_examples(name):
    data, encoded = map(bytes.fromhex, EXAMPLES[name])
    assert stuffed(data) == encoded, "the example follows the rule"
    assert cobs.encode(data) == encoded
    assert cobs.decode(encoded) == data


@pytest.mark.parametrize("name", EXAMPLES)
def test_cobs_in_our_frames(name):
    """Derived: a frame is a delimiter, the stuffed payload and sum, a delimiter."""
    data = bytes.fromhex(EXAMPLES[name][0])
    summed = data + binascii.crc_hqx(data, 0xFFFF).to_bytes(2, "big")
    assert frames.encode(data) == b"\0" + stuffed(summed) + b"\0"


# ---- CRC --------------------------------------------------------------------------------------------------------


def crc16(data: bytes, *, reflected: bool, final: int) -> int:
    """Polynomial x^16 + x^12 + x^5 + 1, start 0xFFFF, bit by bit: another route than the library's tables."""
    register = 0xFFFF
    for byte in data:
        for bit in range(8):
            wanted = byte >> bit & 1 if reflected else byte >> 7 - bit & 1
            if reflected:
                out, register = register & 1, register >> 1
                register ^= 0x8408 if out ^ wanted else 0
            else:
                out, register = register >> 15, register << 1 & 0xFFFF
                register ^= 0x1021 if out ^ wanted else 0
    return register ^ final


def test_crc_check_values():
    """The CRC catalogue's check values over "123456789": 0x29B1 and 0x906E; second-hand.

    Ours is the first, CRC-16/IBM-3740 (CCITT-FALSE). X-25 is not used: that the bit-by-bit route gives it too, with
    the same polynomial and start, says that the route is right.
    """
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1
    assert crc16(b"123456789", reflected=False, final=0) == 0x29B1
    assert crc16(b"123456789", reflected=True, final=0xFFFF) == 0x906E
    assert frames.encode(b"123456789") == b"\0\x0c123456789\x29\xb1\0"


def test_the_sum_of_a_frame_by_the_other_route():
    for payload in (b"\0", bytes(range(100)), b"\xff" * 123):
        body = cobs.decode(frames.encode(payload)[1:-1])
        assert int.from_bytes(body[-2:], "big") == crc16(payload, reflected=False, final=0)


# ---- BLAKE2s ----------------------------------------------------------------------------------------------------


def test_blake2s_of_abc():
    """RFC 7693, appendix B; seen."""
    digest = hashlib.blake2s(b"abc").hexdigest()
    assert digest == "508c5e8c327c14e2e1a72ba34eeb452f37458b209ed63a294d999b4c86675982"


def selftest_bytes(length: int, seed: int) -> bytes:
    """The deterministic sequence of RFC 7693, appendix E: a Fibonacci generator."""
    a, b = 0xDEAD4BAD * seed & 0xFFFF_FFFF, 1
    out = bytearray()
    for _ in range(length):
        a, b = b, a + b & 0xFFFF_FFFF
        out.append(b >> 24)
    return bytes(out)


def test_blake2s_self_test():
    """RFC 7693, appendix E: every digest length with and without a key over six lengths of input; procedure and the
    digest of all digests from memory, and held by two independent things agreeing."""
    whole = hashlib.blake2s()
    for digest_size in (16, 20, 28, 32):
        for length in (0, 3, 64, 65, 255, 1024):
            data = selftest_bytes(length, length)
            key = selftest_bytes(digest_size, digest_size)
            whole.update(hashlib.blake2s(data, digest_size=digest_size).digest())
            whole.update(hashlib.blake2s(data, digest_size=digest_size, key=key).digest())
    assert whole.hexdigest() == "6a411f08ce25adcdfb02aba641451cec53c598b24f4fc787fbdc88797f4c1dfe"


IV = (0x6A09E667, 0xBB67AE85, 0x3C6EF372, 0xA54FF53A, 0x510E527F, 0x9B05688C, 0x1F83D9AB, 0x5BE0CD19)
SIGMA = """
    0 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15   14 10 4 8 9 15 13 6 1 12 0 2 11 7 5 3
    11 8 12 0 5 2 15 13 10 14 3 6 7 1 9 4   7 9 3 1 13 12 11 14 2 6 5 10 4 0 15 8
    9 0 5 7 2 4 10 15 14 1 11 12 6 8 3 13   2 12 6 10 0 11 8 3 4 13 7 5 15 14 1 9
    12 5 1 15 14 13 4 10 0 7 6 3 9 2 8 11   13 11 7 14 12 1 3 9 5 0 15 4 8 6 2 10
    6 15 14 9 11 3 0 8 12 2 13 7 1 4 10 5   10 2 8 4 7 6 1 5 15 11 9 14 3 12 13 0
"""


def plain_blake2s(data: bytes, key: bytes, size: int) -> bytes:
    """BLAKE2s as RFC 7693, section 3 says it, word by word: another route than the library."""
    mask = 0xFFFF_FFFF
    order = list(map(int, SIGMA.split()))
    state = list(IV)
    state[0] ^= 0x01010000 ^ len(key) << 8 ^ size
    data = (key.ljust(64, b"\0") if key else b"") + data
    blocks = [data[at : at + 64] for at in range(0, len(data), 64)] or [b""]
    for number, block in enumerate(blocks):
        last = number == len(blocks) - 1
        count = number * 64 + len(block)
        words = [int.from_bytes(block.ljust(64, b"\0")[at : at + 4], "little") for at in range(0, 64, 4)]
        v = state + list(IV)
        v[12] ^= count & mask
        v[13] ^= count >> 32
        v[14] ^= mask if last else 0
        for turn in range(10):
            pick = order[16 * turn : 16 * turn + 16]
            for step in range(8):
                column = step % 4
                at = [column + 4 * row for row in range(4)]
                if step >= 4:
                    at = [4 * row + (column + row) % 4 for row in range(4)]
                a, b, c, d = at
                for word, first, second in ((pick[2 * step], 16, 12), (pick[2 * step + 1], 8, 7)):
                    v[a] = v[a] + v[b] + words[word] & mask
                    v[d] = _turn(v[d] ^ v[a], first)
                    v[c] = v[c] + v[d] & mask
                    v[b] = _turn(v[b] ^ v[c], second)
        state = [h ^ x ^ y for h, x, y in zip(state, v[:8], v[8:], strict=True)]
    return b"".join(word.to_bytes(4, "little") for word in state)[:size]


def _turn(word: int, by: int) -> int:
    return (word >> by | word << 32 - by) & 0xFFFF_FFFF


def test_our_tags_and_keys_by_another_route():
    """Derived: BLAKE2s written out after RFC 7693, section 3, which gives appendix B's digest, gives our tags too."""
    assert plain_blake2s(b"abc", b"", 32) == hashlib.blake2s(b"abc").digest()
    key = bytes(range(16))
    for length in (1, 55, 56, 104):
        payload = seal.Sealer(key).seal(0x20, 0x0A1B2C3D, 77, bytes(range(length)))
        assert payload[-8:] == plain_blake2s(payload[:-8], key, 8)
    keys = seal.derive_keys(key, 0x0A1B2C3D, 2)
    assert keys.own == plain_blake2s(b"fieldctl target\0" + bytes.fromhex("0a1b2c3d00000002"), key, 16)
    assert keys.all_off == plain_blake2s(b"fieldctl all off\0", key, 16)


# ---- replay -----------------------------------------------------------------------------------------------------


def test_replay_window_as_rfc_8613_section_7_4_describes_it():
    """RFC 8613, section 7.4 (OSCORE): a default window of 32, sliding as in IPsec (RFC 4303, section 3.4.3); memory.

    Above the highest: taken, and the window slides. Inside the window: taken once. Below it: refused, since nobody can
    tell any more. The check comes after verification, and only then is the window updated.
    """
    assert seal.MQTT_WINDOW == 32
    window = seal.ReplayWindow(seal.MQTT_WINDOW)
    window.take(100)
    assert window.fresh(100 - 31)
    assert not window.fresh(100 - 32)
    assert not window.fresh(100)
    assert window.fresh(100 - 31), "asking changes nothing: a forged one with a high number must not slide it"
    assert window.fresh(5000)
    assert window.high == 100
    window.take(101)
    assert not window.fresh(101 - 32)
    for counter in range(101, 69, -1):
        assert window.fresh(counter) == (counter < 100)
        if counter < 100:
            window.take(counter)
    assert not any(window.fresh(counter) for counter in range(102))


# ---- keying -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("period_ms", "on_ms"), [(700, 300), (1000, 600), (1300, 900)])
def test_longest_on_times(period_ms, on_ms):
    """ETSI EN 300 718-1: on at least 70 ms, off at least 400 ms, period 1000 ± 300 ms; second-hand, two independent
    pages. The longest on-times 300, 600 and 900 ms are derived: what the shortest off-time leaves of a period."""
    assert longest_on_ms(period_ms) == on_ms
    legal = [on for on in range(1301) if Keying(period_ms, on).legal]
    assert (legal[0], legal[-1]) == (70, on_ms)
    assert all(b - a == 1 for a, b in pairwise(legal))


def test_periods():
    """The same source: 1000 ± 300 ms, and nothing outside whatever the on-time."""
    legal = {period for period in range(2001) if any(Keying(period, on).legal for on in range(2001))}
    assert legal == set(range(700, 1301))
