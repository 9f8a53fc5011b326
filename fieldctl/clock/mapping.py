"""TickMap: the ticks of one target in one boot, to host time and back.

A map is a few pieces, nearly always one. An answer that contradicts the samples before it is a finding and begins a new
piece; ticks that were counted before the jump keep to the old one. A tick that may have been counted on either side
(between the last answer before the jump and the first one after it, or twice when the clock went back) gets a ± that
covers both: nobody can know.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.clock.evidence import DRIFT_PPB, ClockEvidence, carry, restamp
from fieldctl.clock.exchange import TICKS_MAX, ClockFinding, ClockJumped, Exchange, ImpossibleAnswer
from fieldctl.clock.piece import Piece, jumped
from fieldctl.units import HostUs, NodeTicks

PIECES_MAX = 4  # a clock that jumps more often has been reported as often; its oldest stamps are in the ledger


@dataclass(slots=True)
class _Span:
    """A piece with the ticks that it may have counted; None: no limit known."""

    piece: Piece
    first: int | None
    last: int | None


class TickMap:
    """One target, one boot id: `add` exchanges, then stamp ticks. `to_host` holds the truth inside its ±."""

    __slots__ = ("_piece", "_spans", "exchanges", "impossible", "jumps", "late", "resent", "wanders")

    def __init__(self) -> None:
        self._piece: Piece | None = None
        self._spans: list[_Span] = []  # oldest first; the last one is _piece
        self.exchanges = 0  # that gave a sample
        self.resent = 0
        self.late = 0  # answers overtaken by a later one: checked, but they prove nothing new
        self.impossible = 0
        self.jumps = 0
        self.wanders = 0

    def add(self, exchange: Exchange) -> ClockFinding | None:
        """Learn from one exchange; what is wrong with the target's clock, if anything. Amortised O(1)."""
        if exchange.resent:
            self.resent += 1
            return None
        lo, hi = exchange.interval_ns()
        ticks = exchange.ticks
        if lo > hi:
            self.impossible += 1
            short = -(-(lo - hi) // 1_000)
            return ImpossibleAnswer(ticks, f"it came {short} µs sooner than its bytes and its turnaround allow")
        if not 0 <= ticks <= TICKS_MAX:
            self.impossible += 1
            return ImpossibleAnswer(ticks, f"{ticks} is no count of microseconds since it booted")
        piece = self._piece
        if piece is None:
            self._begin(ticks, lo, hi)
            return None
        finding: ClockFinding | None
        if ticks < piece.head.tick:
            finding = self._late(piece, ticks, lo, hi)
            if finding is None:
                self.late += 1
                return None
        else:
            finding = piece.take(ticks, lo, hi)
        if finding is None:
            self.exchanges += 1
            return None
        if isinstance(finding, ClockJumped):
            self.jumps += 1
        else:
            self.wanders += 1
        self._begin(ticks, lo, hi)
        return finding

    def to_host(self, ticks: NodeTicks) -> tuple[HostUs, int] | None:
        """(at_us, plus_minus_us) of a past tick, or of a coming one (wider the farther); None before any sample."""
        evidence = self.evidence(ticks)
        return None if evidence is None else restamp(evidence, ticks)

    def to_ticks(self, at_us: HostUs) -> tuple[NodeTicks, int] | None:
        """(ticks, ±) that the counter shows at a host moment, for orders; None before any sample."""
        if self._piece is None:
            return None
        head = self._piece.head
        guess = head.tick + at_us - (head.lo_ns + head.hi_ns) // 2_000
        for _ in range(2):  # the first step leaves at most 150 ppm of the distance, the second nothing to speak of
            stamp = restamp(ClockEvidence((self._piece.around(guess),)), NodeTicks(guess))
            guess += at_us - stamp[0]
        at, plus_minus = restamp(ClockEvidence((self._piece.around(guess),)), NodeTicks(guess))
        reach = abs(at_us - at) + plus_minus
        return NodeTicks(guess), reach + reach * DRIFT_PPB // 1_000_000_000 + 2

    def evidence(self, ticks: NodeTicks) -> ClockEvidence | None:
        """The few samples that `to_host` makes the stamp from: `restamp` gives exactly that stamp."""
        if self._piece is None:
            return None
        if len(self._spans) == 1:
            return ClockEvidence((self._piece.around(ticks),))
        could = [
            span.piece
            for span in self._spans
            if (span.first is None or ticks >= span.first) and (span.last is None or ticks <= span.last)
        ]
        if not could:  # a tick that the clock leapt over: cover what stands on either side
            could = [span.piece for span in self._spans]
        return ClockEvidence(tuple(piece.around(ticks) for piece in could))

    def settled(self, limit_us: int) -> bool:
        """Whether a stamp made at the last exchange had a ± of at most `limit_us`."""
        if self._piece is None:
            return False
        head = self._piece.head
        return restamp(ClockEvidence(((head,),)), NodeTicks(head.tick))[1] <= limit_us

    def width_now(self, at_us: HostUs) -> int | None:
        """The ± in µs of a stamp made for host moment `at_us`, which grows with silence; None before any sample."""
        if self._piece is None:
            return None
        head = self._piece.head
        lo, hi = carry(head, head.tick + max(0, at_us - head.lo_ns // 1_000))
        return -(-(hi - lo) // 2_000) + 1

    def rate_ppb(self) -> tuple[int, int] | None:
        """Bounds of what a tick lasts beyond one microsecond now, in parts of 1e9; None before any sample."""
        return None if self._piece is None else (self._piece.head.rate_lo_ppb, self._piece.head.rate_hi_ppb)

    def _late(self, piece: Piece, ticks: NodeTicks, lo: int, hi: int) -> ClockFinding | None:
        """What an answer that is older than the head contradicts, if anything."""
        bounds = [carry(sample, ticks) for sample in piece.around(ticks)]
        then = max(b[0] for b in bounds), min(b[1] for b in bounds)
        return jumped(ticks, then, (lo, hi)) if then[0] > hi or lo > then[1] else None

    def _begin(self, ticks: int, lo: int, hi: int) -> None:
        """Start a piece from one sample, and bound what the one before may have counted."""
        self.exchanges += 1
        first = None
        if self._spans:
            head = self._spans[-1].piece.head
            between = max(0, (hi - head.lo_ns) // 1_000)
            between += between * DRIFT_PPB // 1_000_000_000 + 2
            self._spans[-1].last = head.tick + between
            first = ticks - between
            self._spans = self._spans[1 - PIECES_MAX :]
        self._piece = Piece(ticks, lo, hi)
        self._spans.append(_Span(self._piece, first, None))
