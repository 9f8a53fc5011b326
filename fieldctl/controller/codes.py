"""One-time codes: eighty bits in groups that can be typed with gloves on, each good for one thing and once.

They live in memory alone and as hashes: a restart ends them, and nothing on the disk gives one away.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from fieldctl.units import US_PER_S, HostUs, PersonId

What = Literal["phone", "first"]

LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that is taken for another: no I, L, O, U
READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})
BITS = 80  # at least 64 were asked for; sixteen letters of five bits, four groups of four
GROUP = 4
LIVES_S = 600  # from the press to the other phone: ten minutes
CODES_MAX = 64  # that wait to be used; one more ends the oldest


@dataclass(frozen=True, slots=True)
class Code:
    """What a code is good for, who made it, and until when (None: until it is used or the controller ends)."""

    what: What
    person: PersonId
    by: PersonId
    until_us: HostUs | None


def normal(text: str) -> str:
    """A code as it was meant: without blanks and dashes, in capitals, letters that look like digits as digits."""
    return "".join(c for c in text.upper().translate(READ_AS) if c in LETTERS)


def _hash(text: str) -> bytes:
    return hashlib.blake2s(normal(text).encode(), person=b"fc-code").digest()


class Codes:
    """Codes that wait to be used. Counts: made, used, ran_out, dropped (too many), unknown."""

    def __init__(self, entropy: Callable[[], bytes], now: Callable[[], HostUs]) -> None:
        self._entropy = entropy
        self._now = now
        self._waiting: dict[bytes, Code] = {}
        self.counts: Counter[str] = Counter()

    def make(self, what: What, person: PersonId, by: PersonId, lives_s: float | None = LIVES_S) -> str:
        """A new code, in groups; the only time that it can be seen."""
        self._let_go()
        passing = [key for key, code in self._waiting.items() if code.until_us is not None]
        for key in passing[: max(0, len(passing) - CODES_MAX + 1)]:
            del self._waiting[key]
            self.counts["dropped"] += 1
        drawn = int.from_bytes(self._entropy() + self._entropy(), "big") % (1 << BITS)
        letters = "".join(LETTERS[drawn >> shift & 31] for shift in range(BITS - 5, -1, -5))
        text = "-".join(letters[at : at + GROUP] for at in range(0, len(letters), GROUP))
        until = None if lives_s is None else HostUs(self._now() + round(lives_s * US_PER_S))
        self._waiting[_hash(text)] = Code(what, person, by, until)
        self.counts["made"] += 1
        return text

    def look(self, text: str, what: What) -> Code | None:
        """What a code is good for, without using it; None for one that is not, or not for this."""
        self._let_go()
        code = self._waiting.get(_hash(text))
        if code is None or code.what != what:
            self.counts["unknown"] += 1
            return None
        return code

    def use(self, text: str, what: What) -> Code | None:
        """As `look`, and the code is gone."""
        code = self.look(text, what)
        if code is not None:
            del self._waiting[_hash(text)]
            self.counts["used"] += 1
        return code

    def end(self, which: Callable[[Code], bool]) -> int:
        """End codes; how many."""
        gone = [key for key, code in self._waiting.items() if which(code)]
        for key in gone:
            del self._waiting[key]
        return len(gone)

    def _let_go(self) -> None:
        now = self._now()
        self.counts["ran_out"] += self.end(lambda code: code.until_us is not None and now >= code.until_us)
