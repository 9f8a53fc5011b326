"""A conversation with each target over a broker: nobody's turn, but the same tokens, orders and resends."""

from __future__ import annotations

from collections.abc import Iterator

from fieldctl.controller.known import Known
from fieldctl.controller.line import Ear, Line
from fieldctl.controller.ports import Outside
from fieldctl.links.link import Link
from fieldctl.units import BootId, HostUs, TargetId
from fieldctl.wire import envelope
from fieldctl.wire.session import Posted

IDLE_US = 1_000_000
EXERCISE_US = 250_000  # four exchanges a second bring the ± under 10 ms at 100 ms of jitter
HURRY_US = 250_000  # while its ± is close to what is promised, which is 15 ms at one exchange a second …
HURRY_FROM_US = 12_000
HURRY_EXERCISE_US = 125_000  # … and 10 ms at four: oftener, and the next question overtakes an answer under way
HURRY_FROM_EXERCISE_US = 7_000


class AirLine(Line):
    """A conversation with each target over a broker: nobody's turn, but the same tokens, orders and resends."""

    kind = "mqtt"

    def __init__(self, name: str, outside: Outside, ear: Ear) -> None:
        super().__init__(name, outside, ear)
        self._due: dict[int, int] = {}
        self._exercise: set[int] = set()

    def begin(self, link: Link) -> None:
        """See `Line`."""
        super().begin(link)
        now = self._now()
        for i, address in enumerate(self.members):
            self._due[address] = now + i * 10_000  # not all in one burst
        self._schedule()

    def join(self, known: Known) -> None:
        """See `Line`."""
        super().join(known)
        self._due[known.address] = self._now()
        self._schedule()

    def leave(self, known: Known) -> None:
        """See `Line`."""
        super().leave(known)
        self._due.pop(known.address, None)

    def post(self, known: Known, order: Posted) -> bool:
        """See `Line`."""
        taken = known.session.post(order)
        self._say(known, self._now(), token=False)
        self._schedule()
        return taken

    def overtake(self, known: Known, order: Posted) -> None:
        """See `Line`."""
        super().overtake(known, order)
        self._say(known, self._now(), token=False)
        self._schedule()

    def shout(self, payload: bytes, *, first: bool) -> None:  # noqa: ARG002 - a broker has no turns
        """See `Line`."""
        if self.link is not None:
            self.link.clear_unsent()
            self.link.send(payload, None)

    def pace(self, exercise: set[int], *, searching: bool) -> None:  # noqa: ARG002 - a broker is no radio source here
        """See `Line`."""
        joined = (exercise & self.members.keys()) - self._exercise
        self._exercise = exercise & self.members.keys()
        now = self._now()
        for address in sorted(joined):
            self._due[address] = now
        self._schedule()

    def message_arrived(self, link: Link, target: TargetId | None, payload: bytes, at: HostUs) -> None:
        """See `Receiver`."""
        if link is not self.link:
            return
        payload, before, after = envelope.unrelay(payload)
        env = envelope.read(payload)
        if env is not None and target is not None and env.address != int(target, 16):
            self.counts["misaddressed"] += 1
            if (known := self.members.get(int(target, 16))) is not None:
                self._ear.misaddressed(self, known, env.address)
            return
        known, message = self._take(payload, at, (before, after))
        if message is not None and known is not None:
            self._say(known, at, token=False)  # the next order need not wait for its time
            self._schedule()

    def _timer_rang(self) -> None:
        self._timer = None
        now = self._now()
        for address, known in self._due_members(now):
            self._say(known, now, token=True)
            self._due[address] = now + self._period(known, now)
        for known in self.members.values():
            deadline = known.session.next_deadline()
            if deadline is not None and deadline <= now:
                self._say(known, now, token=False)
        self._schedule()

    def _period(self, known: Known, now: HostUs) -> int:
        """How long until it is asked again; a wide ± is narrowed by asking more often."""
        playing = known.address in self._exercise
        period, hurry, limit = IDLE_US, HURRY_US, HURRY_FROM_US
        if playing:
            period, hurry, limit = EXERCISE_US, HURRY_EXERCISE_US, HURRY_FROM_EXERCISE_US
        clock = None if known.boot is None else known.clock.of(BootId(known.boot))
        width = None if clock is None else clock.width_now(now)
        return hurry if width is None or width > limit else period

    def _due_members(self, now: HostUs) -> Iterator[tuple[int, Known]]:
        for address, due in list(self._due.items()):
            if due <= now:
                yield address, self.members[address]

    def _say(self, known: Known, now: HostUs, *, token: bool) -> None:
        if self.link is None:
            return
        if not token and known.session.state != "open":  # the question for counters keeps to the ordinary pace
            for ended in known.session.expire(now):
                self._ear.order_ended(known, ended)
            return
        payload = self._payload_for(known, now, token=token)
        if payload is not None and self.link.send(payload, known.target) is None:
            self.counts["full"] += 1

    def _schedule(self) -> None:
        dues = [*self._due.values()]
        dues += [d for k in self.members.values() if (d := k.session.next_deadline()) is not None]
        self._set_timer(min(dues) if dues else None)
