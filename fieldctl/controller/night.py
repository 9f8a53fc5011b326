"""While the field is closed and nobody is about, the targets that can sleep do: most of a battery's winter is night.

    offer(known, now)    let a target sleep for a while, if it can and may
    ended(known, order)  it said that it sleeps
    wake()               somebody is about: everybody is spoken to at the moments at which they listen, and stays awake

A sleeper holds no grant and said so. It listens for a quarter of a second in every two, at moments counted back from
the end of its sleep, so that all off and a person who comes wait two seconds at the most. It sleeps for less time than
makes a silent target one that is not heard. Only targets on a bus sleep; those on the air are powered, and a broker
would drop what they sleep through.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from fieldctl.controller.asking import REPORT_EVERY_US
from fieldctl.controller.known import Known
from fieldctl.units import US_PER_S, BootId, HostUs, NodeTicks
from fieldctl.wire.bus import WAKE_US
from fieldctl.wire.messages import Ability, Flags, Sleep

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

SLEEP_US = 45_200_000  # it then listens a second after it was told to sleep, when the order is sent again if need be
ORDER_LIVES_US = 10 * US_PER_S  # five times of listening: whose answer was lost is shown asleep, not overdue
ABOUT_FOR_US = 15 * 60 * US_PER_S  # after anybody asked anything of the field: a walk from one end to the other
WAKES_WITHIN_S = 3.0  # one time of listening, and a second one for a frame that was lost
LOOKS_EVERY_S = 0.05
_BUSY = int(Flags.GATE_ON | Flags.GRANTED | Flags.ARMED | Flags.STRIKES)


class Night:
    """Who sleeps, and since when nobody was about."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._about_us = controller.outside.clock.now()

    def offer(self, known: Known, now: HostUs) -> None:
        """Let a target for which nothing else waits sleep for a while, if it can and may."""
        clock = None if known.boot is None else known.clock.of(BootId(known.boot))
        until = clock.to_ticks(HostUs(now + SLEEP_US)) if clock is not None and self._may(known, now) else None
        if until is not None and known.boot is not None:
            order = Sleep(known.boot, self._c.grants.generation, until[0], WAKE_US // US_PER_S)
            self._c.post(known, order, now + ORDER_LIVES_US, "sleep")

    def _may(self, known: Known, now: HostUs) -> bool:
        c = self._c
        if c.day.open or now - self._about_us < ABOUT_FOR_US or c.all_off.state.in_force:
            return False
        if known.greeting is None or not known.greeting.abilities & Ability.SLEEP or known.flags & _BUSY:
            return False
        if known.reported_us is None or now - known.reported_us >= REPORT_EVERY_US or known.want_armed:
            return False
        busy = c.grants.leases or c.edge.walkins.releases or next(c.exercises.running(), None) is not None
        return not busy and c.lines[known.line].naps and known.target not in c.edge.posts.targets

    def ended(self, known: Known, order: Sleep) -> None:
        """It sleeps until the named tick."""
        clock = known.clock.of(BootId(order.boot))
        until = None if clock is None else clock.to_host(NodeTicks(order.until))
        if until is not None:
            known.asleep_until_us = until[0]

    async def wake(self) -> None:
        """Somebody is about: nobody sleeps any more when this is over, or they do not answer."""
        self._about_us = now = self._c.outside.clock.now()
        for known in self._sleepers(now):
            self._c.lines[known.line].wake(known)
        for _ in range(round(WAKES_WITHIN_S / LOOKS_EVERY_S)):
            if not self._sleepers(self._c.outside.clock.now()):
                return
            await asyncio.sleep(LOOKS_EVERY_S)

    def _sleepers(self, now: HostUs) -> list[Known]:
        return [known for known in self._c.known.values() if known.life(now) == "asleep"]
