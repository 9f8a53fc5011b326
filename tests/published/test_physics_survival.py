"""Every survival study through its published points, never rising, nowhere beyond its data.

Values were read in the abstracts or second-hand, as each study's grade says; whole papers were not at hand.
"""

import numpy as np
import pytest

from fieldctl.physics.survival import CAUTION, STUDIES, curve, study

FACTS = {
    # Falk, Brugger, Adler-Kastner, Nature 368:21 (1994), Switzerland; seen
    "falk-1994": (422, {15: 0.92, 35: 0.30}),
    # Brugger et al., Resuscitation (2001); second-hand
    "brugger-2001": (638, {18: 0.91, 35: 0.34}),
    # Haegeli et al., CMAJ 183:789-795 (2011), Canada; counts seen, points second-hand
    "haegeli-2011-canada": (301, {10: 0.77, 35: 0.07}),
    # Procter et al., Resuscitation 105:173 (2016): .25 to .28 with Strapazzon et al., ISSW 2018; seen
    "procter-2016": (633, {35: 0.265}),
    # Rauch et al., JAMA Network Open 7(9):e2435253 (2024); seen / second-hand
    "rauch-2024": (1643, {10: 0.91, 30: 0.31, 130: 0.073}),
}
INTERVALS = {
    ("rauch-2024", 10): (0.80, 1.00),
    ("rauch-2024", 30): (0.11, 0.51),
    ("rauch-2024", 130): (0.048, 0.107),
    ("procter-2016", 35): (0.25, 0.28),
}


def test_all_the_studies_and_no_other():
    assert {s.key for s in STUDIES} == set(FACTS)


@pytest.mark.parametrize("key", FACTS)
def test_through_its_published_points(key):
    burials, points = FACTS[key]
    assert study(key).burials == burials
    for minutes, alive in points.items():
        assert curve(study(key), minutes).alive == pytest.approx(alive, abs=1e-12)
    assert study(key).span_min == (min(points), max(points))


@pytest.mark.parametrize(("key", "minutes"), INTERVALS)
def test_published_intervals(key, minutes):
    at = curve(study(key), minutes)
    assert (float(at.low), float(at.high)) == INTERVALS[key, minutes]


@pytest.mark.parametrize("of", STUDIES, ids=lambda s: s.key)
def test_never_rises_and_stays_within_its_bounds(of):
    minutes = np.unique(np.concatenate([np.linspace(*of.span_min, 5001), [p.minutes for p in of.points]]))
    said = curve(of, minutes)
    for line in (said.alive, said.low, said.high):
        assert (np.diff(line) <= 1e-15).all()
        assert ((line >= 0) & (line <= 1)).all()
    assert (said.low <= said.alive + 1e-15).all()
    assert (said.alive <= said.high + 1e-15).all()


@pytest.mark.parametrize("of", STUDIES, ids=lambda s: s.key)
def test_nothing_is_claimed_outside_the_data(of):
    first, last = of.span_min
    said = curve(of, [0.0, first - 0.01, last + 0.01, 1000.0])
    for line in (said.alive, said.low, said.high):
        assert np.isnan(line).all()


def test_the_bounds_hold_for_any_curve_that_never_rises():
    """Between two points nothing is known but that the truth is not above the first and not below the second."""
    said = curve(study("falk-1994"), [15.0, 20.0, 34.9, 35.0])
    np.testing.assert_array_equal(said.high, [0.92, 0.92, 0.92, 0.30])
    np.testing.assert_array_equal(said.low, [0.92, 0.30, 0.30, 0.30])


def test_it_counts_to_the_airway():
    """The page says so (design, section 10)."""
    assert "free airway, not to the probe" in CAUTION
    assert "not a promise" in CAUTION
