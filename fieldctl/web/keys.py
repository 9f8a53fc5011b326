"""One press, one order: answers kept by the client's own id, so that a request sent twice is carried out once.

A key (header Idempotency-Key) belongs to the phone that sent it. While the first request of a key is under way, a
second one waits for the same answer; afterwards it is given that answer again. Both stores are bounded: the oldest keys
of a phone, and the phone that was silent longest, are forgotten, and counted. Verbs with an id of their own are given
one that follows from the key (`own_id`): they stay one order even after a restart, by what is in the ledger.
"""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections import Counter, OrderedDict
from dataclasses import dataclass

from fieldctl.errors import FieldctlError
from fieldctl.web.problems import KeyMissing, KeyReused

LEAST, MOST = 8, 64
PATTERN = rf"^[A-Za-z0-9._~:-]{{{LEAST},{MOST}}}$"
KEYS_MAX = 64  # of one phone: minutes of quick presses
PHONES_MAX = 64

Outcome = bytes | FieldctlError
"""The JSON of an answer, or what was refused."""

_KEY = re.compile(PATTERN.removesuffix("$") + r"\Z")


@dataclass(slots=True)
class Kept:
    """What became of a key: the request that it names, and its answer, perhaps still to come."""

    named: bytes
    task: asyncio.Task[Outcome]


class Keys:
    """The answers by phone and key. Counts: forgotten_keys, forgotten_phones, again."""

    def __init__(self) -> None:
        self._phones: OrderedDict[str, OrderedDict[str, Kept]] = OrderedDict()
        self.counts: Counter[str] = Counter()

    def find(self, phone: str, key: str, named: bytes) -> asyncio.Task[Outcome] | None:
        """The answer of a key, None for a new one; KeyReused where it named another request."""
        own = self._phones.get(phone)
        kept = None if own is None else own.get(key)
        if kept is None:
            return None
        if kept.named != named:
            raise KeyReused(
                "This Idempotency-Key named another request before.",
                expected="a new key for each press",
                remedy="Send this request with a key of its own.",
            )
        self._phones.move_to_end(phone)
        self.counts["again"] += 1
        return kept.task

    def keep(self, phone: str, key: str, named: bytes, task: asyncio.Task[Outcome]) -> None:
        """Remember a request that has begun."""
        own = self._phones.setdefault(phone, OrderedDict())
        self._phones.move_to_end(phone)
        own[key] = Kept(named, task)
        if len(own) > KEYS_MAX:
            own.popitem(last=False)
            self.counts["forgotten_keys"] += 1
        if len(self._phones) > PHONES_MAX:
            self._phones.popitem(last=False)
            self.counts["forgotten_phones"] += 1


def checked(key: str | None) -> str:
    """A usable key; KeyMissing says what one looks like."""
    if key is None or not _KEY.match(key):
        raise KeyMissing(
            "There is no Idempotency-Key." if key is None else "This Idempotency-Key cannot be used.",
            expected=f"{LEAST} to {MOST} letters, digits or . _ ~ : -",
            remedy="Make a new one for each press, and send the same one again where no answer came.",
        )
    return key


def own_id(phone: str, verb: str, key: str) -> str:
    """The id of what a request makes: the same for the same phone, verb and key, whatever was restarted."""
    digest = hashlib.blake2s("\0".join((phone, verb, key)).encode(), digest_size=10, person=b"fieldctl")
    return f"k-{digest.hexdigest()}"
