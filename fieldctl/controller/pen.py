"""Facts to the ledger, one writer, in the order in which they were handed in.

Whoever writes may name what follows the commit. When the ledger fails nothing follows, and the controller is told once:
a ledger that fails ends sending.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from fieldctl.controller.ports import Outside
from fieldctl.errors import FieldctlError, LedgerFailed
from fieldctl.events import Fact

if TYPE_CHECKING:  # the ledger brings SQLAlchemy along
    from fieldctl.ledger.entry import Entry
    from fieldctl.ledger.standing import Standing
    from fieldctl.ledger.store import Ledger
    from fieldctl.ledger.telemetry import Telemetry
    from fieldctl.units import TargetId

WAITING_MAX = 4096  # facts; a field makes a few dozen a second at worst

Then = Callable[[Sequence["Entry"]], None]


class Pen:
    """The only hand that writes to the ledger while a controller lives."""

    def __init__(self, ledger: Ledger, outside: Outside, failed: Callable[[FieldctlError], None]) -> None:
        self._ledger = ledger
        self._outside = outside
        self._failed = failed
        self._waiting: deque[tuple[tuple[Fact, ...], Then | None]] = deque()
        self._wake = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self.broken: FieldctlError | None = None

    def write(self, *facts: Fact, then: Then | None = None) -> None:
        """Hand facts in; they are committed together, and `then` is called with their entries."""
        if self.broken is not None:
            return  # the controller was told, and everything is being switched off
        if len(self._waiting) >= WAITING_MAX:
            self._break(
                LedgerFailed(
                    f"{WAITING_MAX} facts wait for the ledger", remedy="Look at the disk: it does not keep up."
                )
            )
            return
        self._waiting.append((facts, then))
        self._idle.clear()
        self._wake.set()

    async def run(self) -> None:
        """Write until cancelled."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            await self._write_waiting()
            if not self._waiting:
                self._idle.set()

    async def settle(self) -> None:
        """Wait until everything handed in is committed, or the ledger has failed."""
        if self.broken is None:
            await self._idle.wait()

    async def beat(self, heard: dict[str, str]) -> bool:
        """Prove that the ledger takes entries, and note when each target was last heard; False when it failed."""
        if self.broken is not None:
            return False
        here = self._outside.here()
        try:
            await self._ledger.commit_settings({"alive": [here.boot, here.us], "heard": heard})
        except FieldctlError as error:
            self._break(error)
            return False
        return True

    def note(self, sample: Telemetry) -> None:
        """Hand in what a target measured; it is no fact, and is written when there is time."""
        if self.broken is not None:
            return
        try:
            self._ledger.put_telemetry([sample])
        except FieldctlError as error:
            self._break(error)

    def keep(self, begun: Sequence[Standing], ended: Sequence[tuple[TargetId, str]]) -> None:
        """Hand in which states of targets began and ended; no fact either."""
        if self.broken is not None:
            return
        try:
            self._ledger.put_states(begun, ended)
        except FieldctlError as error:
            self._break(error)

    async def _write_waiting(self) -> None:
        while self._waiting and self.broken is None:
            batch = list(self._waiting)
            self._waiting.clear()
            facts = [fact for group, _ in batch for fact in group]
            try:
                entries = await self._ledger.commit(facts, at=self._outside.here(), wall=self._outside.clock.wall())
            except FieldctlError as error:
                self._break(error)
                return
            first = 0
            for group, then in batch:
                if then is not None:
                    then(entries[first : first + len(group)])
                first += len(group)

    def _break(self, error: FieldctlError) -> None:
        if self.broken is None:
            self.broken = error
            self._waiting.clear()
            self._idle.set()
            self._failed(error)
