"""The fallback broker: amqtt inside this process, on loopback only, with our users and our access list.

Its defects, seen in 0.12.1: MQTT 3.1.1 only; retained messages reach clients that may not read them; it
listens everywhere unless told otherwise. A demo lives with that, a park does not.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import amqtt.broker
from amqtt.contexts import Action
from amqtt.plugins.base import BaseAuthPlugin, BaseTopicPlugin

from fieldctl.links import topics
from fieldctl.links.broker_at import BrokerAt
from fieldctl.links.mosquitto import BRIDGE_PREFIX, CONTROLLER
from fieldctl.units import TargetId

LOOPBACK = "127.0.0.1"


class Users(BaseAuthPlugin):  # type: ignore[misc]  # amqtt is not typed
    """Nobody without a name and its password."""

    async def authenticate(self, *, session: Any) -> bool:
        """Whether this connection may be."""
        expected = self.config.passwords.get(session.username or "")
        return expected is not None and hmac.compare_digest(expected, session.password or "")

    @dataclass
    class Config:
        """What amqtt hands to the plugin."""

        passwords: dict[str, str] = field(default_factory=dict)


class AccessList(BaseTopicPlugin):  # type: ignore[misc]  # amqtt is not typed
    """The rules of `fieldctl.links.mosquitto` in the form that amqtt asks for."""

    async def topic_filtering(self, *, session: Any = None, topic: str | None = None, action: Any = None) -> bool:
        """Whether this user may do that with this topic."""
        config = self.config
        writes, reads = allowed(config.site, session.username or "", config.bridges)
        return topic in (writes if action == Action.PUBLISH else reads) or (
            session.username == CONTROLLER and _is_of_a_target(config.site, topic or "", action == Action.PUBLISH)
        )

    @dataclass
    class Config:
        """What amqtt hands to the plugin."""

        site: str = ""
        bridges: dict[str, list[str]] = field(default_factory=dict)


def allowed(site: str, user: str, bridges: Mapping[str, Sequence[str]]) -> tuple[set[str], set[str]]:
    """The topics by name that `user` may write and read."""
    for_all = {topics.down(site, None), topics.status(site)}
    if user == CONTROLLER:
        return for_all, {topics.every_up(site), topics.status(site)}
    own = bridges.get(user.removeprefix(BRIDGE_PREFIX), []) if user.startswith(BRIDGE_PREFIX) else [user]
    targets = [TargetId(t) for t in own]
    return {topics.up(site, t) for t in targets}, for_all | {topics.down(site, t) for t in targets}


def _is_of_a_target(site: str, topic: str, writes: bool) -> bool:
    try:
        return topics.target_of(site, topic, "down" if writes else "up") is not None
    except ValueError:
        return False


class Amqtt:
    """A broker in this process."""

    def __init__(self, port: int, passwords: Mapping[str, str], broker: Any) -> None:
        self.port = port
        self.lacks: tuple[str, ...] = (
            *BrokerAt(LOOPBACK, port, "", "", version="3.1.1").lacks,
            "retained messages pass its access list by",
        )
        self._passwords = passwords
        self._broker = broker
        self._running = True

    @classmethod
    async def start(
        cls, site: str, port: int, bridges: Mapping[str, Sequence[TargetId]], passwords: Mapping[str, str]
    ) -> Amqtt:
        """Start on loopback; it listens when this returns."""
        here = __name__
        config = {
            "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{port}"}},
            "plugins": {
                f"{here}.Users": {"passwords": dict(passwords)},
                f"{here}.AccessList": {"site": site, "bridges": {n: list(b) for n, b in bridges.items()}},
            },
        }
        broker = amqtt.broker.Broker(config)
        await broker.start()
        return cls(port, passwords, broker)

    def login(self, user: str) -> BrokerAt:
        """Where to go as `user`."""
        return BrokerAt(LOOPBACK, self.port, user, self._passwords[user], version="3.1.1")

    async def stop(self) -> None:
        """End it."""
        if self._running:
            self._running = False
            await self._broker.shutdown()
