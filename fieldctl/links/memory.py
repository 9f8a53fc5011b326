"""A link without a wire: two ends in one process, with a hook that decides what the wire does.

It ships, so that people can try a controller against targets of their own making, and so that the
simulated mountain runs the very code that the field runs. The hook sees each burst once, when it is
sent, and says what arrives and when: nothing (loss), something else (corruption), pieces (split), twice
(duplicates), later (delay, reorder). `cut()` ends both ends as a pulled plug does.

    left, right = memory_pair(controller, target, now=clock.now, call_at=clock.call_at, wire=my_wire)

Deliveries go through `call_at`, so that virtual time drives them. Without one they happen before the
outermost `send` returns, one after the other and never one inside another; delays are then left out.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from fieldctl.errors import LinkDown
from fieldctl.links.link import Now, OneLife, Receiver
from fieldctl.units import HostUs, TargetId

IN_FLIGHT_MAX = 64 * 1024  # bytes on their way in one direction: seconds of the busiest bus
PARCEL_OVERHEAD = 16  # counted for each parcel beside its bytes, so that empty ones cannot pile up without limit

CallAt = Callable[[HostUs, Callable[[], None]], object]
"""Run a callback at a moment of the host's clock; one for the same moment runs later than those before it."""


@dataclass(frozen=True, slots=True)
class Burst:
    """What one `send` put on the wire: which way, its bytes, the target named, and when."""

    towards: Literal["left", "right"]
    data: bytes
    target: TargetId | None
    at: HostUs


@dataclass(frozen=True, slots=True)
class Parcel:
    """What arrives of a burst, `after_us` microseconds after it was sent."""

    data: bytes
    after_us: int = 0


Wire = Callable[[Burst], Iterable[Parcel]]
"""The fault hook: what arrives of this burst."""


def clean_wire(burst: Burst) -> Iterable[Parcel]:
    """A wire that does nothing: everything arrives at once, whole."""
    return (Parcel(burst.data),)


class _Immediately:
    """Runs what is due before the outermost caller goes on, in order and never nested."""

    def __init__(self) -> None:
        self._due: deque[Callable[[], None]] = deque()
        self._running = False

    def call_at(self, _at: HostUs, callback: Callable[[], None]) -> None:
        self._due.append(callback)
        if self._running:
            return
        self._running = True
        try:
            while self._due:
                self._due.popleft()()
        finally:
            self._running = False


class MemoryLink(OneLife):
    """One end of a pair. Counts: sends, bytes_out, arrivals, bytes_in, full, sent_when_dead, arrived_when_dead."""

    kind = "memory"

    def __init__(
        self,
        name: str,
        receiver: Receiver,
        towards: Literal["left", "right"],
        *,
        now: Now,
        call_at: CallAt,
        wire: Wire,
        messages: bool,
    ) -> None:
        super().__init__(name, receiver, lambda tell: call_at(now(), tell))
        self._towards = towards
        self._now = now
        self._call_at = call_at
        self._wire = wire
        self._messages = messages
        self._in_flight = 0
        self._far: MemoryLink

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        """Hand the burst to the wire; gives the moment. None when too much is on its way, or after the end."""
        if not self._alive:
            self._counts["sent_when_dead"] += 1
            return None
        at = self._now()
        parcels = list(self._wire(Burst(self._towards, data, topic_target, at)))
        weight = sum(len(p.data) + PARCEL_OVERHEAD for p in parcels)
        if self._in_flight + weight > IN_FLIGHT_MAX:
            self._counts["full"] += 1
            return None
        self._counts["sends"] += 1
        self._counts["bytes_out"] += len(data)
        self._in_flight += weight
        for parcel in parcels:
            self._call_at(HostUs(at + parcel.after_us), lambda p=parcel: self._deliver(p, topic_target))  # type: ignore[misc]
        return at

    def clear_unsent(self) -> int:
        """What was sent is on the wire at once: nothing ever waits."""
        return 0

    async def close(self) -> None:
        """End this end. As on a bus, what is on its way still arrives, and the far end notices nothing but silence."""
        self._closed = True
        self._alive = False

    def cut(self) -> None:
        """Pull the plug: both ends are lost, each told once; what is on its way never arrives."""
        self._lose(_gone(self.name))
        self._far._lose(_gone(self._far.name))

    def _deliver(self, parcel: Parcel, target: TargetId | None) -> None:
        self._in_flight -= len(parcel.data) + PARCEL_OVERHEAD
        self._far._arrive(parcel.data, target)

    def _arrive(self, data: bytes, target: TargetId | None) -> None:
        if not self._alive:
            self._counts["arrived_when_dead"] += 1
            return
        self._counts["arrivals"] += 1
        self._counts["bytes_in"] += len(data)
        at = self._now()
        if self._messages:
            self._receiver.message_arrived(self, target, data, at)
        else:
            self._receiver.bytes_arrived(self, data, at)

    def _let_go(self) -> None:
        """Nothing is held: parcels on their way find the end dead and are counted."""


def memory_pair(
    left: Receiver,
    right: Receiver,
    *,
    now: Now,
    call_at: CallAt | None = None,
    wire: Wire = clean_wire,
    messages: bool = False,
    names: tuple[str, str] = ("left", "right"),
) -> tuple[MemoryLink, MemoryLink]:
    """Two joined ends: a stream as on a bus, or with `messages` whole messages with their targets as over MQTT.

    `names` name the ends. Without `call_at` everything arrives at once and delays are left out.
    """
    when = call_at or _Immediately().call_at
    near = MemoryLink(names[0], left, "right", now=now, call_at=when, wire=wire, messages=messages)
    far = MemoryLink(names[1], right, "left", now=now, call_at=when, wire=wire, messages=messages)
    near._far, far._far = far, near
    return near, far


def _gone(name: str) -> LinkDown:
    return LinkDown(
        f"The memory link {name} was cut.",
        expected="both ends to stay open",
        remedy="Make a new pair; a link is never used again.",
    )
