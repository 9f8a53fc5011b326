"""A link to one exercise's debrief for the group: no login, no full names, dead after a chosen time.

What it shows would be a hint while it matters: nothing of an exercise that goes on, and no places while a target of it
plays again.

The link itself says until when, and a key that never leaves this ledger seals both; nothing is kept of it, so it lives
through a restart, and a new key ends every link at once. It shows an exercise and can order nothing.
"""

from __future__ import annotations

import base64
import datetime
import hashlib
import hmac
from typing import TYPE_CHECKING, Any

from fieldctl.errors import BadInput, NotFound, Refused

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.drill.state import Exercise

Row = dict[str, Any]

KEY = "group links: key"  # a setting of the ledger, which backups hold and exports do not
SEAL_BYTES = 10  # 80 bits: nobody guesses one over a network
HOURS = (0.25, 72.0)
ROOT = "/group"
GOING_ON = ("running", "interrupted")


class GroupLinks:
    """Makes links and says whether one still counts."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller

    async def make(self, exercise: str, by: str, hours: float = 12.0) -> Row:
        """A link to the debrief of an exercise for a group, which dies after so many hours."""
        if not HOURS[0] <= hours <= HOURS[1]:
            raise BadInput(f"{hours:g} h cannot be.", expected=f"{HOURS[0]:g} to {HOURS[1]:g} h", remedy="Name such.")
        if not exercise.isalnum() or next(iter(self._c.ledger.entries(exercise=exercise, limit=1)), None) is None:
            raise NotFound(f"There is no exercise {exercise!r}.", remedy="Look at the list: fieldctl exercise list.")
        if self.goes_on(exercise):
            raise still_on(exercise)
        now = self._now()
        if now is None:
            raise Refused(
                "The base station does not know the time, and a link has to end.",
                remedy="Set its clock, or show the debrief on a phone that is signed in.",
            )
        until = int((now + datetime.timedelta(hours=hours)).timestamp())
        self._c.person(by)
        path = f"{ROOT}/{exercise}/{until}/{self._seal(exercise, until, await self._key())}"
        ends = datetime.datetime.fromtimestamp(until, datetime.UTC).isoformat().replace("+00:00", "Z")
        return {"exercise": exercise, "path": path, "until": ends}

    def counts(self, exercise: str, until: int, seal: str) -> bool:
        """Whether this link was made here and is not dead yet."""
        kept, now = self._c.ledger.setting(KEY), self._now()
        if not kept or now is None or now.timestamp() > until:
            return False
        return hmac.compare_digest(seal.encode(), self._seal(exercise, until, bytes.fromhex(kept)).encode())

    def goes_on(self, exercise: str) -> bool:
        """Whether this exercise is not over, or its end was taken back: then nobody is shown anything of it."""
        found = self._found(exercise)
        return found is not None and found.status in GOING_ON

    def plays_again(self, exercise: str) -> bool:
        """Whether a target of this exercise plays in another one that is not over: then its places are a hint."""
        found = self._found(exercise)
        played = set() if found is None else {b.target for b in found.burials.values()}
        others = (e for e in self._c.exercises.all.values() if e.status in GOING_ON and e.id != exercise)
        return any(b.target in played for other in others for b in other.burials.values())

    def _found(self, exercise: str) -> Exercise | None:
        known = self._c.exercises.all.get(exercise)
        return known or self._c.exercises.recalled(self._c.ledger.facts(exercise=exercise))

    def _now(self) -> datetime.datetime | None:
        wall = self._c.outside.clock.wall()
        return None if wall is None else datetime.datetime.fromisoformat(wall)

    async def _key(self) -> bytes:
        kept = self._c.ledger.setting(KEY)
        if not kept:
            kept = b"".join(self._c.outside.nonce() for _ in range(4)).hex()
            await self._c.ledger.commit_settings({KEY: kept})
        return bytes.fromhex(kept)

    @staticmethod
    def _seal(exercise: str, until: int, key: bytes) -> str:
        made = hashlib.blake2s(f"{exercise} {until}".encode(), key=key, digest_size=SEAL_BYTES).digest()
        return base64.b32encode(made).decode().lower()


def still_on(exercise: str) -> Refused:
    """Why nobody gets to see anything of an exercise yet."""
    return Refused(
        f"{exercise} still goes on, and its debrief would be a hint.",
        expected="an exercise that has ended",
        remedy="Wait until it has ended, then ask again.",
    )
