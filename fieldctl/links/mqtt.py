"""MQTT: one connection to the broker, carrying sealed messages as they are.

aiomqtt over paho-mqtt, MQTT 5, or 3.1.1 where a broker knows no better (no expiry, and a retained message
that arrives live cannot be told: `lacks` says so). What arrives is stamped as it is read, before any task
switch, drained through a bounded queue that counts what it had to drop, and given on by callback.

    role         reads                              writes
    controller   up of every target                 down of one target or of everybody; its status, retained
    target       its own down, and everybody's      its own up
    bridge       down of its targets, everybody's   up of its targets

Quality of service 0: the session above resends and acknowledges, and trusts no broker's receipt; a second
layer of resends below it would only bring doubles and waiting. Nothing but the status is retained, and
what arrives retained is dropped (counted `retained`). The broker says nothing about a publish that its
access list refuses: that shows as silence of the target. No reconnecting here: a link lives once.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from collections import deque
from collections.abc import Callable, Sequence
from typing import Literal

import aiomqtt
from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from fieldctl.errors import Refused
from fieldctl.links import topics
from fieldctl.links.broker_at import BrokerAt, cannot_connect, lost, tls_context
from fieldctl.links.link import Now, OneLife, Receiver
from fieldctl.units import HostUs, TargetId

KEEPALIVE_S = 10  # a broker that vanishes without a word is noticed within 20 s, before a grant of 30 s has run out
ANSWER_S = 5.0  # to connect, to subscribe, to take a message: far beyond a slow network, within a grant
EXPIRY_S = 5  # an order that the broker could not hand over by then has been resent; the end in ticks is what counts
PAYLOAD_MAX = 256  # twice the longest sealed message
PACKET_MAX = 65_536  # told to the broker, so that it cannot make us hold more
ARRIVED_MAX = 1024  # messages waiting for the receiver: four for each of 256 targets
DRAIN_A_TURN = 64  # messages given on in one turn of the loop, so that a flood cannot starve the buses
UNSENT_MAX = 1024  # messages waiting for the socket
SUBSCRIBE_TOGETHER = 8  # topics in one packet: 63 bytes each at most, within the broker's limit of 1024
SUBSCRIBE_FAILED = 0x80  # MQTT 5, section 3.9.3, and MQTT 3.1.1, section 3.9.3: this and above is a refusal
CANCEL_AGAIN_S = 0.05
FAREWELL_S = 1.0  # at closing, for what still waits and for the status

Role = Literal["controller", "target", "bridge"]

_log = logging.getLogger(__name__)


class MqttLink(OneLife):
    """A link of messages.

    Counts: messages_in, bytes_in, sends, bytes_out, full, sent_when_dead, overtaken, and by its reason what
    arrived and was dropped: retained, foreign_topic, oversized, overflow.
    """

    kind = "mqtt"

    def __init__(
        self, site: str, broker: BrokerAt, receiver: Receiver, now: Now, role: Role, targets: Sequence[TargetId]
    ) -> None:
        self._loop = asyncio.get_running_loop()
        super().__init__(f"{broker.host}:{broker.port}", receiver, self._loop.call_soon)
        self._site = site
        self._broker = broker
        self._now = now
        self._role = role
        self._targets = tuple(targets)
        self._reads: Literal["up", "down"] = "up" if role == "controller" else "down"
        self._arrived: deque[tuple[TargetId | None, bytes, HostUs]] = deque()
        self._unsent: deque[tuple[str, bytes]] = deque()
        self._something_to_send = asyncio.Event()
        self._closing = asyncio.Event()
        self._expiry = _publish_expiry() if broker.version == "5" else None
        self._client = _client(site, broker, role, _inbox(self._take))
        self._task: asyncio.Task[None] | None = None

    def send(self, data: bytes, topic_target: TargetId | None = None) -> HostUs | None:
        """Queue for the socket in this turn of the loop; gives a moment not later than the first byte's leaving."""
        if not self._alive:
            self._counts["sent_when_dead"] += 1
            return None
        if len(self._unsent) >= UNSENT_MAX:
            self._counts["full"] += 1
            return None
        self._unsent.append((self._topic(topic_target), data))
        self._something_to_send.set()
        self._counts["sends"] += 1
        return self._now()

    def clear_unsent(self) -> int:
        """Throw away what waits for the socket, so that an all off is next; gives the number of messages."""
        waiting = len(self._unsent)
        self._unsent.clear()
        if waiting:
            self._counts["overtaken"] += waiting
        return waiting

    async def close(self) -> None:
        """Send what waits, say offline, disconnect; within about a second, whatever the broker does."""
        self._closed = True
        self._alive = False
        self._closing.set()
        if self._task is not None:
            await asyncio.wait({self._task})

    async def open(self) -> None:
        """Connect, subscribe, say online; Refused or Unreachable with a remedy. Called once, by `open_mqtt`."""
        try:
            await self._client.__aenter__()
        except aiomqtt.MqttError as why:
            self._client.drop_socket()
            raise cannot_connect(self._broker, why) from why
        try:
            await self._subscribe()
            await self._say(topics.ONLINE)
        except BaseException as why:
            ended_by = self._client.ended_by()
            await self._client.leave()
            if isinstance(why, aiomqtt.MqttError):
                raise cannot_connect(self._broker, ended_by or why) from why
            raise
        self._task = self._loop.create_task(self._carry(), name=f"mqtt link {self.name}")

    def _topic(self, target: TargetId | None) -> str:
        if self._role == "controller":
            return topics.down(self._site, target)
        if target is None and self._role == "target":
            target = self._targets[0]
        assert target in self._targets, f"a {self._role} writes for {self._targets}, not for {target}"
        return topics.up(self._site, target)

    async def _subscribe(self) -> None:
        if self._role == "controller":
            wanted = [topics.every_up(self._site)]
        else:
            wanted = [topics.down(self._site, t) for t in (*self._targets, None)]
        codes: list[int] = []
        for at in range(0, len(wanted), SUBSCRIBE_TOGETHER):
            codes += await self._client.ask_for(wanted[at : at + SUBSCRIBE_TOGETHER], self._broker.version == "5")
        for topic, code in zip(wanted, codes, strict=True):
            if code >= SUBSCRIBE_FAILED:
                raise Refused(
                    f"The broker {self.name} does not let {self._broker.user} read {topic}.",
                    expected="the access list that fieldctl writes",
                    remedy="Write the broker's configuration anew for this site and restart the broker.",
                )

    async def _say(self, word: bytes) -> None:
        if self._role == "controller":
            await self._client.publish(topics.status(self._site), word, qos=1, retain=True)

    async def _carry(self) -> None:
        """The life of the connection after it opened: until it is lost or closed."""
        jobs: list[asyncio.Task[object]] = [
            self._loop.create_task(self._watch(), name=f"mqtt watch {self.name}"),
            self._loop.create_task(self._pump(), name=f"mqtt pump {self.name}"),
            self._loop.create_task(self._closing.wait(), name=f"mqtt closing {self.name}"),
        ]
        _, others = await asyncio.wait(jobs, return_when=asyncio.FIRST_COMPLETED)
        while others:  # asked again: Python 3.11 loses a cancellation that meets an answer inside wait_for
            for other in others:
                other.cancel()
            _, others = await asyncio.wait(others, timeout=CANCEL_AGAIN_S)
        ends = await asyncio.gather(*jobs, return_exceptions=True)
        failed = [end for end in ends if isinstance(end, Exception)]
        if failed:
            while self._arrived:  # whatever came before the end is given on before the end is told
                await asyncio.sleep(0)
            self._lose(lost(self._broker, failed[0]))
        else:
            await self._farewell()
        await self._client.leave()

    async def _watch(self) -> None:
        async for _ in self._client.messages:  # nothing ever comes this way: it raises when the connection ends
            raise AssertionError("the inbox lets nothing through")

    async def _pump(self) -> None:
        while True:
            await self._something_to_send.wait()
            self._something_to_send.clear()
            await self._empty()

    async def _empty(self) -> None:
        while self._unsent:
            topic, data = self._unsent.popleft()
            self._counts["bytes_out"] += len(data)
            await self._client.publish(topic, data, qos=0, properties=self._expiry)

    async def _farewell(self) -> None:
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
            async with asyncio.timeout(FAREWELL_S):
                await self._empty()
                await self._say(topics.OFFLINE)
        self.clear_unsent()

    def _take(self, message: aiomqtt.Message) -> None:
        """One message, just read: stamp it, refuse what may not be, queue the rest."""
        at = self._now()
        payload = message.payload
        if message.retain:
            self._drop("retained", message)
        elif not isinstance(payload, bytes) or len(payload) > PAYLOAD_MAX:
            self._drop("oversized", message)
        elif len(self._arrived) >= ARRIVED_MAX:
            self._drop("overflow", message)
        else:
            try:
                target = topics.target_of(self._site, message.topic.value, self._reads)
            except ValueError:
                self._drop("foreign_topic", message)
                return
            self._counts["messages_in"] += 1
            self._counts["bytes_in"] += len(payload)
            if not self._arrived:
                self._loop.call_soon(self._drain)
            self._arrived.append((target, payload, at))

    def _drop(self, kind: str, message: aiomqtt.Message) -> None:
        self._counts[kind] += 1
        if self._counts[kind] == 1:  # the count tells the rest
            _log.warning("%s: dropped a message on %s: %s", self.name, message.topic.value, kind)

    def _drain(self) -> None:
        for _ in range(min(DRAIN_A_TURN, len(self._arrived))):
            target, payload, at = self._arrived.popleft()
            if not self._closed:
                self._receiver.message_arrived(self, target, payload, at)
        if self._arrived:
            self._loop.call_soon(self._drain)

    def _let_go(self) -> None:
        self.clear_unsent()


