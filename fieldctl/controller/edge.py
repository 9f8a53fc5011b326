"""The field's edge: walk-ins, posts and plates by touch, behind one door for facts, beats and what posts say.

And one edge in time: what was started in the same moment as all off or closing was on its way to the ledger when
those looked for what goes on. It ends as soon as it is committed, so that a release of all off starts nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from fieldctl.controller.known import Known
from fieldctl.controller.post import Posts
from fieldctl.controller.touch import Touch
from fieldctl.controller.walkin import WalkIns
from fieldctl.events import (
    FIELD,
    DayClosed,
    ExerciseEnded,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
)
from fieldctl.units import US_PER_S, HostUs, PersonId, TargetId
from fieldctl.wire.messages import Status

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

BEGINS = (ExerciseStarted, ExerciseReopened, ExerciseResumed)
ENDED_BY_THEN_US = US_PER_S  # all off has ended what it saw, and that is committed


class Edge:
    """What happens at the field's edge, folded from the ledger."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.walkins = WalkIns(controller)
        self.posts = Posts(controller)
        self.touch = Touch(controller)
        self._ending: set[str] = set()  # exercises whose end is on its way to the ledger

    def load(self, facts: Iterable[Fact]) -> None:
        """What the ledger knows, before any link opens."""
        for fact in facts:
            for part in (self.walkins, self.posts, self.touch):
                part.take(fact)
        for post in self._c.site.posts:
            self._c.names.setdefault(post.target, post.name)

    def committed(self, fact: Fact) -> None:
        """A fact was committed just now."""
        self.walkins.committed(fact)
        self.posts.take(fact)
        self.posts.committed(fact)
        self.touch.take(fact)
        if isinstance(fact, (*BEGINS, ExerciseEnded)):
            self._ending.discard(fact.exercise)
        if isinstance(fact, (*BEGINS, DayClosed)):
            self._end_what_may_not_go_on()

    def _end_what_may_not_go_on(self) -> None:
        off = self._c.all_off.state.in_force
        if not off and self._c.day.open:
            return
        for exercise in list(self._c.exercises.running()):
            if exercise.id not in self._ending:
                self._ending.add(exercise.id)
                how = "all-off" if off else "stopped"
                self._c.pen.write(ExerciseEnded(exercise.id, how, PersonId(FIELD), self._c.outside.here()))

    def heard(self, known: Known, status: Status) -> None:
        """A target answered: it may be a post whose button was pressed."""
        self.posts.heard(known, status)

    def tick(self) -> None:
        """The clock moved."""
        self.walkins.tick()
        state, now = self._c.all_off.state, self._c.outside.clock.now()
        if not state.in_force or now - (state.ordered_us or now) > ENDED_BY_THEN_US:
            self._end_what_may_not_go_on()  # after a restart: it was committed, and its end was not

    def often(self) -> frozenset[TargetId]:
        """The posts while anything goes on or may begin: all off may come from them, and is heard at once."""
        busy = self.walkins.releases or next(self._c.exercises.running(), None) is not None
        return self.posts.targets if busy else frozenset()

    def armed(self, now: HostUs) -> frozenset[TargetId]:
        """Whose pads listen although they play no part: all of them while plates are proved by touch."""
        return frozenset(self._c.known) if self.touch.arms(now) and not self._c.day.open else frozenset()
