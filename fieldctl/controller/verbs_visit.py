"""Visits: begun with a list, ticked item by item by whoever is up there, signed for at the end."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.ticked import bounded, day_ago, ticked, told_later_s
from fieldctl.controller.verbs_upkeep import UpkeepVerbs
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import Fact, VisitBegun, VisitClosed, VisitTicked, VisitUnticked
from fieldctl.units import TargetId, seconds
from fieldctl.upkeep.visits import BATTERY, Change, Item, Tick, Visit, fold, target_of

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

ITEMS_MOST = 1024  # four for each target of the largest field
_ITEM = re.compile(r"[0-9a-f]{8}:[a-z0-9-]{1,40}\Z")


class VisitVerbs:
    """The verbs about visits."""

    def __init__(self, controller: Controller, upkeep: UpkeepVerbs) -> None:
        self._c = controller
        self._upkeep = upkeep

    # ---- what the ledger says --------------------------------------------------------------------------------

    def _visits(self) -> dict[str, Visit]:
        return fold(self._c.upkeep_book.facts)

    def _visit(self, name: str) -> Visit:
        visits = self._visits()
        if name in visits:
            return visits[name]
        raise NotFound(
            f"There is no visit {name!r}.", expected=", ".join(visits) or "none", remedy="Name one of these."
        )

    def _items(self, items: tuple[str, ...]) -> tuple[str, ...]:
        """The items of a list, each once; BadInput for what is none."""
        if len(items) > ITEMS_MOST:
            raise BadInput(f"{len(items)} items are too many.", expected=f"at most {ITEMS_MOST}", remedy="Split it.")
        for item in items:
            if not _ITEM.match(item):
                raise BadInput(
                    f"{item!r} is no item.",
                    expected="a target's id and what is to be done",
                    remedy="Use those of the list.",
                )
        return tuple(dict.fromkeys(items))

    def _there(self, target: TargetId) -> bool:
        return target in self._c.known or target in self._c.day.barred or target in self._c.site.targets

    # ---- verbs -----------------------------------------------------------------------------------------------

    async def begin(self, items: tuple[str, ...], by: str, found: tuple[str, ...] = (), request: str = "") -> Row:
        """Go up with a list: what is to be done, and everything that was found by then, as the carry list says it."""
        visits = self._visits()
        for visit in visits.values():
            if request and visit.begun.request == request:
                return self._row(visit)
            if visit.closed is None:
                name = snapshot.person(self._c, visit.begun.by)
                raise Refused(
                    f"Visit {visit.begun.visit} goes on already, begun by {name}.",
                    remedy="Tick on that one, or close it first: fieldctl upkeep visit close.",
                )
        items, found = self._items(items), self._items(found)
        for item in items:
            if not self._there(target_of(item)):
                raise BadInput(f"{target_of(item)} is no target here.", remedy="Make the list anew, and begin then.")
        day = day_ago(self._c.outside.clock.wall())
        fact = VisitBegun(f"v{len(visits) + 1}", items, found, self._c.person(by), self._c.outside.here(), day, request)
        await self._c.write(fact)
        return self._row(self._visit(fact.visit))

    async def tick(
        self,
        visit: str,
        item: str,
        done: bool,
        by: str,
        why: str = "",
        knew: tuple[str, ...] | None = None,
        at_us: int | None = None,
        boot: str = "",
        plus_minus_s: float = 1.0,
        day: str = "",
        tick: str = "",
    ) -> Row:
        """An item was done, or was not and why; `knew` are the ticks of it that were shown, all of them unless said."""
        found = self._visit(visit)
        name = tick or f"{visit}-tick-{self._c.next_tap()}"
        if self._said(visit, name):
            return {"tick": name, **self._row(found)}
        moment, why = ticked(self._c, at_us, boot, plus_minus_s, day), bounded(why)
        here = next((each for each in found.items if each.item == item), Item(item, ()))
        if item not in found.begun.items and not (here.key == BATTERY and self._there(here.target)):
            raise BadInput(
                f"{item!r} is not on the list of {visit}.",
                expected="an item of its list, or TARGET:battery",
                remedy="Look at the list: fieldctl upkeep visit show.",
            )
        if not done and not why:
            raise BadInput("What was not done needs a reason.", remedy="Say why, in a few words.")
        before = tuple(one.said.tick for one in here.ticks) if knew is None else knew
        said = VisitTicked(
            visit, name, item, done, why, before, moment.made, moment.day,
            self._c.person(by), self._c.outside.here(),
        )  # fmt: skip
        await self._c.write(said, *(self._swaps(here, said, by) if here.key == BATTERY else ()))
        return {"tick": name, **self._row(self._visit(visit))}

    def _swaps(self, before: Item, said: VisitTicked, by: str) -> list[Fact]:
        """A ticked change of battery as the change that it is; those that this tick takes the place of were none."""
        replaced = [one for one in before.ticks if one.said.tick in said.knew and one.said.done]
        day = said.day if said.done else ""
        facts = [fact for one in replaced if one.said.day != day for fact in self._back(before.target, one, by)]
        if said.done and not day:
            raise BadInput("This machine has no clock set.", remedy="Say the day: YEAR-MONTH-DAY.")
        if day and before.target in self._c.known:
            facts += self._upkeep.swap(before.target, by, day, f"visit {said.visit}")
        return facts

    def _back(self, target: TargetId, tick: Tick, by: str) -> tuple[Fact, ...]:
        """The change that a tick stood for was none, unless somebody else said the same."""
        if any(change.what == "swapped" and change.day == tick.said.day for change in tick.meanwhile):
            return ()
        return self._upkeep.take_back(target, by, tick.said.day)

    def _said(self, visit: str, tick: str) -> bool:
        return any(
            isinstance(fact, VisitTicked) and (fact.visit, fact.tick) == (visit, tick)
            for fact in self._c.upkeep_book.facts
        )

    async def untick(self, visit: str, tick: str, by: str) -> Row:
        """Take a tick back; with it the change of battery that it stood for."""
        found = self._visit(visit)
        for item in found.items:
            for one in item.ticks:
                if one.said.tick != tick:
                    continue
                if found.closed is not None and not one.late:
                    raise Refused(f"Visit {visit} is signed for.", remedy="Write what was otherwise into the next one.")
                others = {other.said.day for other in item.ticks if other is not one and other.said.done}
                mine = item.key == BATTERY and one.said.done and one.said.day not in others
                undone = VisitUnticked(visit, tick, self._c.person(by), self._c.outside.here())
                await self._c.write(undone, *(self._back(item.target, one, by) if mine else ()))
                return self._row(self._visit(visit))
        if not self._said(visit, tick):
            raise NotFound(f"Visit {visit} has no tick {tick!r}.", remedy="Look at it: fieldctl upkeep visit show.")
        return self._row(found)

    async def close(self, visit: str, signed: str, by: str, why: str = "") -> Row:
        """Sign for a visit; what nobody ticked needs one reason, what two ticks disagree about has to be settled."""
        found = self._visit(visit)
        why = bounded(why)
        if found.closed is not None:
            name = snapshot.person(self._c, found.closed.signed)
            raise Refused(f"Visit {visit} is signed for by {name} already.", remedy="Begin another one.")
        if not signed.strip():
            raise BadInput("A signature needs a name.", remedy="Say who signs.")
        if found.unsettled:
            names = ", ".join(self._words(item) for item in found.unsettled)
            raise Refused(
                f"Not settled yet: {names}.", remedy="Look at what each tick says, and tick that item once more."
            )
        if found.left and not why:
            names = ", ".join(self._words(item) for item in found.items if item.state == "open")
            raise Refused(f"Not ticked: {names}.", remedy="Tick each one, or say why all of them were left.")
        person, signer, here = self._c.person(by), self._c.person(signed), self._c.outside.here()
        day = day_ago(self._c.outside.clock.wall())
        await self._c.write(VisitClosed(visit, found.left, why, signer, day, person, here))
        return self._row(self._visit(visit))

    async def list_all(self) -> Row:
        """Every visit, the latest first."""
        return {"visits": [self._head(visit) for visit in reversed(self._visits().values())]}

    async def show(self, visit: str = "") -> Row:
        """One visit with every tick and what does not agree; the latest where none is named."""
        visits = self._visits()
        if not visit and not visits:
            raise NotFound("Nobody has gone up yet.", remedy="Begin a visit: fieldctl upkeep visit begin.")
        return self._row(self._visit(visit or next(reversed(visits))))

    # ---- rows ------------------------------------------------------------------------------------------------

    def _words(self, item: Item) -> str:
        return f"{snapshot.label(self._c, item.target)} ({item.key})"

    def _head(self, visit: Visit) -> Row:
        done = sum(item.state == "done" for item in visit.items)
        return {
            "visit": visit.begun.visit,
            "day": visit.begun.day,
            "by": snapshot.person(self._c, visit.begun.by),
            "open": visit.closed is None,
            "signed": None if visit.closed is None else snapshot.person(self._c, visit.closed.signed),
            "signed_day": None if visit.closed is None else visit.closed.day,
            "why": "" if visit.closed is None else visit.closed.why,
            "items": len(visit.items),
            "done": done,
            "unsettled": len(visit.unsettled),
        }

    def _row(self, visit: Visit) -> Row:
        return {**self._head(visit), "items": [self._item(item) for item in visit.items]}

    def _item(self, item: Item) -> Row:
        return {
            "item": item.item,
            "target": item.target,
            "name": snapshot.label(self._c, item.target),
            "key": item.key,
            "state": item.state,
            "two_say": item.two_say,
            "ticks": [self._tick(tick) for tick in item.ticks],
        }

    def _tick(self, tick: Tick) -> Row:
        said = tick.said
        return {
            "tick": said.tick,
            "done": said.done,
            "why": said.why,
            "by": snapshot.person(self._c, said.by),
            "day": said.day,
            "told_later_s": told_later_s(said.made, said.at),
            "plus_minus_s": None if said.made is None else seconds(said.made.plus_minus_us),
            "late": tick.late,
            "meanwhile": [self._change(change) for change in tick.meanwhile],
        }

    def _change(self, change: Change) -> Row:
        return {"what": change.what, "by": snapshot.person(self._c, change.by), "day": change.day}
