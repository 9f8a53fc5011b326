"""What the controller is given from outside: clock, entropy, keys, links; by the command line or a simulation."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from fieldctl.links.link import Link, Receiver
from fieldctl.site.model import MqttLink, SerialLink, Site
from fieldctl.units import HostTime, HostUs, TargetId
from fieldctl.wire import seal


class HostClock(Protocol):
    """The host's clocks: the raw monotonic one, named by the host's boot id, and the wall's label."""

    @property
    def boot(self) -> str:
        """The host's boot id."""

    def now(self) -> HostUs:
        """Microseconds of the raw monotonic clock."""

    def wall(self) -> str | None:
        """The wall's time as an RFC 3339 label in UTC; None where nobody knows it."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The site key, from which every target's keys follow; never leaves the controller and its backup."""

    site_key: bytes

    def of(self, target: TargetId, version: int) -> seal.TargetKeys:
        """The keys of one target."""
        return seal.derive_keys(self.site_key, int(target, 16), version)

    @property
    def all_off(self) -> bytes:
        """The key that can do nothing but switch off."""
        return seal.all_off_key(self.site_key)


LinkConfig = SerialLink | MqttLink
OpenLink = Callable[[LinkConfig, Receiver], Awaitable[Link]]


@dataclass(frozen=True, slots=True)
class Outside:
    """Everything that comes from outside the controller."""

    site: Site
    folder: Path
    clock: HostClock
    keys: Keys
    nonce: Callable[[], bytes]  # eight fresh bytes at each call
    open_link: OpenLink

    @property
    def links(self) -> tuple[LinkConfig, ...]:
        """Every link of the site: buses first."""
        return (*self.site.serial, *self.site.mqtt)

    def here(self) -> HostTime:
        """The present moment."""
        return HostTime(self.clock.boot, self.clock.now())
