"""Time to find against lifelines, and against a textbook.

Sources: Kaplan & Meier, JASA 53:457 (1958) and Greenwood (1926): formulas, memory; what is compared with is PyPI's
lifelines (0.30), whose intervals are the exponential Greenwood ones, as ours. Textbook data: the remission times of
Freireich et al., Blood 21:699 (1963), as lifelines ships them (`load_leukemia`); the shares and medians of the treated
group as Kleinbaum & Klein, Survival Analysis, print them: memory, so they are not the only check. The books themselves
were not at hand. The interval of a ratio of medians has no outside reference here: it is checked by what it claims of
data that were made up with a known ratio (derived).
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fieldctl.debrief.kaplan import Curve, Median, at_level, kaplan_meier, ratio_of_medians

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what lifelines' own dependencies say at import is not ours
    from lifelines import KaplanMeierFitter
    from lifelines.datasets import load_leukemia
    from lifelines.utils import median_survival_times


def compare(times: np.ndarray, found: np.ndarray, level: float = 0.95) -> tuple[Curve, int]:
    """Our curve, and how many intervals were compared."""
    ours = kaplan_meier(times, found, level=level)
    theirs = KaplanMeierFitter(alpha=1 - level).fit(times, found)
    share = theirs.survival_function_["KM_estimate"]
    bounds = theirs.confidence_interval_
    assert ours.share == pytest.approx(share.loc[ours.times_s].to_numpy(), abs=1e-9)
    inside = (ours.share > 1e-9) & (ours.share < 1)
    for mine, column in ((ours.low, 0), (ours.high, 1)):
        assert mine[inside] == pytest.approx(bounds.loc[ours.times_s].to_numpy()[inside, column], abs=1e-9)
    assert list(ours.at_risk) == list(theirs.event_table["at_risk"].loc[ours.times_s])
    middle = float(median_survival_times(share.round(12)))  # they take a half that rounding missed for more than a half
    if np.isinf(middle):
        assert ours.median is None
        return ours, int(inside.sum())
    assert ours.median is not None
    assert ours.median.s == middle
    # where everybody was found lifelines fills the last interval with 1; we have none there
    alone = bounds[share > 1e-9]
    low, high = (float(median_survival_times(alone.iloc[:, [column]])) for column in (0, 1))
    assert (ours.median.low_s or np.inf) == low
    assert (ours.median.high_s or np.inf) == high
    return ours, int(inside.sum())


rows = st.lists(st.tuples(st.integers(1, 40), st.booleans()), min_size=1, max_size=80)


@given(rows, st.sampled_from([0.5, 0.9, 0.95, 0.99]))
@settings(max_examples=80, deadline=None)
def test_curve_greenwood_intervals_and_median_are_those_of_lifelines(
    rows: list[tuple[int, bool]], level: float
) -> None:
    times, found = (np.array(column) for column in zip(*rows, strict=True))
    assume(found.any())
    compare(times.astype(float), found, level)


@pytest.mark.parametrize("seed", range(6))
def test_times_as_a_field_makes_them(seed: int) -> None:
    """Seconds with fractions, no two alike, some looked for only until the limit."""
    rng = np.random.default_rng(seed)
    true = rng.lognormal(5.0, 0.5, 300)
    limit = rng.choice([180.0, 300.0, 900.0], 300)
    ours, compared = compare(np.minimum(true, limit), true <= limit)
    assert compared > 150
    assert ours.claimed is not None


TREATED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def test_the_textbook() -> None:
    data = load_leukemia()
    treated, others = data[data.Rx == 0], data[data.Rx == 1]
    assert (len(treated), int(treated.status.sum()), len(others), int(others.status.sum())) == (21, 9, 21, 21)
    curve, compared = compare(treated.t.to_numpy(float), treated.status.to_numpy(bool))
    assert compared == 7
    assert dict(zip(curve.times_s, curve.share.round(3), strict=True)) == pytest.approx(TREATED, abs=0.0006)
    assert curve.median is not None
    assert (curve.median.s, curve.median.low_s) == (23, 13)
    assert curve.median.high_s is None  # the bound never comes down to a half
    assert curve.claimed is None  # nine is fewer than what we claim anything from
    other, _ = compare(others.t.to_numpy(float), others.status.to_numpy(bool))
    assert other.median == Median(8, 4, 11)


def test_a_level_changed_afterwards_is_the_level_asked_for_at_first() -> None:
    rng = np.random.default_rng(5)
    times, found = rng.integers(1, 50, 200).astype(float), rng.random(200) < 0.7
    late, first = at_level(kaplan_meier(times, found), 0.99), kaplan_meier(times, found, level=0.99)
    assert late.low == pytest.approx(first.low, nan_ok=True)
    assert late.high == pytest.approx(first.high, nan_ok=True)
    assert late.median == first.median


# ---- what the groups do (derived) ---------------------------------------------------------------------------


def test_the_same_burials_ten_times_over_tell_no_more_than_once() -> None:
    """Ten copies of each burial, each kept with its own: the interval is the one of the burials themselves."""
    rng = np.random.default_rng(3)
    times, found = rng.lognormal(5, 0.5, 60), rng.random(60) < 0.9
    once = kaplan_meier(times, found)
    tenfold = kaplan_meier(np.repeat(times, 10), np.repeat(found, 10), groups=[n // 10 for n in range(600)])
    assert list(tenfold.times_s) == list(once.times_s)
    inside = (once.share > 0.1) & (once.share < 0.95)
    assert tenfold.design_effect[inside] == pytest.approx(10, rel=0.12)
    assert tenfold.low[inside] == pytest.approx(once.low[inside], abs=0.02)
    assert tenfold.high[inside] == pytest.approx(once.high[inside], abs=0.02)


@given(st.lists(st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 4)), min_size=2, max_size=40))
@settings(max_examples=60, deadline=None)
def test_the_design_effect_worked_out_slowly(rows: list[tuple[int, bool, int]]) -> None:
    """Each group's influence by leaving it out in small part: log share with weights 1 and 1 + h, divided by h."""
    times, found, groups = (np.array(column) for column in zip(*rows, strict=True))
    assume(found.any() and len(set(groups)) < len(rows))
    curve = kaplan_meier(times.astype(float), found, [str(g) for g in groups])

    def log_share(weights: np.ndarray, t: float) -> float:
        total = 0.0
        for at in np.unique(times[found & (times <= t)]):
            risk, deaths = weights[times >= at].sum(), weights[(times == at) & found].sum()
            total += np.log(1 - deaths / risk)
        return float(total)

    for k, t in enumerate(curve.times_s):
        if curve.share[k] < 1e-9:
            continue
        h, ones = 1e-6, np.ones(len(rows))
        slopes = [
            (log_share(ones + h * (groups == g), t) - log_share(ones - h * (groups == g), t)) / (2 * h)
            for g in set(groups)
        ]
        single = [(log_share(ones + h * np.eye(len(rows))[i], t) - log_share(ones, t)) / h for i in range(len(rows))]
        assert abs(sum(single)) < 1e-4  # what all add together is nothing
        effect = sum(s**2 for s in slopes) / _greenwood(times, found, t)
        assert curve.design_effect[k] == pytest.approx(max(1.0, effect), rel=1e-3)


