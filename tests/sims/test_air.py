"""The broker in virtual time: delays, order, pushes until acknowledged, retained orders, lost connections."""

from itertools import pairwise
from typing import Any

import pytest
from mountain import SITE_KEY, node

from fieldctl.errors import LinkDown, Unreachable
from fieldctl.links.link import Link
from fieldctl.units import EVERYBODY, TargetId
from fieldctl.wire import envelope, messages, seal
from fieldctl.wire.messages import Flags, Why
from fieldctl.wire.session import Posted, Session
from sims.air import DELAY_US, Air, AirLink
from sims.network import Network, Weather
from sims.world import World

KNOCK = (120, 500, 4000, 300, 5, 0, 0)


class Radio:
    """A controller's bare end over the air, with one session for each target."""

    def __init__(self, count: int = 1, *, network: bool = False) -> None:
        self.world = World(5)
        self.network = Network(self.world.rng("network")) if network else None
        self.air = Air(self.world, self.network, self.world.rng("air"))
        self.said: list[tuple[int, messages.Message]] = []
        self.lost: list[LinkDown] = []
        self.link = AirLink(self.air, self, self.world.clock.now)
        self.nodes = [node(self.world, i + 1) for i in range(count)]
        self.sessions: dict[TargetId, Session] = {}
        for n in self.nodes:
            keys = seal.derive_keys(SITE_KEY, n.address, 1)
            self.sessions[n.target] = Session("controller", n.address, keys.own, window=seal.MQTT_WINDOW)
            self.air.attach(n)
            self.open(n)

    def bytes_arrived(self, *args: Any) -> None:
        raise AssertionError("the air carries messages")

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: Any) -> None:
        env = envelope.read(payload)
        assert env is not None
        assert target is not None
        taken = self.sessions[target].take(env, at)
        if taken and taken.message:
            self.said.append((self.world.now_us(), taken.message))

    def link_lost(self, link: Link, why: LinkDown) -> None:
        self.lost.append(why)

    def open(self, n: Any) -> None:
        self.link.send(self.sessions[n.target].open(self.world.rng("nonce").randbytes(8), 0), n.target)
        self.world.run_for(400_000)
        assert self.sessions[n.target].state == "open"

    def order(self, n: Any, message: messages.Message, us: int = 400_000) -> Any:
        session = self.sessions[n.target]
        session.post(Posted(1, message, self.world.now_us() + 10_000_000))
        payload = session.pull(self.world.now_us())
        assert payload is not None
        self.link.send(payload, n.target)
        self.world.run_for(us)
        return self.said[-1][1]

    def strikes(self) -> list[tuple[int, int]]:
        return [(at, m.number) for at, m in self.said if isinstance(m, messages.Strike)]


def test_an_exchange_takes_two_ways_and_the_turnaround() -> None:
    r = Radio()
    n = r.nodes[0]
    assert isinstance(r.link, Link)
    took = []
    for _ in range(100):
        sent = r.world.now_us()
        r.said.clear()
        r.link.send(r.sessions[n.target].token(sent), n.target)
        r.world.run_for(500_000)
        took.append(r.said[0][0] - sent)
    assert 2 * DELAY_US[0] + 200 <= min(took) < 40_000
    assert 160_000 < max(took) <= 2 * DELAY_US[1] + 501


def test_messages_of_one_connection_keep_their_order() -> None:
    r = Radio()
    n = r.nodes[0]
    r.order(n, messages.Arm(1, 1, True, 0))
    for _ in range(20):
        n.strike(KNOCK)
    r.world.run_for(300_000)
    assert [number for _, number in r.strikes()] == list(range(1, 21))
    assert r.sessions[n.target].lost["replayed"] == 0


def test_strikes_are_pushed_at_once_and_again_with_longer_pauses_until_acknowledged() -> None:
    r = Radio()
    n = r.nodes[0]
    r.order(n, messages.Arm(1, 1, True, 0))
    at = r.world.now_us()
    n.strike(KNOCK)
    r.world.run_for(6_000_000)
    times = [t - at for t, _ in r.strikes()]
    assert times[0] <= 100_501
    pauses = [b - a for a, b in pairwise(times)]
    assert len(pauses) >= 3
    assert pauses[0] < 700_000 < pauses[2]
    r.order(n, messages.Ack(1, 1))
    r.said.clear()
    r.world.run_for(20_000_000)
    assert r.said == []
    assert n.pending == ()


def test_a_second_strike_does_not_double_the_pushing_of_the_first() -> None:
    r = Radio()
    n = r.nodes[0]
    r.order(n, messages.Arm(1, 1, True, 0))
    for _ in range(10):
        n.strike(KNOCK)
        r.world.run_for(20_000)
    r.said.clear()
    r.world.run_for(3_000_000)
    assert 2 <= [number for _, number in r.strikes()].count(1) <= 4


