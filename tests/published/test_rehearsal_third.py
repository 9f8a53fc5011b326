"""The third burial against published trials: beginners missed it in about 30 % of trials.

Schweizer, Genswein, Jarry, Létang (2012); seen in an excerpt: how the burials lay, how long the trials lasted and who
the beginners were was not read, so that the figure stands beside ours and bounds nothing. The simulated novices are
fitted to no trial. What must hold is the direction: the third is missed markedly more often than the first.
"""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Burial, Drill
from fieldctl.rehearsal.rehearse import rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS
from fieldctl.site.model import Axis, Place, Site, Zone
from fieldctl.units import target_id

PUBLISHED_SHARE = 0.30
LAYOUTS = {
    "80 × 50 m": (((0.0, 0.0), (80.0, 0.0), (80.0, 50.0), (0.0, 50.0)), ((20, 30, 1.0), (45, 12, 1.2), (65, 38, 1.4))),
    "40 × 40 m": (((0.0, 0.0), (40.0, 0.0), (40.0, 40.0), (0.0, 40.0)), ((12, 12, 1.0), (28, 15, 1.0), (20, 32, 1.0))),
}
AXES = (Axis(20, 90), Axis(100, 85), Axis(45, 60))


def missed(layout: str, limit_s: float) -> tuple[float, ...]:
    """Shares of novice rehearsals in which the first, second, third find was not made, whichever burial it was."""
    outline, where = LAYOUTS[layout]
    ids = [target_id(f"5ee0000{i}") for i in (1, 2, 3)]
    day = datetime.date(2025, 11, 20)
    places = tuple(
        Place(t, t, "z", float(x), float(y), d, axis=a, surveyed_on=day)
        for t, (x, y, d), a in zip(ids, where, AXES, strict=True)
    )
    site = Site("s", "S", zones=(Zone("z", "Z", outline),), places=places)
    drill = Drill("three", "Three", limit_s, tuple(Burial(n) for n in "ABC"))
    scene = scene_of(site, drill, Picks(dict(zip("ABC", ids, strict=True)), 0))
    tally = rehearse(scene, SKILLS["novice"], runs=1500, seed=2012)
    return tuple(float(share) for share in 1.0 - tally.finds_share())


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("limit_s", [900.0, 1500.0])
def test_novices_miss_the_third_markedly_more_often_than_the_first(layout, limit_s, record_property):
    first, second, third = missed(layout, limit_s)
    record_property("third missed, ours beside the published", f"{third:.2f} beside {PUBLISHED_SHARE:.2f}")
    print(
        f"{layout}, {limit_s / 60:.0f} min: missed {first:.0%}, {second:.0%}, {third:.0%}; published third about 30 %"
    )
    assert third > first + 0.15
    assert third > 2 * first
    assert np.all(np.diff((first, second, third)) > 0)
