"""StrikeFeatures: numbers there and back, their limits, their room on the wire."""

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.strikes import StrikeFeatures
from fieldctl.strikes.features import BEGIN_NOISE, ENVELOPE_SLOT_US, ENVELOPE_SLOTS, SAMPLE_US

FEATURES = st.builds(
    StrikeFeatures,
    peak=st.integers(0, 65_535),
    rise_us=st.integers(0, 2_000_000),
    width_us=st.integers(0, 2_000_000),
    energy=st.integers(0, 2_000),
    slow_percent=st.integers(0, 100),
    repeats=st.integers(0, 255),
    repeat_ms=st.integers(0, 3_000),
    envelope=st.just(()) | st.lists(st.integers(0, 255), min_size=8, max_size=8).map(tuple),
)


@given(FEATURES)
def test_there_and_back(features: StrikeFeatures) -> None:
    ints = features.as_ints()
    assert StrikeFeatures.from_ints(ints) == features
    assert StrikeFeatures.from_ints(list(ints)) == features
    assert all(type(i) is int for i in ints)


def test_the_largest_takes_39_bytes_of_cbor() -> None:
    largest = StrikeFeatures(65_535, 2_000_000, 2_000_000, 2_000, 100, 255, 3_000, (255,) * 8)
    assert len(cbor2.dumps(list(largest.as_ints()))) == 40  # with the head of the array, of the 104 of a message


def test_what_a_later_version_appends_is_passed_over() -> None:
    features = StrikeFeatures(200, 500, 6_000, envelope=(255, 40, 9, 3, 1, 1, 1, 1))
    assert StrikeFeatures.from_ints((*features.as_ints(), 5, 6, 7)) == features


@pytest.mark.parametrize(
    ("ints", "names"),
    [
        ((), "7 numbers"),
        ((1,) * 6, "7 numbers"),
        ((1,) * 14, "7 numbers"),
        ((65_536, 0, 0, 0, 0, 0, 0), "peak"),
        ((0, -1, 0, 0, 0, 0, 0), "rise_us"),
        ((0, 0, 2_000_001, 0, 0, 0, 0), "width_us"),
        ((0, 0, 0, 2_001, 0, 0, 0), "energy"),
        ((0, 0, 0, 0, 101, 0, 0), "slow_percent"),
        ((0, 0, 0, 0, 0, 256, 0), "repeats"),
        ((0, 0, 0, 0, 0, 0, 3_001), "repeat_ms"),
        ((0, 0, 0, 0, 0, 0, "x"), "repeat_ms"),
        ((0.5, 0, 0, 0, 0, 0, 0), "peak"),
        ((1, 1, 1, 1, 1, 1, 1, 256, 0, 0, 0, 0, 0, 0, 0), "slot"),
        ((1, 1, 1, 1, 1, 1, 1, None, 0, 0, 0, 0, 0, 0, 0), "slot"),
    ],
)
def test_numbers_out_of_range_are_named(ints: tuple[int, ...], names: str) -> None:
    with pytest.raises(ValueError, match=names):
        StrikeFeatures.from_ints(ints)


def test_an_envelope_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="8"):
        StrikeFeatures(1, 1, 1, envelope=(1, 2, 3))


def test_the_measuring_contract() -> None:
    assert SAMPLE_US * 4_000 == 1_000_000
    assert ENVELOPE_SLOTS * ENVELOPE_SLOT_US == 200_000
    assert BEGIN_NOISE == 7
