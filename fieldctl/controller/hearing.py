"""What targets say, taken in: states, gates, greetings, reports; and what is odd about them, by name."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from fieldctl.controller.known import Known
from fieldctl.events import FIELD, TargetBarred, TargetGreeted, TargetOdd
from fieldctl.units import BootId, HostTime, HostUs, TargetId
from fieldctl.wire.messages import Ability, Counters, Greeting, Message, Outcome, Report, Result, Status, Strike, Why

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller


class Hearing:
    """Takes in what the lines bring."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.odd_now: dict[tuple[TargetId, str], TargetOdd] = {}
        self.barring: set[TargetId] = set()  # bars on their way to the ledger

    def opened(self, known: Known, message: Message) -> None:
        """A target answered the question for its counters."""
        assert isinstance(message, Counters)
        known.greeting, known.ticks = None, 0  # it may be another unit under this id: who it is is asked anew
        self._obeys(known, message.generation)
        self._state_of(known, message.boot, message.ticks, message.flags, opening=True)
        self._c.all_off.heard(known, message.epoch, message.flags)

    def heard(self, known: Known, message: Message, at: HostUs) -> None:
        """A target said something that can be believed."""
        newest = self._state_of(known, message.boot, message.ticks, message.flags)  # type: ignore[attr-defined]
        match message:
            case Status():
                if newest:
                    known.grant_id = message.grant_id or 0
                    known.since_ticks = message.since or 0
                    self._c.grants.heard(known)
                    self._c.edge.heard(known, message)
            case Strike() if newest:  # an overtaken one, or one of a clock that leapt back, is told again until acked
                self._c.strikes.take(known, message)
            case Outcome():
                self._obeys(known, message.generation)
                self._c.all_off.heard(known, message.epoch, message.flags)
                if message.result == Result.SUPERSEDED:
                    known.trouble["superseded"] += 1
            case Greeting():
                self._greeted(known, message)
            case Report():
                known.report, known.reported_us = message, at
                self._obeys(known, message.generation)
                self._c.all_off.heard(known, message.epoch, message.flags)
                self._note_telemetry(known, message, at)

    def _state_of(self, known: Known, boot: int, ticks: int, flags: int, *, opening: bool = False) -> bool:
        """Take boot and flags from a message; False for one that was overtaken by a later one."""
        if known.boot is not None and (boot, ticks) < (known.boot, known.ticks):
            known.trouble["overtaken"] += 1
            return False
        if boot != known.boot:
            if known.boot is not None:
                known.trouble["reboots"] += 1
                if not opening:  # its counters went on by a step of which nobody here knows
                    self._c.open_again(known)
            known.boot, known.greeting, known.grant_id, known.since_ticks, known.armed_at = boot, None, 0, 0, None
        known.ticks, known.flags = ticks, flags
        if known.says_it_holds_none():
            known.grant_id = known.since_ticks = 0  # every word says whether a grant is held, only a status which
        if known.sends_unasked():
            self.odd(
                known,
                "gate-on",
                "Its gate reads on although nothing was granted: it is not quiet. To do: all off; if it stays on, "
                "find it with a receiver and dig it out. Any signal is a person until proved otherwise.",
            )
            if self._c.day.usable(known.target) and not self.is_barred(known.target):
                self._c.pen.write(TargetBarred(known.target, "its gate reads on although nothing was granted", FIELD))
                self.barring.add(known.target)
        return True

    def is_barred(self, target: TargetId) -> bool:
        """Whether a target is barred, or is just being written down as such."""
        return target in self._c.day.barred or target in self.barring

    def barred(self, target: TargetId) -> None:
        """It is barred from now on: whatever lets it send ends at once."""
        self.barring.discard(target)
        known = self._c.known.get(target)
        for lease in list(self._c.grants.of(known)) if known is not None else ():
            self._c.grants.end(lease, "barred")

    def _greeted(self, known: Known, greeting: Greeting) -> None:
        known.greeting = greeting
        self._c.pen.write(
            TargetGreeted(
                target=known.target,
                boot=BootId(greeting.boot),
                why=_why(greeting.why),
                hardware=greeting.hardware.hex(),
                firmware=greeting.firmware,
                contract=greeting.contract,
                abilities=tuple(str(a.name).lower() for a in Ability if greeting.abilities & a),
                at=self._c.outside.here(),
            )
        )
        added = self._c.added.get(known.target)
        if added is not None and added.hardware and added.hardware != greeting.hardware.hex():
            self.odd(
                known,
                "two-with-one-id",
                f"Hardware {greeting.hardware.hex()} answers under the id of {added.hardware}. "
                "To do: take one of the two out and add it anew.",
            )

    def _note_telemetry(self, known: Known, report: Report, at: HostUs) -> None:
        from fieldctl.ledger.telemetry import Telemetry

        self._c.pen.note(
            Telemetry(
                known.target,
                HostTime(self._c.outside.clock.boot, at),
                self._c.outside.clock.wall(),
                volts_rest=report.rest_mv / 1000,
                volts_load=report.load_mv / 1000,
                temperature_c=round(report.kelvin10 / 10 - 273.15, 2),
                noise=float(report.noise),
                extra={
                    "charge_mas": report.charge,
                    "bad_frames": report.bad_frames,
                    **({} if report.moisture is None else {"moisture": report.moisture}),
                    **asdict(known.talk),
                    **self._plus_minus(known, at),
                },
            )
        )

    def _plus_minus(self, known: Known, at: HostUs) -> dict[str, int]:
        """The ± of its clock now; nothing where it has none."""
        clock = None if known.boot is None else known.clock.of(BootId(known.boot))
        width = None if clock is None else clock.width_now(at)
        return {} if width is None else {"plus_minus_us": width}

    def clock_odd(self, known: Known, finding: object) -> None:
        """A target's clock cannot be right."""
        known.trouble[type(finding).__name__] += 1
        known.greeting = None  # a leap may be another unit under this id: who it is is asked anew
        self.odd(
            known,
            "clock",
            f"{finding}. To do: nothing in the middle of an exercise; its times carry a wider ± until it has settled. "
            "Replace the target if it happens again.",
        )

    def misaddressed(self, known: Known, said: int) -> None:
        """An answer came under another address than the one that was asked."""
        self.odd(
            known,
            "answers-for-another",
            f"It was asked, and an answer came under the id {said:08x} without that one's seal. "
            "To do: look for a second target with that id.",
        )

    def _obeys(self, known: Known, generation: int) -> None:
        """It said which generation it obeys."""
        known.generation = generation
        if known.obeys_another(self._c.grants.generation):
            self.superseded(known)

    def superseded(self, known: Known) -> None:
        """It obeys a controller of a higher generation."""
        self.odd(
            known,
            "superseded",
            "It obeys a controller of a higher generation. To do: find the other controller; if this is the one "
            "that should steer, a person raises its generation: fieldctl generation raise.",
        )

    def well(self, known: Known, what: str) -> None:
        """What was odd about a target is so no more."""
        self.odd_now.pop((known.target, what), None)

    def odd(self, known: Known, what: str, detail: str) -> None:
        """Show something odd about a target by name; written down once until it has been well for a while."""
        known.trouble[what] += 1
        self._c.alarms.odd(known, what, detail)
        key = (known.target, what)
        if key not in self.odd_now:
            self.odd_now[key] = fact = TargetOdd(known.target, what, detail, self._c.outside.here())
            self._c.pen.write(fact)


def _why(code: int) -> str:
    try:
        return Why(code).name.lower().replace("_", "-")
    except ValueError:
        return f"code {code}"
