"""From a passphrase to a key: scrypt (RFC 7914), and the least that is taken for a passphrase."""

from __future__ import annotations

import hashlib
import hmac
import unicodedata
from dataclasses import replace

from fieldctl.backup.header import CHECK_BYTES, Header
from fieldctl.errors import BadInput, Refused

LEAST = 12  # characters: four short words; whoever finds the file may guess for years
KEY_BYTES = 32


def check_new(passphrase: str) -> None:
    """BadInput for a passphrase that is too easily guessed to seal the keys of a field with."""
    plain = _plain(passphrase)
    if len(plain) < LEAST or len(set(plain)) < LEAST // 2:
        raise BadInput(
            "This passphrase is too short, or the same few characters again and again.",
            expected=f"{LEAST} characters or more",
            remedy="Take four words that do not belong together, and write them on paper. Without them nobody can "
            "read the backup back.",
        )


def new_key(passphrase: str, header: Header) -> tuple[bytes, Header]:
    """The key for a new backup, and its header with the check that this key has."""
    key, check = _derived(passphrase, header)
    return key, replace(header, check=check)


def key_of(passphrase: str, header: Header) -> bytes:
    """The key of a backup; Refused for a wrong passphrase."""
    key, check = _derived(passphrase, header)
    if not hmac.compare_digest(check, header.check):
        raise Refused(
            "This is not the passphrase of this backup.",
            expected="the one that was typed when it was made",
            remedy="Try again: capitals, spaces and the keyboard's language count. Without it nobody can read it back.",
        )
    return key


def derive(passphrase: bytes, salt: bytes, *, n: int, r: int, p: int, length: int) -> bytes:
    """`length` bytes of a passphrase; scrypt, RFC 7914, section 6."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    return Scrypt(salt=salt, length=length, n=n, r=r, p=p).derive(passphrase)


def _derived(passphrase: str, header: Header) -> tuple[bytes, bytes]:
    secret = _plain(passphrase).encode()
    made = derive(secret, header.salt, n=1 << header.log_n, r=header.r, p=header.p, length=2 * KEY_BYTES)
    check = hashlib.blake2s(made[KEY_BYTES:], digest_size=CHECK_BYTES, person=b"fieldchk").digest()
    return made[:KEY_BYTES], check


def _plain(passphrase: str) -> str:
    """The same letters in the same spelling, whichever keyboard wrote them."""
    return unicodedata.normalize("NFKC", passphrase)
