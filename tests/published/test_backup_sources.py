"""What seals a backup against what is published about it; grades as in the project's table of facts.

seen = read in the source; second-hand = read on a page that names the source; memory = not read anywhere now, so never
the only check; derived = follows from a stated rule, worked out here by another route. No whole
standard was at hand.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import struct
import tarfile
import unicodedata
from pathlib import Path

import pytest

from fieldctl.backup import passphrase, sealing
from fieldctl.backup.create import create
from fieldctl.site.new import new_site

# ---- scrypt -----------------------------------------------------------------------------------------------------

# RFC 7914, section 12: passphrase, salt, N, r, p, 64 bytes. Second-hand: several pages that name the section agree.
SCRYPT = (
    ("", "", 16, 1, 1, "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
                       "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906"),
    ("password", "NaCl", 1024, 8, 16, "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
                                      "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640"),
    ("pleaseletmein", "SodiumChloride", 16384, 8, 1, "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
                                                     "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"),
)  # fmt: skip


@pytest.mark.parametrize(("words", "salt", "n", "r", "p", "made"), SCRYPT)
def test_scrypt(words: str, salt: str, n: int, r: int, p: int, made: str) -> None:
    assert passphrase.derive(words.encode(), salt.encode(), n=n, r=r, p=p, length=64).hex() == made


# ---- ChaCha20-Poly1305 ------------------------------------------------------------------------------------------

# RFC 8439, section 2.8.2; second-hand: several pages that name the section agree.
PLAIN = (
    b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, "
    b"sunscreen would be it."
)
KEY = bytes(range(0x80, 0xA0))
NONCE = bytes.fromhex("070000004041424344454647")
DATA = bytes.fromhex("50515253c0c1c2c3c4c5c6c7")
SEALED = bytes.fromhex(
    "d31a8d34648e60db7b86afbc53ef7ec2a4aded51296e08fea9e2b5a736ee62d6"
    "3dbea45e8ca9671282fafb69da92728b1a71de0a9e060b2905d6a5b67ecd3b36"
    "92ddbd7f2d778b8c9803aee328091b58fab324e4fad675945585808b4831d7bc"
    "3ff4def08e4b7a9de576d26586cec64b61161ae10b594f09e26a7e902ecbd0600691"
)

# RFC 8439, appendix A.5: what is to be opened; second-hand in parts, the whole from memory (its tag holds it together).
KEY_A5 = bytes.fromhex("1c9240a5eb55d38af333888604f6b5f0473917c1402b80099dca5cbc207075c0")
NONCE_A5 = bytes.fromhex("000000000102030405060708")
DATA_A5 = bytes.fromhex("f33388860000000000004e91")
SEALED_A5 = bytes.fromhex(
    "64a0861575861af460f062c79be643bd5e805cfd345cf389f108670ac76c8cb2"
    "4c6cfc18755d43eea09ee94e382d26b0bdb7b73c321b0100d4f03b7f355894cf"
    "332f830e710b97ce98c8a84abd0b948114ad176e008d33bd60f982b1ff37c855"
    "9797a06ef4f0ef61c186324e2b3506383606907b6a7c02b0f9f6157b53c867e4"
    "b9166c767b804d46a59b5216cde7a4e99040c5a40433225ee282a1b0a06c523e"
    "af4534d7f83fa1155b0047718cbc546a0d072b04b3564eea1b422273f548271a"
    "0bb2316053fa76991955ebd63159434ecebb4e466dae5a1073a6727627097a10"
    "49e617d91d361094fa68f0ff77987130305beaba2eda04df997b714d6c6f2c29"
    "a6ad5cb4022b02709beead9d67890cbb22392336fea1851f38"
)


def test_a_chunk_is_sealed_as_rfc_8439_section_2_8_2_seals() -> None:
    assert sealing.seal_chunk(KEY, NONCE, PLAIN, DATA) == SEALED
    assert sealing.open_chunk(KEY, NONCE, SEALED, DATA) == PLAIN
    for spoilt in (SEALED[:-1] + b"?", b"?" + SEALED[1:]):
        assert sealing.open_chunk(KEY, NONCE, spoilt, DATA) is None
    assert sealing.open_chunk(KEY, NONCE, SEALED, DATA + b"?") is None


def test_a_chunk_is_opened_as_rfc_8439_appendix_a_5_opens() -> None:
    plain = sealing.open_chunk(KEY_A5, NONCE_A5, SEALED_A5, DATA_A5)
    assert plain is not None
    assert plain.startswith(b"Internet-Drafts are draft documents valid for a maximum of six months")
    assert plain.endswith("work in progress./”".encode())


# ---- the whole, by another route --------------------------------------------------------------------------------


def _quarter(x: list[int], a: int, b: int, c: int, d: int) -> None:
    for one, other, third, turn in ((a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)):
        x[one] = (x[one] + x[other]) & 0xFFFFFFFF
        x[third] ^= x[one]
        x[third] = (x[third] << turn | x[third] >> (32 - turn)) & 0xFFFFFFFF


def _block(key: bytes, count: int, nonce: bytes) -> bytes:
    """RFC 8439, section 2.3."""
    begin = list(struct.unpack("<16I", b"expand 32-byte k" + key + struct.pack("<I", count) + nonce))
    x = list(begin)
    for _ in range(10):
        for i in range(4):
            _quarter(x, i, 4 + i, 8 + i, 12 + i)
        for i in range(4):
            _quarter(x, i, 4 + (i + 1) % 4, 8 + (i + 2) % 4, 12 + (i + 3) % 4)
    return struct.pack("<16I", *((a + b) & 0xFFFFFFFF for a, b in zip(x, begin, strict=True)))


def _tag(key: bytes, message: bytes) -> bytes:
    """RFC 8439, section 2.5."""
    r = int.from_bytes(key[:16], "little") & 0x0FFFFFFC0FFFFFFC0FFFFFFC0FFFFFFF
    held = 0
    for at in range(0, len(message), 16):
        held = (held + int.from_bytes(message[at : at + 16] + b"\1", "little")) * r % ((1 << 130) - 5)
    return ((held + int.from_bytes(key[16:], "little")) & ((1 << 128) - 1)).to_bytes(16, "little")


def opened_by_the_rfc(key: bytes, nonce: bytes, sealed: bytes, data: bytes) -> bytes:
    """RFC 8439, section 2.8, worked out here from its text, without the library that the product uses."""
    cipher, tag = sealed[:-16], sealed[-16:]

    def padded(part: bytes) -> bytes:
        return part + bytes(-len(part) % 16)

    message = padded(data) + padded(cipher) + struct.pack("<QQ", len(data), len(cipher))
    assert _tag(_block(key, 0, nonce)[:32], message) == tag
    stream = b"".join(_block(key, 1 + n, nonce) for n in range(-(-len(cipher) // 64)))
    return bytes(a ^ b for a, b in zip(cipher, stream, strict=False))


def test_the_other_route_is_right_itself() -> None:
    assert opened_by_the_rfc(KEY, NONCE, SEALED, DATA) == PLAIN


def test_a_backup_is_opened_by_its_documented_format_alone(tmp_path: Path) -> None:
    """The package's docstring, followed with hashlib's scrypt and the cipher above: nothing of the product is used."""
    words = "vier Wo\u0308rter im Schnee"
    new_site(tmp_path / "larch")
    made = create(tmp_path / "larch", tmp_path / "b", words, wall=None, salt=bytes(range(23)))
    raw = made.file.read_bytes()
    head = raw[:64]
    magic, version, log_n, r, p, chunk = struct.unpack(">8sBBBBI", head[:16])
    assert (magic, version) == (b"fieldbak", 1)
    secret = unicodedata.normalize("NFKC", words).encode()
    derived = hashlib.scrypt(secret, salt=head[16:32], n=1 << log_n, r=r, p=p, maxmem=1 << 28, dklen=64)
    assert hashlib.blake2s(derived[32:], digest_size=16, person=b"fieldchk").digest() == head[40:56]
    plain, at, number = b"", 64, 0
    while at < len(raw):
        end = at + chunk + 16
        nonce = head[32:39] + number.to_bytes(4, "big") + bytes([end >= len(raw)])
        plain += opened_by_the_rfc(derived[:32], nonce, raw[at:end], head)
        at, number = end, number + 1
    with tarfile.open(fileobj=io.BytesIO(gzip.decompress(plain))) as tar:
        members = tar.getmembers()
        texts = {member.name: tar.extractfile(member).read() for member in members}  # type: ignore[union-attr]
    assert members[-1].name == "manifest.json"
    parts = json.loads(texts.pop("manifest.json"))["parts"]
    assert texts["site/site.toml"] == (tmp_path / "larch" / "site.toml").read_bytes()
    assert {"site/" + part["path"]: part["digest"] for part in parts} == {
        name: hashlib.blake2b(text, digest_size=32).hexdigest() for name, text in texts.items()
    }
