"""What two burials wish of each other, measured between all candidates once: distance wishes, and disturbance.

A disturbance of `TOO_MUCH` or more between two candidates means that their signals cannot be told apart. Two burials
that both send are not given such a pair, unless the drill wishes for a distance between just those two (a close pair is
a drill of its own).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fieldctl.drill.candidate import Candidate, Pairing
from fieldctl.drill.plan import Drill

TOO_MUCH = 1.0


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
        self.disturbed = _square(rows, lambda a, b: max(disturbance(a, b), disturbance(b, a))) if self.senders else []

    def allowed(
        self, *, wider: tuple[Span, float] | None = None, disturbance: bool = True
    ) -> dict[tuple[int, int], list[int]]:
        """For each pair of burials, in both directions, what the second may be for each candidate of the first.

        `wider` lets one span be missed by so many metres; without `disturbance` signals may disturb each other.
        """
        pairs: dict[tuple[int, int], list[int]] = {}
        for span in self.spans:
            slack_m = wider[1] if wider and wider[0] == span else 0.0
            rows = _partners(self.metres, lambda m, span=span, slack_m=slack_m: span.off_by_m(m) <= slack_m)  # type: ignore[misc]
            pairs[span.b, span.c] = pairs[span.c, span.b] = rows
        if disturbance and self.disturbed:
            apart = _partners(self.disturbed, lambda value: value < TOO_MUCH)
            for b, c in self.senders:
                pairs[b, c] = pairs[c, b] = apart
        return pairs


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


def _partners(square: Sequence[Sequence[float]], good: Callable[[float], bool]) -> list[int]:
    """For each candidate the bits of the others with which a pair is good."""
    found = []
    for i, row in enumerate(square):
        mask = 0
        for j, value in enumerate(row):
            if i != j and good(value):
                mask |= 1 << j
        found.append(mask)
    return found
