"""Bytes in, sealed chunks out, and back; pure but for the file that is given. One chunk is held at a time."""

from __future__ import annotations

import io
from typing import Protocol

from fieldctl.backup.header import SIZE, Header
from fieldctl.errors import BackupBroken

TAG_BYTES = 16
CHUNKS_MOST = 1 << 32  # the number of a chunk has four bytes: 256 TiB
_REMEDY = "Take another copy of it; nothing of this one was used."


class Writes(Protocol):
    """Where sealed bytes go."""

    def write(self, data: bytes, /) -> int:
        """All of them."""


class Reads(Protocol):
    """Where sealed bytes come from."""

    def read(self, size: int, /) -> bytes:
        """Up to so many; none at the end."""


def seal_chunk(key: bytes, nonce: bytes, plain: bytes, header: bytes) -> bytes:
    """One chunk with its tag behind; ChaCha20-Poly1305, RFC 8439, section 2.8."""
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    return ChaCha20Poly1305(key).encrypt(nonce, plain, header)


def open_chunk(key: bytes, nonce: bytes, sealed: bytes, header: bytes) -> bytes | None:
    """What is in a chunk; None where it is not what was sealed under this nonce."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        return ChaCha20Poly1305(key).decrypt(nonce, sealed, header)
    except InvalidTag:
        return None


def nonce_of(header: Header, number: int, *, last: bool) -> bytes:
    """The nonce of a chunk."""
    return header.prefix + number.to_bytes(4, "big") + bytes([last])


class Sealer(io.RawIOBase):
    """A file to write into; what is written lies sealed in `out`, whole once this is closed by `finish`."""

    def __init__(self, out: Writes, key: bytes, header: Header) -> None:
        super().__init__()
        self._out, self._key, self._header, self._head = out, key, header, header.encode()
        self._waiting = bytearray()
        self._number = 0
        self.abandoned = False
        out.write(self._head)

    def writable(self) -> bool:
        """It is."""
        return True

    def write(self, data: bytes | bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Take bytes; a full chunk goes out when more comes, since the last one is marked."""
        view, size = memoryview(data), self._header.chunk
        if self.abandoned:
            return len(view)
        for begin in range(0, len(view), size):
            self._waiting += view[begin : begin + size]
            while len(self._waiting) > size:
                self._chunk(bytes(self._waiting[:size]), last=False)
                del self._waiting[:size]
        return len(view)

    def finish(self) -> None:
        """Seal the last chunk."""
        self._chunk(bytes(self._waiting), last=True)
        self._waiting.clear()

    def _chunk(self, plain: bytes, *, last: bool) -> None:
        assert self._number < CHUNKS_MOST, "a backup of 256 TiB"
        nonce = nonce_of(self._header, self._number, last=last)
        self._out.write(seal_chunk(self._key, nonce, plain, self._head))
        self._number += 1


class Opener(io.RawIOBase):
    """A file to read what was sealed; BackupBroken as soon as a chunk is not what was written.

    `file` stands behind the header. Nothing is given out that was not checked.
    """

    def __init__(self, file: Reads, key: bytes, header: Header) -> None:
        super().__init__()
        self._file, self._key, self._header, self._head = file, key, header, header.encode()
        self._sealed = header.chunk + TAG_BYTES
        self._next = self._read_sealed()
        self._plain = memoryview(b"")
        self._number = 0
        self.done = 0  # bytes of the file that were opened
        self.ended = False

    def readable(self) -> bool:
        """It is."""
        return True

    def readinto(self, buffer: bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Fill a buffer; 0 at the true end alone."""
        while not self._plain and not self.ended:
            self._plain = memoryview(self._open_next())
        size = min(len(buffer), len(self._plain))
        buffer[:size] = self._plain[:size]
        self._plain = self._plain[size:]
        return size

    def _open_next(self) -> bytes:
        sealed, self._next = self._next, self._read_sealed()
        last = not self._next
        plain = open_chunk(self._key, nonce_of(self._header, self._number, last=last), sealed, self._head)
        at = SIZE + self._number * self._sealed
        if plain is None:
            other = nonce_of(self._header, self._number, last=not last)
            if last and (not sealed or open_chunk(self._key, other, sealed, self._head) is not None):
                raise BackupBroken(
                    f"The backup is cut off after {at + len(sealed)} bytes: its end is missing.",
                    expected="a whole file",
                    remedy=_REMEDY,
                )
            raise BackupBroken(
                f"The backup is not what was written, between bytes {at} and {at + len(sealed)}.",
                expected="every chunk as it was sealed",
                remedy=_REMEDY,
            )
        self._number += 1
        self.done += len(sealed)
        self.ended = last
        return plain

    def _read_sealed(self) -> bytes:
        """A whole sealed chunk, less at the end of the file."""
        parts = bytearray()
        while len(parts) < self._sealed:
            more = self._file.read(self._sealed - len(parts))
            if not more:
                break
            parts += more
        return bytes(parts)
