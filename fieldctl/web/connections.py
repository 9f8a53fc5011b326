"""How many connections are taken, and who makes room: nobody on the network can keep an all off out by holding many.

A process has some thousand descriptors for everything, its links and its ledger among them. So at most CONNECTIONS_MAX
connections are held; one more ends that of the address with the most which was silent longest, one without a request
under way first. Phones dial again by themselves.
"""

from __future__ import annotations

import asyncio
import logging
from collections import Counter
from typing import cast

from uvicorn.protocols.http.h11_impl import H11Protocol

CONNECTIONS_MAX = 384  # sixty phones with six each; a usual limit of descriptors is 1024
SAID_EVERY = 100  # evictions from one warning to the next

_log = logging.getLogger(__name__)


class Connections:
    """The open connections of one server. Counts: evicted, by address."""

    def __init__(self, most: int = CONNECTIONS_MAX) -> None:
        self._most = most
        self._open: dict[Connection, None] = {}  # the one that was silent longest first
        self.evicted: Counter[str] = Counter()

    def enter(self, one: Connection) -> None:
        """A new connection; where there are too many, another one makes room."""
        self._open[one] = None
        if len(self._open) > self._most:
            self._make_room()

    def heard(self, one: Connection) -> None:
        """It said something."""
        if one in self._open:
            del self._open[one]
            self._open[one] = None

    def leave(self, one: Connection) -> None:
        """It is gone."""
        self._open.pop(one, None)

    def _make_room(self) -> None:
        address, held = Counter(one.address for one in self._open).most_common(1)[0]
        theirs = [one for one in self._open if one.address == address]
        ended = next((one for one in theirs if not one.busy), theirs[0])
        self.leave(ended)
        if self.evicted.total() % SAID_EVERY == 0:
            _log.warning("%d connections to the pages, %d of them from %s: some are ended", self._most, held, address)
        self.evicted[address] += 1
        ended.end()


class Connection(H11Protocol):
    """One connection, known to `crowd`; `bounded` makes the class that uvicorn is given."""

    crowd: Connections
    address = ""

    @property
    def busy(self) -> bool:
        """Whether a request of it has come whole and is being answered."""
        cycle = self.cycle
        return cycle is not None and not cycle.response_complete and not cycle.more_body

    def end(self) -> None:
        """Let it go now: what it still had to say or to hear is lost."""
        self.transport.abort()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """See `asyncio.Protocol`."""
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        self.address = str(peer[0]) if peer else ""
        self.crowd.enter(self)

    def data_received(self, data: bytes) -> None:
        """See `asyncio.Protocol`."""
        self.crowd.heard(self)
        super().data_received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        """See `asyncio.Protocol`."""
        self.crowd.leave(self)
        super().connection_lost(exc)


def bounded(crowd: Connections) -> type[asyncio.Protocol]:
    """The class of the connections of one server."""
    return cast(type[asyncio.Protocol], type("BoundedConnection", (Connection,), {"crowd": crowd}))
