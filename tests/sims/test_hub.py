"""The bus: exact byte times, overlaps that garble for everybody, cuts, and the controller's end as a link."""

import asyncio
from typing import Any

import pytest
from mountain import Mountain, mountain, node

from fieldctl.errors import LinkDown
from fieldctl.links.link import Link
from fieldctl.wire import envelope, frames, messages
from sims.hub import UNSENT_MAX_US, Hub, HubLink, bytes_us
from sims.network import CALM, Network, Weather
from sims.world import World


def answers(m: Mountain) -> list[bytes]:
    return [p for _, data in m.heard for p in frames.Deframer().feed(data)]


def test_a_byte_takes_ten_bits_at_115_200_baud() -> None:
    assert bytes_us(1) == 87  # 86.8 rounded up
    assert bytes_us(36) == 3125
    assert bytes_us(11_520) == 1_000_000


def test_a_question_and_its_answer_take_exactly_their_bytes_and_the_turnaround() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.heard.clear()
    start = m.world.now_us()
    m.said.clear()
    status = m.token(n)
    assert isinstance(status, messages.Status)
    at, data = m.heard[0]
    asked_by = start + bytes_us(11)  # a token's frame has eleven bytes
    assert status.ticks == n.ticks(asked_by)
    assert asked_by + 200 < at - bytes_us(len(data)) <= asked_by + 501


def test_what_the_controller_writes_queues_behind_what_it_is_sending() -> None:
    world = World(1)
    hub = Hub(world)
    assert hub.write(bytes(36)) == 0
    assert hub.write(bytes(72)) == 3125
    assert hub.unsent_us() == 9375
    world.run_for(3200)
    hub.write(bytes(36))
    assert hub.clear_unsent() == 36
    assert hub.unsent_us() == 9375 - 3200


def test_two_who_speak_at_once_garble_each_other_and_nobody_is_heard() -> None:
    m = mountain(2)
    m.heard.clear()
    now = m.world.now_us()
    m.hub.speak(m.nodes[0], b"first speaker's words", now + 100)
    m.hub.speak(m.nodes[1], b"second speaker's words", now + 600)
    m.go()
    assert answers(m) == []
    assert m.hub.collisions == 1
    at, data = m.heard[0]
    assert at == now + 600 + bytes_us(len(frames.encode(b"second speaker's words")))
    assert data[:5] == frames.encode(b"first speaker's words")[:5]  # before the overlap it is still whole


def test_who_only_follow_each_other_are_both_heard() -> None:
    m = mountain(2)
    m.heard.clear()
    now = m.world.now_us()
    m.hub.speak(m.nodes[0], b"one", now + 100)
    m.hub.speak(m.nodes[1], b"two", now + 100 + bytes_us(len(frames.encode(b"one"))))
    m.go()
    assert answers(m) == [b"one", b"two"]
    assert m.hub.collisions == 0


def test_a_target_that_speaks_into_a_question_garbles_it_for_the_others() -> None:
    m = mountain(2)
    talker, asked = m.nodes
    m.said.clear()
    now = m.world.now_us()
    m.hub.babble(talker, b"\xff" * 40)
    m.hub.write(frames.encode(m.sessions[asked.address].token(now)))
    m.go()
    assert m.said == []
    assert m.token(asked) is not None  # one search for the next 0x00, no more


def test_a_cut_branch_neither_hears_nor_is_heard_until_it_is_whole() -> None:
    m = mountain(2)
    m.hub.cut(m.nodes[0])
    assert m.token(m.nodes[0]) is None
    assert m.token(m.nodes[1]) is not None
    m.hub.cut(m.nodes[0], whole=True)
    assert m.token(m.nodes[0]) is not None


def test_a_cut_branch_is_cut_both_ways() -> None:
    m = mountain(2)
    cut, whole = m.nodes
    m.hub.cut(cut)
    m.all_off(3)
    assert (cut.storage.epoch, whole.storage.epoch) == (0, 3)
    m.heard.clear()
    m.hub.babble(cut, b"\0hello\0")
    m.go()
    assert m.heard == []


def test_half_a_frame_stays_with_the_target_until_the_next_burst() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.hub.write(frames.encode(m.sessions[n.address].token(0))[:-3])  # a controller was killed in the middle of it
    m.go()
    assert n.deframer.lost == {}
    assert m.token(n) is not None
    assert n.deframer.lost.total() == 1


def test_an_adapter_that_sits_on_bytes_keeps_their_order() -> None:
    m = mountain(1, network=True)
    network = m.hub._network
    assert network is not None
    network.lines["adapter"].set_weather(Weather(delay=0.7, delay_max_us=60_000))
    m.heard.clear()
    for i in range(60):
        m.hub.speak(m.nodes[0], bytes([i + 1]), m.world.now_us() + 1)
        m.go(5_000)
    m.go(200_000)
    assert answers(m) == [bytes([i + 1]) for i in range(60)]
    assert network.struck["delay"] > 20


