"""Expiry, will and retain flags of MQTT 5 as the real Mosquitto has them: what section 5 of the design leans on.

Source: MQTT Version 5.0, OASIS Standard, 7 March 2019; its sections are named beside each check. Grade: memory
(the standard was not at hand; the statements are as we know them), and seen, in that the real Mosquitto does so.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

import aiomqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from fieldctl.links import topics
from fieldctl.units import TargetId
from sims.broker import Mosquitto, start_broker

SITE = "larch"
A, B = TargetId("0a1b2c3d"), TargetId("0a1b2c3e")
DOWN = topics.down(SITE, A)


@pytest.fixture
async def broker() -> AsyncIterator[Mosquitto]:
    running = await start_broker(SITE, [A, B])
    assert isinstance(running, Mosquitto)
    yield running
    await running.stop()


def client(broker: Mosquitto, user: str, **options: object) -> aiomqtt.Client:
    at = broker.login(user)
    return aiomqtt.Client(
        at.host,
        at.port,
        username=user,
        password=at.password,
        protocol=aiomqtt.ProtocolVersion.V5,
        **options,
    )


def kept_for(seconds: int) -> Properties:
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = seconds
    return properties


def expiring_in(seconds: int) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)
    properties.MessageExpiryInterval = seconds
    return properties


async def heard(ear: aiomqtt.Client, until: bytes) -> list[aiomqtt.Message]:
    """Everything up to the payload `until`."""
    got = []
    async with asyncio.timeout(5):
        async for message in ear.messages:
            if message.payload == until:
                return got
            got.append(message)
    raise AssertionError("the messages ended")


async def subscribed(broker: Mosquitto, *, rap: bool, handling: int) -> list[tuple[bytes, bool]]:
    """What a new subscriber hears of one left retained and one published live with the retain flag."""
    async with client(broker, "controller") as writer, client(broker, A) as ear:
        await writer.publish(DOWN, b"left", qos=1, retain=True)
        await ear.subscribe(DOWN, options=SubscribeOptions(qos=1, retainAsPublished=rap, retainHandling=handling))
        await writer.publish(DOWN, b"live", qos=1, retain=True)
        await writer.publish(DOWN, b"end", qos=1)
        return [(bytes(m.payload), bool(m.retain)) for m in await heard(ear, b"end")]


async def test_retain_handling_2_sends_nothing_that_was_left(broker):
    """3.8.3.1 Subscription Options, [MQTT-3.3.1-11]: Retain Handling 2 sends no retained messages."""
    assert await subscribed(broker, rap=True, handling=2) == [(b"live", True)]


async def test_retain_handling_0_sends_what_was_left_with_its_flag(broker):
    """3.3.1.3 RETAIN, [MQTT-3.3.1-9]: with Retain Handling 0 they are sent. The danger that 2 keeps us from."""
    assert (b"left", True) in await subscribed(broker, rap=True, handling=0)


async def test_without_retain_as_published_a_retained_order_looks_fresh(broker):
    """3.3.1.3, [MQTT-3.3.1-12]: Retain As Published 0 clears the flag of what is forwarded live."""
    assert await subscribed(broker, rap=False, handling=2) == [(b"live", False)]


async def test_with_retain_as_published_the_flag_is_as_it_was_written(broker):
    """3.3.1.3, [MQTT-3.3.1-13]: Retain As Published 1 leaves it equal to the flag that was received."""
    async with client(broker, "controller") as writer, client(broker, A) as ear:
        await ear.subscribe(DOWN, options=SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=2))
        await writer.publish(DOWN, b"kept", qos=1, retain=True)
        await writer.publish(DOWN, b"fleeting", qos=1)
        await writer.publish(DOWN, b"end", qos=1)
        assert [(m.payload, bool(m.retain)) for m in await heard(ear, b"end")] == [
            (b"kept", True),
            (b"fleeting", False),
        ]


async def test_an_order_expires_on_the_broker_and_the_rest_of_its_life_is_told(broker):
    """3.3.2.3.3 Message Expiry Interval, [MQTT-3.3.2-5] deleted when passed, [MQTT-3.3.2-6] less the time waited."""
    async with client(broker, A, identifier=A, properties=kept_for(60), clean_start=True) as ear:
        await ear.subscribe(DOWN, qos=1)
    async with client(broker, "controller") as writer:
        await writer.publish(DOWN, b"short", qos=1, properties=expiring_in(1))
        await writer.publish(DOWN, b"long", qos=1, properties=expiring_in(30))
        await asyncio.sleep(2.1)  # the broker's own clock counts whole seconds; nothing here can hurry it
        await writer.publish(DOWN, b"end", qos=1)
        async with client(broker, A, identifier=A, properties=kept_for(0), clean_start=False) as ear:
            (message,) = await heard(ear, b"end")
    assert message.payload == b"long"
    assert 25 <= message.properties.MessageExpiryInterval <= 28


async def test_a_session_of_expiry_0_ends_with_its_connection(broker):
    """3.1.2.11.2 Session Expiry Interval: 0, or absent, and the session ends when the connection is closed."""
    async with client(broker, A, properties=kept_for(0), clean_start=True) as ear:
        await ear.subscribe(DOWN, qos=1)
    async with client(broker, "controller") as writer:
        await writer.publish(DOWN, b"meanwhile", qos=1)
        async with client(broker, A, properties=kept_for(0), clean_start=False) as ear:
            await ear.subscribe(DOWN, options=SubscribeOptions(qos=1, retainHandling=2))
            await writer.publish(DOWN, b"end", qos=1)
            assert await heard(ear, b"end") == []


async def test_the_will_is_published_when_the_connection_breaks_and_not_when_it_is_closed(broker):
    """3.1.2.5 Will Flag, [MQTT-3.1.2-8] and [MQTT-3.1.2-10]: published unless DISCONNECT came with reason 0."""
    status = topics.status(SITE)
    will = aiomqtt.Will(status, b"offline", qos=1, retain=True)
    async with client(broker, A) as ear:
        await ear.subscribe(status, options=SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=2))
        async with client(broker, "controller", will=will) as orderly:
            await orderly.publish(status, b"first", qos=1)
        broken = client(broker, "controller", will=will)
        await broken.__aenter__()
        await broken.publish(status, b"second", qos=1)
        broken._client.socket().shutdown(2)  # no DISCONNECT
        got = [(m.payload, bool(m.retain)) for m in await heard(ear, b"offline")]
        with pytest.raises(aiomqtt.MqttError):
            await anext(aiter(broken.messages))
    assert got == [(b"first", False), (b"second", False)]


async def test_a_retained_will_is_there_for_whoever_comes_later(broker):
    """3.1.2.7 Will Retain, [MQTT-3.1.2-15]: a will with the flag is published as a retained message."""
    status = topics.status(SITE)
    broken = client(broker, "controller", will=aiomqtt.Will(status, b"offline", qos=1, retain=True))
    await broken.__aenter__()
    broken._client.socket().shutdown(2)
    with pytest.raises(aiomqtt.MqttError):
        await anext(aiter(broken.messages))
    async with client(broker, A) as ear:
        await ear.subscribe(status)
        async with asyncio.timeout(5):
            message = await anext(aiter(ear.messages))
    assert (message.payload, bool(message.retain)) == (b"offline", True)


async def test_a_broker_says_the_largest_packet_that_it_takes(broker):
    """3.2.2.3.6 Maximum Packet Size in CONNACK, and 4.13: whoever sends a larger one is thrown out."""
    async with client(broker, "controller") as ear:
        await ear.subscribe(topics.every_up(SITE), qos=1)
        too_large = client(broker, A, timeout=0.5)
        with pytest.raises(aiomqtt.MqttError):
            async with too_large:
                await too_large.publish(topics.up(SITE, A), bytes(1025), qos=1)
        assert "Packet too large" in str(too_large._disconnected.exception())  # 3.14.2.1: reason 0x95
        async with client(broker, B) as node:
            await node.publish(topics.up(SITE, B), b"end", qos=1)
        assert await heard(ear, b"end") == []
