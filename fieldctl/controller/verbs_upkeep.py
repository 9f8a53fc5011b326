"""Upkeep: a change of battery, confirmed by whoever did it."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

from fieldctl.controller.verbs_target import TargetVerbs
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import BatterySwapped, Fact, SwapTakenBack
from fieldctl.units import TargetId
from fieldctl.upkeep.visits import BATTERY, Visit, fold, swaps_in_force

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

NOTES_MOST = 500  # letters


class UpkeepVerbs:
    """The verbs about upkeep."""

    def __init__(self, controller: Controller, targets: TargetVerbs) -> None:
        self._c = controller
        self._targets = targets

    async def battery_swapped(
        self, target: str, by: str, day: str = "", notes: str = "", elsewhere: bool = False
    ) -> Row:
        """Fresh cells were put into a target, on that day (today where none is said); said twice it counts once."""
        known = self._targets.find(target)
        wall = self._c.outside.clock.wall()
        day = self.day_kept(day, wall)
        if len(notes) > NOTES_MOST:
            raise BadInput("The note is too long.", expected=f"at most {NOTES_MOST} letters", remedy="Shorten it.")
        moved = self._c.snow.put_elsewhere(known.target, self._c.person(by), day, notes) if elsewhere else ()
        await self._c.write(*self.swap(known.target, by, day, notes), *moved)
        return {"target": known.target, "name": self._c.names.get(known.target, known.target), "day": day}

    async def battery_swap_undo(self, target: str, by: str, day: str = "") -> Row:
        """The change of battery of that day (today where none is said) was none: said of the wrong target, or day."""
        known = self._targets.find(target)
        day = self.day_kept(day, self._c.outside.clock.wall())
        name = self._c.names.get(known.target, known.target)
        facts = self.take_back(known.target, by, day)
        if not facts:
            raise NotFound(
                f"Nobody said that {name} was given fresh cells on {day}.",
                remedy="See which days were said: fieldctl target history.",
            )
        for visit in fold(self._c.upkeep_book.facts).values():
            if visit.closed is None and _ticks(visit, known.target, day):
                raise Refused(
                    f"Visit {visit.begun.visit} ticked {name} for that day.",
                    remedy="Take that tick back: fieldctl upkeep visit untick.",
                )
        await self._c.write(*facts)
        return {"target": known.target, "name": name, "day": day}

    def swap(self, target: TargetId, by: str, day: str, notes: str) -> tuple[Fact, ...]:
        """The fact of a change of battery on a day; none where it was said before."""
        if self._said(target, day):
            return ()
        kind = self._c.site.battery(target)
        chemistry, cells, capacity = ("", 0, 0.0) if kind is None else (kind.chemistry, kind.cells, kind.capacity_ah)
        person, here = self._c.person(by), self._c.outside.here()
        return (BatterySwapped(target, day, chemistry, cells, capacity, person, here, notes),)

    def take_back(self, target: TargetId, by: str, day: str) -> tuple[Fact, ...]:
        """The fact that a change of that day was none; none where nobody said it."""
        person, here = self._c.person(by), self._c.outside.here()
        return (SwapTakenBack(target, day, person, here),) if self._said(target, day) else ()

    def _said(self, target: TargetId, day: str) -> bool:
        facts = self._c.ledger.facts(target=target, kinds=(BatterySwapped, SwapTakenBack))
        return any(fact.day == day for fact in swaps_in_force(facts))

    def day_kept(self, day: str, wall: str | None) -> str:
        """The day as it is kept; BadInput for none, and for one that has not come yet."""
        today = None if wall is None else wall[:10]
        if not day:
            if today is None:
                raise BadInput("This machine has no clock set.", remedy="Say the day: --day YEAR-MONTH-DAY.")
            return today
        try:
            right = datetime.date.fromisoformat(day).isoformat() == day
        except ValueError:
            right = False
        if not right:
            raise BadInput(f"{day!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as 2026-01-24.")
        if today is not None and datetime.date.fromisoformat(day) > datetime.date.fromisoformat(today) + LATER:
            raise BadInput(f"{day} is still to come.", expected=f"{today} or before", remedy="Say when it was done.")
        return day


def _ticks(visit: Visit, target: TargetId, day: str) -> bool:
    """Whether a tick of this visit stands for a change of battery on that day."""
    return any(
        tick.said.done and tick.said.day == day
        for item in visit.items
        if (item.target, item.key) == (target, BATTERY)
        for tick in item.ticks
    )


LATER = datetime.timedelta(days=1)  # the wall's label counts in UTC: elsewhere it may be tomorrow
