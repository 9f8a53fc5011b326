"""Giving site keys to a new target: wrapped under its factory secret with both nonces, after a press on its button.

The factory secret is read from the label's QR code or over USB and is used for nothing else. Hail and add are the only
unsealed messages; whatever they carry, they cannot make a target send. Rotating wraps new keys under the old own key.
"""

from __future__ import annotations

import hmac
from hashlib import blake2s

from fieldctl.wire import seal
from fieldctl.wire.messages import Add, Rekey

PRESS_COUNTS_US = 120_000_000  # how long after the press on its button a target accepts keys
_ADD = b"fieldctl add"
_REKEY = b"fieldctl rekey"


def address_of(hardware: bytes) -> int:
    """The address that a hardware id of eight bytes stands for: its last four."""
    return int.from_bytes(hardware[-4:], "big")


def make_add(secret: bytes, hardware: bytes, asker: bytes, theirs: bytes, keys: seal.TargetKeys) -> Add:
    """The message that gives keys to a new target; `asker` is the hail's nonce, `theirs` the answer's."""
    wrapped = seal.wrap(secret, _ADD, asker + theirs, keys)
    return Add(theirs, keys.version, wrapped, _proof(secret, hardware, asker + theirs, keys.version, wrapped))


def accept_add(secret: bytes, hardware: bytes, asker: bytes, theirs: bytes, add: Add) -> seal.TargetKeys | None:
    """The keys in an add message; None when it was not made for this target and these nonces."""
    if add.nonce != theirs:
        return None
    proof = _proof(secret, hardware, asker + theirs, add.key_version, add.wrapped)
    if not hmac.compare_digest(proof, add.proof):
        return None
    return seal.unwrap(secret, _ADD, asker + theirs, add.wrapped, add.key_version)


def make_rekey(own: bytes, nonce: bytes, keys: seal.TargetKeys) -> Rekey:
    """The order that gives new keys to a target that holds `own`."""
    return Rekey(nonce, keys.version, seal.wrap(own, _REKEY, nonce, keys))


def accept_rekey(own: bytes, order: Rekey) -> seal.TargetKeys:
    """The keys in an order that arrived sealed under `own`."""
    return seal.unwrap(own, _REKEY, order.nonce, order.wrapped, order.key_version)


def _proof(secret: bytes, hardware: bytes, nonces: bytes, version: int, wrapped: bytes) -> bytes:
    data = _ADD + b" proof\0" + hardware + nonces + version.to_bytes(4, "big") + wrapped
    return blake2s(data, key=secret, digest_size=8).digest()
