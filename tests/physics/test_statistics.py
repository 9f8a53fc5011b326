"""Survival, digging, snow, chatter: what does not need an outside source."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.physics.chatter import USUAL_BIT_RATES, chatter_dB, chatter_power
from fieldctl.physics.digging import (
    AT_PROBE,
    DOWNSLOPE,
    SCHOOLS,
    both_schools,
    diggers_at_once,
    digging,
    volume_m3,
)
from fieldctl.physics.snow import film_loss_dB, link_loss_dB, loss_dB_per_m, permittivity, surface_loss_dB
from fieldctl.physics.survival import STUDIES, curve, study


def test_an_unknown_study_names_those_that_there_are():
    with pytest.raises(KeyError, match="rauch-2024"):
        study("nobody-1900")


def test_each_study_names_itself_in_full():
    for s in STUDIES:
        assert s.cite
        assert s.grade
        assert s.burials > 0
        assert [p.minutes for p in s.points] == sorted({p.minutes for p in s.points})
    assert study("rauch-2024").interval_known
    assert not study("falk-1994").interval_known


def test_curve_keeps_shapes_and_takes_nan():
    said = curve(study("rauch-2024"), np.array([[10.0, np.nan], [30.0, 500.0]]))
    assert said.alive.shape == (2, 2)
    assert np.isnan(said.alive[:, 1]).all()


@settings(deadline=None)
@given(st.floats(0.05, 3), st.integers(1, 12), st.floats(0, 1.2))
def test_digging_is_ordered_and_grows_with_depth(depth, people, slope):
    for school in SCHOOLS:
        here = digging(school, depth, people, slope)
        assert 0 < here.quickest_s < here.middle_s < here.slowest_s
        deeper = digging(school, depth * 1.2, people, slope)
        assert deeper.volume_m3 > here.volume_m3
        assert digging(school, depth, people + 1, slope).middle_s <= here.middle_s
        assert volume_m3(school, depth, slope) <= volume_m3(school, depth)


def test_no_more_dig_than_find_room():
    assert diggers_at_once(DOWNSLOPE, 1.4, 1) == 1
    assert diggers_at_once(DOWNSLOPE, 1.4, 20) == 3
    assert diggers_at_once(AT_PROBE, 1.4, 20) == 2
    assert [d.school for d in both_schools(1.0)] == list(SCHOOLS)


def test_on_a_steep_slope_a_level_floor_comes_out_sooner():
    assert volume_m3(DOWNSLOPE, 1.0, np.radians(30)) == volume_m3(DOWNSLOPE, 1.0)
    assert volume_m3(DOWNSLOPE, 1.0, np.radians(45)) == pytest.approx(0.6)
    assert volume_m3(AT_PROBE, 1.0, np.radians(45)) == volume_m3(AT_PROBE, 1.0)


def test_senseless_digging_is_refused():
    with pytest.raises(ValueError, match="at least one person"):
        digging(DOWNSLOPE, 1.0, 0)
    for depth, slope in ((-1.0, 0.0), (1.0, -0.1), (1.0, np.pi / 2)):
        with pytest.raises(ValueError, match="depth is 0 or more"):
            volume_m3(DOWNSLOPE, depth, slope)


@settings(deadline=None)
@given(st.floats(1e5, 1e10), st.floats(0.05, 0.6), st.floats(0, 0.1), st.floats(-40, 0))
def test_snow_never_amplifies_and_wetter_loses_more(frequency, density, wetness, temperature):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert loss_dB_per_m(frequency, density, wetness, temperature) >= 0
        assert surface_loss_dB(frequency, density, wetness, temperature) >= 0
        assert permittivity(frequency, density, wetness, temperature).imag >= 0
    if wetness > 0.001 and frequency > 1e8:
        assert loss_dB_per_m(frequency, density, wetness + 0.01) > loss_dB_per_m(frequency, density, wetness)


def test_link_loss_adds_up():
    snow = (2.4e9, 0.4, 0.02)
    assert link_loss_dB(0.0, *snow) == surface_loss_dB(*snow)
    two = link_loss_dB(2.0, *snow, film_m=1e-3)
    assert two == pytest.approx(float(2 * loss_dB_per_m(*snow) + surface_loss_dB(*snow) + film_loss_dB(1e-3, 2.4e9)))
    assert film_loss_dB(0.0, 2.4e9) == 0.0


def test_chatter_keeps_shapes_and_ranks_usual_rates():
    levels = chatter_dB(np.array(USUAL_BIT_RATES))
    assert levels.shape == (len(USUAL_BIT_RATES),)
    assert np.isfinite(levels).all()
    assert chatter_dB(115_200) == 0.0
    quiet = USUAL_BIT_RATES[int(np.argmin(levels))]
    assert quiet == 460_800, "its first zero lies where the fourth of 115 200 does"
    assert np.isfinite(10 * np.log10(chatter_power(457_000)))