def _greenwood(times: np.ndarray, found: np.ndarray, t: float) -> float:
    total = 0.0
    for at in np.unique(times[found & (times <= t)]):
        risk, deaths = (times >= at).sum(), ((times == at) & found).sum()
        total += deaths / (risk * (risk - deaths))
    return float(total)


def test_strangers_need_no_widening() -> None:
    rng = np.random.default_rng(4)
    times, found = rng.lognormal(5, 0.5, 400), rng.random(400) < 0.9
    pairs = kaplan_meier(times, found, groups=[n % 200 for n in range(400)])  # paired at random: no more alike
    middle = (pairs.share > 0.2) & (pairs.share < 0.8)
    assert pairs.design_effect[middle].min() >= 1.0
    assert pairs.design_effect[middle].max() < 1.3


def test_the_interval_of_a_ratio_joins_those_of_its_medians() -> None:
    """Written out once more, from the intervals of each: l = log(a/b) - sqrt((log a - log a_low)^2 + ...)."""
    rng = np.random.default_rng(8)
    a, b = (kaplan_meier(rng.lognormal(mean, 0.6, 90), rng.random(90) < 0.8, level=0.9) for mean in (5.6, 5.0))
    ratio = ratio_of_medians(a, b, 0.9)
    assert ratio is not None
    (am, al, ah), (bm, bl, bh) = (np.log([m.s, m.low_s, m.high_s]) for m in (a.median, b.median))
    assert np.log(ratio.times) == pytest.approx(am - bm)
    assert np.log(ratio.low) == pytest.approx(am - bm - np.sqrt((am - al) ** 2 + (bh - bm) ** 2))
    assert np.log(ratio.high) == pytest.approx(am - bm + np.sqrt((ah - am) ** 2 + (bm - bl) ** 2))
    assert ratio.sure
    few = kaplan_meier([100.0] * 9, [True] * 9)
    assert ratio_of_medians(a, few) is None
    assert ratio_of_medians(few, a) is None


def _claims(rng: np.random.Generator, times_as_long: float, people: int = 30, each: int = 4) -> tuple[bool, bool]:
    """Whether a ratio is claimed, and whether its interval holds the truth; people differ, and do both kinds."""
    skill = np.repeat(rng.normal(0, 0.3, people), each)
    groups = [str(n) for n in np.repeat(np.arange(people), each)]
    curves = []
    for factor in (times_as_long, 1.0):
        true = factor * np.exp(5 + skill + rng.normal(0, 0.4, people * each))
        curves.append(kaplan_meier(np.minimum(true, 900), true <= 900, groups))
    ratio = ratio_of_medians(*curves)
    assert ratio is not None
    assert ratio.low is not None
    assert ratio.high is not None
    return ratio.sure, ratio.low <= times_as_long <= ratio.high


@pytest.mark.parametrize("times_as_long", [1.0, 1.5])
def test_the_interval_of_a_ratio_holds_the_truth_as_often_as_it_says(times_as_long: float) -> None:
    rng = np.random.default_rng(11)
    made = [_claims(rng, times_as_long) for _ in range(300)]
    held = sum(inside for _, inside in made) / len(made)
    assert held >= 0.95
    if times_as_long == 1.0:
        assert sum(sure for sure, _ in made) / len(made) <= 0.05
    else:
        assert sum(sure for sure, _ in made) / len(made) >= 0.9
