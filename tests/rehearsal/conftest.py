"""An invented practice field for rehearsals: one zone of 80 by 50 metres, targets where a test wants them."""

from __future__ import annotations

import datetime
from types import SimpleNamespace

import numpy as np
import pytest

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Burial, Drill, Scene
from fieldctl.rehearsal.rehearse import rehearse
from fieldctl.rehearsal.scene import scene_of
from fieldctl.rehearsal.skill import SKILLS
from fieldctl.site.model import Axis, Place, Site, Zone
from fieldctl.units import target_id

FIELD = ((0.0, 0.0), (80.0, 0.0), (80.0, 50.0), (0.0, 50.0))
SURVEYED = datetime.date(2025, 11, 20)


def places(where, *, axes=True):
    """(x, y, depth, azimuth, tilt) of each target."""
    return tuple(
        Place(
            target_id(f"5ee000{i + 1:02x}"),
            f"Larch {i + 1}",
            "lower",
            x,
            y,
            depth,
            axis=Axis(azimuth, tilt) if axes else None,
            surveyed_on=SURVEYED,
        )
        for i, (x, y, depth, azimuth, tilt) in enumerate(where)
    )


def staffed(burials, where, *, outline=FIELD, limit_s=900.0, scene=None, axes=True):
    """Site, drill, picks: burial n plays target n."""
    lie = places(where, axes=axes)
    site = Site("larch-hollow", "Larch Hollow (invented)", zones=(Zone("lower", "Lower hollow", outline),), places=lie)
    drill = Drill("try", "Try", limit_s, tuple(burials), scene or Scene())
    return site, drill, Picks({b.name: p.target for b, p in zip(burials, lie, strict=True)}, 0)


def population(burial=None, *, count=16, runs=60, skill="trained", searchers=1, strip_m=None, limit_s=900.0, **changed):
    """One burial at many places, tilts and turns, the same ones each time: finds by second of the whole population.

    `changed` replaces x, y, depth_m or tilt_deg for all; returns share found, median
    (inf: not within the limit), mean, and the seconds waited for a signal, summed.
    """
    rng = np.random.default_rng(457)
    rows = rng.uniform([3, 3, 0.8, 0, 0], [77, 47, 1.3, 360, 90], (count, 5))
    for column, name in enumerate(("x", "y", "depth_m", "azimuth_deg", "tilt_deg")):
        if name in changed:
            rows[:, column] = changed[name]
    tallies = [
        rehearse(
            scene_of(*staffed([burial or Burial("A")], [tuple(row)], limit_s=limit_s)),
            SKILLS[skill],
            runs=runs,
            searchers=searchers,
            seed=11,
            strip_m=strip_m,
        )
        for row in rows
    ]
    by = np.cumsum(sum(t.by_second[0] for t in tallies)) / (count * runs)
    half = int(np.searchsorted(by, 0.5))
    return SimpleNamespace(
        share=float(by[-1]),
        median=half if half < len(by) else np.inf,
        mean=float(np.sum(1.0 - by)),  # who did not find counts with the limit
        waits=sum(int(t.waits[0]) for t in tallies),
    )


@pytest.fixture(scope="session")
def tools():
    return SimpleNamespace(staffed=staffed, population=population, places=places, FIELD=FIELD)
