"""Tags, counters, replay windows and keys.

A tag is eight bytes of BLAKE2s (RFC 7693), keyed, over form (which names the direction), target, counter and body. The
tag is checked before the counter is looked at. Keys have 16 bytes: one for each target and one for all off, both
derived from the site key; the all-off key can do nothing but switch off. A counter has 32 bits and only rises.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import blake2s
from typing import Any

from fieldctl.wire import envelope

KEY_BYTES = 16
COUNTER_MAX = 0xFFFF_FFFF
STRICT = 1  # window on a serial bus: frames cannot overtake each other
MQTT_WINDOW = 32  # RFC 8613, section 7.4: the default replay window
COUNTER_STEP = 64  # persisted every so many: spares the flash of a target
RESTART_JUMP = 64  # beyond any window: what an earlier controller left under way can no longer be accepted


class Sealer:
    """Makes and checks the tags of one key."""

    __slots__ = ("_seed",)

    def __init__(self, key: bytes) -> None:
        assert len(key) == KEY_BYTES, f"a key has {KEY_BYTES} bytes"
        self._seed = blake2s(key=key, digest_size=envelope.TAG_BYTES)

    def seal(self, form: int, address: int, counter: int, body: bytes) -> bytes:
        """The payload of a sealed message."""
        assert 0 <= counter <= COUNTER_MAX, "the counter ran out: rotate the key"
        return envelope.sealed(form, address, counter, body, self._tag(form, address, counter, body))

    def holds(self, env: envelope.Envelope) -> bool:
        """Whether the tag of an envelope is right."""
        return hmac.compare_digest(env.tag, self._tag(env.form, env.address, env.counter, env.body))

    def _tag(self, form: int, address: int, counter: int, body: bytes) -> bytes:
        h: Any = self._seed.copy()
        h.update(envelope.signed_part(form, address, counter, body))
        return bytes(h.digest())


class ReplayWindow:
    """Which counters were seen: strictly rising (size 1), or a window of `size` behind the highest."""

    __slots__ = ("_seen", "high", "size")

    def __init__(self, size: int, high: int = 0) -> None:
        self.size = size
        self.high = high
        self._seen = (1 << size) - 1  # after a start nothing behind the highest is taken

    def fresh(self, counter: int) -> bool:
        """Whether this counter was not seen yet and is not too old to tell."""
        if counter > self.high:
            return True
        behind = self.high - counter
        return behind < self.size and not self._seen >> behind & 1

    def take(self, counter: int) -> None:
        """Mark a counter as seen; call only after its tag was checked and it was `fresh`."""
        if counter > self.high:
            ahead = counter - self.high
            self._seen = ((self._seen << ahead) | 1) & ((1 << self.size) - 1) if ahead < self.size else 1
            self.high = counter
        else:
            self._seen |= 1 << (self.high - counter)


class StepCounter:
    """A rising counter of which only every 64th value is persisted, always ahead of use."""

    __slots__ = ("_mark", "_persist", "value")

    def __init__(self, persisted: int, persist: Callable[[int], None]) -> None:
        self.value = persisted  # what was used since the mark is unknown: go on beyond it
        self._mark = persisted
        self._persist = persist

    def next(self) -> int:
        """The next value; persists first when it passes the mark."""
        self.advance_to(self.value + 1)
        return self.value

    def advance_to(self, value: int) -> None:
        """Go to `value`, persisting first when it passes the mark."""
        self.value = value
        if value > self._mark:
            self._mark = min(value + COUNTER_STEP, COUNTER_MAX)  # a target's flash holds 32 bits
            self._persist(self._mark)


@dataclass(frozen=True, slots=True)
class TargetKeys:
    """What one target holds: its own key, the all-off key, and the version that counts rotations."""

    own: bytes
    all_off: bytes
    version: int


def _derive(key: bytes, label: bytes, *parts: int) -> bytes:
    data = label + b"\0" + b"".join(part.to_bytes(4, "big") for part in parts)
    return blake2s(data, key=key, digest_size=KEY_BYTES).digest()


def derive_keys(site_key: bytes, address: int, version: int) -> TargetKeys:
    """The keys of one target of a site; the site key has 16 bytes and never leaves the controller."""
    return TargetKeys(
        own=_derive(site_key, b"fieldctl target", address, version), all_off=all_off_key(site_key), version=version
    )


def all_off_key(site_key: bytes) -> bytes:
    """The key that can do nothing but switch off; the same for every target of a site."""
    return _derive(site_key, b"fieldctl all off")


def wrap(secret: bytes, label: bytes, nonces: bytes, keys: TargetKeys) -> bytes:
    """Keys hidden under a secret (factory secret, or the old own key when rotating): 32 bytes.

    The stream is BLAKE2s keyed with the secret over label and both nonces, used once; a tag over the whole goes with
    it in the message that carries it.
    """
    return bytes(a ^ b for a, b in zip(keys.own + keys.all_off, _stream(secret, label, nonces), strict=True))


def unwrap(secret: bytes, label: bytes, nonces: bytes, wrapped: bytes, version: int) -> TargetKeys:
    """Undo `wrap`."""
    clear = bytes(a ^ b for a, b in zip(wrapped, _stream(secret, label, nonces), strict=True))
    return TargetKeys(clear[:KEY_BYTES], clear[KEY_BYTES:], version)


def _stream(secret: bytes, label: bytes, nonces: bytes) -> bytes:
    return blake2s(label + b"\0" + nonces, key=secret, digest_size=2 * KEY_BYTES).digest()
