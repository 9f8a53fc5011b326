"""What a person read or saw of the base's own supply or of a piece of the club's kit."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldctl.controller.ticked import bounded
from fieldctl.controller.verbs_upkeep import UpkeepVerbs
from fieldctl.errors import BadInput, NotFound
from fieldctl.events import KitRead
from fieldctl.site.model import Kit

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

VOLTS_MOST = 110.0  # 24 cells of the highest chemistry: more stands on no list
CELSIUS = (-60.0, 45.0)  # as of readings of buried targets (a test holds the two together)
BARE = ("probe", "shovel")  # which show no charge of their own


class KitVerbs:
    """The verb about kit."""

    def __init__(self, controller: Controller, upkeep: UpkeepVerbs) -> None:
        self._c = controller
        self._upkeep = upkeep

    async def read(
        self,
        item: str,
        by: str,
        volts: float | None = None,
        celsius: float | None = None,
        percent: float | None = None,
        fine: bool = False,
        broken: str = "",
        lent_to: str = "",
        missing: bool = False,
        day: str = "",
        notes: str = "",
    ) -> Row:
        """Volts at rest (with °C), percent as it shows itself, fine, broken, lent to somebody, or missing: one of them.

        On that day, today where none is said; the same said twice counts once.
        """
        kit = self._item(item)
        found = _found(
            volts=volts is not None, percent=percent is not None, fine=fine, broken=bool(broken.strip()),
            lent=bool(lent_to.strip()), missing=missing,
        )  # fmt: skip
        _can_be(kit, volts, celsius, percent)
        day = self._upkeep.day_kept(day, self._c.outside.clock.wall())
        notes = bounded(broken if found == "broken" else notes)
        person = self._c.person(by)
        to = self._c.person(lent_to) if found == "lent" else ""
        fact = KitRead(kit.name, day, found, person, self._c.outside.here(), volts, celsius, percent, to, notes)
        if self._last(kit.name, fact) != fact:
            await self._c.write(fact)
        return {"item": kit.name, "kind": kit.kind, "found": found, "day": day}

    def _item(self, name: str) -> Kit:
        """The item of that name, in whatever case; NotFound with those that there are."""
        kit = self._c.site.kit
        for same in (lambda text: text, str.casefold):
            for row in kit:
                if same(row.name) == same(name.strip()):
                    return row
        raise NotFound(
            f"Nothing here is called {name.strip()!r}.",
            expected=", ".join(row.name for row in kit) or "a [base.battery] or [[kit]] in site.toml",
            remedy="Name one of these, or add it to site.toml as [[kit]] with name and kind, and start serve again.",
        )

    def _last(self, item: str, fact: KitRead) -> KitRead | None:
        """What was said of it last, as of the moment of `fact`, so that the two can be compared."""
        last = None
        for said in self._c.ledger.facts(kinds=(KitRead,)):
            if isinstance(said, KitRead) and said.item == item:
                last = said
        return None if last is None else replace(last, at=fact.at)


def _found(**said: bool) -> str:
    """Which one thing was said; BadInput for none and for several."""
    ways = [way for way, so in said.items() if so]
    if len(ways) != 1:
        raise BadInput(
            "Nothing was said of it." if not ways else "Two things were said of it at once.",
            expected="one of volts, percent, fine, broken, lent, missing",
            remedy="Say one of them; what else there is to say is a second reading.",
        )
    return "read" if ways[0] in ("volts", "percent") else ways[0]


def _can_be(kit: Kit, volts: float | None, celsius: float | None, percent: float | None) -> None:
    """BadInput for figures that cannot be; what cannot be of that chemistry is flagged by the account."""
    for number in (volts, celsius, percent):
        if number is not None and not math.isfinite(number):
            raise BadInput(f"{number} is no number.", remedy="Read it again.")
    if percent is not None and (kit.kind in BARE and kit.battery is None):
        raise BadInput(f"{kit.name} runs on nothing.", remedy="Say how it is: fine or broken.")
    if percent is not None and not 0 <= percent <= 100:
        raise BadInput(f"{percent:g} % is no charge.", expected="0 to 100 %", remedy="Read the display again.")
    if volts is not None and kit.battery is None:
        raise BadInput(
            f"Nobody said what battery is in {kit.name}.",
            remedy="Add battery with chemistry, cells and capacity_ah to it in site.toml, and start serve again.",
        )
    if volts is not None and volts < 0:
        raise BadInput(
            f"{volts:g} V are less than nothing: the meter's leads, or the battery, are the wrong way round.",
            expected="the volts at rest, from minus to plus",
            remedy="Look which of the two it is, turn it, and measure again.",
        )
    if volts is not None and volts > VOLTS_MOST:
        raise BadInput(
            f"{volts:g} V are no battery here.", expected=f"at most {VOLTS_MOST:g} V", remedy="Measure again, in volts."
        )
    if celsius is not None and volts is None:
        raise BadInput("A temperature alone says nothing.", expected="it beside volts", remedy="Give the volts too.")
    if celsius is not None and not CELSIUS[0] <= celsius <= CELSIUS[1]:
        raise BadInput(
            f"{celsius:g} °C has no battery here.",
            expected=f"{CELSIUS[0]:g} to {CELSIUS[1]:g} °C",
            remedy="Read the thermometer again, or leave it out.",
        )
