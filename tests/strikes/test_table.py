"""The table of rules: a typical strike of each kind, each limit from both sides, and doubts that stay doubts.

All waveforms behind these numbers are invented: nothing published was found on a probe striking a pad.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.strikes import RULES, Kind, RecentStrike, StrikeFeatures, Taken, take_for, take_for_ints

KNOCK = StrikeFeatures(300, 750, 9_000, 250, 8, envelope=(255, 30, 8, 4, 2, 2, 2, 2))
STEP = StrikeFeatures(180, 24_000, 210_000, 300, 75, envelope=(140, 255, 220, 160, 120, 90, 60, 50))
RUMBLE = StrikeFeatures(150, 400_000, 1_900_000, 280, 85, envelope=(60, 80, 110, 130, 150, 190, 220, 255))


def ago(ms: int, features: StrikeFeatures = STEP) -> RecentStrike:
    return RecentStrike(ms * 1_000, features)


def taken(features: StrikeFeatures, *recent: RecentStrike) -> tuple[str, str]:
    found = take_for(features, recent)
    return found.kind.value, found.rule


def test_one_of_each() -> None:
    assert taken(KNOCK) == ("probe", "knock")
    assert taken(STEP) == ("step", "tread")
    assert taken(RUMBLE) == ("vehicle", "rumble")
    assert taken(replace(KNOCK, width_us=90_000)) == ("unsure", "neither")


@pytest.mark.parametrize("features", [KNOCK, STEP, RUMBLE])
def test_the_envelope_is_not_needed(features: StrikeFeatures) -> None:
    assert taken(replace(features, envelope=())) == taken(features)


AFTERPLAY = (255, 9, 9, 128, 9, 9, 9, 9)

EDGES = [
    (KNOCK, {"rise_us": 5_000}, "knock", {"rise_us": 5_250}, "neither"),
    (KNOCK, {"width_us": 60_000}, "knock", {"width_us": 60_250}, "neither"),
    (KNOCK, {"slow_percent": 49}, "knock", {"slow_percent": 50}, "neither"),
    (KNOCK, {"peak": 120}, "knock", {"peak": 119}, "knock-not-clear"),
    (KNOCK, {"peak": 80}, "knock-not-clear", {"peak": 79}, "faint"),
    (KNOCK, {"envelope": (255, 9, 9, 9, 127, 9, 9, 9)}, "knock", {"envelope": AFTERPLAY}, "knock-with-afterplay"),
    (KNOCK, {"rise_us": 4_000, "width_us": 4_000}, "knock", {"rise_us": 4_250, "width_us": 4_000}, "contradiction"),
    (KNOCK, {"repeats": 1, "repeat_ms": 900}, "knock", {"repeats": 1}, "contradiction"),
    (KNOCK, {"repeats": 1, "repeat_ms": 600}, "knock", {"repeats": 2, "repeat_ms": 600}, "knock-at-walking-pace"),
    (KNOCK, {"repeats": 3, "repeat_ms": 499}, "knock", {"repeats": 3, "repeat_ms": 500}, "knock-at-walking-pace"),
    (KNOCK, {"repeats": 3, "repeat_ms": 691}, "knock", {"repeats": 3, "repeat_ms": 690}, "knock-at-walking-pace"),
    (STEP, {"width_us": 120_000}, "tread", {"width_us": 119_750}, "neither"),
    (STEP, {"width_us": 399_750}, "tread", {"width_us": 400_000}, "neither"),
    (STEP, {"rise_us": 10_250}, "tread", {"rise_us": 10_000}, "neither"),
    (STEP, {"slow_percent": 50}, "tread", {"slow_percent": 49}, "neither"),
    (RUMBLE, {"width_us": 400_000}, "rumble", {"width_us": 399_999}, "contradiction"),
    (RUMBLE, {"rise_us": 50_000}, "rumble", {"rise_us": 49_750}, "neither"),
    (RUMBLE, {"slow_percent": 50}, "rumble", {"slow_percent": 49}, "neither"),
    (RUMBLE, {"envelope": (255, 0, 85, 0, 0, 0, 0, 0)}, "rumble", {"envelope": (255, 0, 84, 0, 0, 0, 0, 0)}, "neither"),
]  # fmt: skip


@pytest.mark.parametrize(("base", "inside", "rule", "outside", "other"), EDGES)
def test_each_limit_from_both_sides(
    base: StrikeFeatures, inside: dict[str, int], rule: str, outside: dict[str, int], other: str
) -> None:
    assert take_for(replace(base, **inside), ()).rule == rule
    assert take_for(replace(base, **outside), ()).rule == other


FIRM_STEP = replace(STEP, rise_us=8_000, slow_percent=30)  # firm snow: too quick and too bright to be sure of alone


@pytest.mark.parametrize(
    ("before", "rule"),
    [
        ((), "neither"),
        ((ago(600),), "walk"),
        ((ago(500),), "walk"),
        ((ago(690),), "walk"),
        ((ago(499),), "neither"),
        ((ago(691),), "neither"),
        ((ago(600, KNOCK),), "neither"),  # what came a pace before was no step
        ((ago(90, KNOCK), ago(600)), "walk"),  # the ringing in between does not hide it
        ((ago(4_000),), "neither"),
        ((ago(-600),), "neither"),  # an arrival out of order is not before it
    ],
)
def test_walking_is_known_by_the_step_before(before: tuple[RecentStrike, ...], rule: str) -> None:
    assert take_for(FIRM_STEP, before).rule == rule


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"rise_us": 5_250}, "walk"),
        ({"rise_us": 5_000}, "neither"),
        ({"width_us": 120_000}, "walk"),
        ({"width_us": 119_750}, "neither"),
        ({"width_us": 399_750}, "walk"),
        ({"width_us": 400_000}, "neither"),
    ],
)
def test_walking_has_the_limits_of_a_step(changed: dict[str, int], rule: str) -> None:
    assert take_for(replace(FIRM_STEP, **changed), (ago(600),)).rule == rule


@pytest.mark.parametrize("elsewhen", [-600, 0, 3_001])
def test_the_targets_own_count_is_asked_where_no_earlier_strike_is_known(elsewhen: int) -> None:
    counted = replace(KNOCK, repeats=3, repeat_ms=600)
    assert take_for(counted, ()).rule == "knock-at-walking-pace"
    assert take_for(counted, (ago(elsewhen),)).rule == "knock-at-walking-pace"
    assert take_for(counted, (ago(3_000),)).rule == "knock"  # what is known goes before what was counted


def test_a_knock_after_steps_is_still_a_probe_unless_it_keeps_their_pace() -> None:
    assert taken(KNOCK, ago(1_500), ago(2_100)) == ("probe", "knock")
    assert taken(KNOCK, ago(600)) == ("probe", "knock")
    assert taken(KNOCK, ago(600), ago(1_200)) == ("unsure", "knock-at-walking-pace")
    assert taken(KNOCK, ago(600, KNOCK), ago(1_200, KNOCK)) == ("unsure", "knock-at-walking-pace")
    assert taken(KNOCK, ago(1_200), ago(600)) == ("unsure", "knock-at-walking-pace")  # in any order
    assert taken(KNOCK, ago(600), ago(1_500)) == ("probe", "knock")


def test_the_reason_is_words_with_the_figures_that_decided() -> None:
    found = take_for(KNOCK, [ago(600)])
    assert found.reason == (
        "one sharp, short blow well above the noise (30.0 × the noise, up in 0.75 ms, over in 9 ms, "
        "1 at walking pace before it)"
    )


def test_unreadable_numbers_are_for_a_person() -> None:
    found = take_for_ints((1, 2, 3), [])
    assert (found.kind, found.rule) == (Kind.UNSURE, "unreadable")
    assert "not 3" in found.reason
    assert take_for_ints((), []).kind is Kind.UNSURE


def test_an_unreadable_earlier_strike_is_passed_over() -> None:
    found = take_for_ints(FIRM_STEP.as_ints(), [(100_000, (1, 2)), (600_000, STEP.as_ints())])
    assert found.rule == "walk"


def test_names_are_unique_and_pinned() -> None:
    """Names stand in ledgers: a row may be added, none renamed."""
    assert [(rule.name, rule.kind.value) for rule in RULES] == [
        ("contradiction", "unsure"),
        ("faint", "unsure"),
        ("knock-at-walking-pace", "unsure"),
        ("knock-with-afterplay", "unsure"),
        ("knock-not-clear", "unsure"),
        ("knock", "probe"),
        ("rumble", "vehicle"),
        ("walk", "step"),
        ("tread", "step"),
        ("neither", "unsure"),
    ]


ANY = st.builds(
    StrikeFeatures,
    peak=st.sampled_from([0, 79, 80, 119, 120, 65_535]),
    rise_us=st.sampled_from([0, 5_000, 5_001, 10_001, 50_000, 2_000_000]),
    width_us=st.sampled_from([0, 60_000, 60_001, 120_000, 400_000, 2_000_000]),
    energy=st.integers(0, 2_000),
    slow_percent=st.integers(0, 100),
    repeats=st.integers(0, 255),
    repeat_ms=st.integers(0, 3_000),
    envelope=st.just(()) | st.lists(st.integers(0, 255), min_size=8, max_size=8).map(tuple),
)
RECENT = st.lists(st.builds(RecentStrike, st.integers(-1_000_000, 5_000_000), ANY), max_size=12)


@given(ANY, RECENT)
def test_always_an_answer_the_same_from_the_ledger_and_in_any_order(
    f: StrikeFeatures, recent: list[RecentStrike]
) -> None:
    found = take_for(f, recent)
    assert isinstance(found, Taken)
    assert found.reason
    assert take_for(f, recent) == found
    assert take_for_ints(f.as_ints(), [(r.ago_us, r.features.as_ints()) for r in recent]) == found
    if len({r.ago_us for r in recent}) == len(recent):
        assert take_for(f, recent[::-1]) == found


@given(ANY, RECENT)
def test_claims_keep_apart(f: StrikeFeatures, recent: list[RecentStrike]) -> None:
    """No claim without its own physics: a probe is short, a step long, a vehicle longer; none of them is faint."""
    kind = take_for(f, recent).kind
    if kind is Kind.PROBE:
        assert f.width_us <= 60_000
        assert f.rise_us <= 5_000
        assert f.peak >= 120
    if kind is Kind.STEP:
        assert 120_000 <= f.width_us < 400_000
    if kind is Kind.VEHICLE:
        assert f.width_us >= 400_000
    if kind is not Kind.UNSURE:
        assert f.peak >= 80
        assert f.rise_us <= f.width_us
