"""The transmitter's gate of a simulated target, and the truth about what really sends.

The gate is open inside a grant (dropping out as the grant says). `sent` holds the intervals of true time in which it
really was open; they are worked out lazily, at each change and when somebody asks. `past_grant_us` is computed from
the orders as they were given, by other code than the gate's own: how long after its permission anything still sent.
"""

from __future__ import annotations

from fieldctl.wire.obey import Held, sends_at
from sims.crystal import Crystal

NEVER = -(1 << 62)


class Gate:
    """Read-back and truth. Faults: `stuck` sends whatever was ordered and reads on; `lies` sends and reads off."""

    __slots__ = (
        "_allowed_ticks",
        "_allowed_until",
        "_limit_ticks",
        "_settled",
        "held",
        "lies",
        "past_grant_us",
        "sent",
        "sent_us",
        "stuck",
    )

    def __init__(self) -> None:
        self.held: Held | None = None
        self.stuck = False
        self.lies = False
        self.sent: list[tuple[int, int]] = []
        self.sent_us = 0
        self.past_grant_us = NEVER
        self._settled = 0
        self._allowed_until = NEVER
        self._allowed_ticks = NEVER
        self._limit_ticks = NEVER

    # ---- what the target itself can see ----------------------------------------------------------------------

    def ordered(self, ticks: int) -> bool:
        """Whether its grant lets it send at a tick."""
        return self.held is not None and sends_at(self.held, ticks)

    def reads_on(self, ticks: int) -> bool:
        """What is read back at the gate."""
        return self.stuck or (not self.lies and self.ordered(ticks))

    # ---- the truth -------------------------------------------------------------------------------------------

    def settle(self, now_us: int, clock: Crystal | None) -> None:
        """Note what was sent up to now; `clock` is None while there is no power, when nothing can send."""
        start, self._settled = self._settled, now_us
        if clock is None or now_us <= start:
            return
        if self.stuck or self.lies:
            self._note(start, now_us)
        elif self.held is not None:
            self._note_grant(self.held, clock, start, now_us)

    def _note_grant(self, held: Held, clock: Crystal, start: int, now_us: int) -> None:
        end = min(held.until, held.limit)
        if not held.drop_off:
            self._note(max(start, clock.true_us(held.from_)), min(now_us, clock.true_us(end)))
            return
        on, cycle = held.drop_on * 100_000, (held.drop_on + held.drop_off) * 100_000
        first = max(0, clock.ticks(start) - held.from_) // cycle
        for k in range(first, (end - held.from_) // cycle + 1):
            begin = held.from_ + k * cycle
            begin_us = clock.true_us(begin)
            if begin_us >= now_us:
                return
            self._note(max(start, begin_us), min(now_us, clock.true_us(min(begin + on, end))))

    def _note(self, start: int, end: int) -> None:
        if end <= start:
            return
        self.sent_us += end - start
        self.past_grant_us = max(self.past_grant_us, end - self._allowed_until)
        if self.sent and self.sent[-1][1] == start:
            self.sent[-1] = (self.sent[-1][0], end)
        else:
            self.sent.append((start, end))

    # ---- what was permitted, from the orders alone -----------------------------------------------------------

    def permit(self, until_ticks: int, limit_ticks: int, clock: Crystal) -> None:
        """A grant was given."""
        self._limit_ticks = limit_ticks
        self._allow(min(until_ticks, limit_ticks), clock)

    def renew(self, until_ticks: int, clock: Crystal, at_us: int) -> None:
        """It was renewed: never past the limit that it was given with, never after it ran out."""
        if at_us < self._allowed_until:
            self._allow(max(self._allowed_ticks, min(until_ticks, self._limit_ticks)), clock)

    def shorten(self, ticks: int, clock: Crystal) -> None:
        """It ends at a tick at the latest, and is not renewed beyond it."""
        if self._allowed_until > NEVER:
            self._limit_ticks = ticks
            self._allow(min(self._allowed_ticks, ticks), clock)

    def forbid(self, at_us: int) -> None:
        """Permission has ended, and nothing renews it."""
        self._allowed_until = min(self._allowed_until, at_us)
        self._allowed_ticks = NEVER

    def clock_jumped(self, clock: Crystal) -> None:
        """Permission is in ticks: a counter that leaps ahead reaches the end sooner."""
        if self._allowed_ticks > NEVER:
            self._allow(self._allowed_ticks, clock)

    def _allow(self, ticks: int, clock: Crystal) -> None:
        self._allowed_ticks = ticks
        self._allowed_until = clock.true_us(ticks)
