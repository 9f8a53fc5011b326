"""TargetClock: the maps of one target, by boot id.

A target that reboots begins to count anew, but strikes kept over a power cut still name the old boot: its map is kept
to stamp them, and takes no more samples. Boot ids are a persisted counter and only rise.
"""

from __future__ import annotations

from fieldctl.clock.evidence import ClockEvidence
from fieldctl.clock.exchange import BootWentBack, ClockFinding, Exchange
from fieldctl.clock.mapping import TickMap
from fieldctl.units import BootId, HostUs, NodeTicks

BOOTS_MAX = 4  # strikes older than three reboots were acknowledged long ago


class TargetClock:
    """Maps of one target's boots, newest first, at most BOOTS_MAX."""

    __slots__ = ("_maps",)

    def __init__(self) -> None:
        self._maps: dict[BootId, TickMap] = {}

    @property
    def boots(self) -> tuple[BootId, ...]:
        """Boot ids with a map, newest first."""
        return tuple(sorted(self._maps, reverse=True))

    @property
    def newest(self) -> TickMap | None:
        """The map of the boot that is counting now; None before any answer."""
        return self._maps[max(self._maps)] if self._maps else None

    def of(self, boot: BootId) -> TickMap | None:
        """The map of one boot; None where nothing was heard of it, or too long ago."""
        return self._maps.get(boot)

    def add(self, boot: BootId, exchange: Exchange) -> ClockFinding | None:
        """Learn from an exchange; a new boot begins a new map, an older one is a finding and teaches nothing."""
        if self._maps and boot < (newest := max(self._maps)):
            return BootWentBack(boot, newest)
        found = self._maps.get(boot)
        if found is None:
            found = self._maps[boot] = TickMap()
            if len(self._maps) > BOOTS_MAX:
                del self._maps[min(self._maps)]
        return found.add(exchange)

    def to_host(self, boot: BootId, ticks: NodeTicks) -> tuple[HostUs, int] | None:
        """(at_us, plus_minus_us) of a tick of one boot; None where no sample of that boot is known."""
        found = self._maps.get(boot)
        return None if found is None else found.to_host(ticks)

    def evidence(self, boot: BootId, ticks: NodeTicks) -> ClockEvidence | None:
        """What `to_host` makes that stamp from; None where no sample of that boot is known."""
        found = self._maps.get(boot)
        return None if found is None else found.evidence(ticks)
