"""One half-duplex multi-drop bus at 115 200 baud, in virtual or in real time.

Every byte takes 86.8 µs. A transmission occupies the line from its first to its last byte; what overlaps in time is
garbled for all who listen. The controller hears whatever a target says, all targets hear the controller, each at the
last byte; who speaks does not listen. Work is done by transmission, never by byte: one event at its end.

    hub = Hub(world, network)               network: the faults by line ("0a1b2c3d/up", "0a1b2c3d/down", and
                                            "adapter" towards the controller); None for a clean bus
    hub.attach(node)                        powers the target on
    link = HubLink(hub, receiver, now)      the controller's end, in the shape of `fieldctl.links.link.Link`
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from random import Random
from typing import Any, Protocol

from fieldctl.errors import LinkDown
from fieldctl.links.link import Now, OneLife, Receiver
from fieldctl.units import EVERYBODY, HostUs, TargetId
from fieldctl.wire import frames
from sims.network import Line, Network
from sims.world import Handle, Scheduler

UNSENT_MAX_US = 178_000  # 2 048 bytes on the wire, as in links.serial_bus
_ADDRESS = slice(1, 5)  # where every payload carries its target


def bytes_us(n: int) -> int:
    """How long `n` bytes take: ten bits each at 115 200 baud are 3125/36 µs; rounded up to the whole microsecond."""
    return -(-n * 3125 // 36)


class Listener(Protocol):
    """A target as the bus sees it."""

    name: str
    address: int

    def attached(self, medium: Any) -> None:
        """The bus that it speaks on from now."""

    def hear(self, payload: bytes, at_us: int, *, retained: bool = False) -> None:
        """One frame, whole."""

    def hear_bytes(self, data: bytes, at_us: int) -> None:
        """Bytes in which something is garbled, cut or odd."""


class _Transmission:
    __slots__ = ("data", "done", "end", "source", "start", "timer")

    def __init__(self, start: int, data: bytes, source: Any) -> None:
        self.start = start
        self.end = start + bytes_us(len(data))
        self.data = data
        self.source = source
        self.done = False
        self.timer: Handle

    def byte_at(self, us: float) -> int:
        i = int((us - self.start) * 36 // 3125)
        return self.data[min(max(i, 0), len(self.data) - 1)]


class _Port:
    """A target's branch of the bus."""

    __slots__ = ("clean", "cut", "down", "node", "up")

    def __init__(self, node: Listener, down: Line | None, up: Line | None) -> None:
        self.node = node
        self.down = down
        self.up = up
        self.cut = False
        self.clean = True  # its deframer holds no half frame: whole frames may be given to it as they are


_CONTROLLER = "controller"
_NOISE = "noise"


