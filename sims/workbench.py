"""A bench in virtual time for `fieldctl certify`: one target on a bus or over radio, and its side door.

    with workbench(seed=7) as (bench, talk): certificate = certify(talk)

The checks see the target as `certify` sees any other: by its line, and by the side door that this port declares. The
transmitter's pulses are worked out here (`KeyedGate`): the usual gate knows only from when to when it may send.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from random import Random
from typing import Any, Literal

from fieldctl.certify.bench import Ear
from fieldctl.certify.joining import join
from fieldctl.certify.side_door import MANY, SideDoor
from fieldctl.certify.talk import Talk
from fieldctl.errors import LinkDown
from fieldctl.keying import Keying
from fieldctl.links.link import Link
from fieldctl.strikes.features import SAMPLE_US
from fieldctl.units import HostUs, TargetId
from fieldctl.wire import frames
from fieldctl.wire.bus import BYTE_US
from fieldctl.wire.messages import Why
from fieldctl.wire.obey import Held
from sims import pad
from sims.air import Air, AirLink
from sims.cell import Cell
from sims.crystal import Crystal
from sims.detector import Detector
from sims.gate import Gate
from sims.hub import Hub
from sims.node import Node
from sims.storage import Storage
from sims.world import World

SECRET = b"invented secret."
HARDWARE = b"invd\x5e\xe0\x00\x01"
BUS_ANSWER_US = 60_000
RADIO_ANSWER_US = 260_000
STEP_US = 5_000  # how often a wait looks whether enough was heard

MakeNode = Callable[[World, Storage], Node]


class NodeDoor:
    """What the simulated target's port offers."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._rng = Random("side door")
        self._detector = Detector()
        self._played = (0, 0)  # when the first sample of this run was taken, and how many there were
        self._words: dict[str, Callable[..., tuple[int, ...] | None]] = {
            "reboot": self._reboot,
            "power": self._power,
            "cut": self._cut,
            "touch": self._touch,
            "pad": self._pad,
            "gate": self._edges,
            "stuck": lambda on: node.break_gate(stuck=bool(on)),
            "battery": self._battery,
            "press": node.press,
        }
        self.offers = frozenset(self._words) | {MANY}

    def do(self, word: str, *numbers: int) -> tuple[int, ...]:
        """See `SideDoor`."""
        return self._words[word](*numbers) or ()

    def _reboot(self) -> None:
        self._node.reboot(Why.WATCHDOG)

    def _power(self, for_ms: int) -> None:
        self._node.reboot(Why.POWER, for_ms * 1000)

    def _cut(self, nth: int, after: int) -> None:
        self._node.storage.cut_at_write(nth, before=not after)

    def _touch(self) -> None:
        (_, features), *_ = pad.probe(self._rng)
        self._node.strike(features.as_ints())

    def _pad(self, *samples: int) -> None:
        now = self._node.scheduler.now_us()
        first_us, count = self._played
        if now > first_us + count * SAMPLE_US:
            self._detector = Detector()
            first_us, count = now, 0
        self._played = first_us, count + len(samples)
        for begin, features, trace in self._detector.take(samples):
            at_us = max(now, first_us + begin * SAMPLE_US)
            self._node.scheduler.call_at(at_us, self._node.strike, features.as_ints(), trace)

    def _edges(self) -> tuple[int, ...]:
        self._node.settle()
        gate: Any = self._node.gate  # this one or a core's, which knows its pulses by itself
        taken, gate.edges = gate.edges, []
        return tuple(edge for pulse in taken for edge in pulse)

    def _battery(self, weak: int) -> None:
        self._node.cell = Cell(share_left=0.02 if weak else 1.0)


