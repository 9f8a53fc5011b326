"""What two burials wish of each other, measured between all candidates once: distance wishes, and disturbance.

A disturbance of `TOO_MUCH` or more between two candidates means that their signals cannot be told apart. Two burials
that both send are not given such a pair, unless the drill wishes for a distance between just those two (a close pair is
a drill of its own).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fieldctl.drill.candidate import Candidate, Pairing
from fieldctl.drill.plan import Drill

TOO_MUCH = 1.0


Allowed = dict[tuple[int, int], list[int]]
"""By two burials: for each candidate of the first, the bits of those that the second may be."""


@dataclass(frozen=True, slots=True)
class Span:
    """All distance wishes between two burials as one: places in the drill, least and most metres."""

    b: int
    c: int
    least_m: float
    most_m: float

    def off_by_m(self, m: float) -> float:
        """How far a distance misses the wish; 0 when it meets it."""
        return max(self.least_m - m, m - self.most_m, 0.0)


class Pairs:
    """The wishes between burials of one drill over one row of candidates."""

    def __init__(self, drill: Drill, rows: Sequence[Candidate], distance: Pairing, disturbance: Pairing) -> None:
        self.spans = spans(drill)
        self.metres = _square(rows, distance) if self.spans else []
        wished = {(span.b, span.c) for span in self.spans}
        sends = [b for b, burial in enumerate(drill.burials) if burial.signal.kind != "never"]
        self.senders = [(b, c) for b in sends for c in sends if b < c and (b, c) not in wished]
        disturbed = _square(rows, lambda a, b: max(disturbance(a, b), disturbance(b, a))) if self.senders else []
        apart = _partners(disturbed, -math.inf, math.nextafter(TOO_MUCH, 0))
        self._of_span = {(s.b, s.c): _partners(self.metres, s.least_m, s.most_m) for s in self.spans}
        self._of_senders = dict.fromkeys(self.senders, apart)

    def allowed(self) -> Allowed:
        """For each pair of burials, in both directions, what the second may be for each candidate of the first."""
        return _both_ways({**self._of_span, **self._of_senders})

    def without(self, span: Span) -> Allowed:
        """The same without one wish for a distance."""
        rest = {pair: rows for pair, rows in self._of_span.items() if pair != (span.b, span.c)}
        return _both_ways({**rest, **self._of_senders})

    def wider(self, span: Span, by_m: float) -> Allowed:
        """The same with one wish for a distance that may be missed by so many metres."""
        by_m += 1e-9  # a miss is a difference of two roundings
        looser = _partners(self.metres, span.least_m - by_m, span.most_m + by_m)
        return _both_ways({**self._of_span, **self._of_senders, (span.b, span.c): looser})

    def undisturbed(self) -> Allowed:
        """The same where signals may disturb each other as they like."""
        return _both_ways(self._of_span)


def spans(drill: Drill) -> tuple[Span, ...]:
    """The distance wishes of a drill, one for each pair of burials, in the drill's order."""
    place = {burial.name: b for b, burial in enumerate(drill.burials)}
    merged: dict[tuple[int, int], Span] = {}
    for burial in drill.burials:
        for wish in burial.apart:
            b, c = sorted((place[burial.name], place[wish.other]))
            old = merged.get((b, c), Span(b, c, 0.0, float("inf")))
            merged[b, c] = Span(b, c, max(old.least_m, wish.least_m), min(old.most_m, wish.most_m))
    return tuple(merged[key] for key in sorted(merged))


def _square(rows: Sequence[Candidate], pairing: Pairing) -> list[list[float]]:
    """A number for each pair, measured once from the lower target id to the higher, so that both ways agree."""
    square = [[0.0] * len(rows) for _ in rows]
    for i, a in enumerate(rows):
        for j in range(i):
            square[i][j] = square[j][i] = pairing(rows[j], a)
    return square


def _partners(square: Sequence[Sequence[float]], least: float, most: float) -> list[int]:
    """For each candidate the bits of the others whose number lies between the two."""
    found = []
    for i, row in enumerate(square):
        mask = 0
        for j, value in enumerate(row):
            if least <= value <= most:
                mask |= 1 << j
        found.append(mask & ~(1 << i))
    return found


def _both_ways(pairs: dict[tuple[int, int], list[int]]) -> Allowed:
    return pairs | {(c, b): rows for (b, c), rows in pairs.items()}
