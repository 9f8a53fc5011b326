"""The samples of one clock that did not jump: running intersection, rate bounds, bounded history.

`take` is the running intersection of Marzullo: the interval of the last sample, carried to the new tick and widened by
what the rate may do meanwhile, meets the new one. The result (the head) therefore holds what all samples before it
prove. Once a second it becomes a node of the history, and two more things happen:

* the rate is narrowed: the mean rate between an old node and this one is known from their intervals, and the rate now
  lies within half of what it can wander in that time. Ages take turns, one for each node, so that the work stays O(1):
  short ages serve steady links, long ones links with much jitter.
* what is new is carried back: a node learns from those after it until nothing improves any more. A tick between two
  nodes is then bounded by its two neighbours alone, with all that was learnt before and after.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right

from fieldctl.clock.evidence import DRIFT_PPB, WANDER_PPB_PER_S, ClockSample
from fieldctl.clock.exchange import ClockJumped, ClockWandered
from fieldctl.clock.marzullo import gap
from fieldctl.units import US_PER_S, NodeTicks

NODE_STEP_US = 1 * US_PER_S  # a tick half-way loses at most 0.15 ms against a denser history
NODES_MAX = 600  # ten minutes of a target asked every second: a strike that comes later is rare, and only wider
NODES_CUT = 60  # cut in one go, so that the shifting is paid once a minute
CARRY_BACK_MAX = 64  # nodes: after a minute at 150 ppm an old interval gains nothing from a new one
RATE_AGES_US = tuple(s * US_PER_S for s in (30, 60, 120, 240, 480))
RATE_SPAN_MIN_US = 10 * US_PER_S  # over less, even a wire proves no rate better than ±150 ppm

_US_PER_PPB = 1_000_000 // WANDER_PPB_PER_S  # the rate wanders 1 ppb in so many µs
_US_PER_MEAN_PPB = 2 * _US_PER_PPB
assert _US_PER_PPB * WANDER_PPB_PER_S == 1_000_000, "the wander divides a million"


class Piece:
    """One uninterrupted stretch of a target's clock, from its first sample on."""

    __slots__ = ("_age", "_his", "_los", "_rate_his", "_rate_los", "_ticks", "first", "head")

    def __init__(self, ticks: int, lo_ns: int, hi_ns: int) -> None:
        self.head = ClockSample(ticks, lo_ns, hi_ns, -DRIFT_PPB, DRIFT_PPB)
        self.first = self.head
        self._ticks = array("q", [ticks])
        self._los = array("q", [lo_ns])
        self._his = array("q", [hi_ns])
        self._rate_los = array("q", [-DRIFT_PPB])
        self._rate_his = array("q", [DRIFT_PPB])
        self._age = 0

    def __len__(self) -> int:
        return len(self._ticks)

    def take(self, ticks: int, lo: int, hi: int) -> ClockJumped | ClockWandered | None:
        """Intersect with a sample not older than the head; a finding leaves the piece as it was. Amortised O(1)."""
        tick, head_lo, head_hi, rate_lo, rate_hi = self.head
        d = ticks - tick
        allow = d // _US_PER_MEAN_PPB + 1
        mean_lo, mean_hi = rate_lo - allow, rate_hi + allow
        if mean_lo < -DRIFT_PPB:
            mean_lo = -DRIFT_PPB
        if mean_hi > DRIFT_PPB:
            mean_hi = DRIFT_PPB
        then_lo = head_lo + d * 1_000 + d * mean_lo // 1_000_000
        then_hi = head_hi + d * 1_000 - (-d * mean_hi) // 1_000_000
        if then_lo > hi or lo > then_hi:
            return jumped(ticks, (then_lo, then_hi), (lo, hi))
        if then_lo > lo:
            lo = then_lo
        if then_hi < hi:
            hi = then_hi
        allow = d // _US_PER_PPB + 1
        rate_lo -= allow
        rate_hi += allow
        if rate_lo < -DRIFT_PPB:
            rate_lo = -DRIFT_PPB
        if rate_hi > DRIFT_PPB:
            rate_hi = DRIFT_PPB
        if ticks - self._ticks[-1] >= NODE_STEP_US:
            rate_lo, rate_hi = self._narrowed(ticks, lo, hi, rate_lo, rate_hi)
            if rate_lo > rate_hi:
                return ClockWandered(NodeTicks(ticks), rate_lo - rate_hi)
            self.head = ClockSample(ticks, lo, hi, rate_lo, rate_hi)
            self._carry_back(self.head)
            self._append(self.head)
        else:
            self.head = ClockSample(ticks, lo, hi, rate_lo, rate_hi)
        return None

    def around(self, ticks: int) -> tuple[ClockSample, ...]:
        """The one or two samples that bound a tick best."""
        head = self.head
        if ticks >= head.tick:
            return (head,)
        after = bisect_right(self._ticks, ticks)
        later = self._node(after) if after < len(self._ticks) else head
        return (self._node(after - 1), later) if after else (later,)

    def _node(self, i: int) -> ClockSample:
        return ClockSample(self._ticks[i], self._los[i], self._his[i], self._rate_los[i], self._rate_his[i])

    def _append(self, node: ClockSample) -> None:
        columns = (self._ticks, self._los, self._his, self._rate_los, self._rate_his)
        for column, value in zip(columns, node, strict=True):
            column.append(value)
        if len(self._ticks) > NODES_MAX:
            for column in columns:
                del column[:NODES_CUT]

    def _narrowed(self, ticks: int, lo: int, hi: int, rate_lo: int, rate_hi: int) -> tuple[int, int]:
        """The rate bounds at a new node, narrowed by one old node; lower above upper when they contradict."""
        age = RATE_AGES_US[self._age]
        self._age = (self._age + 1) % len(RATE_AGES_US)
        old = max(0, bisect_right(self._ticks, ticks - age) - 1)
        span = ticks - self._ticks[old]
        if span < RATE_SPAN_MIN_US:
            return rate_lo, rate_hi
        allow = span // _US_PER_MEAN_PPB + 1
        least = (lo - self._his[old] - span * 1_000) * 1_000_000 // span - allow
        most = -((self._los[old] + span * 1_000 - hi) * 1_000_000 // span) + allow
        return max(rate_lo, least), min(rate_hi, most)

    def _carry_back(self, node: ClockSample) -> None:
        """Tell the nodes before a new one what it proves, until one learns less than a microsecond."""
        ticks, los, his, rate_los, rate_his = self._ticks, self._los, self._his, self._rate_los, self._rate_his
        tick, lo, hi, rate_lo, rate_hi = node
        for i in range(len(ticks) - 1, max(-1, len(ticks) - 1 - CARRY_BACK_MAX), -1):
            d = tick - ticks[i]
            allow = d // _US_PER_MEAN_PPB + 1
            back_lo = lo - d * 1_000 + -d * min(DRIFT_PPB, rate_hi + allow) // 1_000_000
            back_hi = hi - d * 1_000 - d * max(-DRIFT_PPB, rate_lo - allow) // 1_000_000
            tick, lo, hi = ticks[i], los[i], his[i]
            if back_lo <= lo + 1_000 and back_hi >= hi - 1_000:
                return
            lo, hi = max(lo, back_lo), min(hi, back_hi)
            if lo > hi:  # a clock that breaks the limits: the next samples will say so
                return
            los[i], his[i] = lo, hi
            allow = d // _US_PER_PPB + 1
            rate_lo, rate_hi = max(rate_los[i], rate_lo - allow), min(rate_his[i], rate_hi + allow)
            if rate_lo > rate_hi:
                return
            rate_los[i], rate_his[i] = rate_lo, rate_hi


def jumped(ticks: int, expected: tuple[int, int], said: tuple[int, int]) -> ClockJumped:
    """The finding for two intervals in ns that do not meet; ahead when the tick came too early."""
    by_ns = gap(expected, said)
    return ClockJumped(NodeTicks(ticks), by_ns // 1_000 if by_ns > 0 else -(-by_ns // 1_000))
