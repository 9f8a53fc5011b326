"""Targets: search, add, name, rotate, take out, bar, clear, let one send so that it can be found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.bus_line import BusLine
from fieldctl.controller.grants import Wish
from fieldctl.controller.joining import add_target, search_bus
from fieldctl.errors import BadInput, NotFound, Refused, Unreachable
from fieldctl.events import KeysRotated, TargetBarred, TargetCleared, TargetNamed, TargetTakenOut, TargetTuned
from fieldctl.keying import Keying
from fieldctl.site.whereabouts import as_row
from fieldctl.strikes.tune import HIGHEST, OWN
from fieldctl.units import US_PER_S
from fieldctl.wire import adding
from fieldctl.wire.messages import Leave

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.known import Known

Row = dict[str, Any]

LOCATE_S = 900  # long enough to walk there; it still needs a controller that renews it
LEAD_US = 400_000


class TargetVerbs:
    """The verbs about targets."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller

    def find(self, who: str) -> Known:
        """A target by id or by its name."""
        low = who.lower()
        for known in self._c.known.values():
            if known.target == low or self._c.names.get(known.target, "").lower() == low:
                return known
        names = ", ".join(f"{k} ({self._c.names.get(k, '-')})" for k in self._c.known) or "none"
        raise NotFound(f"There is no target {who!r}.", expected=names, remedy="Name one of these.")

    async def list_all(self) -> Row:
        """Every target."""
        now = self._c.outside.clock.now()
        return {"targets": [snapshot.target(self._c, k, now) for k in self._c.known.values()]}

    async def search(self, link: str) -> Row:
        """Who is new on a bus? Takes some seconds; several may answer at once."""
        line = self._c.lines.get(link)
        if not isinstance(line, BusLine):
            names = ", ".join(n for n, ln in self._c.lines.items() if isinstance(ln, BusLine)) or "none"
            raise NotFound(f"There is no bus {link!r}.", expected=names, remedy="Name one of these.")
        found = await search_bus(self._c, line)
        return {"link": link, "found": [{"hardware": h, "pressed": pressed} for h, pressed in found]}

    async def add(self, link: str, hardware: str, secret: str, by: str, name: str = "") -> Row:
        """Give a new target keys of this site; its button must have been pressed within two minutes."""
        line = self._c.lines.get(link)
        if line is None:
            raise NotFound(
                f"There is no link {link!r}.", expected=", ".join(self._c.lines), remedy="Name one of these."
            )
        added = await add_target(self._c, line, hardware, secret, self._c.person(by), name)
        return {"target": added.target, "hardware": added.hardware, "link": link}

    async def name(self, target: str, name: str, by: str) -> Row:
        """Give a target a name for people."""
        known = self.find(target)
        if not name.strip():
            raise BadInput("A name is not empty.", remedy="Give a name such as the label on its stake.")
        await self._c.write(TargetNamed(known.target, name, self._c.person(by)))
        self._c.names[known.target] = name
        return {"target": known.target, "name": name}

    async def rotate(self, target: str, by: str) -> Row:
        """Give a target new keys, sealed under the old ones."""
        known = self.find(target)
        self._not_playing(known)
        version = self._c.added[known.target].key_version + 1
        keys = self._c.outside.keys.of(known.target, version)
        old = self._c.outside.keys.of(known.target, version - 1)
        order = adding.make_rekey(old.own, self._c.outside.nonce(), keys)
        ended = await self._c.ask(known, order, "rotate keys")
        if ended.verdict != "done":
            raise Unreachable(
                f"{known.target} did not confirm new keys: {ended.verdict} {ended.why}.",
                remedy="The old keys stay in force here. Try again when it is heard well.",
            )
        await self._c.write(KeysRotated(known.target, version, self._c.person(by)))
        self._c.rejoin(known.target, version)
        return {"target": known.target, "key_version": version}

    async def take_out(self, target: str, by: str, reason: str, lost: bool = False) -> Row:
        """Take a target out of the field; `lost` for lost or stolen: nothing of it is believed any more."""
        known = self.find(target)
        self._not_playing(known)
        forgot = False
        if not lost and known.boot is not None:
            ended = await self._c.ask(known, Leave(known.boot, self._c.grants.generation), "leave")
            forgot = ended.verdict == "done"
        how = "lost" if lost else "taken-out"
        where = snapshot.place(self._c, known.target)
        await self._c.write(TargetTakenOut(known.target, how, where, self._c.person(by), reason))
        self._c.thresholds.pop(known.target, None)
        self._c.part_with(known.target)
        return {
            "target": known.target,
            "how": how,
            "forgot_its_keys": forgot,
            "still_listed": "It stays on the list of who has not confirmed quiet." if not forgot else "",
        }

    async def tune(self, target: str, threshold: int, by: str, reason: str = "") -> Row:
        """Arm a target's pad with this threshold from now on, in tenths of its noise; 0: the firmware's own."""
        known = self.find(target)
        self._not_playing(known)
        if threshold and not OWN <= threshold <= HIGHEST:
            raise BadInput(
                f"{threshold / 10:g} × the noise is no threshold for a pad.",
                expected=f"{OWN / 10:g} to {HIGHEST / 10:g} × the noise, or 0 for the target's own",
                remedy="Look what its stored strikes allow: fieldctl target tune.",
            )
        before = self._c.thresholds.get(known.target, 0)
        if threshold != before:
            await self._c.write(
                TargetTuned(known.target, threshold, self._c.person(by), self._c.outside.here(), reason)
            )
            self._c.thresholds[known.target] = threshold
        return {"target": known.target, "threshold": threshold, "before": before}

    async def bar(self, target: str, by: str, reason: str) -> Row:
        """Bar a target until it is dug out."""
        known = self.find(target)
        await self._c.write(TargetBarred(known.target, reason, self._c.person(by)))
        return {"barred": dict(self._c.day.barred)}

    async def clear(self, target: str, by: str, reason: str) -> Row:
        """A barred target was dug out and seen to be quiet."""
        known = self.find(target)
        if not reason.strip():
            raise BadInput("Clearing a target needs a reason.", remedy="Say who dug it out and saw it quiet.")
        await self._c.write(TargetCleared(known.target, reason, self._c.person(by)))
        for key in [key for key in self._c.hearing.odd_now if key[0] == known.target]:
            del self._c.hearing.odd_now[key]
        return {"barred": dict(self._c.day.barred)}

    async def locate(self, target: str, send: bool = False) -> Row:
        """Where a target lies and how to find it; with `send`, let it send under a grant so that a receiver does."""
        known = self.find(target)
        row: Row = {
            "target": known.target,
            "name": snapshot.label(self._c, known.target),
            "place": snapshot.place(self._c, known.target),
            "where": self._where(known),
            "sending": False,
        }
        if send:
            self._may_locate()
            now = self._c.outside.clock.now()
            limit = now + LEAD_US + LOCATE_S * US_PER_S
            wish = Wish(known, "locate", None, None, now + LEAD_US, limit, Keying())
            if not self._c.grants.give(wish, LEAD_US):
                raise Unreachable(f"{known.target} is not heard.", remedy="Go by its place, and look at its link.")
            row["sending"], row["ends_in_s"] = True, LOCATE_S
        return row

    def _where(self, known: Known) -> Row | None:
        """Coordinates, ways from stakes, depth; None for a post, and for what was never surveyed."""
        try:
            return as_row(self._c.snow.where(known.target))
        except KeyError:
            return None

    async def locate_end(self, target: str) -> Row:
        """End a signal that was switched on to find a target."""
        known = self.find(target)
        for lease in self._c.grants.of(known):
            if lease.wish.purpose == "locate":
                self._c.grants.end(lease, "stopped")
        return {"target": known.target, "sending": False}

    def _may_locate(self) -> None:
        if self._c.all_off.state.in_force:
            raise Refused("All off is in force.", remedy="A person in charge releases it: fieldctl all-off release.")
        if self._c.day.open:
            raise Refused("The field is open.", remedy="Let a target send to be found only while the field is closed.")
        if any(self._c.exercises.running()):
            raise Refused("An exercise goes on.", remedy="Wait for its end.")

    def _not_playing(self, known: Known) -> None:
        if known.target in self._c.exercises.playing():
            raise Refused(f"{known.target} plays in an exercise.", remedy="Stop the exercise first.")
