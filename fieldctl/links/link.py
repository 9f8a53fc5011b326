"""What every link is: bytes and their times, nothing else.

A link lives once, from open to dead, and is never used again; opening the next one is the controller's
job. It knows no frame, no seal and no order. Two shapes of link share one interface:

    stream      serial_bus, memory     `bytes_arrived`: whatever one read gave, cut anywhere
    messages    mqtt, memory           `message_arrived`: one whole message, and the target its topic names

Receiving is by plain callback on the loop's thread: no queue and no task switch between the read and the
stamp. Every link takes `now` and never asks a clock itself. Whatever is dropped is counted by kind in `counts()`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from typing import ClassVar, Protocol, runtime_checkable

from fieldctl.errors import LinkDown
from fieldctl.units import HostUs, TargetId

Now = Callable[[], HostUs]
"""The host's raw monotonic clock; the real one in `cli`, the pretended one in `sims`."""


class Receiver(Protocol):
    """Whoever opened the link. Called on the loop's thread; must return soon, and must not raise."""

    def bytes_arrived(self, link: Link, data: bytes, at: HostUs) -> None:
        """Some bytes of a stream; `at` is just after the last of them was read."""

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """One whole message; `target` as the topic names it, None for one to everybody."""

    def link_lost(self, link: Link, why: LinkDown) -> None:
        """The link died by itself: exactly once, with the first cause; never after `close()`."""


@runtime_checkable
class Link(Protocol):
    """One life of one connection."""

    @property
    def name(self) -> str:
        """The port, the broker's address or the name given to a memory pair: for people."""

    @property
    def kind(self) -> str:
        """One of serial, mqtt, memory."""

    @property
    def alive(self) -> bool:
        """Whether it can still carry anything."""

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        """Write now or queue, all or nothing; gives a moment not later than the first byte's leaving.

        None when the bounded buffer is full (counted `full`) or the link is dead (counted `sent_when_dead`).
        `topic_target` names the target for a link of messages, None is everybody; a stream ignores it.
        """

    def clear_unsent(self) -> int:
        """Throw away what waits to go out, so that an all off is next; gives how much (counted `overtaken`)."""

    def counts(self) -> Mapping[str, int]:
        """What happened so far, by kind; a kind that never happened may be missing."""

    async def close(self) -> None:
        """End this life: no callback comes afterwards, nothing stays open. May be called twice."""


class OneLife:
    """The part that links share: counts by kind, alive once, the first fatal error wins.

    `_lose` may be called from inside the owner's own `send`, so `link_lost` is handed to `_soon`, which
    runs it after the present callback; closing in between takes it back.
    """

    kind: ClassVar[str]

    def __init__(self, name: str, receiver: Receiver, soon: Callable[[Callable[[], None]], object]) -> None:
        self.name = name
        self._receiver = receiver
        self._soon = soon
        self._counts: Counter[str] = Counter()
        self._alive = True
        self._closed = False

    @property
    def alive(self) -> bool:
        """Whether it can still carry anything."""
        return self._alive

    def counts(self) -> Mapping[str, int]:
        """What happened so far, by kind."""
        return dict(self._counts)

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        """See `Link`."""
        raise NotImplementedError

    def clear_unsent(self) -> int:
        """See `Link`."""
        raise NotImplementedError

    async def close(self) -> None:
        """See `Link`."""
        raise NotImplementedError

    def _let_go(self) -> None:
        """Give back what the loop and the system hold for this link; called exactly once."""
        raise NotImplementedError

    def _lose(self, why: LinkDown) -> None:
        if not self._alive:
            return
        self._alive = False
        self._let_go()
        self._soon(lambda: self._tell(why))

    def _tell(self, why: LinkDown) -> None:
        if not self._closed:
            self._receiver.link_lost(self, why)

    def __repr__(self) -> str:
        return f"<{self.kind} link {self.name}, {'alive' if self._alive else 'dead'}>"
