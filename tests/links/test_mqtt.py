from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import socket
import time
from collections.abc import AsyncIterator

import aiomqtt
import pytest
from listening import Listening, now

from fieldctl.errors import Refused, Unreachable
from fieldctl.links import mqtt, topics
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.link import Link
from fieldctl.links.mqtt import MqttLink, open_mqtt
from fieldctl.units import TargetId, target_from_address
from sims.broker import Mosquitto, free_port, start_broker

A, B, FAR = TargetId("0a1b2c3d"), TargetId("0a1b2c3e"), TargetId("000000f1")
SITE = "larch"


@pytest.fixture
async def broker() -> AsyncIterator[Mosquitto]:
    running = await start_broker(SITE, [A, B], bridges={"upper": [FAR]})
    assert isinstance(running, Mosquitto)
    yield running
    await running.stop()


@pytest.fixture
def ear() -> Listening:
    return Listening()


def raw(broker: Mosquitto, user: str) -> aiomqtt.Client:
    """A plain client, to see and do what our link does not."""
    at = broker.login(user)
    return aiomqtt.Client(
        at.host,
        at.port,
        username=at.user,
        password=at.password,
        identifier=at.user,
        protocol=aiomqtt.ProtocolVersion.V5,
    )


async def controller(broker: Mosquitto, ear: Listening) -> MqttLink:
    return await open_mqtt(SITE, broker.login("controller"), ear, now=now)


async def target(broker: Mosquitto, ear: Listening, who: TargetId = A) -> MqttLink:
    return await open_mqtt(SITE, broker.login(who), ear, now=now, role="target", targets=[who])


async def test_an_order_and_its_answer_with_honest_times(broker, ear, nothing_left):
    far = Listening()
    link, node = await controller(broker, ear), await target(broker, far)
    assert isinstance(link, Link)
    assert (link.kind, link.alive) == ("mqtt", True)
    before = now()
    sent = link.send(b"order", A)
    assert sent is not None
    await far.until(lambda: bool(far.messages))
    who, data, at = far.messages[0]
    assert (who, data) == (A, b"order")
    assert before <= sent <= at <= now()
    node.send(b"done")
    await ear.until(lambda: bool(ear.messages))
    assert ear.messages[0][:2] == (A, b"done")
    assert link.counts() == {"sends": 1, "bytes_out": 5, "messages_in": 1, "bytes_in": 4}
    await link.close()
    await node.close()


async def test_all_off_reaches_everybody_and_an_order_only_its_target(broker, ear):
    ears = [Listening(), Listening(), Listening()]
    link = await controller(broker, ear)
    nodes = [await target(broker, ears[0], A), await target(broker, ears[1], B)]
    nodes.append(await open_mqtt(SITE, broker.login("bridge-upper"), ears[2], now=now, role="bridge", targets=[FAR]))
    for to in (A, B, FAR, None):
        link.send(b"to %r" % to, to)
    for far, who in zip(ears, (A, B, FAR), strict=True):
        await far.until(lambda far=far: len(far.messages) >= 2)
        assert [m[:2] for m in far.messages] == [(who, b"to %r" % who), (None, b"to None")]
    nodes[2].send(b"from afar", FAR)
    await ear.until(lambda: bool(ear.messages))
    assert ear.messages[0][:2] == (FAR, b"from afar")
    for node in (link, *nodes):
        await node.close()


async def test_a_bridge_stands_before_a_whole_bus(ear):
    """32 targets and a long site name: their subscriptions do not fit into one packet of the broker."""
    site, behind = "x" * 32, [target_from_address(i) for i in range(1, 33)]
    broker = await start_broker(site, [], bridges={"upper": behind})
    far = Listening()
    link = await open_mqtt(site, broker.login("controller"), ear, now=now)
    bridge = await open_mqtt(site, broker.login("bridge-upper"), far, now=now, role="bridge", targets=behind)
    for who in behind:
        link.send(who.encode(), who)
    link.send(b"all off")
    await far.until(lambda: len(far.messages) == 33)
    assert [m[:2] for m in far.messages] == [*((who, who.encode()) for who in behind), (None, b"all off")]
    await bridge.close()
    await link.close()
    await broker.stop()


