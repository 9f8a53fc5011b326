"""What a person may ask for: one table of verbs, used by the control socket, the web and the tests alike.

A verb takes plain values and gives a JSON-able mapping, or raises an error with a remedy. `right` names what a person
needs for it: watch, instruct, upkeep or in-charge; "anybody" needs none. Who may use the socket has all rights.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from fieldctl.controller import snapshot
from fieldctl.controller.access import Access
from fieldctl.controller.group_links import GroupLinks
from fieldctl.controller.verbs_alarm import AlarmVerbs
from fieldctl.controller.verbs_assessment import AssessmentVerbs
from fieldctl.controller.verbs_day import DayVerbs
from fieldctl.controller.verbs_exercise import ExerciseVerbs
from fieldctl.controller.verbs_kit import KitVerbs
from fieldctl.controller.verbs_people import PeopleVerbs
from fieldctl.controller.verbs_retrieval import RetrievalVerbs
from fieldctl.controller.verbs_rights import RightsVerbs
from fieldctl.controller.verbs_selftest import SelfTestVerbs
from fieldctl.controller.verbs_snow import SnowVerbs
from fieldctl.controller.verbs_target import TargetVerbs
from fieldctl.controller.verbs_trace import TraceVerbs
from fieldctl.controller.verbs_upkeep import UpkeepVerbs
from fieldctl.controller.verbs_visit import VisitVerbs
from fieldctl.controller.verbs_walkin import WalkInVerbs
from fieldctl.errors import BadInput, FieldctlError, Refused
from fieldctl.events import ANYBODY, FIELD
from fieldctl.units import PersonId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Right = Literal["anybody", "watch", "instruct", "upkeep", "in-charge"]
Row = dict[str, Any]

CHECKS = ("day-check", "exercise-check")  # whoever only watches wakes nobody; these are asked before something begins


@dataclass(frozen=True, slots=True)
class Verb:
    """One thing that can be asked for."""

    name: str
    right: Right
    call: Callable[..., Awaitable[Row]]


class Desk:
    """All verbs of one controller."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        day, exercise, target = DayVerbs(controller), ExerciseVerbs(controller), TargetVerbs(controller)
        self.access = Access(controller)
        rights = RightsVerbs(controller, self.access)
        walkin = WalkInVerbs(controller)
        upkeep = UpkeepVerbs(controller, target)
        snow = SnowVerbs(controller, target, upkeep)
        kit = KitVerbs(controller, upkeep)
        visit, retrieval = VisitVerbs(controller, upkeep), RetrievalVerbs(controller)
        self_test = SelfTestVerbs(controller, target)
        people = PeopleVerbs(controller, self.access)
        alarm = AlarmVerbs(controller)
        assessment = AssessmentVerbs(controller, exercise.drill_shown)
        self.staffed = exercise.staffed
        self.links = GroupLinks(controller)
        table: tuple[tuple[str, Right, Callable[..., Awaitable[Row]]], ...] = (
            ("status", "watch", self.status),
            ("all-off", "anybody", self.all_off),
            ("all-off-release", "in-charge", self.release),
            ("generation-raise", "in-charge", self.raise_generation),
            ("day-check", "watch", day.check),
            ("day-touch", "upkeep", day.touch),
            ("day-open", "in-charge", day.open),
            ("day-close", "in-charge", day.close),
            ("day-renewed", "instruct", day.renewed),
            ("manual-out", "instruct", day.manual_out),
            ("manual-in", "instruct", day.manual_in),
            ("drill-list", "watch", exercise.drills),
            ("drill-show", "watch", exercise.drill_shown),
            ("exercise-check", "watch", exercise.check),
            ("exercise-start", "instruct", exercise.start),
            ("exercise-stop", "instruct", exercise.stop),
            ("exercise-reopen", "instruct", exercise.reopen),
            ("exercise-resume", "instruct", exercise.resume),
            ("exercise-call", "instruct", exercise.call),
            ("exercise-split", "instruct", exercise.split),
            ("exercise-correct", "instruct", exercise.correct),
            ("exercise-answer", "instruct", exercise.answer),
            ("exercise-link", "instruct", self.links.make),
            ("exercise-list", "watch", exercise.list_all),
            ("exercise-show", "watch", exercise.show),
            ("exercise-then", "instruct", exercise.then),
            ("walkin-status", "anybody", walkin.walkin_status),
            ("walkin-start", "anybody", walkin.walkin_start),
            ("walkin-stop", "anybody", walkin.walkin_stop),
            ("walkin-release", "in-charge", walkin.release),
            ("walkin-end", "in-charge", walkin.end),
            ("assessment-candidates", "instruct", assessment.candidates),
            ("assessment-show", "instruct", assessment.show),
            ("assessment-tick", "instruct", assessment.tick),
            ("assessment-decide", "instruct", assessment.decide),
            ("assessment-sign", "instruct", assessment.sign),
            ("person-list", "instruct", people.list_all),
            ("person-rename", "in-charge", people.rename),
            ("person-forget", "in-charge", people.forget),
            ("target-list", "watch", target.list_all),
            ("target-search", "upkeep", target.search),
            ("target-add", "upkeep", target.add),
            ("target-name", "upkeep", target.name),
            ("target-rotate", "upkeep", target.rotate),
            ("target-take-out", "upkeep", target.take_out),
            ("target-tune", "upkeep", target.tune),
            ("target-trace", "upkeep", TraceVerbs(controller, target).trace),
            ("target-bar", "upkeep", target.bar),
            ("target-clear", "upkeep", target.clear),
            ("target-locate", "upkeep", target.locate),
            ("target-locate-end", "upkeep", target.locate_end),
            ("target-moved", "upkeep", snow.moved),
            ("snow-measured", "upkeep", snow.measured),
            ("snow-import", "upkeep", snow.take_in),
            ("snow-list", "watch", snow.list_all),
            ("battery-swapped", "upkeep", upkeep.battery_swapped),
            ("battery-swap-undo", "upkeep", upkeep.battery_swap_undo),
            ("kit-read", "upkeep", kit.read),
            ("visit-begin", "upkeep", visit.begin),
            ("visit-tick", "upkeep", visit.tick),
            ("visit-untick", "upkeep", visit.untick),
            ("visit-close", "upkeep", visit.close),
            ("visit-list", "watch", visit.list_all),
            ("visit-show", "watch", visit.show),
            ("self-test", "upkeep", self_test.run),
            ("self-test-heard", "upkeep", self_test.heard),
            ("self-test-show", "watch", self_test.show),
            ("retrieval-begin", "upkeep", retrieval.begin),
            ("retrieval-got", "upkeep", retrieval.got),
            ("retrieval-lost", "upkeep", retrieval.lost),
            ("retrieval-undo", "upkeep", retrieval.undo),
            ("retrieval-close", "in-charge", retrieval.close),
            ("retrieval-show", "watch", retrieval.show),
            ("alarm-list", "watch", alarm.list_all),
            ("alarm-clear", "upkeep", alarm.clear),
            ("alarm-test", "upkeep", alarm.test),
            ("right-list", "in-charge", rights.list_all),
            ("right-give", "in-charge", rights.give),
            ("right-take", "in-charge", rights.take),
            ("phone-code", "in-charge", rights.phone_code),
            ("phone-end", "in-charge", rights.phone_end),
            ("phone-end-all", "in-charge", rights.phone_end_all),
            ("first-code", "in-charge", rights.first_code),
        )
        self.table = {name: Verb(name, right, call) for name, right, call in table}
        self._strict: dict[str, Callable[..., Awaitable[Row]]] = {}  # that hold arguments to their types, by verb

    async def ask(self, name: str, arguments: Mapping[str, Any]) -> Row:
        """Carry a verb out; BadInput for an unknown one or for arguments that it does not take."""
        from pydantic import ValidationError

        verb = self.table.get(name)
        if verb is None:
            raise BadInput(f"There is no verb {name!r}.", expected=", ".join(self.table), remedy="Use one of these.")
        if name != "all-off":  # which is carried out whatever else was said
            _check_text(name, arguments)
        if verb.right not in ("anybody", "watch") or name in CHECKS:
            await self._c.night.wake()
        try:
            return await self._held_to_types(verb)(**arguments)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or name
            raise BadInput(
                f"{name}: {where}: {first['msg']}.", remedy="Look at what the verb takes, and ask again."
            ) from None

    def _held_to_types(self, verb: Verb) -> Callable[..., Awaitable[Row]]:
        """The verb's call, refusing wrong arguments; made when first asked for: serve starts without it."""
        if verb.name not in self._strict:
            from pydantic import ConfigDict, validate_call

            strict = ConfigDict(arbitrary_types_allowed=False, extra="forbid")
            self._strict[verb.name] = validate_call(config=strict)(verb.call)
        return self._strict[verb.name]

    async def status(self) -> Row:
        """The whole field."""
        return snapshot.status(self._c)

    async def all_off(self, by: str = "anybody", via: str = "socket") -> Row:
        """Switch everything off, now, and keep it off: the order goes out before anything waits for the ledger."""
        name, via = (text.encode("utf-8", "replace").decode() for text in (by.strip(), via))
        known = self._c.book.find(name)
        new = known is None and name not in ("", FIELD, ANYBODY)
        who = known or PersonId(f"p-{self._c.outside.nonce().hex()[:10]}" if new else name or ANYBODY)
        self._c.all_off.order(who, via)
        if new:
            self._c.people[who] = name
            with contextlib.suppress(FieldctlError):  # the order stands, whether or not its name could be kept
                self._c.ledger.name_person(who, name)
        return snapshot.all_off(self._c, self._c.outside.clock.now())

    async def release(self, by: str, reason: str, epoch: int | None = None) -> Row:
        """Release all off; starts nothing. `epoch` names the order that was seen: a newer one is not released by it."""
        if not reason.strip():
            raise BadInput("A release needs a reason.", remedy="Say why nothing needs to stay off: --reason TEXT.")
        state = self._c.all_off.state
        if state.in_force:
            if epoch is not None and epoch != state.epoch:
                raise Refused(
                    "All off was ordered again since this was pressed.",
                    expected=str(state.epoch),
                    remedy="Find out who ordered it and why, then release that.",
                )
            self._may_release()
            self._c.all_off.release(self._c.person(by), reason)
            await self._c.settle()
        return snapshot.all_off(self._c, self._c.outside.clock.now())

    def _may_release(self) -> None:
        """Refused while somebody who has not confirmed may still send: with the release the list of them goes too."""
        now = self._c.outside.clock.now()
        waiting = {
            row.known.target: snapshot.may_send_for_s(row.may_send_until_us, now)
            for row in self._c.all_off.state.unconfirmed.values()
        }
        loud = [target for target, left_s in waiting.items() if left_s > 0]
        if loud:
            names = ", ".join(snapshot.label(self._c, target) for target in loud)
            left_s = max(waiting.values())
            raise Refused(
                f"{names} may still send for {left_s:.0f} s.",
                remedy="Wait until that has run out, look for what does not answer, then release.",
            )

    async def raise_generation(self, by: str, reason: str) -> Row:
        """Raise this controller's generation, so that targets obey it and no other."""
        if not reason.strip():
            raise BadInput("Raising the generation needs a reason.", remedy="Say why this one steers: --reason TEXT.")
        return {"generation": await self._c.raise_generation(self._c.person(by), reason)}


def _check_text(verb: str, arguments: Mapping[str, Any]) -> None:
    """BadInput for text that no file can hold: the ledger would fail on it, and with it the whole field."""
    try:
        json.dumps(arguments, ensure_ascii=False, default=str).encode()
    except (ValueError, RecursionError):
        raise BadInput(
            f"{verb}: a text holds half a character.", expected="text in UTF-8", remedy="Write it anew, and ask again."
        ) from None