async def open_mqtt(
    site: str,
    broker: BrokerAt,
    receiver: Receiver,
    *,
    now: Now,
    role: Role = "controller",
    targets: Sequence[TargetId] = (),
) -> MqttLink:
    """A link to `broker` in the named role; `targets` is the one target, or those behind the bridge.

    Refused (user, password, access list, version) or Unreachable (no broker there), each with its remedy.
    """
    topics.site_word(site)
    expected = {"controller": not targets, "target": len(targets) == 1, "bridge": bool(targets)}[role]
    assert expected, f"a {role} with {len(targets)} targets"
    link = MqttLink(site, broker, receiver, now, role, targets)
    await link.open()
    return link


def _inbox(take: Callable[[aiomqtt.Message], None]) -> type[asyncio.Queue[aiomqtt.Message]]:
    """aiomqtt's place for a queue of one's own: gives each message on in the moment that it was read."""

    class Inbox(asyncio.Queue[aiomqtt.Message]):
        def put_nowait(self, item: aiomqtt.Message) -> None:
            take(item)

    return Inbox


class _Client(aiomqtt.Client):
    """aiomqtt's client, which also gives back the socket, its reader and its task after a failure."""

    async def ask_for(self, wanted: Sequence[str], five: bool) -> list[int]:
        """Subscribe; gives the broker's answer for each. MQTT 5: nothing left retained, flags as they were written."""
        if not five:
            return [_number(code) for code in await self.subscribe([(topic, 0) for topic in wanted])]
        options = SubscribeOptions(qos=0, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        return [_number(code) for code in await self.subscribe([(topic, options) for topic in wanted])]

    def ended_by(self) -> BaseException | None:
        """What ended the connection, when that is known: aiomqtt's own error is then only that it waited in vain."""
        return self._disconnected.exception() if self._disconnected.done() else None

    async def leave(self) -> None:
        """Say goodbye if the broker still listens, and hold nothing afterwards."""
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError, OSError):
            async with asyncio.timeout(FAREWELL_S):
                await self.__aexit__(None, None, None)
        self.drop_socket()

    def drop_socket(self) -> None:
        """Close the socket if there is one; aiomqtt leaves it open when a connect or a read fails."""
        if self._client.socket() is not None:
            self._client._sock_close()


def _client(site: str, broker: BrokerAt, role: Role, inbox: type[asyncio.Queue[aiomqtt.Message]]) -> _Client:
    will = aiomqtt.Will(topics.status(site), topics.OFFLINE, qos=1, retain=True) if role == "controller" else None
    five = broker.version == "5"
    return _Client(
        broker.host,
        broker.port,
        username=broker.user,
        password=broker.password,
        identifier=broker.user,
        logger=_log,
        queue_type=inbox,
        protocol=aiomqtt.ProtocolVersion.V5 if five else aiomqtt.ProtocolVersion.V311,
        will=will,
        clean_session=None if five else True,
        clean_start=True if five else MQTT_CLEAN_START_FIRST_ONLY,  # as paho wants it said for 3.1.1
        properties=_connect_properties() if five else None,
        timeout=ANSWER_S,
        keepalive=KEEPALIVE_S,
        tls_context=tls_context(broker.tls) if broker.tls else None,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
    )


def _number(code: ReasonCode | int) -> int:
    return int(code.value) if isinstance(code, ReasonCode) else code


def _connect_properties() -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = 0
    properties.MaximumPacketSize = PACKET_MAX
    return properties


def _publish_expiry() -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.MessageExpiryInterval = EXPIRY_S
    return properties
