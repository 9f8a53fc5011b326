"""A flipped byte, a cut, a swapped, a doubled, an added chunk is found, wherever it is; a wrong passphrase is told."""

from __future__ import annotations

import io
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.backup import header, passphrase
from fieldctl.backup.header import SIZE, Header, parse
from fieldctl.backup.sealing import TAG_BYTES, Opener, Sealer
from fieldctl.errors import BackupBroken, BadInput, FieldctlError, Refused

KEY = bytes(range(32))
CHUNK = 1_024
HEADER = Header(b"s" * 16, b"prefix.", b"c" * 16, log_n=10, r=1, p=1, chunk=CHUNK)
SEALED = CHUNK + TAG_BYTES


def sealed(plain: bytes, *, step: int = 300) -> bytes:
    out = io.BytesIO()
    sealer = Sealer(out, KEY, HEADER)
    for begin in range(0, len(plain), step):
        assert sealer.write(plain[begin : begin + step]) == len(plain[begin : begin + step])
    sealer.finish()
    return out.getvalue()


def opened(data: bytes, *, step: int = 700) -> bytes:
    file = io.BytesIO(data)
    opener = Opener(file, KEY, parse(file.read(SIZE)))
    found = bytearray()
    while more := opener.read(step):
        found += more
    return bytes(found)


@given(st.integers(0, 5 * CHUNK), st.integers(1, 3 * CHUNK), st.integers(1, 3 * CHUNK))
def test_what_was_sealed_is_opened_however_it_is_cut_up(size: int, written: int, read: int) -> None:
    plain = bytes(n * 7 & 255 for n in range(size))
    data = sealed(plain, step=written)
    assert opened(data, step=read) == plain
    assert len(data) == SIZE + size + TAG_BYTES * max(1, -(-size // CHUNK))


PLAIN = bytes(n * 31 & 255 for n in range(4 * CHUNK + 100))
WHOLE = sealed(PLAIN)
CHUNKS = [WHOLE[at : at + SEALED] for at in range(SIZE, len(WHOLE), SEALED)]


@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 255))
def test_any_flipped_byte_is_found(at: int, bits: int) -> None:
    data = bytearray(WHOLE)
    data[at] ^= bits
    with pytest.raises((BackupBroken, BadInput)) as bad:
        opened(bytes(data))
    assert isinstance(bad.value, BadInput) is (at < len(header.MAGIC))
    assert bad.value.remedy


@given(st.integers(0, len(WHOLE) - 1))
def test_any_cut_is_found(size: int) -> None:
    with pytest.raises((BackupBroken, BadInput)):
        opened(WHOLE[:size])


def test_a_cut_between_two_chunks_is_told_as_a_cut() -> None:
    for n in range(len(CHUNKS)):
        with pytest.raises(BackupBroken, match="cut off"):
            opened(WHOLE[: SIZE + n * SEALED])


@given(st.permutations(range(len(CHUNKS))))
def test_any_other_order_of_its_chunks_is_found(order: list[int]) -> None:
    data = WHOLE[:SIZE] + b"".join(CHUNKS[n] for n in order)
    if order == sorted(order):
        assert opened(data) == PLAIN
        return
    with pytest.raises(BackupBroken):
        opened(data)


@given(st.lists(st.integers(0, len(CHUNKS) - 1), min_size=1, max_size=8))
def test_left_out_doubled_and_added_chunks_are_found(chosen: list[int]) -> None:
    data = WHOLE[:SIZE] + b"".join(CHUNKS[n] for n in chosen)
    if chosen == list(range(len(CHUNKS))):
        return
    with pytest.raises(BackupBroken):
        opened(data)


@given(st.binary(min_size=1, max_size=3 * SEALED))
def test_whatever_is_added_behind_is_found(more: bytes) -> None:
    with pytest.raises(BackupBroken):
        opened(WHOLE + more)