async def test_a_broker_that_ends_it_before_it_began_is_quoted(broker, ear, monkeypatch, nothing_left):
    monkeypatch.setattr(mqtt, "ANSWER_S", 0.3)
    monkeypatch.setattr(mqtt, "SUBSCRIBE_TOGETHER", 1000)
    behind = [target_from_address(i) for i in range(1, 64)]
    with pytest.raises(Unreachable, match="Packet too large"):
        await open_mqtt(SITE, broker.login("bridge-upper"), ear, now=now, role="bridge", targets=behind)


async def test_many_in_one_turn_keep_their_order_and_none_is_missing(broker, ear):
    far = Listening()
    link, node = await controller(broker, ear), await target(broker, far)
    wanted = [i.to_bytes(2, "big") for i in range(mqtt.UNSENT_MAX)]
    for data in wanted:
        assert link.send(data, A) is not None
    await far.until(lambda: len(far.messages) == len(wanted))
    assert [d for _, d, _ in far.messages] == wanted
    await link.close()
    await node.close()


async def test_a_full_buffer_is_refused_and_counted_and_an_all_off_overtakes(broker, ear):
    far = Listening()
    link, node = await controller(broker, ear), await target(broker, far)
    taken = 0
    while link.send(b"order", A) is not None:
        taken += 1
    assert taken == mqtt.UNSENT_MAX
    assert link.counts()["full"] == 1
    assert link.clear_unsent() == taken == link.counts()["overtaken"]
    assert link.send(b"all off") is not None
    await far.until(lambda: bool(far.messages))
    assert [m[:2] for m in far.messages] == [(None, b"all off")]
    await link.close()
    await node.close()


async def test_a_flood_is_bounded_counted_and_leaves_room_for_others(broker, ear, monkeypatch):
    monkeypatch.setattr(mqtt, "ARRIVED_MAX", 20)
    monkeypatch.setattr(mqtt, "DRAIN_A_TURN", 1)
    link = await controller(broker, ear)
    fifty = [aiomqtt.Message(topics.up(SITE, A), b"%d" % i, 0, False, 0, None) for i in range(50)]
    for message in fifty:  # what one read of a TLS connection may bring at once
        link._take(message)
    assert ear.messages == []  # never from inside the reading
    turns = 0
    while len(ear.messages) < 20:
        await asyncio.sleep(0)
        turns += 1
    assert turns >= 20  # one message a turn: others had theirs in between
    assert [d for _, d, _ in ear.messages] == [b"%d" % i for i in range(20)]
    assert link.counts()["overflow"] == 30
    assert link.counts()["messages_in"] == 20
    await link.close()


async def test_two_thousand_messages_from_one_target_are_all_given_on_or_counted(broker, ear):
    link = await controller(broker, ear)
    longest, last = 0.0, time.perf_counter()

    async def watch() -> None:
        nonlocal longest, last
        while True:
            await asyncio.sleep(0)
            longest = max(longest, time.perf_counter() - last)
            last = time.perf_counter()

    watching = asyncio.create_task(watch())
    async with raw(broker, A) as node:
        for i in range(2000):
            await node.publish(topics.up(SITE, A), i.to_bytes(2, "big"))
        await ear.until(lambda: len(ear.messages) + link.counts().get("overflow", 0) == 2000)
    watching.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await watching
    assert longest < 0.5  # a flood handled in one go would take the whole of it
    assert [d for _, d, _ in ear.messages] == sorted(d for _, d, _ in ear.messages)
    await link.close()


async def test_what_arrives_retained_is_dropped_and_counted(broker, ear, caplog):
    far = Listening()
    async with raw(broker, "controller") as careless:
        await careless.publish(topics.down(SITE, A), b"left behind", retain=True)
        node = await target(broker, far)
        await careless.publish(topics.down(SITE, A), b"live but retained", retain=True)
        await careless.publish(topics.down(SITE, A), b"proper")
        await far.until(lambda: bool(far.messages))
    assert [d for _, d, _ in far.messages] == [b"proper"]
    assert node.counts()["retained"] == 1  # the live one; what was left behind is not even asked for
    assert "retained" in caplog.text
    await node.close()


