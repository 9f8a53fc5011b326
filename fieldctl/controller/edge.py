"""The field's edge: walk-ins, posts and plates by touch, behind one door for facts, beats and what posts say."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from fieldctl.controller.known import Known
from fieldctl.controller.post import Posts
from fieldctl.controller.touch import Touch
from fieldctl.controller.walkin import WalkIns
from fieldctl.events import Fact
from fieldctl.units import HostUs, TargetId
from fieldctl.wire.messages import Status

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller


class Edge:
    """What happens at the field's edge, folded from the ledger."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self.walkins = WalkIns(controller)
        self.posts = Posts(controller)
        self.touch = Touch(controller)

    def load(self, facts: Iterable[Fact]) -> None:
        """What the ledger knows, before any link opens."""
        for fact in facts:
            for part in (self.walkins, self.posts, self.touch):
                part.take(fact)

    def committed(self, fact: Fact) -> None:
        """A fact was committed just now."""
        self.walkins.committed(fact)
        self.posts.take(fact)
        self.posts.committed(fact)
        self.touch.take(fact)

    def heard(self, known: Known, status: Status) -> None:
        """A target answered: it may be a post whose button was pressed."""
        self.posts.heard(known, status)

    def tick(self) -> None:
        """The clock moved."""
        self.walkins.tick()

    def often(self) -> frozenset[TargetId]:
        """The posts while anything goes on or may begin: all off may come from them, and is heard at once."""
        busy = self.walkins.releases or next(self._c.exercises.running(), None) is not None
        return self.posts.targets if busy else frozenset()

    def armed(self, now: HostUs) -> frozenset[TargetId]:
        """Whose pads listen although they play no part: all of them while plates are proved by touch."""
        return frozenset(self._c.known) if self.touch.arms(now) and not self._c.day.open else frozenset()
