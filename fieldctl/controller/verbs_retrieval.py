"""The spring retrieval: every target brought in or given up by name, and signed for only then."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.ticked import bounded, day_ago, ticked, told_later_s
from fieldctl.errors import BadInput, NotFound, Refused
from fieldctl.events import RetrievalBegun, RetrievalClosed, RetrievalUnticked, TargetGivenUp, TargetRetrieved
from fieldctl.site.whereabouts import survey_days
from fieldctl.units import TargetId, seconds
from fieldctl.upkeep.retrieval import Lost, Retrieval, Said, buried, fold, in_the_box, lost

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]


class RetrievalVerbs:
    """The verbs about the retrieval."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller

    # ---- what the ledger says --------------------------------------------------------------------------------

    def _buried(self) -> tuple[TargetId, ...]:
        """What lies out there as far as anybody knows."""
        facts, site = self._c.upkeep_book.facts, self._c.site
        boxed = in_the_box(facts, survey_days(site))
        return tuple(target for target in buried(facts, site.targets) if target not in boxed)

    def _retrieval(self, name: str) -> Retrieval:
        """One retrieval, the latest where none is named."""
        found = fold(self._c.upkeep_book.facts)
        if not found:
            raise NotFound("No retrieval was begun yet.", remedy="Begin it: fieldctl upkeep retrieval begin.")
        if name and name not in found:
            raise NotFound(f"There is no retrieval {name!r}.", expected=", ".join(found), remedy="Name one of these.")
        return found[name or next(reversed(found))]

    def _going_on(self, name: str) -> Retrieval:
        found = self._retrieval(name)
        if found.closed is not None and self._buried():
            raise Refused(
                f"Retrieval {found.begun.retrieval} is signed for.",
                remedy="Begin another one for what still lies there: fieldctl upkeep retrieval begin.",
            )
        if found.closed is not None:
            raise Refused(
                f"Retrieval {found.begun.retrieval} is signed for, and every target is in the box.",
                remedy="Nothing is left to bring in. "
                "What lies out there again is surveyed anew: fieldctl site resurvey.",
            )
        return found

    def _target(self, found: Retrieval, who: str) -> TargetId:
        """A target of a retrieval, by id or by name."""
        every = dict.fromkeys((*found.begun.targets, *self._buried()))
        low = who.lower()
        for target in every:
            if low in (target, snapshot.label(self._c, target).lower()):
                return target
        names = ", ".join(snapshot.label(self._c, target) for target in every) or "none"
        raise NotFound(f"There is no target {who!r}.", expected=names, remedy="Name one of these.")

    def _said(self, tick: str) -> bool:
        return any(
            isinstance(fact, TargetRetrieved | TargetGivenUp) and fact.tick == tick
            for fact in self._c.upkeep_book.facts
        )

    # ---- verbs -----------------------------------------------------------------------------------------------

    async def begin(self, by: str, request: str = "") -> Row:
        """Bring the targets in: the list of all that lie in the field, however they are now."""
        every = fold(self._c.upkeep_book.facts)
        for found in every.values():
            if request and found.begun.request == request:
                return self._row(found)
            if found.closed is None:
                raise Refused(
                    f"Retrieval {found.begun.retrieval} goes on already.",
                    remedy="Tick on that one: fieldctl upkeep retrieval show.",
                )
        targets = self._buried()  # also who was given up before: it is looked for again
        if not targets:
            raise Refused(
                "No target lies in the field: what was surveyed is in the box or was taken out.",
                remedy="Look at the last one: fieldctl upkeep retrieval show.",
            )
        name = f"r{len(every) + 1}"
        here, day = self._c.outside.here(), day_ago(self._c.outside.clock.wall())
        await self._c.write(RetrievalBegun(name, targets, day, self._c.person(by), here, request))
        return self._row(self._retrieval(name))

    async def got(
        self,
        target: str,
        by: str,
        retrieval: str = "",
        note: str = "",
        knew: tuple[str, ...] | None = None,
        at_us: int | None = None,
        boot: str = "",
        plus_minus_s: float = 1.0,
        day: str = "",
        tick: str = "",
    ) -> Row:
        """A target was dug out and brought in; it stays added until somebody takes it out."""
        moment, note = ticked(self._c, at_us, boot, plus_minus_s, day), bounded(note)
        if self._said(tick):
            return {"tick": tick, **self._row(self._retrieval(retrieval))}
        found = self._going_on(retrieval)
        which = self._target(found, target)
        stands = found.stands(which)
        if isinstance(stands, TargetRetrieved) and not found.two_say(which):
            return {"tick": stands.tick, **self._row(found)}
        fact = TargetRetrieved(
            found.begun.retrieval, which, self._name(tick), note, _knew(found, which, knew), moment.made, moment.day,
            self._c.person(by), self._c.outside.here(),
        )  # fmt: skip
        await self._c.write(fact)
        return {"tick": fact.tick, **self._row(self._retrieval(found.begun.retrieval))}

    async def lost(
        self,
        target: str,
        told: str,
        reason: str,
        by: str,
        retrieval: str = "",
        place: str = "",
        knew: tuple[str, ...] | None = None,
        at_us: int | None = None,
        boot: str = "",
        plus_minus_s: float = 1.0,
        day: str = "",
        tick: str = "",
    ) -> Row:
        """A target is given up by name: why, who was told, and where it lay last (its place on file unless said)."""
        moment = ticked(self._c, at_us, boot, plus_minus_s, day)
        if self._said(tick):
            return {"tick": tick, **self._row(self._retrieval(retrieval))}
        found = self._going_on(retrieval)
        which = self._target(found, target)
        if not told.strip() or not reason.strip():
            raise BadInput(
                "Giving a target up needs a reason, and somebody who was told.",
                remedy="Say both: --reason TEXT --told NAME.",
            )
        where = bounded(place) or snapshot.place(self._c, which)
        fact = TargetGivenUp(
            found.begun.retrieval, which, self._name(tick), where, self._last_heard(which), self._c.person(told),
            bounded(reason), _knew(found, which, knew), moment.made, moment.day, self._c.person(by),
            self._c.outside.here(),
        )  # fmt: skip
        await self._c.write(fact)
        return {"tick": fact.tick, **self._row(self._retrieval(found.begun.retrieval))}

    def _name(self, tick: str) -> str:
        return tick or f"retrieval-tick-{self._c.next_tap()}"

    def _last_heard(self, target: TargetId) -> str:
        """The wall's label of when a target was heard last, "" where nobody knows."""
        known, wall = self._c.known.get(target), self._c.outside.clock.wall()
        if known is None:
            return ""
        if known.heard_us is None or wall is None:
            return known.heard_before or ""
        ago = datetime.timedelta(seconds=seconds(self._c.outside.clock.now() - known.heard_us))
        heard = datetime.datetime.fromisoformat(wall) - ago
        return heard.isoformat(timespec="seconds").replace("+00:00", "Z")

    async def undo(self, target: str, by: str, retrieval: str = "", tick: str = "") -> Row:
        """Take back what was said of a target in a retrieval that goes on: one tick, the last where none is named."""
        found = self._going_on(retrieval)
        which = self._target(found, target)
        said = [one.tick for one in found.said.get(which, ()) if tick in ("", one.tick)]
        if said:
            person, here = self._c.person(by), self._c.outside.here()
            await self._c.write(RetrievalUnticked(found.begun.retrieval, which, said[-1], person, here))
        return self._row(self._retrieval(found.begun.retrieval))

    async def close(self, signed: str, by: str, retrieval: str = "") -> Row:
        """Sign for a retrieval; refused until every target is retrieved or given up by name, and every unit is in."""
        found = self._going_on(retrieval)
        if not signed.strip():
            raise BadInput("A signature needs a name.", remedy="Say who signs.")
        left = found.left(self._buried())
        if disputed := ", ".join(snapshot.label(self._c, target) for target in left if found.two_say(target)):
            raise Refused(
                f"Two say different things of: {disputed}.",
                remedy="Look at what each one says, and say once more what is true: fieldctl upkeep retrieval show.",
            )
        if left:
            names = ", ".join(snapshot.label(self._c, target) for target in left)
            raise Refused(
                f"Still out there: {names}.",
                remedy="Bring each one in, or give it up by name: fieldctl upkeep retrieval lost.",
            )
        units = ", ".join(sorted((*self._c.day.manual_out, *self._c.day.manual_unseen)))
        if units:
            raise Refused(
                f"Hand-buried units are not counted in and seen off: {units}.",
                remedy="Count each one in: fieldctl manual in UNIT --seen-off.",
            )
        stands = {target: found.stands(target) for target in found.said}
        retrieved = tuple(t for t, said in stands.items() if isinstance(said, TargetRetrieved))
        given_up = tuple(t for t, said in stands.items() if isinstance(said, TargetGivenUp))
        name, day = found.begun.retrieval, day_ago(self._c.outside.clock.wall())
        person, signer, here = self._c.person(by), self._c.person(signed), self._c.outside.here()
        await self._c.write(RetrievalClosed(name, retrieved, given_up, signer, day, person, here))
        return self._row(self._retrieval(name))

    async def show(self, retrieval: str = "") -> Row:
        """One retrieval, target by target, and everything that was ever lost; the latest where none is named."""
        if not retrieval and not fold(self._c.upkeep_book.facts):
            return {"retrieval": None, "open": False, "n": 0, "of": 0, "targets": [], **self._beside()}
        return self._row(self._retrieval(retrieval))

    # ---- rows ------------------------------------------------------------------------------------------------

    def _row(self, found: Retrieval) -> Row:
        closed = found.closed
        now = self._buried() if closed is None else (*closed.retrieved, *closed.given_up)
        every = tuple(dict.fromkeys((*found.begun.targets, *now)))
        left = found.left(now)
        return {
            "retrieval": found.begun.retrieval,
            "day": found.begun.day,
            "by": snapshot.person(self._c, found.begun.by),
            "open": closed is None,
            "signed": None if closed is None else snapshot.person(self._c, closed.signed),
            "signed_day": None if closed is None else closed.day,
            "n": len(every) - len(left),
            "of": len(every),
            "targets": [self._standing(found, target) for target in every],
            **self._beside(),
        }

    def _standing(self, found: Retrieval, target: TargetId) -> Row:
        said = found.stands(target)
        state = "open" if said is None else "got" if isinstance(said, TargetRetrieved) else "lost"
        return {
            "target": target,
            "name": snapshot.label(self._c, target),
            "place": snapshot.place(self._c, target),
            "state": "conflict" if found.two_say(target) else state,
            "said": [self._said_row(one) for one in found.said.get(target, ())],
        }

    def _said_row(self, said: Said) -> Row:
        return {
            "tick": said.tick,
            "what": "got" if isinstance(said, TargetRetrieved) else "lost",
            "why": said.note if isinstance(said, TargetRetrieved) else said.reason,
            "by": snapshot.person(self._c, said.by),
            "day": said.day,
            "told_later_s": told_later_s(said.made, said.at),
            "plus_minus_s": None if said.made is None else seconds(said.made.plus_minus_us),
        }

    def _beside(self) -> Row:
        return {
            "units_out": sorted((*self._c.day.manual_out, *self._c.day.manual_unseen)),
            "lost": [self._lost(row) for row in lost(self._c.upkeep_book.facts)],
        }

    def _lost(self, row: Lost) -> Row:
        return {
            "target": row.target,
            "name": snapshot.label(self._c, row.target),
            "last_place": row.last_place,
            "last_heard": row.last_heard,
            "told": snapshot.person(self._c, row.told) or "",
            "reason": row.reason,
            "by": snapshot.person(self._c, row.by),
            "day": row.day,
            "found_day": None if row.found is None else row.found.day,
        }


def _knew(found: Retrieval, target: TargetId, knew: tuple[str, ...] | None) -> tuple[str, ...]:
    """What a phone knew of a target when it was ticked: everything so far unless it says."""
    return tuple(said.tick for said in found.said.get(target, ())) if knew is None else knew
