import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.keying import Keying, longest_on_ms
from fieldctl.physics.keying_plan import OVERLAP_AT_MOST_S, Wish, plan_keying
from fieldctl.physics.pulses import Train, alone_share, covered_ms, drift, overlap_chance, overlapped_cycles, pulses

lawful = st.integers(700, 1300).flatmap(
    lambda period: st.builds(Keying, st.just(period), st.integers(70, longest_on_ms(period)))
)
trains_of = st.lists(st.builds(Train, lawful, st.integers(-2000, 2000)), min_size=1, max_size=4)


def _on(train, t):
    return ((t - train.first_ms) % train.keying.period_ms) < train.keying.on_ms


@settings(max_examples=60, deadline=None)
@given(trains_of, st.integers(0, 5000), st.integers(1, 6000))
def test_pulses_are_the_milliseconds_that_are_on(trains, begin, length):
    """Against the pattern counted millisecond by millisecond."""
    found = pulses(trains, begin, begin + length)
    t = np.arange(begin, begin + length)
    for i, train in enumerate(trains):
        on = np.zeros(length, dtype=bool)
        for start, end in zip(found.start_ms[found.who == i], found.end_ms[found.who == i], strict=True):
            on |= (t >= start) & (t < end)
        np.testing.assert_array_equal(on, _on(train, t))
    assert (np.diff(found.start_ms) >= 0).all()


@settings(max_examples=60, deadline=None)
@given(trains_of)
def test_covered_is_counted_millisecond_by_millisecond(trains):
    first, others = trains[0], trains[1:]
    mine = pulses([first], 0, 7000)
    expected = [
        sum(any(_on(o, t) for o in others) for t in range(int(a), int(b)))
        for a, b in zip(mine.start_ms, mine.end_ms, strict=True)
    ]
    np.testing.assert_allclose(covered_ms(first, others, 0, 7000), expected)


def test_no_trains_no_pulses():
    assert len(pulses([], 0, 1000).who) == 0
    assert len(overlapped_cycles([], 3)) == 3
    assert alone_share([], 0, 1000).shape == (0,)
    assert alone_share([Train(Keying(), 5000)], 0, 1000).tolist() == [1.0]


def test_overlap_by_cycle():
    a, b = Train(Keying(1000, 100), 0), Train(Keying(1010, 100), 950)
    hit = overlapped_cycles([a, b], 300)
    # b creeps onto the next pulse of a from the first cycle on, is past it after (100 + 50)/10 cycles, and is back
    # 101 cycles later
    assert hit[:14].all()
    assert not hit[16:80].any()
    assert hit[90:110].any()


def test_overlap_chance_at_its_ends():
    assert overlap_chance(1, 600, 1000) == 0.0
    assert overlap_chance(0, 600, 1000) == 0.0
    assert overlap_chance(2, 600, 1000) == 1.0
    assert overlap_chance(30, 100, 1000) == 1.0


def test_equal_periods_do_not_drift():
    assert drift(Keying(1000, 70), Keying(1000, 300)).returns_ms == np.inf


def _drifted(trains, ppm):
    """The same trains by clocks that are off in opposite directions, as whole trains of stretched time."""
    return [
        (t.first_ms * (1 + s * ppm * 1e-6), t.keying.period_ms * (1 + s * ppm * 1e-6), t.keying.on_ms)
        for t, s in zip(trains, [1, -1] * len(trains), strict=False)
    ]


def _gaps(trains, ppm, at_s):
    """Smallest gap between any two pulses' spans near a moment; negative when they overlap."""
    found = []
    rows = _drifted(trains, ppm)
    for i, (f1, p1, o1) in enumerate(rows):
        start = f1 + p1 * np.floor((at_s * 1000 - f1) / p1)
        for f2, p2, o2 in rows[i + 1 :]:
            other = f2 + p2 * np.floor((start - f2) / p2)
            found += [start - (other + o2), other + p2 - (start + o1)]
    return min(found)


@pytest.mark.parametrize("count", [2, 3])
def test_apart_stays_apart_through_the_drift_it_was_planned_for(count):
    planned = plan_keying(count, Wish.APART)
    assert planned.met
    assert planned.said == ""
    assert planned.holds_s >= 900
    for at_s in (1, 300, 600, 890):
        assert _gaps(planned.trains, 150, at_s) > 0
    assert alone_share(planned.trains, 0, 900_000).tolist() == [1.0] * count


def test_what_cannot_be_kept_apart_says_so_and_gives_the_nearest():
    planned = plan_keying(6, Wish.APART)
    assert not planned.met
    assert "489 s only, not for 900 s" in planned.said
    assert planned.holds_s == pytest.approx((1300 / 6 - 70) / 0.3)
    assert _gaps(planned.trains, 150, planned.holds_s - 10) > 0
    better_clocks = plan_keying(6, Wish.APART, drift_ppm=20)
    assert better_clocks.met
    crowd = plan_keying(19, Wish.APART)
    assert not crowd.met
    assert "18 are the most" in crowd.said
    assert plan_keying(18, Wish.APART, lasts_s=1, drift_ppm=1).met


def test_clash_clashes_through_the_drift_it_was_planned_for():
    planned = plan_keying(3, Wish.CLASH)
    assert planned.met
    for at_s in (1, 450, 890):
        assert _gaps(planned.trains, 150, at_s) < 0
    assert alone_share(planned.trains, 0, 900_000).tolist() == [0.0] * 3
    long = plan_keying(2, Wish.CLASH, lasts_s=7200)
    assert not long.met
    assert "3000 s only" in long.said
    assert long.trains[0].keying == Keying(1300, 900)


def test_fall_overlaps_now_and_then_but_never_for_long():
    planned = plan_keying(3, Wish.FALL, seed=4)
    assert planned.met
    shares = alone_share(planned.trains, 0, 3_600_000)
    assert (shares > 0.4).all()
    assert (shares < 0.95).all()
    for i, a in enumerate(planned.trains):
        for b in planned.trains[i + 1 :]:
            assert drift(a.keying, b.keying).lasts_ms <= OVERLAP_AT_MOST_S * 1000 * 1.001
    assert plan_keying(3, Wish.FALL, seed=4) == planned
    assert plan_keying(3, Wish.FALL, seed=5) != planned


def test_too_many_to_fall_freely_says_so():
    crowd = plan_keying(100, Wish.FALL)
    assert not crowd.met
    assert "6 ms between periods" in crowd.said
    assert all(t.keying.legal for t in crowd.trains)


@given(st.integers(1, 700), st.sampled_from(Wish))
@settings(max_examples=60, deadline=None)
def test_whatever_is_asked_the_answer_is_lawful(count, wish):
    planned = plan_keying(count, wish)
    assert len(planned.trains) == count
    assert all(t.keying.legal for t in planned.trains)
    assert planned.met == (not planned.said)


def test_senseless_wishes_are_refused():
    for bad in ({"count": 0}, {"count": 2, "lasts_s": 0.0}, {"count": 2, "drift_ppm": -1.0}):
        with pytest.raises(ValueError, match="at least one transmitter"):
            plan_keying(**{"wish": Wish.APART, **bad})


def test_perfect_clocks_hold_for_ever():
    assert plan_keying(4, Wish.APART, drift_ppm=0.0).holds_s == np.inf
    assert plan_keying(1, Wish.CLASH).holds_s == np.inf
