"""Snow and place as the log tells them, for whoever asks in the middle of a day: folded with each committed entry."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from fieldctl.errors import NotFound
from fieldctl.events import TargetMoved
from fieldctl.site.snow import Burial
from fieldctl.site.whereabouts import Snow, Whereabouts, put_elsewhere, whereabouts
from fieldctl.units import PersonId, TargetId
from fieldctl.upkeep.snow_log import take

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry


class SnowBook:
    """What is known of snow and place up to the last committed entry."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.now = Snow()  # the readings, and the targets that were put elsewhere

    def committed(self, entry: Entry) -> None:
        """One more entry."""
        self.now = take(self.now, entry)

    def today(self) -> datetime.date | None:
        """The day of the wall's label; None where no clock is set."""
        wall = self._c.outside.clock.wall()
        return None if wall is None else datetime.date.fromisoformat(wall[:10])

    def where(self, target: TargetId) -> Whereabouts:
        """Where a target lies now; KeyError where it has no place."""
        return whereabouts(self._c.site, target, self.now, self.today())

    def depth_m(self, target: TargetId) -> float:
        """How deep it lies today, as far as that can be said; else as it was surveyed. KeyError as `where`."""
        found = self.where(target)
        return surveyed_or(found.burial, found.place.depth_m)

    def put_elsewhere(self, target: TargetId, by: PersonId, day: str, notes: str) -> tuple[TargetMoved, ...]:
        """The fact that a target was put elsewhere on a day; none where that was said before. NotFound without a
        place: what was never surveyed cannot leave its place."""
        try:
            place = self._c.site.place(target)
        except KeyError:
            raise NotFound(
                f"{target} has no place that it could have left.",
                expected="a target that was surveyed",
                remedy="Survey it where it lies: a [[target]] of site.toml, or a file in the folder surveys.",
            ) from None
        surveyed = "" if place.surveyed_on is None else place.surveyed_on.isoformat()
        fact = TargetMoved(target, day, by, self._c.outside.here(), notes, place.x_m, place.y_m, surveyed)
        before = put_elsewhere(place, self.now.moved.get(target))
        return () if before is not None and before.day >= day else (fact,)


def surveyed_or(burial: Burial | None, surveyed_m: float) -> float:
    """The depth today, or the surveyed one where nothing better can be said."""
    return surveyed_m if burial is None or burial.depth_m is None else burial.depth_m
