"""Findings about pads, links, housings and places, each from a past that is made for it; what stands in their way."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from upkeep_kit import target_of

from fieldctl.site.model import UpkeepRules
from fieldctl.upkeep.account import Field, Finding, Place, field_account
from fieldctl.upkeep.health import health_findings
from fieldctl.upkeep.past import Joined, Past, Start, Strikes, Turn
from fieldctl.upkeep.series import Season, season_of, series_of
from fieldctl.upkeep.told import Told
from fieldctl.upkeep.words import finding_words

FIRST, DAYS, HOURS, MANY = 20_422, 60, 8, 6
TODAY = float(FIRST + DAYS - 1)
SICK = 0


def told(seed: int, **more: Any) -> Told:
    """A target that is well: arrays [day, hour] given in `more` take the place of its own."""
    r = np.random.default_rng(seed)
    shape = (DAYS, HOURS)
    day = FIRST + np.arange(DAYS)[:, None] + (9 + np.arange(HOURS)) / 24
    asked = np.cumsum(np.full(shape, 1_000.0)).reshape(shape)
    said = {
        "rest_v": np.full(shape, 3.5), "load_v": np.full(shape, 3.4), "celsius": -4 + r.normal(0, 0.4, shape),
        "noise": np.round(20 * np.exp(r.normal(0, 0.1, shape))), "charge_mas": np.zeros(shape), "asked": asked,
        "answered": asked * 0.995, "resent": np.zeros(shape), "orders_lost": np.zeros(shape),
        "plus_minus_us": np.full(shape, 800.0), "moisture": np.full(shape, np.nan),
    } | more  # fmt: skip
    return Told(day.ravel(), *(said[name].ravel() for name in Told.__slots__[1:]))


def strikes(day: Any, peak: Any, *, sharp: float = 1, probe: Any = 1, unsure: Any = 0, repeats: Any = 0) -> Strikes:
    rows = np.broadcast_arrays(np.asarray(day, dtype=float), peak, sharp, probe, unsure, repeats)
    return Strikes(*(np.asarray(row, dtype=np.float64) for row in rows))


def blows(seed: int, keeps: Any = 1.0) -> Strikes:
    """Two blows a day at about 45 times the noise, as felt by a pad that keeps a share of them day by day."""
    r = np.random.default_rng(seed)
    day = FIRST + np.repeat(np.arange(DAYS), 2) + 0.5
    height = 450 * np.exp(r.normal(0, 0.4, day.size)) * np.repeat(np.broadcast_to(keeps, DAYS), 2)
    return strikes(day[height > 70], height[height > 70])


def well(n: int) -> Past:
    return Past(target_of(n), told(n), blows(100 + n), joined=(Joined(float(FIRST), "bus"),))


def found(**more: Any) -> dict[str, Finding]:
    """What is said of the one that has these instead of what a good one has; nothing may be said of the others."""
    pasts = [replace(well(SICK), **more), *(well(n) for n in range(1, MANY))]
    by_target = health_findings(pasts, TODAY)
    assert all(not by_target[past.target] for past in pasts[1:])
    about = Field(TODAY, UpkeepRules(), (Place(target_of(SICK), "Larch 1", "upper"),), {}, {}, {}, {}, also=by_target)
    row = field_account(about).rows[0]
    for finding in row.findings:
        for text in finding_words(finding, row):
            assert re.fullmatch(r"[^{}]{12,}", text), text
    return {finding.key: finding for finding in by_target[target_of(SICK)]}


def since(days: int, before: Any, after: Any) -> np.ndarray:
    """[day, hour], another value in the last days."""
    out = np.full((DAYS, HOURS), before, dtype=np.float64)
    out[-days:] = after
    return out


def test_a_field_that_is_well_gets_no_word() -> None:
    assert found() == {}


def test_a_pad_that_goes_deaf_and_since_when() -> None:
    keeps = np.exp(-np.clip(np.arange(DAYS) - 35, 0, None) / 14)
    said = found(strikes=blows(7, keeps))
    assert set(said) == {"deaf"}
    assert said["deaf"].about == "pad"
    assert said["deaf"].since is not None
    assert FIRST + 35 <= said["deaf"].since <= FIRST + 56
    assert said["deaf"].values["percent"] < 55


def test_what_snow_does_to_all_pads_is_no_sign() -> None:
    keeps = np.exp(-np.clip(np.arange(DAYS) - 40, 0, None) / 15)
    pasts = [replace(well(n), strikes=blows(100 + n, keeps)) for n in range(MANY)]
    assert not any(health_findings(pasts, TODAY).values())


def test_a_pad_whose_noise_goes_with_it_is_seen_although_its_peaks_stay() -> None:
    """Peaks are told in the noise of then: frozen solid, both fall."""
    quiet = np.round(20 * np.exp(-np.clip(np.arange(DAYS) - 35, 0, None) / 12))[:, None] * np.ones(HOURS)
    assert "deaf" in found(told=told(0, noise=np.maximum(quiet, 1.0)))


def test_a_loose_pad() -> None:
    """Bursts that nobody can strike; and weak blows of a shaken pad do not make it deaf as well."""
    day = np.concatenate([blows(5).day, np.repeat(FIRST + DAYS - 3 + np.arange(3), 60) + 0.6])
    peak = np.concatenate([blows(5).peak, np.full(180, 90.0)])
    many = np.concatenate([np.zeros(blows(5).day.size), np.full(180, 14.0)])
    order = np.argsort(day, kind="stable")
    said = found(strikes=strikes(day[order], peak[order], probe=0, repeats=many[order]))
    assert set(said) == {"chatters"}
    assert said["chatters"].values["strikes"] == 60
    assert said["chatters"].since == FIRST + DAYS - 3


def test_what_shook_a_pad_for_some_days_does_not_make_it_deaf() -> None:
    shaken = np.repeat(FIRST + DAYS - 12 + np.arange(5), 40) + 0.6
    both = [(day, peak, 1) for day, peak in zip(blows(5).day, blows(5).peak, strict=True)]
    both = sorted([*both, *((day, 90.0, 0) for day in shaken)])
    day, peak, probe = np.array(both).T
    assert found(strikes=strikes(day, peak, probe=probe, unsure=1 - probe)) == {}


def test_a_storm_that_shakes_all_is_no_sign() -> None:
    extra = np.repeat(FIRST + DAYS - 3 + np.arange(3), 60) + 0.6
    shaken = strikes(extra, 90.0, probe=0, unsure=1)
    pasts = [replace(well(n), strikes=shaken) for n in range(MANY)]
    assert not any(health_findings(pasts, TODAY).values())


def test_noise_that_rises_and_a_pad_that_measures_nothing() -> None:
    assert set(found(told=told(0, noise=since(6, 20.0, 70.0)))) == {"noisy"}
    said = found(told=told(0, noise=since(4, 20.0, 1.0)))
    assert set(said) == {"still"}
    assert said["still"].since == FIRST + DAYS - 4


def turns(wrong: int, touched: bool, called: bool | None) -> tuple[Turn, ...]:
    """One exercise every other day, the last ones as said, those before as they should be."""
    good = [Turn(FIRST + day + 0.6, True, None if called is None else True) for day in range(0, DAYS, 2)]
    return (*good[:-wrong], *(turn._replace(touched=touched, called=called) for turn in good[-wrong:]))


@pytest.mark.parametrize(
    ("touched", "called", "key"),
    [(False, True, "felt-nothing"), (False, None, "silent-pad"), (True, False, "not-called")],
)
def test_strikes_against_calls(touched: bool, called: bool | None, key: str) -> None:
    said = found(turns=turns(8, touched, called))
    assert said[key].values["missed"] == 8
    assert said[key].since == FIRST + DAYS - 16
    assert key not in found(turns=turns(2, touched, called))


def test_not_touched_for_long() -> None:
    early = strikes([FIRST + 3.5], 400.0)
    later = tuple(Turn(FIRST + day + 0.6, False, False) for day in range(40, 60, 5))
    said = found(strikes=early, turns=later)
    assert set(said) == {"unproved"}
    assert said["unproved"].since == FIRST + 3
    assert found(strikes=early, turns=later, touched=(TODAY - 2,)) == {}
    assert set(found(strikes=strikes([], 1.0), turns=later)) == {"never-proved"}


def test_questions_without_an_answer() -> None:
    asked = np.cumsum(np.full((DAYS, HOURS), 1_000.0)).reshape(DAYS, HOURS)
    lost = np.cumsum(since(4, 5.0, 300.0)).reshape(DAYS, HOURS)
    said = found(told=told(0, answered=asked - lost))
    assert set(said) == {"loses-frames"}
    assert said["loses-frames"].values["percent"] == pytest.approx(30, abs=1)


def test_a_whole_line_is_told_once() -> None:
    asked = np.cumsum(np.full((DAYS, HOURS), 1_000.0)).reshape(DAYS, HOURS)
    lost = np.cumsum(since(4, 5.0, 100.0)).reshape(DAYS, HOURS)
    worst = np.cumsum(since(4, 5.0, 150.0)).reshape(DAYS, HOURS)
    pasts = [replace(well(n), told=told(n, answered=asked - (worst if n == 3 else lost))) for n in range(MANY)]
    said = health_findings(pasts, TODAY)
    assert [f.key for f in said[target_of(3)]] == ["line-loses"]
    assert sum(len(each) for each in said.values()) == 1


def test_counters_that_begin_anew_and_gaps_are_no_loss() -> None:
    """A controller that starts again counts from nothing; a target that was off for hours lost nothing on its link."""
    asked = np.cumsum(np.full((DAYS, HOURS), 1_000.0)).reshape(DAYS, HOURS)
    anew = asked.ravel().copy()
    anew[-36:] -= anew[-37]  # in the middle of a day
    well_told = told(0, asked=anew.reshape(asked.shape), answered=anew.reshape(asked.shape) * 0.995)
    assert found(told=well_told) == {}
    assert season_of([Past(target_of(0), well_told)], TODAY).asked[0, 1:] == pytest.approx(np.full(DAYS - 1, 7_000.0))
    away = told(
        0, answered=asked - np.cumsum(np.where(np.arange(HOURS) == 4, since(5, 0.0, 900.0), 0.0)).reshape(DAYS, HOURS)
    )
    off = np.array([h % HOURS not in (3, 4) or h < (DAYS - 5) * HOURS for h in range(DAYS * HOURS)])
    assert found(told=Told(*(getattr(away, name)[off] for name in Told.__slots__))) == {}


def test_orders_said_again_and_a_clock_that_wanders() -> None:
    again = np.cumsum(since(5, 0.2, 6.0)).reshape(DAYS, HOURS)
    assert set(found(told=told(0, resent=again))) == {"resends"}
    assert set(found(told=told(0, plus_minus_us=since(5, 800.0, 9_000.0)))) == {"wide"}


@pytest.mark.parametrize(
    ("why", "key"),
    [("brown-out", "reboots-brown-out"), ("watchdog", "reboots-watchdog"), ("power", "reboots-power"),
     ("fault", "reboots-fault"), ("code 9", "reboots")],
)  # fmt: skip
def test_boots_by_their_reason(why: str, key: str) -> None:
    starts = tuple(Start(TODAY - 4 + n, n + 2, why) for n in range(4))
    assert set(found(starts=(Start(FIRST + 0.1, 1, "power"), *starts))) == {key}
    assert found(starts=(Start(FIRST + 0.1, 1, "power"), *starts[:2])) == {}
    ordered = tuple(start._replace(why="order") for start in starts)
    assert found(starts=(Start(FIRST + 0.1, 1, "power"), *ordered)) == {}


def test_a_target_that_answers_elsewhere() -> None:
    there = (Joined(float(FIRST), "bus"), Joined(TODAY - 3, "east"))
    said = found(joined=there, named_link="bus")
    assert (said["other-link"].about, said["other-link"].sure) == ("place", "likely")
    assert said["other-link"].values == {"link": "east", "surveyed": "bus"}
    assert found(joined=there)["other-link"].sure == "perhaps"
    assert found(joined=there, named_link="east") == {}
    assert found(joined=there, surveyed=TODAY - 3) == {}
    assert found(joined=there[:1]) == {}
    assert found(joined=(*there[:1], Joined(TODAY + 2, "east")), named_link="bus") == {}


def test_housings() -> None:
    day = np.sin(np.linspace(-1.2, 1.2, HOURS))
    open_air = since(6, -4.0, -4.0) + np.where(np.arange(DAYS)[:, None] >= DAYS - 6, 6 * day, 0.3 * day)
    assert set(found(told=told(0, celsius=open_air))) == {"follows-weather"}
    assert set(found(told=told(0, celsius=since(6, -4.0, 11.0)))) == {"apart-from-others"}
    assert set(found(told=told(0, moisture=since(3, 30.0, 92.0)))) == {"wet"}
    assert found(told=told(0, celsius=since(1, -4.0, 60.0))) == {}  # no thermometer under snow says so: kept out


def test_nothing_at_all_is_no_error() -> None:
    empty = Past(target_of(9))
    assert health_findings([], TODAY) == {}
    assert health_findings([empty], TODAY) == {empty.target: ()}
    assert series_of(empty, TODAY).day.size == 1


def test_the_account_of_an_earlier_day_does_not_see_later_ones() -> None:
    """Nor does a turn before anything was told, or a strike after that day, do any harm."""
    turned = (Turn(FIRST - 5.0, False, True), *turns(8, False, True))
    later = replace(well(0), strikes=blows(7, np.where(np.arange(DAYS) < 40, 1.0, 0.3)), turns=turned)
    pasts = [later, *(well(n) for n in range(1, MANY))]
    assert {f.key for f in health_findings(pasts, TODAY)[target_of(0)]} == {"deaf", "felt-nothing"}
    assert not any(health_findings(pasts, FIRST + 30.0).values())
    whole = season_of(pasts, TODAY).upto(FIRST + 30.0)
    cut = season_of(pasts, FIRST + 30.0)
    for name in Season.__slots__:
        for one, other in zip(getattr(whole, name), getattr(cut, name), strict=True):
            assert np.array_equal(one, other, equal_nan=name != "targets"), name


def test_a_page_s_series() -> None:
    keeps = np.where(np.arange(DAYS) < DAYS - 1, 1.0, 0.5)
    made = series_of(replace(well(0), strikes=strikes(blows(3).day, 450.0 * np.repeat(keeps, 2))), TODAY)
    assert made.day.tolist() == list(range(FIRST, FIRST + DAYS))
    assert {getattr(made, name).size for name in made.__slots__} == {DAYS}
    assert made.sensitivity[-1] == pytest.approx(0.5, rel=0.15)
    assert made.sensitivity[:-1] == pytest.approx(np.ones(DAYS - 1), rel=0.15)
    assert made.lost[1:] == pytest.approx(np.full(DAYS - 1, 0.005))
    assert np.nanmax(made.plus_minus_ms) == pytest.approx(0.8)
    season = season_of([well(0), well(1)], TODAY)
    assert season.upto(FIRST + 9.0).noise.shape == (2, 10)
