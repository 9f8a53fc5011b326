"""Snow and place as the log tells them, for whoever asks in the middle of a day: read once, then only what is new."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from fieldctl.site.snow import Burial
from fieldctl.site.whereabouts import Snow, Whereabouts, whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep.snow_log import KINDS, take

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller


class SnowBook:
    """What is known of snow and place up to the last committed entry."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._seq = 0
        self._snow = Snow()

    def now(self) -> Snow:
        """The readings, and the targets that were put elsewhere."""
        head = self._c.ledger.head()[0]
        if head != self._seq:
            for entry in self._c.ledger.entries(self._seq, kinds=KINDS):
                self._snow = take(self._snow, entry)
            self._seq = head
        return self._snow

    def today(self) -> datetime.date | None:
        """The day of the wall's label; None where no clock is set."""
        wall = self._c.outside.clock.wall()
        return None if wall is None else datetime.date.fromisoformat(wall[:10])

    def where(self, target: TargetId) -> Whereabouts:
        """Where a target lies now; KeyError where it has no place."""
        return whereabouts(self._c.site, target, self.now(), self.today())

    def depth_m(self, target: TargetId) -> float:
        """How deep it lies today, as far as that can be said; else as it was surveyed. KeyError as `where`."""
        found = self.where(target)
        return surveyed_or(found.burial, found.place.depth_m)


def surveyed_or(burial: Burial | None, surveyed_m: float) -> float:
    """The depth today, or the surveyed one where nothing better can be said."""
    return surveyed_m if burial is None or burial.depth_m is None else burial.depth_m
