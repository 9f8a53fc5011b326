"""Intersection of intervals against published examples and against brute force.

Sources. Marzullo & Owicki 1983 and RFC 5905 §11.2.1 were not at hand as a whole, and neither is quoted here.
  * The four worked examples: Wikipedia, "Marzullo's algorithm" (seen in a stored copy; second-hand for Marzullo, whose
    thesis of 1984 it names).
  * The definition of RFC 5905 §11.2.1 (the lowest and highest point that at least m − f intervals hold, with the
    smallest f that leaves any): memory, and read second-hand in the documents of implementations; recomputed here by
    brute force over all points (derived).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.clock.marzullo import gap, most_agreed, surely_within


def test_three_that_agree() -> None:
    found = most_agreed([(8, 12), (11, 13), (10, 12)])  # 10 ± 2, 12 ± 1, 11 ± 1 give 11.5 ± 0.5
    assert (found.lo, found.hi, found.votes, found.against) == (11, 12, 3, ())


def test_two_of_three_agree_and_the_third_is_named() -> None:
    found = most_agreed([(8, 12), (11, 13), (14, 15)])
    assert (found.lo, found.hi, found.votes, found.against) == (11, 12, 2, (2,))


def test_two_intervals_with_as_many_votes() -> None:
    """The example names both [8, 9] and [10, 12]; ours gives the first, and what is sure spans both."""
    intervals = [(8, 9), (8, 12), (10, 12)]
    found = most_agreed(intervals)
    assert (found.lo, found.hi, found.votes) == (8, 9, 2)
    assert surely_within(intervals, 1) == (8, 12)


def test_the_most_agreed_is_optimistic_where_one_may_be_false() -> None:
    """[10, 12], [11, 13], [11.99, 13]: all agree on [11.99, 12]; if one may be false only [11, 13] is sure."""
    intervals = [(1_000, 1_200), (1_100, 1_300), (1_199, 1_300)]
    found = most_agreed(intervals)
    assert (found.lo, found.hi, found.votes) == (1_199, 1_200, 3)
    assert surely_within(intervals, 1) == (1_100, 1_300)


INTERVALS = st.lists(
    st.tuples(st.integers(0, 30), st.integers(0, 12)).map(lambda p: (p[0], p[0] + p[1])), min_size=1, max_size=9
)


def covering(intervals: list[tuple[int, int]], place: float) -> int:
    return sum(lo <= place <= hi for lo, hi in intervals)


@given(INTERVALS)
def test_most_agreed_against_brute_force(intervals: list[tuple[int, int]]) -> None:
    votes = {half / 2: covering(intervals, half / 2) for half in range(90)}
    best = max(votes.values())
    lo = min(place for place, n in votes.items() if n == best)
    hi = lo
    while votes.get(hi + 0.5) == best:
        hi += 0.5
    found = most_agreed(intervals)
    assert found.votes == best
    assert found.lo == lo
    assert found.hi <= hi  # the shared interval itself; where two of them touch, brute force runs on into the next
    assert {i for i, (a, b) in enumerate(intervals) if b < found.lo or a > found.hi} == set(found.against)
    assert covering(intervals, found.hi) == best


@given(INTERVALS, st.data())
def test_surely_within_against_brute_force(intervals: list[tuple[int, int]], data: st.DataObject) -> None:
    false = data.draw(st.integers(0, len(intervals) - 1))
    places = [h / 2 for h in range(90) if covering(intervals, h / 2) >= len(intervals) - false]
    found = surely_within(intervals, false)
    assert found == ((places[0], places[-1]) if places else None)


@given(INTERVALS)
def test_all_agree_when_the_plain_intersection_is_not_empty(intervals: list[tuple[int, int]]) -> None:
    lo, hi = max(a for a, _ in intervals), min(b for _, b in intervals)
    assert surely_within(intervals, 0) == ((lo, hi) if lo <= hi else None)
    assert (most_agreed(intervals).votes == len(intervals)) == (lo <= hi)


@given(INTERVALS, INTERVALS)
def test_the_gap_is_the_least_move_that_makes_two_meet(
    ones: list[tuple[int, int]], others: list[tuple[int, int]]
) -> None:
    one, other = ones[0], others[0]
    by = gap(one, other)
    least = min((d for d in range(-60, 61) if other[0] + d <= one[1] and other[1] + d >= one[0]), key=abs)
    assert by == least


@pytest.mark.parametrize(
    "call", [lambda: most_agreed([]), lambda: most_agreed([(2, 1)]), lambda: surely_within([(0, 1)], 1)]
)
def test_what_cannot_be_asked_says_what_was_expected(call: object) -> None:
    with pytest.raises(ValueError, match=r"interval|false"):
        call()  # type: ignore[operator]
