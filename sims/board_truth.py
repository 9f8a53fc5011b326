"""What really happened at an emulated board: found from its file and from what went over its wire, by other code than
the product's and the firmware's.

`TickMap`: the emulator's clock is the host's CLOCK_MONOTONIC from a zero of its own, so that between ticks and that
clock lies one constant for each start. A board publishes its ticks at each turn of its loop; what is read is never
ahead of the truth, so the least difference ever seen is the constant, to within the time of a few instructions. True
time is CLOCK_MONOTONIC_RAW, which wanders against CLOCK_MONOTONIC: both are noted together now and then.

`Permits`: what the orders that a board confirmed allow it to send, against what its gate did.
"""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from fieldctl.wire import messages
from fieldctl.wire.messages import Message, Outcome, Result
from sims.board_bench import Bench
from sims.ptybus import raw_us

PAIR_EVERY_US = 200_000
NEVER = -(1 << 62)


def monotonic_us() -> int:
    """Microseconds of CLOCK_MONOTONIC."""
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1_000


class TickMap:
    """Ticks of one start of one board, as true time; look often."""

    def __init__(self) -> None:
        self._zero: int | None = None  # CLOCK_MONOTONIC at tick 0
        self._pairs: list[tuple[int, int]] = []  # monotonic, raw
        self.looks = 0

    def look(self, bench: Bench) -> None:
        """Compare the clocks now."""
        ticks = bench.ticks()
        self.seen(ticks, monotonic_us(), raw_us())

    def seen(self, ticks: int, mono_us: int, true_us: int) -> None:
        """Its ticks were not later than this just now."""
        self.looks += 1
        if self._zero is None or mono_us - ticks < self._zero:
            self._zero = mono_us - ticks
        if not self._pairs or mono_us - self._pairs[-1][0] >= PAIR_EVERY_US:
            self._pairs.append((mono_us, true_us))

    def true_us(self, ticks: int) -> int:
        """When its counter came, or will come, to read `ticks`."""
        assert self._zero is not None, "nobody has looked yet"
        mono = self._zero + ticks
        pairs = self._pairs
        i = min(max(bisect_right(pairs, (mono, 0)), 1), len(pairs) - 1)
        before = pairs[i - 1] if i else pairs[0]
        after = pairs[i]
        if after[0] == before[0]:
            return before[1] + mono - before[0]
        return before[1] + round((mono - before[0]) * (after[1] - before[1]) / (after[0] - before[0]))


@dataclass(frozen=True, slots=True)
class Pulse:
    """One time that the gate was open, in true µs."""

    on_us: int
    off_us: int


class Permits:
    """Until when a board may send, from the orders that it answered with done."""

    def __init__(self) -> None:
        self._asked: dict[int, tuple[Message, int]] = {}  # by counter: the order and when it was with the board
        self._until: list[tuple[int, int]] = []  # from a moment of true time: allowed until
        self._limit = 0  # ticks
        self._ticks = 0  # the end in ticks as it stands

    def ordered(self, counter: int, message: Message, at_us: int) -> None:
        """An order was with the board."""
        self._asked.setdefault(counter, (message, at_us))
        while len(self._asked) > 64:
            del self._asked[next(iter(self._asked))]

    def said(self, message: Message, at_us: int, clock: TickMap) -> None:
        """The board said something."""
        if not isinstance(message, Outcome) or message.result != Result.DONE or message.re is None:
            return
        asked = self._asked.pop(message.re, None)
        if asked is not None:
            self._obeyed(*asked, at_us, clock)

    def ended(self, at_us: int) -> None:
        """The power went, or the program began anew."""
        self._allow(at_us, at_us)

    def _obeyed(self, order: Message, ordered_us: int, said_us: int, clock: TickMap) -> None:
        match order:
            case messages.Grant():
                self._limit = order.limit
                self._ticks = min(order.until, order.limit)
                self._allow(ordered_us, clock.true_us(self._ticks))
            case messages.Renew():
                self._ticks = max(self._ticks, min(order.until, self._limit))
                self._allow(ordered_us, clock.true_us(self._ticks))
            case messages.Quiet() if order.ticks and clock.true_us(order.ticks) > said_us:
                self._ticks = self._limit = min(self._ticks, order.ticks)
                self._allow(said_us, clock.true_us(self._ticks))
            case messages.Quiet() | messages.AllOff() | messages.Leave() | messages.Sleep():
                self._limit = 0
                self._allow(said_us, said_us)

    def _allow(self, from_us: int, until_us: int) -> None:
        self._until.append((from_us, until_us))

    def past_us(self, pulses: Iterable[Pulse]) -> int:
        """How long after its permission it sent at worst; 0 or less is well."""
        return max((pulse.off_us - self._allowed(pulse.off_us) for pulse in pulses), default=NEVER)

    def _allowed(self, at_us: int) -> int:
        i = bisect_right(self._until, (at_us, 1 << 62))
        return self._until[i - 1][1] if i else NEVER