def test_chunks_of_another_backup_under_the_same_key_are_found() -> None:
    other = io.BytesIO()
    sealer = Sealer(other, KEY, Header(b"s" * 16, b"another", b"c" * 16, log_n=10, r=1, p=1, chunk=CHUNK))
    sealer.write(PLAIN)
    sealer.finish()
    theirs = other.getvalue()
    for n in range(len(CHUNKS)):
        begin, end = SIZE + n * SEALED, SIZE + (n + 1) * SEALED
        with pytest.raises(BackupBroken):
            opened(WHOLE[:begin] + theirs[begin:end] + WHOLE[end:])


def test_nothing_is_given_out_that_was_not_checked() -> None:
    data = bytearray(WHOLE)
    data[SIZE + 2 * SEALED + 5] ^= 1
    file = io.BytesIO(bytes(data))
    opener = Opener(file, KEY, parse(file.read(SIZE)))
    assert opener.read(2 * CHUNK) + opener.read(2 * CHUNK) == PLAIN[: 2 * CHUNK]
    with pytest.raises(BackupBroken, match=f"between bytes {SIZE + 2 * SEALED} and {SIZE + 3 * SEALED}"):
        opener.read(1)


def test_no_nonce_is_used_twice() -> None:
    from fieldctl.backup.sealing import nonce_of

    nonces = [nonce_of(HEADER, n, last=last) for n in range(300) for last in (False, True)]
    assert len(set(nonces)) == len(nonces)
    assert {len(nonce) for nonce in nonces} == {12}
    assert all(a < b for a, b in pairwise(nonces))


# ---- header and passphrase ---------------------------------------------------------------------------------------


@given(
    st.binary(min_size=16, max_size=16), st.binary(min_size=7, max_size=7), st.binary(min_size=16, max_size=16),
    st.integers(10, 15), st.integers(1, 8), st.integers(1, 4), st.integers(1024, 1 << 20),
)  # fmt: skip
def test_a_header_is_read_as_it_was_written(
    salt: bytes, prefix: bytes, check: bytes, log_n: int, r: int, p: int, chunk: int
) -> None:
    made = Header(salt, prefix, check, log_n, r, p, chunk)
    assert len(made.encode()) == SIZE
    assert parse(made.encode()) == made


@pytest.mark.parametrize(
    "made",
    [
        Header(b"s" * 16, b"p" * 7, b"c" * 16, log_n=30),
        Header(b"s" * 16, b"p" * 7, b"c" * 16, log_n=18, r=16),
        Header(b"s" * 16, b"p" * 7, b"c" * 16, p=200),
        Header(b"s" * 16, b"p" * 7, b"c" * 16, chunk=1 << 30),
    ],
)
def test_a_header_that_asks_for_all_the_memory_is_refused(made: Header) -> None:
    with pytest.raises(BackupBroken, match="asks for"):
        parse(made.encode())


@given(st.binary(max_size=200))
def test_any_other_file_is_no_backup(data: bytes) -> None:
    with pytest.raises((BadInput, BackupBroken)):
        parse(data)


def test_a_newer_format_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(header, "VERSION", 9)
    newer = HEADER.encode()
    monkeypatch.undo()
    with pytest.raises(Refused, match="format 9"):
        parse(newer)


def test_a_wrong_passphrase_is_told_as_such_and_spelling_does_not_matter() -> None:
    key, made = passphrase.new_key("vier Wörter im Schnee", HEADER)
    decomposed = "vier Wo\u0308rter im Schnee"
    assert passphrase.key_of(decomposed, made) == key
    for wrong in ("vier Worter im Schnee", "", "vier Wörter im Schnee "):
        with pytest.raises(Refused, match="not the passphrase"):
            passphrase.key_of(wrong, made)


@pytest.mark.parametrize("weak", ["", "short", "aaaaaaaaaaaaaaaaaaaa", "abababababababab"])
def test_a_weak_passphrase_is_not_taken(weak: str) -> None:
    with pytest.raises(FieldctlError, match="too short"):
        passphrase.check_new(weak)


def test_four_words_are_taken() -> None:
    passphrase.check_new("larch horn plate wind")