def test_two_targets_with_one_address_answer_together_and_are_garbled() -> None:
    m = mountain(1)
    twin = node(m.world, 1)
    m.hub.attach(twin)
    assert m.token(m.nodes[0]) is None
    assert m.hub.collisions == 1


def test_an_answer_breaks_off_where_the_power_goes() -> None:
    m = mountain(1)
    n = m.nodes[0]
    m.heard.clear()
    m.hub.write(frames.encode(m.sessions[n.address].token(m.world.now_us())))
    m.go(bytes_us(11) + 501 + 10 * 87)
    n.power_off()
    m.go()
    (_, data), *others = m.heard
    assert 9 <= len(data) < 20
    assert not others
    assert answers(m) == []


@pytest.mark.parametrize("kind", ["loss", "corrupt", "truncate", "delay", "junk"])
def test_each_fault_of_a_bus_strikes_and_is_counted_and_calm_ends_it(kind: str) -> None:
    m = mountain(2, network=True)
    network = m.hub._network
    assert network is not None
    network.set_weather(Weather(**{kind: 0.5}))
    answered = sum(m.token(m.nodes[0]) is not None for _ in range(60))
    assert network.struck[kind] > 10
    assert (answered < 50) == (kind != "delay")
    assert {k for k in network.struck if network.struck[k]} <= {kind, "overlap"}
    network.calm()
    m.go(200_000)
    m.deframer.feed(b"\0")
    assert all(m.token(m.nodes[0]) is not None for _ in range(20))


def test_a_line_that_is_cut_for_a_while_is_counted() -> None:
    m = mountain(1, network=True)
    network = m.hub._network
    assert network is not None
    now = m.world.now_us()
    network.lines[f"{m.nodes[0].name}/up"].cut(now, now + 100_000)
    assert m.token(m.nodes[0]) is None
    assert network.struck["cut"] == 1
    m.go(100_000)
    assert m.token(m.nodes[0]) is not None


class Ear:
    def __init__(self) -> None:
        self.heard: list[tuple[bytes, int]] = []
        self.lost: list[LinkDown] = []

    def bytes_arrived(self, link: Any, data: bytes, at: Any) -> None:
        self.heard.append((data, at))

    def message_arrived(self, *args: Any) -> None:
        raise AssertionError("a bus carries a stream")

    def link_lost(self, link: Any, why: LinkDown) -> None:
        self.lost.append(why)


def test_the_link_says_when_and_has_a_limit_and_can_be_unplugged() -> None:
    m = mountain(1)
    ear = Ear()
    link = HubLink(m.hub, ear, m.world.clock.now)
    assert isinstance(link, Link)
    assert link.kind == "serial"
    before = m.world.clock.now()
    assert link.send(frames.encode(m.sessions[m.nodes[0].address].token(0))) == before
    m.go()
    assert len(ear.heard) == 1
    assert before < ear.heard[0][1] < m.world.clock.now()
    while link.send(bytes(100)) is not None:
        pass
    assert link.counts()["full"] == 1
    assert UNSENT_MAX_US - bytes_us(100) < m.hub.unsent_us() <= UNSENT_MAX_US
    assert link.clear_unsent() > 1000
    link.unplug()
    assert ear.lost == []
    m.go()
    assert len(ear.lost) == 1
    assert link.send(b"\0") is None
    assert link.counts()["sent_when_dead"] == 1


def test_a_closed_link_hears_nothing_more() -> None:
    m = mountain(1)
    ear = Ear()
    link = HubLink(m.hub, ear, m.world.clock.now)
    link.send(frames.encode(m.sessions[m.nodes[0].address].token(0)))
    m.world.run(link.close())
    m.world.run(asyncio.sleep(1))
    assert ear.heard == []
    assert ear.lost == []


def test_a_flood_of_junk_leaves_the_targets_well() -> None:
    m = mountain(2)
    rng = m.world.rng("junk")
    for _ in range(200):
        m.hub.write(rng.randbytes(100))
        m.go(10_000)
    assert m.nodes[0].deframer.lost.total() > 20
    assert m.token(m.nodes[0]) is not None


def test_a_bus_in_calm_weather_never_draws() -> None:
    world = World(1)
    network = Network(world.rng("network"))
    state = world.rng("network").getstate()
    line = network.line("x", ordered=True)
    assert line.clear
    assert line.carry(b"abc", 0) == ((0, b"abc"),)
    assert world.rng("network").getstate() == state
    assert network.weather is CALM


def test_an_envelope_for_another_is_not_taken() -> None:
    m = mountain(2)
    counters = m.nodes[1].storage.writes
    m.hub.write(frames.encode(envelope.token(m.nodes[0].address, 5)))
    m.go()
    assert m.nodes[1].storage.writes == counters