def test_a_target_that_comes_back_says_who_it_is_and_pushes_what_waits() -> None:
    r = Radio()
    n = r.nodes[0]
    r.order(n, messages.Arm(1, 1, True, 0))
    n.strike(KNOCK)
    n.reboot(Why.BROWN_OUT)
    r.said.clear()
    r.world.run_for(1_000_000)
    greeting = r.said[0][1]
    assert isinstance(greeting, messages.Greeting)
    assert (greeting.boot, greeting.why, greeting.re) == (2, Why.BROWN_OUT, None)
    strike = r.said[1][1]
    assert isinstance(strike, messages.Strike)
    assert (strike.boot, strike.strike_boot) == (2, 1)


def test_what_a_target_had_not_sent_when_its_power_went_never_leaves() -> None:
    r = Radio()
    n = r.nodes[0]
    r.link.send(r.sessions[n.target].token(0), n.target)
    hears = []
    hear = n.hear
    n.hear = lambda *a, **k: (hear(*a, **k), hears.append(r.world.now_us()), n.die())  # type: ignore[assignment]
    r.said.clear()
    r.world.run_for(1_000_000)
    assert len(hears) == 1
    assert r.said == []


def test_a_retained_order_reaches_who_connects_anew_and_is_refused() -> None:
    r = Radio(network=True)
    n = r.nodes[0]
    r.air.retains = True
    now = n.ticks(r.world.now_us())
    grant = messages.Grant(1, 1, 0, 7, now + 5_000_000, now + 9_000_000, now + 9_000_000, 1000, 100)
    session = r.sessions[n.target]
    session.post(Posted(1, grant, r.world.now_us() + 60_000_000))
    payload = session.pull(r.world.now_us())
    assert payload is not None
    r.air.drop(n, 1_000_000)  # the order finds nobody, and the broker keeps it
    r.link.send(payload, n.target)
    r.world.run_for(2_000_000)
    assert r.network is not None
    assert r.network.struck["retained"] == 1
    assert r.air.lost["target-offline"] == 1
    answers = [m for _, m in r.said if isinstance(m, messages.Outcome)]
    assert [a.reason for a in answers] == [messages.Reason.RETAINED]
    r.world.run_for(20_000_000)
    n.settle()
    assert n.sent == []


def test_all_off_reaches_everybody_on_one_topic() -> None:
    r = Radio(3)
    sealer = seal.Sealer(seal.all_off_key(SITE_KEY))
    r.link.send(sealer.seal(envelope.ALL_OFF, EVERYBODY, 4, messages.encode(messages.AllOff(4))))
    r.world.run_for(200_000)
    assert [n.storage.epoch for n in r.nodes] == [4, 4, 4]
    for n in r.nodes:
        r.link.send(r.sessions[n.target].token(0), n.target)
    r.said.clear()
    r.world.run_for(300_000)
    assert [m.flags for _, m in r.said if isinstance(m, messages.Status)] == [Flags.ALL_OFF] * 3


@pytest.mark.parametrize("kind", ["duplicate", "reorder", "loss", "corrupt"])
def test_each_fault_of_the_air_strikes_and_the_session_stands_it(kind: str) -> None:
    r = Radio(network=True)
    n = r.nodes[0]
    assert r.network is not None
    r.network.set_weather(Weather(**{kind: 0.4}))
    for _ in range(30):
        r.link.send(r.sessions[n.target].token(r.world.now_us()), n.target)
        r.world.run_for(10_000)
    r.world.run_for(1_000_000)
    assert r.network.struck[kind] > 10
    lost = r.sessions[n.target].lost
    assert bool(lost["replayed"]) == (kind == "duplicate")
    assert bool(lost["bad-tag"] or lost["wrong-form"]) <= (kind == "corrupt")


def test_a_link_that_breaks_says_so_once_and_the_next_one_carries_on() -> None:
    r = Radio(network=True)
    n = r.nodes[0]
    r.air.drop_link()
    r.world.run_for(10)
    assert ["the connection broke" in str(why) for why in r.lost] == [True]
    assert r.link.send(b"x" * 20) is None
    r.link = AirLink(r.air, r, r.world.clock.now)
    r.open(n)
    assert len(r.lost) == 1


def test_a_broker_that_is_gone_takes_no_connection() -> None:
    r = Radio()
    r.air.stop_broker(2_000_000)
    r.world.run_for(1_000_000)
    assert len(r.lost) == 1
    with pytest.raises(Unreachable):
        AirLink(r.air, r, r.world.clock.now)
    r.said.clear()
    r.world.run_for(1_500_000)
    r.link = AirLink(r.air, r, r.world.clock.now)
    r.open(r.nodes[0])
