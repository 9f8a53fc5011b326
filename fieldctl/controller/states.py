"""In which states each target is, and since when: kept beside the ledger, so that a restart does not begin anew.

    states_of(life=…, barred=…, faulty=…, weak=…)     what holds of one target, what matters most first (pure)
    States                                            the moments at which they began; one row each, written on change

A target that was not heard in this life of the controller yet is shown as what is known, not heard; what is kept of it
waits until it is heard, or was given the time to be.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.controller.known import NOT_HEARD_AFTER_US, Known, Life
from fieldctl.units import HostTime, HostUs, TargetId
from fieldctl.wire.messages import Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.ledger.standing import Key, Standing

STATES = ("barred", "faulty", "not heard", "overdue", "asleep", "weak", "online")
"""Every state, what matters most first; not heard, overdue, asleep and online exclude each other."""
TURNS = 5  # beats in which every target is looked at once: a beat with all of 256 would hold the loop up
LIVES = frozenset(("not heard", "overdue", "asleep", "online"))

Row = dict[str, Any]


def states_of(*, life: Life, barred: bool, faulty: bool, weak: bool) -> tuple[str, ...]:
    """What holds of one target, what matters most first."""
    holds = {"barred": barred, "faulty": faulty, "weak": weak, life: True}
    return tuple(state for state in STATES if holds.get(state))


class States:
    """Since when each target is what it is."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._kept: dict[Key, Standing] = {}
        self._began: HostUs = controller.outside.clock.now()
        self._turn = 0

    def load(self) -> None:
        """Take what was kept before."""
        self._began = self._c.outside.clock.now()
        self._kept = {row.key: row for row in self._c.ledger.states()}

    def beat(self, now: HostUs) -> None:
        """Look at a part of the targets, for alarms and for what to keep."""
        self._turn = (self._turn + 1) % TURNS
        part = list(self._c.known.values())[self._turn :: TURNS]
        self._c.alarms.look(part, now)
        self.look(part, now)

    def look(self, targets: list[Known], now: HostUs) -> None:
        """Write down what began and ended with these targets."""
        begun, ended = [], []
        for known in targets:
            holds = self._to_keep(known, now)
            was = [state for state in STATES if (known.target, state) in self._kept]
            begun += [self._row(known.target, state, now) for state in holds if state not in was]
            ended += [(known.target, state) for state in was if state not in holds]
        ended += [key for key in self._kept if key[0] not in self._c.known]  # taken out of the field
        self._write(begun, ended)

    def _write(self, begun: list[Standing], ended: list[Key]) -> None:
        for key in ended:
            del self._kept[key]
        self._kept |= {row.key: row for row in begun}
        if begun or ended:
            self._c.pen.keep(begun, ended)

    def _row(self, target: TargetId, state: str, now: HostUs) -> Standing:
        from fieldctl.ledger.standing import Standing

        clock = self._c.outside.clock
        return Standing(target, state, HostTime(clock.boot, now), clock.wall())

    def _to_keep(self, known: Known, now: HostUs) -> list[str]:
        """What holds; what nobody can know yet stays as it was kept."""
        holds = self.now(known, now)
        if known.heard_us is not None:
            return list(holds)
        unknown = {"weak"} if now - self._began > NOT_HEARD_AFTER_US or known.asleep_until_us else {"weak", *LIVES}
        return [
            state for state in STATES if ((known.target, state) in self._kept if state in unknown else state in holds)
        ]

    def now(self, known: Known, now: HostUs) -> tuple[str, ...]:
        """What holds of a target as it is known now."""
        return states_of(
            life=known.life(now),
            barred=self._c.hearing.is_barred(known.target),
            faulty=self.faulty(known),
            weak=bool(known.flags & Flags.BATTERY_LOW),
        )

    def faulty(self, known: Known) -> bool:
        """Whether a target itself is sick, as far as is known: something odd of it, or an alarm, is not resolved."""
        odd = any(who == known.target for who, _ in self._c.hearing.odd_now)
        return odd or known.sends_unasked() or self._c.alarms.faulty(known.target)

    def rows(self, known: Known, now: HostUs) -> list[Row]:
        """What holds of a target, each with the moment it began (`since` the wall's label, `since_us` this boot's)."""
        return [self._shown(known.target, state) for state in self.now(known, now)]

    def _shown(self, target: TargetId, state: str) -> Row:
        kept = self._kept.get((target, state))
        same_boot = kept is not None and kept.since.boot == self._c.outside.clock.boot
        return {
            "state": state,
            "since": None if kept is None else kept.wall,
            "since_us": kept.since.us if kept is not None and same_boot else None,
        }
