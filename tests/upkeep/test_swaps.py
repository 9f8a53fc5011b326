"""Was the battery changed: what is seen, what is ticked, where the two do not agree."""

from __future__ import annotations

import numpy as np
import pytest
from upkeep_kit import battery_of, days_of_winter

from fieldctl.site.model import Battery
from fieldctl.upkeep.readings import Daily
from fieldctl.upkeep.swaps import history, jumps
from sims.winter import FIRST_DAY, Winter

ALKALINE = Battery("alkaline", 3, 2.5)


def days(rest: list[float], anew: int | None = None, noise: float = 0.004) -> Daily:
    n = len(rest)
    volts = np.array(rest) + np.random.default_rng(3).normal(0, noise, n)
    flags = np.zeros(n)
    if anew is not None:
        flags[anew] = 1.0
    cold = np.full(n, -5.0)
    return Daily(np.arange(n) + 100.0, volts, volts - 0.3, cold, cold, np.arange(n) * 0.02, np.full(n, 2.5), flags)


FALLING = [4.2 - 0.01 * k for k in range(20)]
FRESH = [4.7 - 0.01 * k for k in range(20)]


def test_a_change_that_is_seen_and_ticked_begins_a_fresh_history() -> None:
    found = history(days(FALLING + FRESH), ALKALINE, [119.0])
    assert (found.first, found.fresh, found.questions) == (20, True, ())


def test_a_change_that_nobody_ticked_is_asked_about() -> None:
    found = history(days(FALLING + FRESH), ALKALINE, [])
    assert (found.first, found.fresh) == (20, False)
    assert found.questions == (("done-not-ticked", 120.0),)


def test_a_tick_without_a_change_is_not_believed() -> None:
    found = history(days(FALLING + [4.0 - 0.01 * k for k in range(20)]), ALKALINE, [120.0])
    assert (found.first, found.fresh) == (0, False)
    assert found.questions == (("ticked-not-done", 120.0),)


def test_a_tick_that_could_not_show_is_believed() -> None:
    """Cells that were nearly full give way to full ones: volts cannot tell, the person can."""
    found = history(days([4.65 - 0.001 * k for k in range(40)]), ALKALINE, [120.0])
    assert (found.fresh, found.questions) == (True, ())
    assert 20 <= found.first <= 21


def test_a_tick_before_any_reading_came_is_believed_for_now() -> None:
    found = history(days(FALLING), ALKALINE, [119.0])
    assert (found.fresh, found.questions) == (True, ())


def test_a_counter_that_begins_anew_with_higher_volts_is_a_change() -> None:
    flat = Battery("lithium-thionyl", 1, 2.4)
    rest = [3.64] * 20 + [3.67] * 20
    assert [jump.at for jump in jumps(days(rest, anew=20, noise=0.002), flat)] == [20]
    assert jumps(days([3.64] * 40, anew=20, noise=0.0005), flat) == []  # it lost its count, not its battery


def test_wild_days_and_cold_spells_are_no_change() -> None:
    wild = list(FALLING + [4.0 - 0.01 * k for k in range(20)])
    wild[9], wild[10], wild[30] = 4.6, 4.55, 4.9
    assert jumps(days(wild), ALKALINE) == []


@pytest.mark.parametrize("seeds", [range(200, 204)])
def test_in_invented_winters(seeds: range) -> None:
    """Of the changes of used batteries (under half left) nearly all are seen; hardly one is seen that was none."""
    there = found = wrong = 0
    for seed in seeds:
        winter = Winter.of(seed)
        for target in range(len(winter.make)):
            line = days_of_winter(winter, target)
            changes = [pack.first for pack in winter.packs if pack.target == target and pack.first]
            seen = jumps(line, battery_of(winter, target))
            for change in changes:
                if change > 142 or winter.share[target, change - 1] > 0.5:
                    continue
                there += 1
                found += any(j.before - 1 <= FIRST_DAY + change <= j.after + 1 for j in seen)
            wrong += sum(all(abs(j.after - FIRST_DAY - change) > 12 for change in changes) for j in seen)
    print(f"changes seen {found} of {there}, seen where none was {wrong} in {len(seeds)} winters")
    assert there >= 60
    assert found >= 0.9 * there
    assert wrong <= len(seeds)  # one for each 24 targets and season
