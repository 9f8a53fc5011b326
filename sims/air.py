"""A broker and its radio in virtual time: topics as `fieldctl.links.topics` has them, one payload a message.

Each way takes 5 to 100 ms with jitter. A connection keeps its order, as TCP does; what overtakes nevertheless is the
fault `reorder`. Nothing is delivered to who is not connected (quality of service 0, session expiry 0). A broker that
somebody taught to retain orders is the fault `retains`: who connects anew gets the last one again, flagged.

    air = Air(world, network, world.rng("air"))
    air.attach(node)
    link = AirLink(air, receiver, world.clock.now)
"""

from __future__ import annotations

from collections import Counter
from random import Random
from typing import Any

from fieldctl.errors import LinkDown, Unreachable
from fieldctl.links import topics
from fieldctl.links.link import Now, OneLife, Receiver
from fieldctl.units import HostUs, TargetId
from fieldctl.wire import envelope
from sims.hub import Listener
from sims.network import Line, Network
from sims.world import Scheduler

DELAY_US = (5_000, 100_000)  # each way (design, section 9)
PAYLOAD_MAX = 256  # as in links.mqtt
SITE = "larch-hollow"  # invented


class _Way:
    """One direction of one connection: draws the delay, keeps the order."""

    __slots__ = ("_delays", "_last", "_line", "_rng")

    def __init__(self, rng: Random, line: Line | None, delays: tuple[int, int]) -> None:
        self._rng = rng
        self._line = line
        self._delays = delays
        self._last = 0

    def arrivals(self, data: bytes, at_us: int) -> list[tuple[int, bytes]]:
        """When what arrives of a message that leaves at a moment."""
        low, high = self._delays
        due = at_us + low + int(self._rng.random() * (high - low))
        if self._line is None or self._line.clear:
            self._last = due = max(due, self._last)
            return [(due, data)]
        found = []
        for later, arrived in self._line.carry(data, at_us):
            if later == 0:
                self._last = due = max(due, self._last)
            if arrived != data and data[0] == envelope.TOKEN:
                continue  # TCP's checksum; what is sealed stands for itself, as if somebody had tampered with it
            if arrived:
                found.append((due + later, arrived))
        return found


class _Port:
    """A target's connection."""

    __slots__ = ("connected", "down", "last_down", "node", "silenced", "up")

    def __init__(self, node: Any, down: _Way, up: _Way) -> None:
        self.node = node
        self.down = down
        self.up = up
        self.connected = True
        self.silenced = -1
        self.last_down = b""


