"""Batteries against outside sources: the army's manual, tables of rest volts, simulated Li-ion cells, scipy's slopes.

US Army TM 10-6140-200-14 (capacity in the cold, freezing points of the acid): seen. Rest volts of 12 V lead-acid, two
tables that differ: second-hand. FR6 at -20 °C, alkaline in the cold: memory; these rows hold the table to what the
house wrote down, no more. PyBaMM (Sulzer et al., Journal of Open Research Software 9:14, 2021) simulates Li-ion cells
from parameters that others measured: Chen et al. 2020, O'Kane et al. 2022, O'Regan et al. 2022. Its telemetry is off.
"""

from __future__ import annotations

import os
import warnings
from functools import cache

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"  # as its documentation names it; before it is imported

import numpy as np
import pytest
from scipy.stats import theilslopes

from fieldctl.site.model import Battery
from fieldctl.upkeep.curves import CELLS, CHEMISTRIES, TABLE, cold_keeps, freezes_c, rest_v
from fieldctl.upkeep.estimate import Estimate, believe, estimate
from fieldctl.upkeep.readings import Daily
from fieldctl.upkeep.slopes import theil_sen

LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))
NAN = np.nan


def days_of(rest: list[float], load: list[float], celsius: float, used: list[float], load_a: float) -> Daily:
    n = len(rest)
    warm = np.full(n, celsius)
    volts, under = np.array(rest), np.array(load)
    return Daily(
        np.arange(n, dtype=float), volts, under, warm, warm, np.array(used), (volts - under) / load_a, np.zeros(n)
    )


def at_rest(battery: Battery, volts: float) -> Estimate:
    """What one reading at rest says, with nothing counted and no load."""
    return estimate(believe(battery, days_of([volts] * 3, [NAN] * 3, 20.0, [0.0] * 3, 0.12), fresh=False))


@pytest.mark.parametrize(("celsius", "percent"), [(0.0, 75.0), (-18.0, 40.0)])
def test_lead_acid_in_the_cold_as_the_manual_has_it(celsius: float, percent: float) -> None:
    assert float(1.0 - cold_keeps("lead-acid", np.array(celsius))) * 100 == pytest.approx(percent, abs=0.1)


@pytest.mark.parametrize(("share", "celsius"), [(1.0, -71.0), (0.75, -52.0), (0.5, -35.0), (0.25, -17.0)])
def test_where_the_acid_freezes_as_the_manual_has_it(share: float, celsius: float) -> None:
    assert freezes_c(share) == pytest.approx(celsius, abs=0.5)


@pytest.mark.parametrize(
    ("table", "volts"),
    [("first", (12.66, 12.45, 12.30, 12.15)), ("second", (12.6, 12.4, 12.2, 12.0))],
)
def test_lead_acid_by_its_rest_volts(table: str, volts: tuple[float, ...]) -> None:
    """Each row of both tables (second-hand; they differ by up to 0.15 V) lies in what is said of its volts."""
    battery = Battery("lead-acid", 6, 7.0)
    for percent, row in zip((100, 75, 50, 25), volts, strict=True):
        found = at_rest(battery, row)
        low, high = (found.low, found.high) if found.share is not None else (0.0, 1.0)
        assert low is not None
        assert high is not None
        assert low <= percent / 100 <= high, (table, percent, found)
    if table == "first":
        told = [float(6 * rest_v("lead-acid", np.array(percent / 100))) for percent in (100, 75, 50, 25)]
        assert told == pytest.approx(volts, abs=0.005)


def test_what_the_house_wrote_down() -> None:
    assert float(rest_v("alkaline", np.array(1.0))) == 1.58  # second-hand, weak
    assert 0.85 <= float(1 - cold_keeps("lithium-fr6", np.array(-20.0))) <= 0.90  # memory
    assert [float(1 - cold_keeps("alkaline", np.array(c))) for c in (21, 0, -20)] == [1.0, 0.5, 0.125]  # memory
    assert 0.8 <= CELLS["alkaline"].end_v <= 1.05  # IEC 60086 end points for LR6, by use; memory
    # any chemistry: "about half at -18 °C" (second-hand); those that are made for the cold keep more, none gains
    for chemistry in CHEMISTRIES:
        assert 0.0 < float(cold_keeps(chemistry, np.array(-18.0))) < 0.9, chemistry
    assert {row.chemistry for row in TABLE} == set(CHEMISTRIES)
    assert all(row.source for row in TABLE)


def test_where_a_curve_is_too_flat_no_percentage_is_made_of_volts() -> None:
    """FR6 "cannot be judged by voltage" (second-hand); nor can the other flat ones in their middle."""
    for chemistry, cells, volts in (("lithium-fr6", 2, 3.42), ("lithium-thionyl", 1, 3.65), ("lifepo4", 2, 6.59)):
        found = at_rest(Battery(chemistry, cells, 3.0), volts)
        assert (found.share, found.basis, found.flat) == (None, "nothing", True), chemistry


