"""Ever longer waits for whoever guesses; none for anybody else.

An attempt counts before it is looked at, so that many at once gain nothing. Wrong ones are counted for a name from one
address, for an address, and for a name from anywhere: the last with short waits only, so that a stranger who knows a
name cannot keep its owner out. Paired phones and all off are never asked.
"""

from __future__ import annotations

import ipaddress
from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from fieldctl.units import US_PER_S, HostUs

FORGET_US = 3600 * US_PER_S  # an hour without an attempt, and it begins anew
TRACKED_MAX = 4096  # names and addresses; the one that was silent longest is forgotten


@dataclass(frozen=True, slots=True)
class Scale:
    """So many attempts are free; then the wait doubles from a second up to `most_s`."""

    free: int
    most_s: float

    def wait_s(self, tried: int) -> float:
        """How long to wait after so many attempts."""
        if tried < self.free:
            return 0.0
        return min(self.most_s, 2.0 ** min(tried - self.free, 30))


PAIR = Scale(5, 300.0)  # one name from one address: somebody who mistypes, or who guesses at one person
ADDRESS = Scale(10, 300.0)  # an address for all names and codes: a class behind one hot spot mistypes more
NAME = Scale(20, 20.0)  # a name from everywhere: slows a crowd of addresses down, never keeps its owner out


@dataclass(slots=True)
class _Tried:
    count: int
    last_us: HostUs


class BackOff:
    """Attempts by what they were made for and from where. Counts: put_off, forgotten."""

    def __init__(self, now: Callable[[], HostUs]) -> None:
        self._now = now
        self._tried: OrderedDict[tuple[str, ...], _Tried] = OrderedDict()
        self.counts: Counter[str] = Counter()

    def try_(self, address: str, name: str | None = None) -> float:
        """Begin an attempt: 0 to go on (it counts as wrong until `right` is called), else seconds to wait first."""
        now = self._now()
        wait = max(self._left_s(key, scale, now) for key, scale in _keys(address, name))
        if wait > 0:
            self.counts["put_off"] += 1
            return wait
        for key, _ in _keys(address, name):
            tried = self._tried.pop(key, None)
            count = 0 if tried is None or now - tried.last_us > FORGET_US else tried.count
            self._tried[key] = _Tried(count + 1, now)
            if len(self._tried) > TRACKED_MAX:
                self._tried.popitem(last=False)
                self.counts["forgotten"] += 1
        return 0.0

    def right(self, address: str, name: str | None = None) -> None:
        """The attempt was right: name and pair begin anew, the address is given this one back."""
        for key, _ in _keys(address, name):
            tried = self._tried.get(key)
            if tried is None:
                continue
            if key[0] == "address":
                tried.count -= 1
            else:
                del self._tried[key]

    def _left_s(self, key: tuple[str, ...], scale: Scale, now: HostUs) -> float:
        tried = self._tried.get(key)
        if tried is None or now - tried.last_us > FORGET_US:
            return 0.0
        return max(0.0, scale.wait_s(tried.count) - (now - tried.last_us) / US_PER_S)


def _keys(address: str, name: str | None) -> list[tuple[tuple[str, ...], Scale]]:
    where = network_of(address)
    keys: list[tuple[tuple[str, ...], Scale]] = [(("address", where), ADDRESS)]
    if name is not None:
        keys += [(("pair", name, where), PAIR), (("name", name), NAME)]
    return keys


def network_of(address: str) -> str:
    """What counts as one address: all of IPv6's that one machine may choose from are one."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((int(found) >> 64 << 64, 64)))
    return str(found)
