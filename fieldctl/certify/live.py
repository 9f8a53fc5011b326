"""Benches in real time: a serial port, a socket that carries a bus's bytes, a broker.

A bench runs the loop only while a check waits, so that checks are plain functions here as in virtual time, and Ctrl-C
comes out of `wait`. A line that is lost ends the trying with its own error.
"""

from __future__ import annotations

import asyncio
import contextlib
import selectors
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal

from fieldctl.certify.bench import Ear
from fieldctl.certify.side_door import SideDoor
from fieldctl.errors import LinkDown, Unreachable
from fieldctl.links.link import Link, Now
from fieldctl.units import US_PER_S, HostUs, TargetId
from fieldctl.wire import frames
from fieldctl.wire.bus import BYTE_US

if TYPE_CHECKING:
    from fieldctl.links.broker_at import BrokerAt

BUS_ANSWER_US = 150_000  # a question, the answer, a USB adapter and a busy host
RADIO_ANSWER_US = 400_000
CONNECT_S = 5.0
PSEUDO = "/dev/pts/"  # a pseudo-terminal has no baud rate: nothing is known of its bytes' times


class LiveBench:
    """A bench over one link; see `Bench`."""

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        medium: Literal["bus", "radio"],
        now: Now,
        door: SideDoor,
        *,
        byte_us: float,
        target: TargetId | None = None,
        retain: Callable[[bytes], None] | None = None,
    ) -> None:
        self.medium: Literal["bus", "radio"] = medium
        self.byte_us = byte_us
        self.answer_us = BUS_ANSWER_US if medium == "bus" else RADIO_ANSWER_US
        self.retains = retain is not None
        self.ear = Ear()
        self.door = door
        self.link: Link | None = None
        self._loop = loop
        self._now = now
        self._target = target
        self._retain = retain
        self._lost: LinkDown | None = None
        self._waits = False
        self._looks = False  # at each arrival

    def now(self) -> int:
        """See `Bench`."""
        return self._now()

    def write(self, data: bytes) -> int:
        """See `Bench`."""
        return self._send(data, None)

    def say(self, payload: bytes, *, everybody: bool = False, retained: bool = False) -> int:
        """See `Bench`."""
        if self.medium == "bus":
            return self._send(frames.encode(payload), None)
        if retained:
            assert self._retain is not None
            at = self.now()
            self._retain(payload)
            return at
        return self._send(payload, None if everybody else self._target)

    def wait(self, until_us: int, enough: Callable[[], bool] | None = None) -> None:
        """See `Bench`."""
        while (left := until_us - self.now()) > 0 and self._lost is None:
            timer = self._loop.call_later(left / US_PER_S, self._loop.stop)
            self._waits, self._looks = True, enough is not None
            try:
                self._loop.run_forever()
            finally:
                timer.cancel()
                self._waits = self._looks = False
            if enough is not None and enough():
                return
        if self._lost is not None:
            raise self._lost

    def close(self) -> None:
        """See `Bench`."""
        link, self.link = self.link, None
        with contextlib.suppress(LinkDown):
            if link is not None:
                self._loop.run_until_complete(link.close())
        self._loop.close()

    def bytes_arrived(self, _link: Any, data: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        self.ear.bytes_came(data, at)
        self._look()

    def message_arrived(self, _link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`: what other targets say over the same broker is none of this bench's."""
        if target == self._target:
            self.ear.message_came(payload, at)
            self._look()

    def link_lost(self, _link: Any, why: LinkDown) -> None:
        """See `Receiver`."""
        self._lost = why
        if self._waits:
            self._loop.stop()

    def _look(self) -> None:
        if self._looks:
            self._loop.stop()

    def _send(self, data: bytes, target: TargetId | None) -> int:
        assert self.link is not None
        while self._lost is None:
            at = self.link.send(data, target)
            if at is not None:
                return at
            self.wait(
                self.now() + 5_000
            )  # its buffer is full: what is written faster than the line carries has to wait
        raise self._lost


class _Stream(asyncio.Protocol):
    """A link over a socket, in as much of the shape of `Link` as a bench needs."""

    kind = "serial"

    def __init__(self, name: str, bench: LiveBench) -> None:
        self.name = name
        self._bench = bench
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: Any) -> None:
        """See `asyncio.Protocol`."""
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        """See `asyncio.Protocol`."""
        self._bench.bytes_arrived(self, data, HostUs(self._bench.now()))

    def connection_lost(self, exc: Exception | None) -> None:
        """See `asyncio.Protocol`."""
        if self._transport is not None:
            self._bench.link_lost(
                self,
                LinkDown(
                    f"The connection to {self.name} was lost ({exc or 'closed'}).",
                    expected="a target that stays",
                    remedy="See that it still runs, and begin again.",
                ),
            )

    def send(self, data: bytes, _target: TargetId | None = None) -> HostUs | None:
        """See `Link`."""
        at = HostUs(self._bench.now())
        if self._transport is not None:
            self._transport.write(data)
        return at

    async def close(self) -> None:
        """See `Link`."""
        transport, self._transport = self._transport, None
        if transport is not None:
            transport.close()
        await asyncio.sleep(0)


def new_loop() -> asyncio.AbstractEventLoop:
    """A loop that waits in microseconds; the usual one rounds up to a millisecond."""
    return asyncio.SelectorEventLoop(selectors.SelectSelector())


def over_port(port: str, now: Now, door: SideDoor) -> LiveBench:
    """A serial port, or a pseudo-terminal that stands for one."""
    from fieldctl.links.serial_bus import open_serial_bus

    loop = new_loop()
    bench = LiveBench(loop, "bus", now, door, byte_us=0.0 if port.startswith(PSEUDO) else BYTE_US)
    try:
        bench.link = loop.run_until_complete(open_serial_bus(port, bench, now=now, site="certify"))
    except BaseException:
        loop.close()
        raise
    return bench


def over_socket(host: str, port: int, now: Now, door: SideDoor) -> LiveBench:
    """A TCP socket that carries the bytes of a bus."""
    loop = new_loop()
    bench = LiveBench(loop, "bus", now, door, byte_us=0.0)
    name = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"

    async def connect() -> Any:
        made = _Stream(name, bench)
        async with asyncio.timeout(CONNECT_S):
            await loop.create_connection(lambda: made, host, port)
        return made

    try:
        bench.link = loop.run_until_complete(connect())
    except OSError as error:
        loop.close()
        raise Unreachable(
            f"Nobody listens at {name}: {error.strerror or error}.",
            expected="a target's socket",
            remedy="Start the target, and give the address that it says.",
        ) from None
    except BaseException:
        loop.close()
        raise
    return bench


def over_broker(at: BrokerAt, site: str, target: TargetId, now: Now, door: SideDoor) -> LiveBench:
    """A broker."""
    from fieldctl.certify.retaining import RetainingLink, open_retaining

    loop = new_loop()

    def retain(payload: bytes) -> None:
        link = bench.link
        assert isinstance(link, RetainingLink)
        loop.run_until_complete(link.retain(payload, target))

    bench = LiveBench(
        loop, "radio", now, door, byte_us=0.0, target=target, retain=retain if at.version == "5" else None
    )
    try:
        bench.link = loop.run_until_complete(open_retaining(site, at, bench, now))
    except BaseException:
        loop.close()
        raise
    return bench