# ---- Li-ion against simulated cells ------------------------------------------------------------------------------

CASES = [
    ("Chen2020", 0.2, 20.0),
    ("Chen2020", 0.5, 0.0),
    ("OKane2022", 0.2, -10.0),
    ("OKane2022", 0.1, 10.0),
    ("ORegan2022", 0.2, 5.0),
]
MORE = [(name, c, celsius) for name in ("Chen2020", "OKane2022") for c in (0.05, 0.3) for celsius in (-15.0, 0.0, 25.0)]


@cache
def simulated(name: str, c_rate: float, celsius: float) -> tuple[Daily, tuple[float, ...], Battery]:
    """A discharge in tenths with a rest after each: what would be measured, and the charge truly left."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own dependencies', at import
        import pybamm

        pybamm.telemetry.disable()
        parameters = pybamm.ParameterValues(name)
        parameters.update(
            {"Ambient temperature [K]": 273.15 + celsius, "Initial temperature [K]": 273.15 + celsius},
        )
        capacity = float(parameters["Nominal cell capacity [A.h]"])
        minutes = round(6 / c_rate)
        steps = [
            (f"Discharge at {c_rate}C for {minutes} minutes or until 2.6 V", "Rest for 60 minutes (30 minute period)")
        ]
        solver = pybamm.Simulation(
            pybamm.lithium_ion.SPM(), parameter_values=parameters, experiment=pybamm.Experiment(steps * 9)
        )
        solution = solver.solve(initial_soc=1.0)
    rest, load, used = [], [], []
    for cycle in solution.cycles:
        under, after = cycle.steps[0], cycle.steps[-1]
        load.append(float(under["Terminal voltage [V]"].entries[-1]))
        rest.append(float(after["Terminal voltage [V]"].entries[-1]))
        used.append(float(after["Discharge capacity [A.h]"].entries[-1]))
    amps = c_rate * capacity
    truth = tuple(1.0 - taken / capacity for taken in used)
    return days_of(rest, load, celsius, used, amps), truth, Battery("li-ion", 1, capacity, amps)


def errors(cases: list[tuple[str, float, float]], fresh: bool) -> tuple[list[float], list[bool]]:
    off, held = [], []
    for case in cases:
        days, truth, battery = simulated(*case)
        for last in range(1, days.size + 1):
            first = 0 if fresh else max(0, last - 2)  # without a known begin: what two readings say
            belief = believe(battery, _begun_full(days.part(first, last)) if fresh else days.part(first, last), fresh)
            found = estimate(belief)
            assert found.share is not None, case
            assert found.low is not None
            assert found.high is not None
            off.append(abs(found.share - truth[last - 1]))
            held.append(found.low <= truth[last - 1] <= found.high)
    return off, held


def _begun_full(days: Daily) -> Daily:
    """The same with the moment of the fresh cell before it: full, nothing taken, no reading."""
    before = {name: np.array([NAN]) for name in Daily.__slots__}
    before |= {"day": np.array([days.day[0] - 1.0]), "used_ah": np.zeros(1), "counted_anew": np.zeros(1)}
    return Daily(*(np.concatenate([before[name], getattr(days, name)]) for name in Daily.__slots__))


@pytest.mark.parametrize("fresh", [True, False])
def test_li_ion_against_simulated_discharges(fresh: bool) -> None:
    """Mean error under 5 points, and the interval holds the truth at least 9 times in 10; told fresh, or not told."""
    off, held = errors(CASES + (MORE if LONG else []), fresh)
    print(f"Li-ion, fresh {fresh}: mean error {np.mean(off):.3f}, held {np.mean(held):.3f} of {len(held)}")
    assert np.mean(off) < 0.05
    assert np.mean(held) >= 0.9


# ---- slopes ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_slopes_against_scipy(seed: int) -> None:
    chance = np.random.default_rng(seed)
    n = int(chance.integers(5, 120))
    x = np.sort(chance.integers(0, 90, n).astype(float)) if seed % 2 else np.arange(n, dtype=float)
    y = 3.0 - 0.2 * x + chance.standard_t(2, n)
    if seed % 3 == 0:
        y = np.round(y)  # ties
    mine, theirs = theil_sen(x, y), theilslopes(y, x, alpha=0.90)
    assert mine.slope == pytest.approx(theirs.slope, rel=1e-12)
    assert mine.at_zero == pytest.approx(theirs.intercept, rel=1e-12)
    assert mine.low == pytest.approx(theirs.low_slope, rel=1e-12)
    assert mine.high == pytest.approx(theirs.high_slope, rel=1e-12)
