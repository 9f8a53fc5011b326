"""One webhook for alerts: alarms raised and cleared, from a bounded queue, tried again ever less hastily.

It never keeps the field waiting and is off unless the site names an address. What is sent holds no name of a person and
no secret; of the address itself only the host is ever shown, since the rest of it often is one. What a restart found
unsent is sent then.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from fieldctl.controller import snapshot
from fieldctl.errors import FieldctlError, Refused
from fieldctl.events import FIELD, AlarmCleared, AlarmRaised

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry

SCHEMA = 1
WAITING_MAX = 100  # a bad day of a large field; more tells nobody more
AGAIN_FIRST_S = 2.0
AGAIN_MOST_S = 300.0
TEST_WITHIN_S = 15.0
SENT = "alerts sent"  # a setting: the number of the last entry that was delivered

Row = dict[str, Any]
Deliver = Callable[[str, bytes], Awaitable[None]]


@dataclass(eq=False, slots=True)
class _Waiting:
    """One alert that waits; the number of its entry, None for a test."""

    row: Row
    seq: int | None
    tried: asyncio.Event = field(default_factory=asyncio.Event)
    delivered: bool = False


class Hook:
    """The queue and how it fares; `run` delivers until cancelled."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._url = controller.site.alerts.webhook
        self._queue: deque[_Waiting] = deque()
        self._wake = asyncio.Event()
        self._at_once = asyncio.Event()
        self.delivered = 0
        self.failed = 0  # attempts
        self.dropped = 0  # pushed out of a full queue
        self.last_delivered: str | None = None  # the wall's label
        self.failing_since: str | None = None
        self.failing = False
        self.why = ""

    @property
    def waiting(self) -> int:
        """Alerts that were not delivered yet."""
        return len(self._queue)

    def state(self) -> Row:
        """How it fares, for people; the host alone of its address."""
        return {
            "on": bool(self._url),
            "host": urlsplit(self._url).hostname or "",
            "delivered": self.delivered,
            "last_delivered": self.last_delivered,
            "failing": self.failing,
            "failing_since": self.failing_since,
            "why": self.why,
            "waiting": self.waiting,
            "failed": self.failed,
            "dropped": self.dropped,
        }

    # ---- what is to be sent --------------------------------------------------------------------------------------

    def committed(self, entry: Entry) -> None:
        """An alarm was raised or cleared: send it, where a webhook is set."""
        if self._url:
            self._put(_Waiting(self._row(entry), entry.seq))

    def ledger_failed(self) -> None:
        """The log takes no entries, so that this one alarm cannot be written down first."""
        if not self._url:
            return
        row = self._about("raised", self._c.outside.clock.wall())
        row["entry"] = None
        row["alarm"] = {
            "target": None,
            "link": "",
            "name": self._c.site.title,
            "what": "ledger-failed",
            "says": "The log takes no entries: everything is being switched off, and nothing new is sent.",
            "remedy": "Look at the disk (fieldctl doctor), make room, and start serve again.",
            "cleared_by": None,
        }
        self._put(_Waiting(row, None))

    def _put(self, waiting: _Waiting) -> None:
        if len(self._queue) >= WAITING_MAX:  # what is newest tells how things stand
            self._queue.popleft().tried.set()
            self.dropped += 1
        self._queue.append(waiting)
        self._wake.set()

    def _row(self, entry: Entry) -> Row:
        fact = entry.fact
        assert isinstance(fact, AlarmRaised | AlarmCleared)
        raised = isinstance(fact, AlarmRaised)
        row = self._about("raised" if raised else "cleared", entry.wall)
        row["entry"] = entry.seq
        row["alarm"] = {
            "target": fact.target,
            "link": fact.link,
            "name": fact.link if fact.target is None else snapshot.label(self._c, fact.target),
            "what": fact.what,
            "says": fact.sentence if isinstance(fact, AlarmRaised) else None,
            "remedy": fact.remedy if isinstance(fact, AlarmRaised) else None,
            "cleared_by": None if raised else "the field" if fact.by == FIELD else "a person",  # type: ignore[union-attr]
        }
        return row

    def _about(self, event: str, wall: str | None) -> Row:
        site = self._c.site
        return {"schema": SCHEMA, "event": event, "site": site.name, "title": site.title, "at": wall}

    async def test(self) -> Row:
        """Send one alert that says it is a test; how it fared. Refused where no webhook is set."""
        if not self._url:
            raise Refused(
                "No webhook is set.",
                remedy="Name one in site.toml: [alerts] webhook, and start serve again.",
            )
        waiting = _Waiting(self._about("test", self._c.outside.clock.wall()), None)
        self._put(waiting)
        self._at_once.set()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(TEST_WITHIN_S):
                await waiting.tried.wait()
        return {"test": "delivered" if waiting.delivered else "waiting", "webhook": self.state()}

    # ---- delivering ----------------------------------------------------------------------------------------------

    async def run(self, deliver: Deliver) -> None:
        """Deliver until cancelled; what an earlier life left unsent comes first."""
        if not self._url:
            await self._note(None)
            return
        await self._take_up()
        again_s = AGAIN_FIRST_S
        while True:
            if not self._queue:
                self._wake.clear()
                await self._wake.wait()
            first = self._queue[0]
            self._at_once.clear()
            try:
                await deliver(self._url, json.dumps(first.row, ensure_ascii=False).encode())
            except FieldctlError as error:
                self._fails(error)
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(again_s):
                        await self._at_once.wait()
                again_s = min(again_s * 2, AGAIN_MOST_S)
                continue
            again_s = AGAIN_FIRST_S
            await self._sent(first)

    def _fails(self, error: FieldctlError) -> None:
        self.failed += 1
        self.why = error.what
        if not self.failing:
            self.failing, self.failing_since = True, self._c.outside.clock.wall()
        for waiting in self._queue:
            waiting.tried.set()

    async def _sent(self, waiting: _Waiting) -> None:
        if self._queue and self._queue[0] is waiting:
            self._queue.popleft()
        self.delivered += 1
        self.last_delivered = self._c.outside.clock.wall()
        self.failing, self.failing_since, self.why = False, None, ""
        waiting.delivered = True
        waiting.tried.set()
        if waiting.seq is not None:
            await self._note(waiting.seq)

    async def _take_up(self) -> None:
        """What was committed while nobody delivered; nothing of the time before there was a webhook."""
        ledger = self._c.ledger
        sent = ledger.setting(SENT)
        if sent is None:
            await self._note(ledger.head()[0])
            return
        left = list(ledger.entries(after_seq=sent, kinds=(AlarmRaised, AlarmCleared)))
        known = {waiting.seq for waiting in self._queue}
        new, self._queue = list(self._queue), deque()
        for entry in left:
            if entry.seq not in known:
                self.committed(entry)
        for waiting in new:
            self._put(waiting)

    async def _note(self, seq: int | None) -> None:
        with contextlib.suppress(FieldctlError):  # a ledger that fails is told of by the pen
            await self._c.ledger.commit_settings({SENT: seq})
