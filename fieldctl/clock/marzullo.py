"""The general intersection of intervals, some of which may be false.

Sources: K. Marzullo and S. Owicki, "Maintaining the time in a distributed system", 1983 (the interval that holds the
truth if at most f sources are false); RFC 5905 §11.2.1 (the same, with the smallest f that leaves anything). Neither
was at hand as a whole. Intervals are closed: two that touch agree at that point.

A TickMap needs only the case of two, which it does in place; this is the reference that its tests compare with, and
what says how far apart two intervals are when a clock jumped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Interval = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Agreement:
    """The interval that the most sources share, and the indexes of those that do not reach it."""

    lo: int
    hi: int
    votes: int
    against: tuple[int, ...]


def _edges(intervals: Sequence[Interval]) -> list[tuple[int, int]]:
    """Ends in order, (place, −1 for a lower and +1 for an upper end): lower ends first, as intervals are closed."""
    for lo, hi in intervals:
        if lo > hi:
            raise ValueError(f"an interval runs from its lower to its upper end, not from {lo} to {hi}")
    return sorted([(lo, -1) for lo, _ in intervals] + [(hi, 1) for _, hi in intervals])


def most_agreed(intervals: Sequence[Interval]) -> Agreement:
    """The first of the intervals shared by the largest number of sources; ValueError when there are none."""
    edges = _edges(intervals)
    if not edges:
        raise ValueError("no intervals: at least one is needed")
    votes = best = 0
    lo = hi = edges[0][0]
    for i, (place, end) in enumerate(edges):
        votes -= end
        if votes > best:
            best, lo, hi = votes, place, edges[i + 1][0]
    against = tuple(i for i, (a, b) in enumerate(intervals) if b < lo or a > hi)
    return Agreement(lo, hi, best, against)


def surely_within(intervals: Sequence[Interval], false_at_most: int) -> Interval | None:
    """The smallest interval sure to hold the truth if at most so many are false; None when more must be."""
    if not 0 <= false_at_most < len(intervals):
        raise ValueError(f"false_at_most is 0 to {len(intervals) - 1}, not {false_at_most}")
    need = len(intervals) - false_at_most
    edges = _edges(intervals)
    lo = _first_with(need, edges)
    if lo is None:
        return None
    hi = _first_with(need, [(-place, -end) for place, end in reversed(edges)])
    assert hi is not None, "covered from below but not from above"
    return lo, -hi


def _first_with(need: int, edges: Sequence[tuple[int, int]]) -> int | None:
    """The first place that `need` intervals cover."""
    votes = 0
    for place, end in edges:
        votes -= end
        if votes >= need:
            return place
    return None


def gap(one: Interval, other: Interval) -> int:
    """How far `other` must move to touch `one`: 0 when they meet, positive when it lies too early."""
    if other[1] < one[0]:
        return one[0] - other[1]
    return min(0, one[1] - other[0])
