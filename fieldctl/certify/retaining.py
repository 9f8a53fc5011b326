"""A controller's link to a broker that can also say something retained, as somebody would who means harm."""

from __future__ import annotations

import asyncio

from fieldctl.links import topics
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.link import Now, Receiver
from fieldctl.links.mqtt import MqttLink
from fieldctl.units import TargetId

STAYS_S = 0.2  # a target that is connected has it by then; one that connects later must not find it


class RetainingLink(MqttLink):
    """One life of a connection; the product's own link never retains anything but its status."""

    def __init__(self, site: str, broker: BrokerAt, receiver: Receiver, now: Now) -> None:
        super().__init__(topics.site_word(site), broker, receiver, now, "controller", ())

    async def retain(self, payload: bytes, target: TargetId) -> None:
        """Publish it retained, and clear it again whatever happens."""
        topic = topics.down(self._site, target)
        try:
            await self._client.publish(topic, payload, qos=0, retain=True)
            await asyncio.sleep(STAYS_S)
        finally:
            await self._client.publish(topic, b"", qos=1, retain=True)


async def open_retaining(site: str, broker: BrokerAt, receiver: Receiver, now: Now) -> RetainingLink:
    """As `links.mqtt.open_mqtt`."""
    link = RetainingLink(site, broker, receiver, now)
    await link.open()
    return link