class KeyedGate(Gate):
    """A gate that also knows the pulses of the carrier: `edges` since somebody last took them, in true time."""

    def __init__(self) -> None:
        super().__init__()
        self.edges: list[tuple[int, int]] = []
        self.longer_us = 0  # a fault: each pulse lasts longer
        self._keyed: tuple[int, Keying] | None = None

    def _note_grant(self, held: Held, clock: Crystal, start: int, now_us: int) -> None:
        self._keyed = clock.true_us(held.from_), held.keying
        super()._note_grant(held, clock, start, now_us)
        self._keyed = None

    def _note(self, start: int, end: int) -> None:
        super()._note(start, end)
        origin, keying = self._keyed or (start, Keying(1300, 1300))
        period_us, on_us = keying.period_ms * 1000, keying.on_ms * 1000 + self.longer_us
        for begin in range(origin + (start - origin) // period_us * period_us, end, period_us):
            on, off = max(begin, start), min(begin + on_us, end)
            if on < off and self.edges and self.edges[-1][1] == on:
                self.edges[-1] = (self.edges[-1][0], off)
            elif on < off:
                self.edges.append((on, off))


class Workbench:
    """One target in virtual time."""

    byte_us: float

    def __init__(self, seed: int, make: MakeNode, medium: Literal["bus", "radio"]) -> None:
        self.medium = medium
        self.world = World(seed)
        self.ear = Ear()
        self.retains = medium == "radio"
        storage = Storage(HARDWARE, SECRET)
        self.node = make(self.world, storage)
        if type(self.node.gate) is Gate:
            self.node.gate = KeyedGate()
        self._link: Link
        if medium == "bus":
            self.byte_us, self.answer_us = BYTE_US, BUS_ANSWER_US
            self._hub = Hub(self.world, rng=self.world.rng("hub"))
            self._hub.attach(self.node)
            self._hub.on_bytes = lambda data, _at: self.ear.bytes_came(data, self.now())
        else:
            self.byte_us, self.answer_us = 0.0, RADIO_ANSWER_US
            self._air = Air(self.world, rng=self.world.rng("air"))
            self._air.attach(self.node)
            self._link = AirLink(self._air, self, self.world.clock.now)
        self.door: SideDoor = NodeDoor(self.node)

    def close(self) -> None:
        """See `Bench`."""
        self.world.close()

    def now(self) -> int:
        """See `Bench`."""
        return self.world.clock.now()

    def write(self, data: bytes) -> int:
        """See `Bench`."""
        at = self.now()
        self._hub.write(data)
        return at

    def say(self, payload: bytes, *, everybody: bool = False, retained: bool = False) -> int:
        """See `Bench`."""
        if self.medium == "bus":
            return self.write(frames.encode(payload))
        at = self.now()
        if retained:
            self.world.call_at(self.world.now_us() + 50_000, self._retained, payload)
        else:
            self._link.send(payload, None if everybody else self.node.target)
        return at

    def _retained(self, payload: bytes) -> None:
        self.node.hear(payload, self.world.now_us(), retained=True)

    def wait(self, until_us: int, enough: Callable[[], bool] | None = None) -> None:
        """See `Bench`."""
        while (left := until_us - self.now()) > 0:
            self.world.run_for(left if enough is None else min(STEP_US, left))
            if enough is not None and enough():
                return

    def message_arrived(self, _link: Link, _target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        self.ear.message_came(payload, at)

    def bytes_arrived(self, _link: Link, data: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        self.ear.bytes_came(data, at)

    def link_lost(self, _link: Link, why: LinkDown) -> None:
        """See `Receiver`: nothing breaks on this bench."""
        raise why


def sound(world: World, storage: Storage) -> Node:
    """A target with nothing wrong."""
    return Node(world, world.rng("node"), storage)


@contextlib.contextmanager
def workbench(
    make: MakeNode = sound, *, seed: int = 7, medium: Literal["bus", "radio"] = "bus"
) -> Iterator[tuple[Workbench, Talk]]:
    """A bench with a target that was given keys as a person would: press, hail, add."""
    bench = Workbench(seed, make, medium)
    try:
        rng = bench.world.rng("certify")
        yield bench, join(bench, SECRET, rng.randbytes, bench.node.address, bench.node.press)
    finally:
        bench.close()
