"""A small mountain for the tests: nodes with keys of one site, and a bare controller's end that speaks to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fieldctl.units import EVERYBODY
from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire.session import Ended, Posted, Session
from sims.hub import Hub, bytes_us
from sims.network import Network
from sims.node import Node
from sims.storage import Storage
from sims.world import World

SITE_KEY = b"a key for tests!"
SECRET = b"secret of a unit"


def storage(n: int, *, keyed: bool = True) -> Storage:
    stored = Storage(bytes([0, 0, 0, 0, 0, 0, 1, n]), SECRET)
    if keyed:
        stored.keys = seal.derive_keys(SITE_KEY, stored.address, 1)
    return stored


def node(world: World, n: int, *, keyed: bool = True, **kwargs: Any) -> Node:
    return Node(world, world.rng(f"node {n}"), storage(n, keyed=keyed), **kwargs)


@dataclass
class Mountain:
    """A world with a hub; `ask` sends one payload and lets the world go on until the answer would have come."""

    world: World
    hub: Hub
    nodes: list[Node]
    sessions: dict[int, Session] = field(default_factory=dict)
    heard: list[tuple[int, bytes]] = field(default_factory=list)
    said: list[messages.Message] = field(default_factory=list)
    deframer: frames.Deframer = field(default_factory=frames.Deframer)
    ended: list[Ended] = field(default_factory=list)
    generation: int = 1
    epoch: int = 0

    def bytes_arrived(self, data: bytes, at: int) -> None:
        self.heard.append((at, data))
        for payload in self.deframer.feed(data):
            env = envelope.read(payload)
            session = self.sessions.get(env.address) if env else None
            taken = session.take(env, at) if session and env else None
            if taken and taken.message:
                self.said.append(taken.message)
                if taken.ended:
                    self.ended.append(taken.ended)

    def go(self, us: int = 30_000) -> None:
        self.world.run_for(us)

    def ask(self, payload: bytes, us: int = 30_000) -> messages.Message | None:
        before = len(self.said)
        self.hub.write(frames.encode(payload))
        self.go(us)
        return self.said[-1] if len(self.said) > before else None

    def open(self, n: Node) -> messages.Message | None:
        session = Session("controller", n.address, seal.derive_keys(SITE_KEY, n.address, 1).own)
        self.sessions[n.address] = session
        return self.ask(session.open(self.world.rng("nonce").randbytes(8), self.world.now_us()))

    def token(self, n: Node) -> messages.Message | None:
        return self.ask(self.sessions[n.address].token(self.world.now_us()))

    def order(self, n: Node, message: messages.Message) -> Any:
        session = self.sessions[n.address]
        session.post(Posted(1, message, expires_us=self.world.now_us() + 1_000_000))
        payload = session.pull(self.world.now_us())
        assert payload is not None
        answer = self.ask(payload)
        session.expire(self.world.now_us() + 10_000_000)
        return answer

    def grant(self, n: Node, *, from_s: float = 0.5, until_s: float = 3.0, limit_s: float = 60.0, **kw: Any) -> Any:
        now = n.ticks(self.world.now_us())
        base = {"generation": self.generation, "epoch": self.epoch, "grant_id": 7, "period": 1000, "on": 100}
        times = {"from_": now + int(from_s * 1e6), "until": now + int(until_s * 1e6), "limit": now + int(limit_s * 1e6)}
        return self.order(n, messages.Grant(boot=n.storage.boot, **{**base, **times, **kw}))

    def arm(self, n: Node) -> Any:
        return self.order(n, messages.Arm(n.storage.boot, self.generation, True, 0))

    def all_off(self, epoch: int) -> None:
        sealer = seal.Sealer(seal.all_off_key(SITE_KEY))
        body = messages.encode(messages.AllOff(epoch))
        self.hub.write(frames.encode(sealer.seal(envelope.ALL_OFF, EVERYBODY, epoch, body)))
        self.go()


def mountain(count: int = 1, *, seed: int = 7, network: bool = False, opened: bool = True, **kwargs: Any) -> Mountain:
    world = World(seed)
    hub = Hub(world, Network(world.rng("network")) if network else None)
    made = Mountain(world, hub, [node(world, i + 1, **kwargs) for i in range(count)])
    hub.on_bytes = made.bytes_arrived
    for n in made.nodes:
        hub.attach(n)
        if opened:
            assert isinstance(made.open(n), messages.Counters)
    return made


__all__ = ["SECRET", "SITE_KEY", "Mountain", "bytes_us", "mountain", "node", "storage"]
