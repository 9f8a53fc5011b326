"""A strike on its way from a target's log to the ledger: stamped, taken for something, committed, acknowledged.

It is acknowledged only after it is committed; whatever is reported twice is written once. A target that gives one
number to two different strikes is shown by name, with the ticks of the second, which has no number of its own.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

from fieldctl.controller.known import Known
from fieldctl.controller.pen import Pen
from fieldctl.controller.ports import Outside
from fieldctl.events import StrikeRecorded, StrikesDropped
from fieldctl.strikes import take_for_ints
from fieldctl.units import US_PER_S, BootId, HostTime, NodeTicks, Stamp, TargetId
from fieldctl.wire.messages import Ack, Strike

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldctl.ledger.entry import Entry

ACK_LIVES_US = 3 * US_PER_S  # an acknowledgement that is lost is asked for by the strike's next report
LATE_AFTER_US = 60 * US_PER_S  # so long on its way: a person looks at it
RECENT_US = 3 * US_PER_S  # as far back as the rules look
RECENT_MAX = 32
KEPT_NUMBERS = 256

Ordered = Callable[[Known, Ack, int], int | None]


class StrikeDesk:
    """Takes strikes of all targets."""

    def __init__(
        self,
        outside: Outside,
        pen: Pen,
        part_of: Callable[[TargetId, HostTime], tuple[str, str] | None],
        acknowledge: Ordered,
        odd: Callable[[Known, str, str], None],
    ) -> None:
        self._outside = outside
        self._pen = pen
        self._part_of = part_of
        self._acknowledge = acknowledge
        self._odd = odd
        self._writing: set[tuple[TargetId, int, int]] = set()
        self._acking: set[tuple[TargetId, int, int]] = set()
        self._numbers: dict[TargetId, dict[tuple[int, int], tuple[int, tuple[int, ...]]]] = {}
        self._recent: dict[TargetId, deque[tuple[int, int, tuple[int, ...]]]] = {}
        self._dropped: dict[tuple[TargetId, int], int] = {}

    def take(self, known: Known, strike: Strike) -> None:
        """A strike was reported, perhaps not for the first time."""
        boot, number = strike.strike_boot, strike.number
        key = (known.target, boot, number)
        if key in self._writing:
            return
        numbers = self._numbers.setdefault(known.target, {})
        before = numbers.get((boot, number))
        if before is not None:
            if before != (strike.strike_ticks, strike.features):
                self._odd(
                    known,
                    "repeats-numbers",
                    f"It gave number {number} of boot {boot} to two different strikes; the second one's ticks are "
                    f"{strike.strike_ticks}. "
                    "To do: update or replace it; judge its strikes of today by hand.",
                )
            self._ack(known, boot, number)
            return
        fact = self._fact(known, strike)
        self._writing.add(key)
        self._pen.write(fact, then=lambda entries: self._committed(known, strike, entries))
        self._count_dropped(known, strike)

    def _committed(self, known: Known, strike: Strike, _entries: Sequence[Entry]) -> None:
        boot, number = strike.strike_boot, strike.number
        self._writing.discard((known.target, boot, number))
        numbers = self._numbers.setdefault(known.target, {})
        numbers[boot, number] = (strike.strike_ticks, strike.features)
        while len(numbers) > KEPT_NUMBERS:
            del numbers[next(iter(numbers))]
        self._ack(known, boot, number)

    def _ack(self, known: Known, boot: int, number: int) -> None:
        key = (known.target, boot, number)
        if key in self._acking:
            return  # on its way; the strike was reported again meanwhile
        if self._acknowledge(known, Ack(boot, number), self._outside.clock.now() + ACK_LIVES_US) is not None:
            self._acking.add(key)

    def ack_ended(self, known: Known, ack: Ack) -> None:
        """An acknowledgement has its outcome; where it was lost the strike will be reported again."""
        self._acking.discard((known.target, ack.boot, ack.number))

    def _fact(self, known: Known, strike: Strike) -> StrikeRecorded:
        stamp, evidence, dated = self._stamp(known, strike)
        taken = take_for_ints(strike.features, self._earlier(known.target, strike))
        part = self._part_of(known.target, stamp.at)
        late = not dated or self._outside.clock.now() - stamp.at.us > LATE_AFTER_US
        return StrikeRecorded(
            target=known.target,
            boot=BootId(strike.strike_boot),
            number=strike.number,
            ticks=NodeTicks(strike.strike_ticks),
            at=stamp,
            features=strike.features,
            taken_for=taken.kind,
            rule=taken.rule,
            exercise=part[0] if part else None,
            burial=part[1] if part else None,
            link=known.line,
            clock=evidence,
            late=late,
        )

    def _stamp(self, known: Known, strike: Strike) -> tuple[Stamp, tuple[int, ...], bool]:
        """The stamp, what it was made from, and whether the target's own clock made it."""
        host = self._outside.clock.boot
        boot, ticks = BootId(strike.strike_boot), NodeTicks(strike.strike_ticks)
        found = known.clock.to_host(boot, ticks)
        evidence = known.clock.evidence(boot, ticks)
        now = self._outside.clock.now()
        if found is not None and evidence is not None and found[0] - found[1] <= now:
            return Stamp(HostTime(host, found[0]), found[1]), evidence.as_ints(), True
        # of an earlier boot of which this controller knows nothing: some time before now, and nobody can say when
        half = (now + 1) // 2
        return Stamp(HostTime(host, half), half), (), False

    def _earlier(self, target: TargetId, strike: Strike) -> list[tuple[int, tuple[int, ...]]]:
        recent = self._recent.setdefault(target, deque(maxlen=RECENT_MAX))
        found = [
            (strike.strike_ticks - ticks, features)
            for boot, ticks, features in recent
            if boot == strike.strike_boot and 0 < strike.strike_ticks - ticks <= RECENT_US
        ]
        recent.append((strike.strike_boot, strike.strike_ticks, strike.features))
        return found

    def _count_dropped(self, known: Known, strike: Strike) -> None:
        key = (known.target, strike.boot)
        if strike.dropped > self._dropped.get(key, 0):
            self._dropped[key] = strike.dropped
            self._pen.write(StrikesDropped(known.target, BootId(strike.boot), strike.dropped, self._outside.here()))
