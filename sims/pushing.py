"""Strikes over MQTT: pushed at once, and again with longer pauses until somebody acknowledges them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.wire.session import RESEND_MAX_US
from sims import node_words as words
from sims.storage import Logged

if TYPE_CHECKING:
    from sims.node import Node
    from sims.world import Handle

PUSH_MAX = 8  # strikes in one push
FIRST_US = 400_000  # as the controller's own resends over MQTT
SPREAD = 1.3  # so that targets that were struck together part


class Pusher:
    """The pushing of one target; does nothing on a medium where nobody speaks unasked."""

    __slots__ = ("_node", "_timer", "_wait")

    def __init__(self, node: Node) -> None:
        self._node = node
        self._timer: Handle | None = None
        self._wait = FIRST_US

    @property
    def _may(self) -> bool:
        node = self._node
        return node.on and node.session is not None and node.medium is not None and node.medium.pushes

    def begin(self) -> None:
        """The medium carries again: what waits goes out as if it were new."""
        self._wait = FIRST_US
        self._all()

    def new(self, logged: Logged) -> None:
        """A new strike, at once; those before it have had their turn."""
        if self._may:
            self._one(logged)
            self.soon()

    def soon(self) -> None:
        """Something was acknowledged or is new: what still waits comes soon."""
        self._wait = FIRST_US
        self._arm()

    def stop(self) -> None:
        """The power went."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _all(self) -> None:
        if self._may:
            for logged in self._node.storage.strikes[:PUSH_MAX]:
                self._one(logged)
            self._arm()

    def _one(self, logged: Logged) -> None:
        node = self._node
        now = node.scheduler.now_us()
        ticks = node.ticks(now)
        node.say(words.strike_message(node, logged, ticks, words.flags_now(node, ticks, now), None), 0, now)

    def _arm(self) -> None:
        self.stop()
        node = self._node
        if self._may and node.storage.strikes:
            wait = int(self._wait * node.rng.uniform(1.0, SPREAD))
            self._wait = min(self._wait * 2, RESEND_MAX_US)
            self._timer = node.scheduler.call_at(node.scheduler.now_us() + wait, node.guarded, self._all)
