"""Walk-in: released and ended by the person in charge, started and stopped by anybody; nobody's name is in it."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

from fieldctl.controller.conditions import conditions_of
from fieldctl.controller.verbs_exercise import ExerciseVerbs
from fieldctl.controller.walkin import LEAST_S, WalkIns, part_of
from fieldctl.drill.pick import Picks, pick
from fieldctl.drill.plan import Drill
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import WalkInReleased
from fieldctl.ready import Hindrance
from fieldctl.units import micros, seconds

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

MOST_MIN = 24 * 60.0  # a release for longer is not one of today
PAUSE_S = (10.0, 3600.0)
LIMIT_MIN = (2.0, 60.0)
USUAL_PAUSE_S = 60.0  # to come back from the field and hand over
USUAL_LIMIT_MIN = 20.0  # past 15 minutes nobody is left to be trained for


class WalkInVerbs(ExerciseVerbs):
    """The walk-in's verbs, with the ready check of every other exercise."""

    def __init__(self, controller: Controller) -> None:
        super().__init__(controller)
        self._walkins.use(self)

    @property
    def _walkins(self) -> WalkIns:
        return self._c.edge.walkins

    # ---- what a party needs ----------------------------------------------------------------------------------

    def staff(self, drill: str, zone: str, seed: int) -> tuple[Drill, Picks]:
        """See `Starter`."""
        plan = self._drill(drill)
        picks = self._picked(plan, zone, seed)
        blocking = [h for h in self._hindrances(plan, picks) if h.blocks]
        if blocking:
            lines = [f"{h.wrong} {h.remedy} [{h.key}]" for h in blocking]
            raise Refused(f"{plan.title} cannot start:\n  " + "\n  ".join(lines), remedy="Do what each line says.")
        if self._disturbs(plan, picks):  # nobody is there who could read a warning; which exercise it is tells nothing
            raise Refused(
                "Another group searches so near that the signals would reach each other.",
                remedy="Begin again when that group has finished.",
            )
        return plan, picks

    def _disturbs(self, plan: Drill, picks: Picks) -> list[Hindrance]:
        """Running exercises that are no walk-ins and whose signals a party's would reach, so that it has to wait."""
        return self._too_near(plan, picks, (e for e in self._c.exercises.running() if part_of(e) is None))

    def conditions(self, picks: Picks) -> Row:
        """See `Starter`."""
        return conditions_of(self._c, picks, "")

    def _picked(self, plan: Drill, zone: str, seed: int) -> Picks:
        here = [c for c in self.candidates() if c.zone == zone]
        return pick(plan, here, seed=seed, disturbance=self._disturbance)

    # ---- verbs -----------------------------------------------------------------------------------------------

    async def release(
        self,
        drill: str,
        zones: tuple[str, ...],
        by: str,
        ends: str = "",
        ends_in_min: float | None = None,
        begins: str = "",
        begins_in_min: float | None = None,
        pause_s: float = USUAL_PAUSE_S,
        limit_min: float = USUAL_LIMIT_MIN,
    ) -> Row:
        """Let anybody start a drill in these zones for a while; moments are RFC 3339 times or minutes from now."""
        plan = self._drill(drill)
        self._fit_for_nobody(plan)
        self._zones(zones)
        if not PAUSE_S[0] <= pause_s <= PAUSE_S[1]:
            raise BadInput("The pause cannot be so long.", expected="10 to 3600 s", remedy="Name such a pause.")
        if not LIMIT_MIN[0] <= limit_min <= LIMIT_MIN[1]:
            raise BadInput("A party cannot last so long.", expected="2 to 60 minutes", remedy="Name such a limit.")
        first = self._minutes("begins", begins, begins_in_min, 0.0)
        last = self._minutes("ends", ends, ends_in_min, None)
        if not first * 60 + LEAST_S <= last * 60 <= MOST_MIN * 60:
            raise BadInput(
                "The walk-in would not end after it began, or not within a day.",
                expected="an end at least two minutes after its beginning and within 24 hours",
                remedy="Name another end: --until 16:00, or --for 90.",
            )
        if not self._c.day.open:
            raise Refused("The field is closed.", remedy="A person in charge opens it: fieldctl day open.")
        if self._c.all_off.state.in_force:
            raise Refused("All off is in force.", remedy="A person in charge releases it: fieldctl all-off release.")
        here = self._c.outside.here()
        fact = WalkInReleased(
            release=f"w{self._walkins.count + 1}",
            drill=plan.name,
            title=plan.title,
            zones=zones,
            by=self._c.person(by),
            at=here,
            begins_at=here.plus(micros(max(0.0, first) * 60)),
            ends_at=here.plus(micros(last * 60)),
            pause_s=pause_s,
            limit_s=min(plan.limit_s, limit_min * 60),
            until=self._label(last),
        )
        await self._c.write(fact)
        ready = {zone: [f"{h.wrong} {h.remedy}" for h in self._now(plan, zone)] for zone in zones}
        return {**_released(self._c, fact), "in_the_way_now": {zone: lines for zone, lines in ready.items() if lines}}

    def _now(self, plan: Drill, zone: str) -> list[Hindrance]:
        """What would keep a party from starting now; it may be well by the time somebody comes."""
        picks = self._picked(plan, zone, 0)
        return [*(h for h in self._hindrances(plan, picks) if h.blocks), *self._disturbs(plan, picks)]

    def _fit_for_nobody(self, plan: Drill) -> None:
        """A drill that needs a person beside it is no walk-in."""
        if plan.assessed:
            raise Refused(
                f"{plan.title} is assessed, and a walk-in has no names.", remedy="Choose a drill that is not assessed."
            )
        called = [b.name for b in plan.burials if b.find == "call"]
        if called:
            raise Refused(
                f"{', '.join(called)} of {plan.title} end by the searcher's call, and nobody is there to tap it.",
                remedy='Choose a drill whose burials end by a hit: find = "hit".',
            )

    def _zones(self, zones: tuple[str, ...]) -> None:
        known = [zone.name for zone in self._c.site.zones]
        wrong = [zone for zone in zones if zone not in known]
        if wrong or not zones:
            said = f"There is no zone {wrong[0]!r}." if wrong else "No zone is named."
            raise BadInput(said, expected=", ".join(known), remedy="Name one or more of these.")
        for zone in zones:
            if (other := self._walkins.release_of(zone)) is not None:
                raise Refused(
                    f"Zone {zone} is released already ({other.title}).",
                    remedy=f"End that one first: fieldctl walk-in end {other.release}.",
                )

    def _minutes(self, what: str, moment: str, in_min: float | None, usual: float | None) -> float:
        """A moment as minutes from now."""
        if moment and in_min is not None:
            raise BadInput(f"{what} is given twice.", expected="a time or minutes from now", remedy="Leave one out.")
        if not moment:
            minutes = in_min if in_min is not None else usual
            if minutes is None:
                raise BadInput("It has no end.", expected="a time or minutes from now", remedy="Say until when.")
            return minutes
        wall = self._c.outside.clock.wall()
        if wall is None:
            raise BadInput(
                "Nobody knows what time it is here.", expected="minutes from now", remedy="Say for how many minutes."
            )
        try:
            at = datetime.datetime.fromisoformat(moment)
            return (at - datetime.datetime.fromisoformat(wall)).total_seconds() / 60
        except (ValueError, TypeError, OverflowError):
            raise BadInput(
                f"{moment!r} is no time with its offset.",
                expected="such as 2026-01-24T16:00:00+01:00",
                remedy="Write it like this, or give minutes from now.",
            ) from None

    def _label(self, minutes: float) -> str:
        wall = self._c.outside.clock.wall()
        if wall is None:
            return ""
        at = datetime.datetime.fromisoformat(wall) + datetime.timedelta(minutes=minutes)
        return at.isoformat(timespec="seconds")

    async def end(self, by: str, release: str = "") -> Row:
        """End a release, all of them when none is named; its parties end with it."""
        releases = self._walkins.releases
        if release and release not in releases:
            known = ", ".join(releases) or "none"
            raise NotFound(f"There is no release {release!r}.", expected=known, remedy="Name one of these.")
        who = self._c.person(by)
        ended = [r for name, r in list(releases.items()) if release in ("", name)]
        for one in ended:
            self._walkins.end(one, "ended", who)
        await self._c.settle()
        return {"ended": [one.release for one in ended]}

    async def walkin_status(self) -> Row:
        """What is released, and what goes on; for anybody, so without names and without a hint."""
        return {
            "open": self._c.day.open,
            "all_off": self._c.all_off.state.in_force,
            "host_us": self._c.outside.clock.now(),
            "wall": self._c.outside.clock.wall(),
            "released": [_released(self._c, fact) for fact in self._walkins.in_force()],
            "zones": list(self._walkins.rows().values()),
        }

    async def walkin_start(self, zone: str) -> Row:
        """Start the walk-in of a zone; while one goes on, or in the pause after it, nothing is started."""
        self._known_zone(zone)
        pressed = self._walkins.start(zone, "page")
        if pressed.why is not None:
            raise pressed.why
        await self._c.settle()
        row = self._walkins.rows().get(zone)
        return {"started": pressed.did == "started", "did": pressed.did, "wait_s": round(pressed.wait_s), "zone": row}

    async def walkin_stop(self, zone: str) -> Row:
        """Stop the party of a zone; no other exercise can be stopped by this."""
        self._known_zone(zone)
        stopped = self._walkins.stop(zone)
        await self._c.settle()
        return {"stopped": stopped is not None, "zone": self._walkins.rows().get(zone)}

    def _known_zone(self, zone: str) -> None:
        names = [z.name for z in self._c.site.zones]
        if zone not in names:
            raise NotFound(f"There is no zone {zone!r}.", expected=", ".join(names), remedy="Name one of these.")


def _released(c: Controller, fact: WalkInReleased) -> Row:
    here = c.outside.here()
    return {
        "release": fact.release,
        "drill": fact.drill,
        "title": fact.title,
        "zones": list(fact.zones),
        "begins_in_s": max(0.0, round(seconds(fact.begins_at - here), 1)),
        "ends_in_s": round(seconds(fact.ends_at - here), 1),
        "until": fact.until,
        "pause_s": fact.pause_s,
        "limit_s": fact.limit_s,
    }
