"""Passwords, hashed with argon2id on a thread of their own: the loop and the field's other cores are left alone.

Memory and passes are the second option that RFC 9106 recommends (64 MiB, three passes); one lane instead of its four,
since the machine that hashes also keeps targets quiet in time. One hash is made after the other, so that a crowd of
attempts takes 64 MiB and no more; whoever finds the queue full is told to come back.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from fieldctl.errors import BadInput
from fieldctl.web.problems import Busy

if TYPE_CHECKING:
    from argon2 import PasswordHasher

MEMORY_KIB = 64 * 1024
PASSES = 3
QUEUE_MAX = 8  # at a fifth of a second each the last one waits two seconds; on a small board ten
SHORTEST, LONGEST = 10, 200  # characters; a password is guessed at over the network, and back-off makes ten enough

T = TypeVar("T")


class Passwords:
    """Makes and compares hashes. Counts: made, compared, full."""

    def __init__(
        self,
        entropy: Callable[[], bytes],
        *,
        memory_kib: int = MEMORY_KIB,
        passes: int = PASSES,
        queue: int = QUEUE_MAX,
    ) -> None:
        self._entropy = entropy
        self._cost = (passes, memory_kib)
        self._queue = queue
        self._waiting = 0
        self._thread = ThreadPoolExecutor(1, "passwords")
        self.counts: Counter[str] = Counter()

    @cached_property
    def _hasher(self) -> PasswordHasher:
        from argon2 import PasswordHasher

        passes, memory_kib = self._cost
        return PasswordHasher(time_cost=passes, memory_cost=memory_kib, parallelism=1)

    @cached_property
    def _nobodys(self) -> str:
        """What an unknown name is compared with, so that it takes as long as a known one."""
        return self._hasher.hash(self._entropy().hex(), salt=self._entropy() * 2)

    async def make(self, text: str) -> str:
        """The hash of a new password; BadInput for one too short or too long, Busy for a full queue."""
        if not SHORTEST <= len(text) <= LONGEST:
            raise BadInput(
                f"A password of {len(text)} characters cannot be taken.",
                expected=f"{SHORTEST} to {LONGEST} characters; several words are easy to keep",
                remedy="Choose another one, or none: a paired phone needs none.",
            )
        salt = self._entropy() + self._entropy()
        made = await self._on_thread(lambda: self._hasher.hash(_bytes(text), salt=salt))
        self.counts["made"] += 1
        return made

    async def match(self, kept: str | None, text: str) -> bool:
        """Whether a password is the one of a hash; False for None, after as long a time. Busy for a full queue."""
        right = await self._on_thread(lambda: self._match(kept, text))
        self.counts["compared"] += 1
        return right

    def _match(self, kept: str | None, text: str) -> bool:
        from argon2.exceptions import InvalidHashError, VerificationError

        nobodys = self._nobodys
        try:
            return (
                self._hasher.verify(nobodys if kept is None else kept, _bytes(text[: LONGEST + 1])) and kept is not None
            )
        except (VerificationError, InvalidHashError):
            return False

    async def _on_thread(self, work: Callable[[], T]) -> T:
        if self._waiting >= self._queue:
            self.counts["full"] += 1
            raise Busy(
                "Too many people sign in at this moment.",
                remedy="Try again in some seconds. A paired phone goes on working, and so does all off.",
            )
        self._waiting += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._thread, work)
        finally:
            self._waiting -= 1

    def close(self) -> None:
        """Let the thread go."""
        self._thread.shutdown(wait=False, cancel_futures=True)


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "replace")
