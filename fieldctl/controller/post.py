"""Posts at the field's edge: a short press starts the walk-in of its zone, a held one is all off; the horn answers.

A post says how often it was pressed since its boot. What counts is what is new against the last fact about that post,
so a press is obeyed once, whatever was lost, repeated or restarted. A held press is obeyed however late it is heard:
that is the safe side. A short one that is heard late starts nothing, since whoever pressed may be gone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.controller.walkin import part_of
from fieldctl.events import ANYBODY, AllOffOrdered, ExerciseEnded, ExerciseStarted, Fact, PostPressed
from fieldctl.units import US_PER_S, BootId, HostUs, NodeTicks, PersonId, TargetId, seconds
from fieldctl.wire.messages import Ability, Horn, Status

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.known import Known

LATE_US = (
    6 * US_PER_S
)  # the pause between two turns of a quiet bus, and a lost frame: whoever pressed still stands there
ORDER_LIVES_US = 3 * US_PER_S  # a horn that blows later than this says nothing any more
LEAD_US = 300_000
STARTED = (1_000, 1_000, 1_000)  # one blast: for how many ms, period, on
ENDED = (2_200, 800, 600)  # three
OFF = (4_000, 2_000, 2_000)  # one without a pause: whoever holds the button hears that all off has been taken


class Posts:
    """What the posts of a site have said, and what they are told."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._zones = {post.target: post.zone for post in controller.site.posts}
        self._counted: dict[TargetId, tuple[int, int, int]] = {}  # boot, presses, holds: what was obeyed

    @property
    def targets(self) -> frozenset[TargetId]:
        """The posts: asked as often as who plays, since an all off may come from them."""
        return frozenset(self._zones)

    def take(self, fact: Fact) -> None:
        """Fold one fact."""
        if isinstance(fact, PostPressed):
            self._counted[fact.post] = (fact.boot, fact.presses, fact.holds)

    def committed(self, fact: Fact) -> None:
        """A fact was committed just now: the horn tells that a party begins or has ended, and everywhere of all off."""
        if isinstance(fact, AllOffOrdered):
            for zone in dict.fromkeys(self._zones.values()):
                self._blow(zone, OFF, 0)
        elif isinstance(fact, ExerciseStarted) and fact.conditions.get("walk_in"):
            self._blow(str(fact.conditions.get("zone", "")), STARTED, fact.start.at.us)
        elif isinstance(fact, ExerciseEnded) and fact.how != "all-off":
            exercise = self._c.exercises.all.get(fact.exercise)
            part = None if exercise is None else part_of(exercise)
            if part is not None:
                self._blow(part[1], ENDED, 0)

    # ---- presses ---------------------------------------------------------------------------------------------

    def heard(self, known: Known, status: Status) -> None:
        """A post answered: what is new since its last press is obeyed, held before short."""
        if status.presses is None or status.holds is None or known.target not in self._zones:
            return
        boot, presses, holds = self._counted.get(known.target, (status.boot, 0, 0))
        if boot != status.boot:
            presses = holds = 0
        if (status.presses, status.holds) == (presses, holds) or status.presses < presses or status.holds < holds:
            return
        self._counted[known.target] = (status.boot, status.presses, status.holds)
        age_us = self._age_us(known, status)
        did, why = self._obey(known, held=status.holds > holds, age_us=age_us)
        self._c.pen.write(
            PostPressed(
                known.target,
                BootId(status.boot),
                status.presses,
                status.holds,
                None if age_us is None else seconds(age_us),
                did,
                self._c.outside.here(),
                why,
            )
        )

    def _obey(self, known: Known, *, held: bool, age_us: int | None) -> tuple[str, str]:
        """What the press did, and what was in the way where it did nothing."""
        if held:
            self._c.all_off.order(PersonId(ANYBODY), f"post {self._c.names.get(known.target, known.target)}")
            return "all-off", ""
        if not self._c.day.open:
            return "closed", ""
        if age_us is None or age_us > LATE_US:
            return "too-late", ""
        pressed = self._c.edge.walkins.start(self._zones[known.target], f"post {known.target}")
        return pressed.did, pressed.why.what if pressed.why is not None else ""

    def _age_us(self, known: Known, status: Status) -> int | None:
        """How long ago the latest press was at most; None while nothing is known of the post's clock."""
        if status.press_ticks is None:
            return None
        found = known.clock.to_host(BootId(status.boot), NodeTicks(status.press_ticks))
        return None if found is None else max(0, self._c.outside.clock.now() - found[0] + found[1])

    # ---- the horn --------------------------------------------------------------------------------------------

    def _blow(self, zone: str, pattern: tuple[int, int, int], at_us: int) -> None:
        """Order the horns of a zone to blow from a moment on; one that cannot be told in time stays silent."""
        for_ms, period_ms, on_ms = pattern
        now = self._c.outside.clock.now()
        for target in [t for t, its_zone in self._zones.items() if its_zone == zone]:
            known = self._c.known.get(target)
            if known is None or known.boot is None or known.greeting is None or known.session.state != "open":
                continue
            clock = known.clock.of(BootId(known.boot))
            begins = None if clock is None else clock.to_ticks(HostUs(max(at_us, now + LEAD_US)))
            if begins is None or not known.greeting.abilities & Ability.HORN:
                continue
            until = NodeTicks(begins[0] + for_ms * 1000)
            order = Horn(known.boot, self._c.grants.generation, begins[0], until, period_ms, on_ms)
            self._c.post(known, order, now + ORDER_LIVES_US, "horn")