async def test_the_same_holds_for_what_targets_say(broker, ear):
    link = await controller(broker, ear)
    async with raw(broker, A) as node:
        await node.publish(topics.up(SITE, A), b"stale", retain=True)
        await node.publish(topics.up(SITE, A), b"fresh")
        await ear.until(lambda: bool(ear.messages))
    assert [d for _, d, _ in ear.messages] == [b"fresh"]
    assert link.counts()["retained"] == 1
    await link.close()


async def test_oversized_and_foreign_messages_are_dropped_and_counted(broker, ear):
    link = await controller(broker, ear)
    async with raw(broker, A) as node:
        await node.publish(topics.up(SITE, A), bytes(mqtt.PAYLOAD_MAX + 1))
        await node.publish(topics.up(SITE, A), bytes(mqtt.PAYLOAD_MAX))
        await ear.until(lambda: bool(ear.messages))
    link._take(aiomqtt.Message(f"fieldctl/v1/{SITE}/t/nonsense/up", b"x", 0, False, 0, None))
    assert link.counts()["oversized"] == 1
    assert link.counts()["foreign_topic"] == 1
    assert [len(d) for _, d, _ in ear.messages] == [mqtt.PAYLOAD_MAX]
    await link.close()


async def status_now(broker: Mosquitto) -> bytes:
    async with raw(broker, B) as node:
        await node.subscribe(topics.status(SITE))
        async with asyncio.timeout(5):
            async for message in node.messages:
                assert message.retain
                assert isinstance(message.payload, bytes)
                return message.payload
    raise AssertionError("no status")


async def test_the_status_is_online_then_offline_and_by_will_when_cut(broker, ear):
    link = await controller(broker, ear)
    assert await status_now(broker) == b"online"
    await link.close()
    assert await status_now(broker) == b"offline"
    again = await controller(broker, ear)
    assert await status_now(broker) == b"online"
    sock = again._client._client.socket()
    sock.shutdown(2)  # a cut cable, as the broker sees it
    await ear.until(lambda: bool(ear.lost))
    assert await status_now(broker) == b"offline"
    assert len(ear.lost) == 1


async def test_the_last_words_before_closing_arrive(broker, ear):
    far = Listening()
    link, node = await controller(broker, ear), await target(broker, far)
    link.send(b"all off")
    await link.close()
    await far.until(lambda: bool(far.messages))
    assert far.messages[0][:2] == (None, b"all off")
    assert link.send(b"more") is None
    assert link.counts()["sent_when_dead"] == 1
    await node.close()
    assert ear.lost == far.lost == []


async def test_a_broker_that_dies_is_told_once_with_its_remedy(broker, ear, nothing_left):
    link = await controller(broker, ear)
    broker.kill()
    await ear.until(lambda: bool(ear.lost))
    await asyncio.sleep(0.05)
    assert len(ear.lost) == 1
    assert f"127.0.0.1:{broker.port} was lost" in ear.lost[0].what
    assert "systemctl status mosquitto" in ear.lost[0].remedy
    assert link.send(b"order", A) is None
    await link.close()


async def test_a_broker_that_stops_in_order_is_a_lost_link_too(broker, ear, nothing_left):
    link = await controller(broker, ear)
    await broker.stop()
    await ear.until(lambda: bool(ear.lost))
    assert len(ear.lost) == 1
    await link.close()


async def test_a_second_controller_takes_over_and_the_first_is_told_where_to_look(broker, ear):
    second_ear = Listening()
    await controller(broker, ear)
    second = await controller(broker, second_ear)
    await ear.until(lambda: bool(ear.lost))
    # Mosquitto 2.0.11 closes the first connection without the reason that MQTT 5 has for it.
    assert "second device that connects as controller" in ear.lost[0].remedy
    assert second.alive
    assert second_ear.lost == []
    assert await status_now(broker) == b"online"  # the first one's will came before the second one's word
    await second.close()


async def serve(answer) -> tuple[asyncio.Server, int]:
    """A server of our own on loopback, to play the broker that Mosquitto is not."""

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            await answer(reader, writer)
            writer.close()
            await writer.wait_closed()

    server = await asyncio.start_server(handle, "127.0.0.1", 0)
    return server, server.sockets[0].getsockname()[1]


