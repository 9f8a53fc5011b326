"""The upkeep list, kept as it was worked out last: a page never waits for a season of readings to be gone through.

One task works it out in the other process: some seconds after the pages begin, again every so often, whenever a page is
opened and it is older than a minute, and at once when somebody said something that changes it. A page waits a moment
for that and then shows what there is: the older list, which says so; before there is any, that the first one is being
worked out. Such a page asks what is still to come, and shows itself anew when it is there.
"""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fieldctl.errors import FieldctlError, Refused
from fieldctl.events import (
    BatterySwapped,
    Fact,
    KitRead,
    SwapTakenBack,
    TargetAdded,
    TargetMoved,
    TargetNamed,
    TargetTakenOut,
)
from fieldctl.site.model import Site
from fieldctl.units import US_PER_S, HostUs, TargetId

if TYPE_CHECKING:
    from fieldctl.web.house import House

FIRST_AFTER_S = 10.0  # the field's own begin comes first
EVERY_S = 1200.0  # readings count by the hour: a third of one is soon enough for whoever opens the page first
OLD_US = 60 * US_PER_S  # targets report once a minute
WAITS_S = 0.15  # of a page's 300 ms, for a newer list than the one that is kept
FAILS_S = 0.02  # the very first list takes longer than any page may wait; that it cannot be worked out may show at once
Coming = Literal["", "newer", "said", "failed"]
"""What is still to come: nothing, newer readings, a list that knows all that was said, or that this one failed."""
AT_ONCE: tuple[type[Fact], ...] = (
    *(BatterySwapped, SwapTakenBack, KitRead),
    *(TargetAdded, TargetMoved, TargetNamed, TargetTakenOut),
)
"""What somebody says and wants to see on the page that follows."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ShownRow:
    """One target of the list as markup: what is open, what is folded, and the press for whoever may change cells."""

    target: TargetId
    state: str
    markup: str
    values: str
    swap: str


@dataclass(frozen=True, slots=True)
class Shown:
    """The list in one language."""

    head: str
    rows: tuple[ShownRow, ...]
    foot: str


@dataclass(frozen=True, slots=True)
class Made:
    """The list as of an entry of the log, in every language; `today` is the day that it speaks of."""

    entry: int
    today: str
    said: Mapping[str, Shown]


@dataclass(frozen=True, slots=True)
class Standing:
    """A list with the moment at which it was begun: by this host's clock, and by the wall's where it is set."""

    made: Made
    at: HostUs
    wall: str | None


class Kept:
    """The list of one serve; `run` is the only one that works it out."""

    def __init__(self) -> None:
        self._standing: Standing | None = None
        self._failed: FieldctlError | None = None
        self._wanted = asyncio.Event()
        self._turn = asyncio.Event()  # set and replaced whenever one was worked out, or could not be

    async def run(self, house: House) -> None:
        """Work it out until cancelled."""
        wait_s = FIRST_AFTER_S
        while True:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._wanted.wait(), wait_s)
            self._wanted.clear()
            wait_s = EVERY_S
            clock = house.controller.outside.clock
            at, wall = clock.now(), clock.wall()
            given = house.controller.ledger.where, house.controller.site, day_of_wall(wall)
            try:
                self._standing = Standing(await house.elsewhere.run(_list, *given), at, wall)
                self._failed = None
            except FieldctlError as error:
                self._failed = error
            except Exception:  # what nobody foresaw in an account must not take every other page along
                _log.exception("the upkeep list could not be worked out")
                self._failed = Refused("The process that works pages out ended.", remedy="Try again; look at the log.")
            turn, self._turn = self._turn, asyncio.Event()
            turn.set()

    async def shown(self, house: House) -> tuple[Standing | None, Coming]:
        """The list that there is, and what is still to come; raises what keeps the first one from being worked out."""
        if self._late(house) or self._old(house):
            self._failed = None
            self._wanted.set()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._turn.wait(), FAILS_S if self._standing is None else WAITS_S)
        if self._standing is None and self._failed is not None:
            raise self._failed
        return self._standing, self.coming(house)

    def coming(self, house: House) -> Coming:
        """What is still to come; asks for nothing."""
        if self._late(house):
            return "said" if self._failed is None else "failed"
        return "newer" if self._old(house) else ""

    def _old(self, house: House) -> bool:
        standing = self._standing
        return standing is None or house.controller.outside.clock.now() - standing.at > OLD_US

    def _late(self, house: House) -> bool:
        """Whether there is no list, or something was said since that belongs into it."""
        if self._standing is None:
            return True
        said = house.controller.ledger.facts(after_seq=self._standing.made.entry, kinds=AT_ONCE, limit=1)
        return next(iter(said), None) is not None


def day_of_wall(wall: str | None) -> datetime.date | None:
    """The day of a wall label; None without one."""
    return None if wall is None else datetime.date.fromisoformat(wall[:10])


# ---- in the other process ----------------------------------------------------------------------------------------


def _list(ledger: str, site: Site, today: datetime.date | None) -> Made:
    from fieldctl.web.upkeep_made import make_list

    return make_list(ledger, site, today)
