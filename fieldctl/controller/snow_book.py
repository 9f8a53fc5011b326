"""Snow and place as the log tells them, for whoever asks in the middle of a day: folded with each committed entry."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import TYPE_CHECKING

from fieldctl.errors import NotFound
from fieldctl.events import TargetMoved
from fieldctl.site.model import Place
from fieldctl.site.snow import Burial, Reading, Readings, burial_now
from fieldctl.site.whereabouts import Snow, Whereabouts, put_elsewhere, whereabouts
from fieldctl.units import PersonId, TargetId
from fieldctl.upkeep.snow_log import KINDS, take

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.entry import Entry


class SnowBook:
    """What is known of snow and place up to the last committed entry."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.now = Snow()  # the readings, and the targets that were put elsewhere
        self._known: tuple[datetime.date | None, Readings] | None = None

    def committed(self, entry: Entry) -> None:
        """One more entry."""
        if isinstance(entry.fact, KINDS):
            self.now, self._known = take(self.now, entry), None

    def today(self) -> datetime.date | None:
        """The day of the wall's label; None where no clock is set."""
        wall = self._c.outside.clock.wall()
        return None if wall is None else datetime.date.fromisoformat(wall[:10])

    def where(self, target: TargetId) -> Whereabouts:
        """Where a target lies now; KeyError where it has no place."""
        return whereabouts(self._c.site, target, self.now, self.today())

    def burial(self, place: Place) -> Burial | None:
        """How deep a target lies today; None where it was put elsewhere. Cheap: asked of every target at once."""
        if put_elsewhere(place, self.now.moved.get(place.target)) is not None:
            return None
        today = self.today()
        if self._known is None or self._known[0] != today:
            self._known = (today, Readings(self.now.readings, today))
        return burial_now(place, self._known[1], today)

    def opening(self, snow_m: float | None) -> Callable[[Place], Burial | str | None]:
        """How deep targets lie, the snow being so deep today as is said at the opening (None: as it was read last); of
        one that was put elsewhere, the day of that."""
        today = self.today()
        rows = self.now.readings
        known = None if snow_m is None or today is None else Readings((*rows, Reading(today, snow_m)), today)

        def lies(place: Place) -> Burial | str | None:
            moved = put_elsewhere(place, self.now.moved.get(place.target))
            if moved is not None:
                return moved.day
            return self.burial(place) if known is None else burial_now(place, known, today)

        return lies

    def depth_m(self, place: Place) -> float:
        """How deep it lies today, as far as that can be said; else as it was surveyed."""
        burial = self.burial(place)
        return place.depth_m if burial is None or burial.depth_m is None else burial.depth_m

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