class Hub:
    """The bus; `collisions` counts garbled clusters, `spoken` the bytes of each side."""

    pushes = False  # nobody speaks unasked here

    def __init__(self, scheduler: Scheduler, faults: Network | None = None, *, rng: Random | None = None) -> None:
        self._scheduler = scheduler
        self._network = faults
        self._rng = rng or (faults.rng if faults else Random(0))
        self._ports: dict[Listener, _Port] = {}
        self._by_address: dict[bytes, tuple[_Port, ...]] = {}
        self._line: list[_Transmission] = []
        self._tap = frames.Deframer()  # a whole frame is taken apart once for all who listen
        self._out_until = 0
        self._in_until = 0
        self._adapter = faults.line("adapter", ordered=True) if faults else None
        self.on_bytes: Callable[[bytes, int], None] = lambda _data, _at: None
        self.collisions = 0
        self.spoken: Counter[str] = Counter()

    # ---- the cable ------------------------------------------------------------------------------------------

    def attach(self, node: Listener) -> None:
        """Put a target on the bus, and power it on if it was off."""
        net = self._network
        down = net.line(f"{node.name}/down", ordered=True) if net else None
        up = net.line(f"{node.name}/up", ordered=True) if net else None
        self._ports[node] = _Port(node, down, up)
        self._index()
        node.attached(self)

    def detach(self, node: Listener) -> None:
        """Take a target off the bus."""
        self.silence(node)
        del self._ports[node]
        self._index()

    def cut(self, node: Listener, *, whole: bool = False) -> None:
        """Cut the branch of one target, or join it again with `whole`."""
        self._ports[node].cut = not whole

    def _index(self) -> None:
        found: dict[bytes, tuple[_Port, ...]] = {}
        for port in self._ports.values():
            key = port.node.address.to_bytes(4, "big")
            found[key] = (*found.get(key, ()), port)
        found[EVERYBODY.to_bytes(4, "big")] = tuple(self._ports.values())
        self._by_address = found

    # ---- speaking -------------------------------------------------------------------------------------------

    def write(self, data: bytes) -> int:
        """The controller's bytes, queued behind what it is already sending; gives when the first one begins."""
        start = max(self._scheduler.now_us(), self._out_until)
        self._out_until = self._transmit(start, data, _CONTROLLER).end
        if self._adapter is not None and not self._adapter.clear and (noise := self._adapter.noise()) is not None:
            self._transmit(start + noise[0], noise[1], _NOISE)
        return start

    def unsent_us(self) -> int:
        """How long what the controller has queued still takes."""
        return self._out_until - self._scheduler.now_us()

    def clear_unsent(self) -> int:
        """Take back what the controller queued and did not begin; gives the number of bytes."""
        now = self._scheduler.now_us()
        waiting = [t for t in self._line if t.source is _CONTROLLER and t.start > now]
        for t in waiting:
            t.timer.cancel()
            self._line.remove(t)
        if waiting:
            self._out_until = max((t.end for t in self._line if t.source is _CONTROLLER), default=now)
        return sum(len(t.data) for t in waiting)

    def speak(self, node: Listener, payload: bytes, at_us: int) -> None:
        """A target speaks one payload, beginning at a moment that lies ahead."""
        self._transmit(at_us, frames.encode(payload), node)

    def babble(self, node: Listener, data: bytes) -> None:
        """A target speaks bytes that are no frame, now: for faults."""
        self._transmit(self._scheduler.now_us(), data, node)

    def silence(self, node: Listener) -> None:
        """A target loses its power: what it was saying breaks off in the middle of a byte."""
        now = self._scheduler.now_us()
        for t in [t for t in self._line if t.source is node and not t.done]:
            t.timer.cancel()
            whole = max(0, (now - t.start) * 36 // 3125)
            if not whole:
                self._line.remove(t)
            elif whole < len(t.data):
                t.data = t.data[:whole]
                t.end = now
            if whole:
                t.timer = self._scheduler.call_at(t.end, self._ended, t)

    def _transmit(self, start: int, data: bytes, source: Any) -> _Transmission:
        t = _Transmission(start, data, source)
        self._line.append(t)
        t.timer = self._scheduler.call_at(t.end, self._ended, t)
        return t

    # ---- hearing --------------------------------------------------------------------------------------------

    def _ended(self, t: _Transmission) -> None:
        line = self._line
        if len(line) == 1:
            line.clear()
            self._clean(t)
            return
        t.done = True
        cluster = _overlapping(t, line)
        if len(cluster) == 1:
            line.remove(t)
            self._clean(t)
        elif all(other.done for other in cluster):
            self._line = [other for other in line if other not in cluster]
            self._garbled(sorted(cluster, key=lambda other: other.start))

    def _clean(self, t: _Transmission) -> None:
        source, data = t.source, t.data
        if source is _CONTROLLER:
            self._scheduler.trace("down", t.start, data)
            self.spoken["down"] += len(data)
            self._down(data, t.end)
        elif source is _NOISE:
            self._up_raw(data, t.end)
            self._down_raw(data, t.end)
        else:
            self._scheduler.trace("up", t.start, data)
            self.spoken["up"] += len(data)
            port = self._ports.get(source)
            if port is not None and not port.cut:
                self._up(data, t.end, port.up)

    def _garbled(self, cluster: list[_Transmission]) -> None:
        self.collisions += 1
        if self._network is not None:
            self._network.struck["overlap"] += 1
        speaks = [t for t in cluster if t.source in (_CONTROLLER, _NOISE) or not self._ports[t.source].cut]
        end = max(t.end for t in cluster)
        self._scheduler.trace("garbled", cluster[0].start, end, *(t.data for t in cluster))
        at_controller = self._mix([t for t in speaks if t.source is not _CONTROLLER], speaks)
        if at_controller:
            self._up_raw(at_controller, end)
        if any(t.source is _CONTROLLER or t.source is _NOISE for t in speaks):
            talking = [t.source for t in cluster]
            self._down_raw(self._mix(speaks, speaks), end, deaf=talking)

    def _mix(self, heard: list[_Transmission], speaks: list[_Transmission]) -> bytes:
        """What a UART makes of it: the one speaker's byte where there is one, else whatever."""
        if not heard:
            return b""
        out = bytearray()
        first, last = min(t.start for t in heard), max(t.end for t in heard)
        for slot in range(-(-(last - first) * 36 // 3125)):
            middle = first + (slot + 0.5) * 3125 / 36
            now = [t for t in speaks if t.start <= middle < t.end]
            if len(now) > 1:
                out.append(self._rng.randrange(256))
            elif now and now[0] in heard:
                out.append(now[0].byte_at(middle))
        return bytes(out)

    def _down(self, data: bytes, at: int) -> None:
        tap = self._tap
        payloads = tap.feed(data)
        if len(payloads) != 1 or data[0] or data[-1] or tap.lost:
            self._tap = frames.Deframer()
            self._down_raw(data, at)
            return
        payload = payloads[0]
        for port in self._by_address.get(payload[_ADDRESS], ()):
            if port.cut:
                continue
            line = port.down
            if port.clean and (line is None or line.clear):
                port.node.hear(payload, at)
            else:
                self._one_down(port, data, at)

    def _one_down(self, port: _Port, data: bytes, at: int) -> None:
        for _, arrived in port.down.carry(data, at) if port.down is not None else ((0, data),):
            if not arrived:
                continue
            port.clean = arrived[-1] == 0
            port.node.hear_bytes(arrived, at)

    def _down_raw(self, data: bytes, at: int, deaf: Iterable[Any] = ()) -> None:
        for port in tuple(self._ports.values()):
            if not port.cut and port.node not in deaf:
                self._one_down(port, data, at)

    def _up(self, data: bytes, at: int, line: Line | None) -> None:
        if line is None or line.clear:
            self._up_raw(data, at)
            return
        for _, arrived in line.carry(data, at):
            if arrived:
                self._up_raw(arrived, at)

    def _up_raw(self, data: bytes, at: int) -> None:
        """To the controller, through its adapter, which may sit on bytes but never reorders them."""
        adapter = self._adapter
        if adapter is None or (adapter.clear and at >= self._in_until):
            self.on_bytes(data, at)
            return
        for delay, arrived in adapter.carry(data, at):
            self._in_until = max(self._in_until, at + delay)
            if arrived:
                self._scheduler.call_at(self._in_until, self._late, arrived)

    def _late(self, data: bytes) -> None:
        self.on_bytes(data, self._scheduler.now_us())


def _overlapping(t: _Transmission, line: list[_Transmission]) -> list[_Transmission]:
    """All that are joined with `t` by overlaps in time."""
    found = [t]
    for member in found:
        for other in line:
            if other not in found and other.start < member.end and member.start < other.end:
                found.append(other)
    return found


class HubLink(OneLife):
    """The controller's end of a hub. Counts: bytes_in, bytes_out, sends, full, sent_when_dead, overtaken."""

    kind = "serial"

    def __init__(self, hub: Hub, receiver: Receiver, now: Now, *, name: str = "hub") -> None:
        super().__init__(name, receiver, lambda tell: hub._scheduler.call_at(hub._scheduler.now_us(), tell))
        self._hub = hub
        self._now = now
        hub.on_bytes = self._arrived

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:  # noqa: ARG002
        """Queue on the wire; gives a moment not later than the first byte's leaving."""
        if not self._alive:
            self._counts["sent_when_dead"] += 1
            return None
        if self._hub.unsent_us() + bytes_us(len(data)) > UNSENT_MAX_US:
            self._counts["full"] += 1
            return None
        counts = self._counts
        counts["sends"] += 1
        counts["bytes_out"] += len(data)
        before = self._now()
        self._hub.write(data)
        return before

    def clear_unsent(self) -> int:
        """Take back what has not begun."""
        taken = self._hub.clear_unsent()
        if taken:
            self._counts["overtaken"] += taken
        return taken

    async def close(self) -> None:
        """End this life; what is on the wire still goes out."""
        self._closed = True
        if self._alive:
            self._alive = False
            self._let_go()

    def unplug(self) -> None:
        """The adapter is pulled out: the link dies by itself."""
        self._lose(
            LinkDown(
                f"The bus {self.name} was unplugged.",
                expected="an adapter that stays",
                remedy="Plug it in again; the link comes back by itself.",
            )
        )

    def _arrived(self, data: bytes, _at: int) -> None:
        counts = self._counts
        counts["bytes_in"] += len(data)
        self._receiver.bytes_arrived(self, data, self._now())

    def _let_go(self) -> None:
        self._hub.clear_unsent()
        self._hub.on_bytes = lambda _data, _at: None
