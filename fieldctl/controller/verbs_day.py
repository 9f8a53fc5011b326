"""Opening and closing the field, renewed surfaces, hand-buried units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.errors import BadInput, Refused
from fieldctl.events import DayClosed, DayOpened, ManualIn, ManualOut, SurfaceRenewed, TouchAsked
from fieldctl.site.checks import (
    SNOW_MOST_M,
    STEERS_NOBODY,
    Closing,
    Opening,
    Problem,
    Quiet,
    bars,
    closing_problems,
    opening_problems,
)
from fieldctl.site.place_warnings import place_warnings
from fieldctl.units import PersonId, TargetId, micros
from fieldctl.wire.messages import Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

TOUCH_MIN = 30.0  # to walk to every plate of a field and back
TOUCH_MOST_MIN = 120.0


class DayVerbs:
    """The day's verbs."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller

    def _heard(self) -> tuple[TargetId, ...]:
        now = self._c.outside.clock.now()
        return tuple(k.target for k in self._c.known.values() if k.life(now) == "online")

    def _quiet(self) -> Quiet:
        """What the field itself says: a target counts as quiet when it said so lately and holds nothing."""
        now = self._c.outside.clock.now()
        confirmed = tuple(
            k.target
            for k in self._c.known.values()
            if k.life(now) in ("online", "asleep") and k.says_quiet() and not k.grant_id
        )
        return Quiet(tuple(e.id for e in self._c.exercises.running()), confirmed)

    def _touched(self, named: Sequence[str]) -> tuple[TargetId, ...]:
        """What a person names, and what the field itself felt since it was asked to."""
        return tuple(dict.fromkeys((*_targets(named), *self._c.edge.touch.touched)))

    async def check(
        self,
        touched: tuple[str, ...] = (),
        by: str = "",
        hazard: str = "",
        snow_m: float | None = None,
        stray_sweep: str = "",
        signed: str = "",
        own_units_back: bool = False,
        listening_walk: str = "",
        heard_sending: tuple[str, ...] = (),
        exceptions: tuple[str, ...] = (),
    ) -> Row:
        """What is in the way of opening, or of closing when the field is open, with these choices; changes nothing."""
        day, who = self._c.day, PersonId(by)
        if day.open:
            walked = _targets(heard_sending)
            closing = Closing(who or day.in_charge or who, own_units_back, listening_walk, walked, exceptions, signed)
            problems = closing_problems(self._c.site, day, closing, self._quiet())
        else:
            proved = self._touched(touched)
            opening = Opening(who, hazard, snow_m, self._heard(), proved, stray_sweep, exceptions)
            problems = self._opening(opening)
        touch = self._c.edge.touch
        listens = touch.arms(self._c.outside.clock.now()) and not day.open
        return {
            "open": day.open,
            "problems": _rows(problems),
            "warnings": _rows(self._warnings(snow_m)),
            "heard": list(self._heard()),
            "touched": dict(touch.touched),
            "listens_until_us": touch.asked.until.us if listens and touch.asked else None,
            "armed": sorted(k.target for k in self._c.known.values() if k.flags & Flags.ARMED),
        }

    def _opening(self, opening: Opening) -> tuple[Problem, ...]:
        """What is in the way of opening; first of all that targets may not obey this controller."""
        return (*self._own(), *opening_problems(self._c.site, self._c.day, opening))

    def _own(self) -> tuple[Problem, ...]:
        return () if snapshot.steers(self._c) else (STEERS_NOBODY,)

    def _warnings(self, snow_m: float | None) -> tuple[Problem, ...]:
        """What to know of targets' places while the field opens, with the snow as it is measured now.

        While it is open, as a restored log may say, that targets may not obey this controller: nothing against closing.
        """
        if self._c.day.open:
            return self._own()
        sound_m = snow_m if snow_m is not None and 0 <= snow_m <= SNOW_MOST_M else None
        return place_warnings(self._c.site, self._c.day, self._c.snow.opening(sound_m))

    async def touch(self, by: str, minutes: float = TOUCH_MIN) -> Row:
        """Let every pad listen for a while, so that its plate can be proved by touch before the field opens."""
        if not 1 <= minutes <= TOUCH_MOST_MIN:
            raise BadInput("Pads cannot listen for so long.", expected="1 to 120 minutes", remedy="Name such.")
        if self._c.day.open:
            raise Refused("The field is open.", remedy="Plates are proved before it opens; strikes count as they come.")
        here = self._c.outside.here()
        await self._c.write(TouchAsked(self._c.person(by), here, here.plus(micros(minutes * 60))))
        return await self.check()

    async def open(
        self,
        by: str,
        hazard: str = "",
        snow_m: float | None = None,
        touched: tuple[str, ...] = (),
        stray_sweep: str = "",
        exceptions: tuple[str, ...] = (),
        notes: str = "",
    ) -> Row:
        """Open the field; refused with everything that is in the way."""
        heard = self._heard()
        proved = self._touched(touched)
        opening = Opening(self._c.person(by), hazard, snow_m, heard, proved, stray_sweep, exceptions)
        day = self._c.day
        if day.open:
            raise Refused(
                f"The field is open already, with {snapshot.person(self._c, day.in_charge)} in charge.",
                remedy="Close it first: fieldctl day close.",
            )
        _refuse("open", self._opening(opening))
        site = self._c.site
        missing = tuple(t for t in (*site.targets, *(post.target for post in site.posts)) if t not in heard)
        fact = DayOpened(
            self._c.person(by),
            self._c.outside.here(),
            hazard,
            snow_m or 0.0,
            heard,
            missing,
            proved,
            stray_sweep,
            "; ".join([notes, *exceptions]).strip("; "),
        )
        await self._c.write(fact)
        return {"open": True, "in_charge": by, "fresh_left": self._c.day.fresh_left(self._c.site)}

    async def close(
        self,
        by: str,
        signed: str = "",
        own_units_back: bool = False,
        listening_walk: str = "",
        heard_sending: tuple[str, ...] = (),
        exceptions: tuple[str, ...] = (),
    ) -> Row:
        """Close the field; refused with everything that is in the way. What was heard is barred either way."""
        heard = _targets(heard_sending)
        self._ever_known(heard)
        closing = Closing(self._c.person(by), own_units_back, listening_walk, heard, exceptions, signed)
        new = bars(self._c.day, closing)
        if new:
            await self._c.write(*new)
        _refuse("close", closing_problems(self._c.site, self._c.day, closing, self._quiet()))
        fact = DayClosed(
            self._c.person(by),
            self._c.outside.here(),
            own_units_back,
            listening_walk,
            _targets(heard_sending),
            exceptions,
            self._c.person(signed),
        )
        await self._c.write(fact)
        return {"open": False, "exceptions": list(exceptions)}

    def _ever_known(self, heard: Sequence[TargetId]) -> None:
        """BadInput for what no target was ever called: a slip would be barred for good."""
        known = {*self._c.site.targets, *self._c.known, *self._c.day.barred, *self._c.all_off.state.unconfirmed}
        for target in heard:
            if target not in known:
                raise BadInput(
                    f"No target is called {target!r}.",
                    expected="a target of this site; what else was heard is described by the listening walk",
                    remedy="Look at the list of targets, and name it by its eight digits. Any signal is a person.",
                )

    async def renewed(self, by: str, how: str, zone: str | None = None) -> Row:
        """The surface was tilled or snowed over: fresh targets again."""
        if zone is not None and zone not in {z.name for z in self._c.site.zones}:
            names = ", ".join(z.name for z in self._c.site.zones)
            raise BadInput(f"There is no zone {zone!r}.", expected=names, remedy="Name one of these, or none for all.")
        await self._c.write(SurfaceRenewed(zone, how, self._c.person(by), self._c.outside.here()))
        return {"fresh_left": self._c.day.fresh_left(self._c.site)}

    async def manual_out(self, unit: str, zone: str, place: str, by: str) -> Row:
        """Count a hand-buried unit out."""
        if unit in self._c.day.manual_out:
            raise Refused(f"Unit {unit} is out already.", remedy=f"Count it in first: fieldctl manual in {unit}.")
        await self._c.write(ManualOut(unit, zone, place, self._c.person(by), self._c.outside.here()))
        return {"out": sorted(self._c.day.manual_out)}

    async def manual_in(self, unit: str, by: str, seen_off: bool = False) -> Row:
        """Count a hand-buried unit in."""
        if unit not in self._c.day.manual_out and unit not in self._c.day.manual_unseen:
            raise BadInput(f"Unit {unit} is not out.", remedy="Look at the list: fieldctl status.")
        await self._c.write(ManualIn(unit, seen_off, self._c.person(by), self._c.outside.here()))
        return {"out": sorted(self._c.day.manual_out), "not_seen_off": sorted(self._c.day.manual_unseen)}


def _targets(names: Sequence[str]) -> tuple[TargetId, ...]:
    return tuple(TargetId(name.lower()) for name in names)


def _rows(problems: Sequence[Problem]) -> list[Row]:
    return [{"key": p.key, "wrong": p.wrong, "remedy": p.remedy, "may_sign": p.may_sign} for p in problems]


def _refuse(what: str, problems: Sequence[Problem]) -> None:
    if problems:
        lines = [f"{p.wrong} {p.remedy} [{p.key}]" for p in problems]
        raise Refused(
            f"The field cannot {what} yet:\n  " + "\n  ".join(lines),
            remedy="Do what each line says; where a line may be signed for, name its key with --exception.",
        )
