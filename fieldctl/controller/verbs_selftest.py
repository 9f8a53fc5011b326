"""The self-test before the season: what every target shows by itself, and the two proofs that somebody walks for."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.ticked import day_ago
from fieldctl.controller.verbs_target import TargetVerbs
from fieldctl.errors import Refused
from fieldctl.events import SelfTested, SendingHeard
from fieldctl.ready import CLOCK_LIMIT_US
from fieldctl.units import US_PER_S, TargetId, seconds
from fieldctl.upkeep.retrieval import buried
from fieldctl.upkeep.selftest import Round, Seen, Standing, fold, judge
from fieldctl.wire.messages import Ability

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.grants import Lease
    from fieldctl.controller.known import Known

Row = dict[str, Any]

NAMES_GRANT_WITHIN_US = 3 * US_PER_S  # a turn a second on a bus, and one that is lost
LOOKS_EVERY_S = 0.05


class SelfTestVerbs:
    """The verbs about the self-test."""

    def __init__(self, controller: Controller, targets: TargetVerbs) -> None:
        self._c = controller
        self._targets = targets

    def _round(self) -> Round:
        return fold(self._c.upkeep_book.facts)

    async def run(self, by: str, anew: bool = False) -> Row:
        """Look at every target as it is now, and keep what it shows; `anew` begins the round of a new season."""
        before = self._round()
        number = before.number + 1 if anew or not before.number else before.number
        person, here = self._c.person(by), self._c.outside.here()
        day = day_ago(self._c.outside.clock.wall())
        facts = [
            SelfTested(target, number, judge(self._seen(target)), day, person, here) for target in self._everybody()
        ]
        if not facts:
            raise Refused("This site has no targets.", remedy="Add one: fieldctl target add.")
        await self._c.write(*facts)
        return await self.show()

    async def heard(self, target: str, by: str) -> Row:
        """A person hears this target with a receiver, now, while it sends under a grant to find it."""
        known = self._targets.find(target)
        lease = await self._sent_to_be_found(known)
        if lease is None:
            raise Refused(
                f"{snapshot.label(self._c, known.target)} does not say that it sends so that it can be found.",
                expected="a target that sends under such a grant, with the field closed",
                remedy="Let it send first: fieldctl target find TARGET --send. Any other signal is a person until "
                "proved otherwise.",
            )
        number = max(1, self._round().number)
        person, here = self._c.person(by), self._c.outside.here()
        day = day_ago(self._c.outside.clock.wall())
        await self._c.write(SendingHeard(known.target, number, lease.grant, day, person, here))
        return await self.show()

    async def _sent_to_be_found(self, known: Known) -> Lease | None:
        """The grant to find it under which it says that it sends; None where it does not.

        Every word of a target says whether its gate is on, only its status under which grant: that one is waited for.
        """
        give_up_us = self._c.outside.clock.now() + NAMES_GRANT_WITHIN_US
        while True:
            now = self._c.outside.clock.now()
            lease = next((lease for lease in self._c.grants.of(known) if lease.wish.purpose == "locate"), None)
            if lease is None or known.life(now) != "online" or known.says_quiet():
                return None
            if known.grant_id == lease.grant:
                return lease
            if now > give_up_us:
                return None
            await asyncio.sleep(LOOKS_EVERY_S)

    async def show(self) -> Row:
        """What every target has shown in this round, and what it still lacks."""
        found = self._round()
        rows = [self._row(target, found.targets.get(target)) for target in self._everybody()]
        return {
            "round": found.number,
            "targets": rows,
            "whole": sum(row["tested"] and not row["lacks"] for row in rows),
        }

    def _everybody(self) -> tuple[TargetId, ...]:
        surveyed = (*self._c.site.targets, *(post.target for post in self._c.site.posts))
        return tuple(t for t in buried(self._c.upkeep_book.facts, surveyed) if t not in self._c.day.taken_out)

    def _seen(self, target: TargetId) -> Seen:
        known, touched = self._c.known.get(target), target in self._c.edge.touch.touched
        is_post = any(post.target == target for post in self._c.site.posts)
        now = self._c.outside.clock.now()
        if known is None or known.life(now) != "online":
            return Seen(False, touched=touched, is_post=is_post)
        abilities = 0 if known.greeting is None else known.greeting.abilities
        seen = Seen(
            True,
            greeted=known.greeting is not None,
            sends=bool(abilities & Ability.TRANSMITTER),
            feels=bool(abilities & Ability.PAD),
            gate_off=_gate_off(known),
            clock_us=snapshot.clock_width_us(known, now),
            clock_most_us=CLOCK_LIMIT_US.get(self._c.lines[known.line].kind, CLOCK_LIMIT_US["mqtt"]),
            battery=self._c.site.battery(target),
            touched=touched,
            is_post=is_post,
        )
        report, at = known.report, known.reported_us
        if report is None or at is None:
            return seen
        return replace(
            seen,
            report_age_s=seconds(now - at),
            rest_v=report.rest_mv / 1000,
            load_v=report.load_mv / 1000,
            celsius=report.kelvin10 / 10 - 273.15,
            noise=float(report.noise),
        )

    def _row(self, target: TargetId, standing: Standing | None) -> Row:
        heard = None if standing is None else standing.heard_sending
        return {
            "target": target,
            "name": snapshot.label(self._c, target),
            "place": snapshot.place(self._c, target),
            "tested": standing is not None and "heard" in standing.checks,
            "day": "" if standing is None else standing.day,
            "checks": {} if standing is None else dict(standing.checks),
            "lacks": [] if standing is None else list(standing.lacks),
            "says": [] if standing is None else list(standing.says),
            "heard_by": None if heard is None else snapshot.person(self._c, heard.by),
            "heard_day": None if heard is None else heard.day,
        }


def _gate_off(known: Known) -> bool | None:
    """What its gate reads; None while it sends as it may."""
    if known.sends_unasked():
        return False
    return True if known.says_quiet() else None