async def test_a_broker_that_says_taken_over_is_understood(ear, nothing_left):
    async def take_over(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(512)
        writer.write(b"\x20\x03\x00\x00\x00")  # CONNACK, success
        subscribe = await reader.read(512)
        writer.write(b"\x90\x04" + subscribe[2:4] + b"\x00\x00")  # SUBACK, granted
        publish = await reader.read(512)
        at = 4 + int.from_bytes(publish[2:4], "big")
        writer.write(b"\x40\x02" + publish[at : at + 2])  # PUBACK
        writer.write(b"\xe0\x02\x8e\x00")  # DISCONNECT, session taken over

    server, port = await serve(take_over)
    await open_mqtt(SITE, BrokerAt("127.0.0.1", port, "controller", "x"), ear, now=now)
    await ear.until(lambda: bool(ear.lost))
    assert "Somebody else connected" in ear.lost[0].what
    assert "throw each other out" in ear.lost[0].remedy
    server.close()
    await server.wait_closed()


async def test_a_message_that_came_before_the_end_is_told_before_it(broker, ear, monkeypatch):
    monkeypatch.setattr(mqtt, "DRAIN_A_TURN", 1)
    order: list[object] = []
    link = await controller(broker, ear)
    monkeypatch.setattr(ear, "message_arrived", lambda link, who, data, at: order.append(data))
    monkeypatch.setattr(ear, "link_lost", lambda link, why: order.append("lost"))
    for i in range(10):
        link._take(aiomqtt.Message(topics.up(SITE, A), b"%d" % i, 0, False, 0, None))
    link._client._client.socket().shutdown(2)
    await ear.until(lambda: "lost" in order)
    assert order == [b"%d" % i for i in range(10)] + ["lost"]


async def test_orders_carry_an_expiry_and_are_not_retained(broker, ear):
    link = await controller(broker, ear)
    async with raw(broker, A) as node:
        await node.subscribe(topics.down(SITE, A), qos=1)
        link.send(b"order", A)
        async with asyncio.timeout(5):
            message = await anext(aiter(node.messages))
    assert not message.retain
    assert 0 < message.properties.MessageExpiryInterval <= mqtt.EXPIRY_S
    await link.close()


async def test_nobody_there(ear, nothing_left):
    at = BrokerAt("127.0.0.1", free_port(), "controller", "x")
    with pytest.raises(Unreachable, match="could not be reached") as caught:
        await open_mqtt(SITE, at, ear, now=now)
    assert "systemctl status mosquitto" in caught.value.remedy
    assert ear.lost == []


async def test_a_wrong_password_is_refused_and_never_shown(broker, ear, nothing_left):
    right = broker.login("controller")
    wrong = BrokerAt(right.host, right.port, right.user, "guessed-password")
    with pytest.raises(Refused, match="does not accept the user controller") as caught:
        await open_mqtt(SITE, wrong, ear, now=now)
    assert "guessed-password" not in str(caught.value) + repr(wrong)


NONSENSE = {
    "refused with a code that nobody knows": b"\x20\x03\x00\xf0\x00",
    "endless length": b"\x20\xff\xff\xff\xff\xff\xff",
    "truncated": b"\x20\x03\x00",
    "no packet at all": b"\xff" * 64,
    "nothing, and closed": b"",
    "nothing, and held open": None,
}


@pytest.mark.parametrize("word", NONSENSE.values(), ids=NONSENSE)
async def test_a_server_that_is_no_broker_is_given_up_and_leaves_nothing(ear, word, monkeypatch, nothing_left):
    monkeypatch.setattr(mqtt, "ANSWER_S", 0.2)

    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(512)
        if word is None:
            await reader.read()
        else:
            writer.write(word)

    server, port = await serve(babble)
    with pytest.raises((Unreachable, Refused)) as caught:
        await open_mqtt(SITE, BrokerAt("127.0.0.1", port, "controller", "x"), ear, now=now)
    assert caught.value.remedy
    assert ear.lost == []
    server.close()
    await server.wait_closed()
    await asyncio.sleep(0.01)


async def test_nonsense_after_a_good_beginning_ends_the_link_with_a_word(ear, nothing_left):
    async def go_mad(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(512)
        writer.write(b"\x20\x03\x00\x00\x00")
        subscribe = await reader.read(512)
        writer.write(b"\x90\x05" + subscribe[2:4] + b"\x00\x00\x00")
        writer.write(b"\x30\x05\x00\x02\xff\xfe\x00")  # a PUBLISH whose topic is no UTF-8
        await reader.read()

    server, port = await serve(go_mad)
    await open_mqtt(SITE, BrokerAt("127.0.0.1", port, A, "x"), ear, now=now, role="target", targets=[A])
    await ear.until(lambda: bool(ear.lost))
    assert len(ear.lost) == 1
    assert "was lost" in ear.lost[0].what
    server.close()
    await server.wait_closed()
    await asyncio.sleep(0.01)


async def test_a_frozen_broker_does_not_hold_up_the_closing(broker, ear, nothing_left):
    link = await controller(broker, ear)
    os.kill(broker.pid, signal.SIGSTOP)
    try:
        for _ in range(200):
            link.send(bytes(128), A)
            await asyncio.sleep(0)
        began = time.perf_counter()
        await link.close()
        assert time.perf_counter() - began < 2 * mqtt.FAREWELL_S + 0.5
    finally:
        os.kill(broker.pid, signal.SIGCONT)


@pytest.mark.parametrize("sending", [True, False], ids=["while sending", "while idle"])
async def test_a_broker_that_vanishes_without_a_word_is_noticed(broker, ear, monkeypatch, sending, nothing_left):
    monkeypatch.setattr(mqtt, "ANSWER_S", 0.5)
    monkeypatch.setattr(mqtt, "KEEPALIVE_S", 60 if sending else 1)
    link = await controller(broker, ear)
    link._client._client.socket().setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
    os.kill(broker.pid, signal.SIGSTOP)
    try:
        while not ear.lost:
            while sending and link.alive and link.send(bytes(mqtt.PAYLOAD_MAX), A) is not None:
                pass
            await asyncio.sleep(0.01)
    finally:
        os.kill(broker.pid, signal.SIGCONT)
    assert len(ear.lost) == 1
    assert "was lost" in ear.lost[0].what
    await link.close()


async def test_what_waits_at_closing_still_leaves_if_the_broker_wakes_up(broker, ear):
    far = Listening()
    link, node = await controller(broker, ear), await target(broker, far)
    link._client._client.socket().setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
    os.kill(broker.pid, signal.SIGSTOP)
    out = -1
    while out != link.counts().get("bytes_out", 0):  # until the socket takes no more
        out = link.counts().get("bytes_out", 0)
        while link.send(bytes(mqtt.PAYLOAD_MAX), A) is not None:
            pass
        await asyncio.sleep(0.02)
    link.clear_unsent()
    assert link.send(b"all off") is not None
    closing = asyncio.create_task(link.close())
    await asyncio.sleep(0.1)
    os.kill(broker.pid, signal.SIGCONT)
    await closing
    await far.until(lambda: any(m[:2] == (None, b"all off") for m in far.messages))
    await node.close()


async def test_closing_twice_and_at_once_leaves_nothing(broker, ear, nothing_left):
    link = await controller(broker, ear)
    await asyncio.gather(link.close(), link.close())
    await link.close()
    assert ear.lost == []
    assert not link.alive


async def test_old_mqtt_works_and_says_what_it_lacks(broker, ear):
    import dataclasses

    far = Listening()
    old = dataclasses.replace(broker.login(A), version="3.1.1")
    assert len(old.lacks) == 3
    node = await open_mqtt(SITE, old, far, now=now, role="target", targets=[A])
    link = await controller(broker, ear)
    link.send(b"order", A)
    await far.until(lambda: bool(far.messages))
    node.send(b"done")
    await ear.until(lambda: bool(ear.messages))
    await node.close()
    await link.close()


async def test_a_target_cannot_be_made_to_write_for_another(broker):
    node = await target(broker, Listening())
    with pytest.raises(AssertionError, match="not for"):
        node.send(b"x", B)
    await node.close()