class Air:
    """The broker and everybody on it. `lost` counts by kind what reached nobody."""

    pushes = True  # a target may speak unasked here

    def __init__(
        self,
        scheduler: Scheduler,
        faults: Network | None = None,
        rng: Random | None = None,
        *,
        site: str = SITE,
        delays_us: tuple[int, int] = DELAY_US,
    ) -> None:
        self._scheduler = scheduler
        self._network = faults
        self._rng = rng or (faults.rng if faults else Random(0))
        self._delays = delays_us
        self._ports: dict[TargetId, _Port] = {}
        self._link: AirLink | None = None
        self.site = topics.site_word(site)
        self.up = True
        self.retains = False
        self.lost: Counter[str] = Counter()

    # ---- the targets' side ----------------------------------------------------------------------------------

    def attach(self, node: Any) -> None:
        """Connect a target, and power it on if it was off."""
        down, up = (
            _Way(
                self._rng,
                self._network.line(f"{node.name}/air {way}", ordered=False) if self._network else None,
                self._delays,
            )
            for way in ("down", "up")
        )
        self._ports[node.target] = _Port(node, down, up)
        node.attached(self)

    def speak(self, node: Any, payload: bytes, at_us: int) -> None:
        """A target publishes on its own topic."""
        port = self._ports[node.target]
        if not (self.up and port.connected):
            self.lost["target-offline"] += 1
            return
        made = self._scheduler.now_us()
        for due, arrived in port.up.arrivals(payload, at_us):
            self._scheduler.call_at(due, self._to_controller, port, arrived, made, at_us)

    def silence(self, node: Listener) -> None:
        """The power goes: what it had not sent yet never leaves."""
        self._port(node).silenced = self._scheduler.now_us()

    def drop(self, node: Listener, for_us: int) -> None:
        """A target loses its connection for a while."""
        port = self._port(node)
        port.connected = False
        self._struck("disconnect")
        self._scheduler.call_at(self._scheduler.now_us() + for_us, self._again, port)

    def _again(self, port: _Port) -> None:
        port.connected = True
        if self.up:
            self._connect(port)

    def _connect(self, port: _Port) -> None:
        if self.retains and port.last_down:
            self._struck("retained")
            now = self._scheduler.now_us()
            self._scheduler.call_at(now + self._delays[0], self._to_node, port, port.last_down, True)
        port.node.connected()

    # ---- the broker -----------------------------------------------------------------------------------------

    def stop_broker(self, for_us: int) -> None:
        """The broker is gone for a while: every connection is lost."""
        self.up = False
        self._struck("broker-gone")
        self.drop_link("the broker is gone")
        self._scheduler.call_at(self._scheduler.now_us() + for_us, self._start_broker)

    def drop_link(self, why: str = "the connection broke") -> None:
        """The controller's connection is lost."""
        link, self._link = self._link, None
        if link is not None:
            self._struck("disconnect")
            link.break_off(why)

    def _start_broker(self) -> None:
        self.up = True
        for port in self._ports.values():
            if port.connected:
                self._connect(port)

    def connect(self, link: AirLink) -> None:
        """The controller connects; Unreachable when the broker is gone. A second one throws the first out."""
        if not self.up:
            raise Unreachable(
                f"The broker {link.name} could not be reached: nobody listens there",
                expected="a broker that answers there",
                remedy="See that it runs.",
            )
        self.drop_link("somebody else connected as the controller")
        self._link = link

    def disconnect(self, link: AirLink) -> None:
        """The controller goes by itself."""
        if self._link is link:
            self._link = None

    # ---- carrying -------------------------------------------------------------------------------------------

    def publish(self, payload: bytes, target: TargetId | None) -> None:
        """The controller publishes for one target, or for everybody."""
        now = self._scheduler.now_us()
        self._scheduler.trace("publish", now, target or "", payload)
        ports = self._ports.values() if target is None else [self._ports[target]] if target in self._ports else []
        if not ports:
            self.lost["no-subscriber"] += 1
        for port in ports:
            if target is not None:
                port.last_down = payload
            for due, arrived in port.down.arrivals(payload, now):
                self._scheduler.call_at(due, self._to_node, port, arrived, False)

    def _to_node(self, port: _Port, payload: bytes, retained: bool) -> None:
        if self.up and port.connected:
            port.node.hear(payload, self._scheduler.now_us(), retained=retained)
        else:
            self.lost["target-offline"] += 1

    def _to_controller(self, port: _Port, payload: bytes, made: int, leaves: int) -> None:
        if made <= port.silenced < leaves:
            return
        if not self.up or self._link is None:
            self.lost["controller-offline"] += 1
            return
        self._scheduler.trace("arrive", self._scheduler.now_us(), port.node.address, payload)
        self._link.arrive(port.node.target, payload)

    def _port(self, node: Any) -> _Port:
        return self._ports[node.target]

    def _struck(self, kind: str) -> None:
        if self._network is not None:
            self._network.struck[kind] += 1


class AirLink(OneLife):
    """The controller's connection. Counts: messages_in, bytes_in, sends, bytes_out, sent_when_dead."""

    kind = "mqtt"

    def __init__(self, air: Air, receiver: Receiver, now: Now, *, name: str = "air") -> None:
        super().__init__(name, receiver, lambda tell: air._scheduler.call_at(air._scheduler.now_us(), tell))
        self._air = air
        self._now = now
        air.connect(self)

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        """Publish; gives a moment not later than the first byte's leaving."""
        if not self._alive:
            self._counts["sent_when_dead"] += 1
            return None
        assert len(data) <= PAYLOAD_MAX, f"{len(data)} bytes are no message of this protocol"
        self._counts["sends"] += 1
        self._counts["bytes_out"] += len(data)
        before = self._now()
        self._air.publish(data, topic_target)
        return before

    def clear_unsent(self) -> int:
        """What was sent is on its way at once: nothing ever waits."""
        return 0

    async def close(self) -> None:
        """End this life."""
        self._closed = True
        if self._alive:
            self._alive = False
            self._let_go()

    def arrive(self, target: TargetId, payload: bytes) -> None:
        """A message from a target's topic."""
        self._counts["messages_in"] += 1
        self._counts["bytes_in"] += len(payload)
        self._receiver.message_arrived(self, target, payload, self._now())

    def break_off(self, why: str) -> None:
        """The connection dies by itself."""
        self._lose(
            LinkDown(
                f"The connection to the broker {self.name} was lost: {why}",
                expected="a broker that stays",
                remedy="See that broker and network stand; the link comes back by itself.",
            )
        )

    def _let_go(self) -> None:
        self._air.disconnect(self)
