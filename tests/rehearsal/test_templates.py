"""The drills that every new site begins with, on the site that it begins with: picked, rehearsed, drawn."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from fieldctl.drill.files import read_drill
from fieldctl.drill.pick import Candidate, pick
from fieldctl.rehearsal import as_lines, preview
from fieldctl.rehearsal.apart import disturbance_of, exercise_of, too_near
from fieldctl.rehearsal.picture import picture_of
from fieldctl.site.files import read_site
from fieldctl.site.new import templates

FILES = dict(templates())
SITE = read_site(FILES["site.toml"])
DRILLS = [name for name in FILES if name.startswith("drills/")]


def picked(name):
    drill = read_drill(FILES[name], name)
    rows = [
        Candidate(p.target, p.zone, p.x_m, p.y_m, p.depth_m, p.axis.tilt_deg if p.axis else None) for p in SITE.places
    ]
    return drill, pick(drill, rows, seed=1, disturbance=disturbance_of(SITE))


@pytest.mark.parametrize("name", DRILLS)
def test_every_example_is_rehearsed_and_drawn(name):
    drill, picks = picked(name)
    assert picks.staffed
    rehearsed = preview(SITE, drill, picks, runs=120, searchers=2)
    assert [b.name for b in rehearsed.burials] == [b.name for b in drill.burials]
    for burial, plan in zip(rehearsed.burials, drill.burials, strict=True):
        if plan.signal.kind == "never":
            assert burial.share_by_line == burial.rehearsed.share
        else:
            assert burial.rehearsed.share > 0.8
            assert burial.share_by_line == 0.0
    assert len(as_lines(rehearsed)) > len(drill.burials)
    ET.fromstring(picture_of(SITE, drill, picks).svg)


def test_the_one_burial_stands_beside_the_probe_line_but_not_beside_the_pair():
    one, pair, line = (
        exercise_of(SITE, *picked(f"drills/{n}.toml")) for n in ("one-burial", "close-pair", "probe-line")
    )
    assert too_near(one, [line]) == ()
    (problem,) = too_near(one, [pair, line])
    assert problem.with_name == "Close pair"
    assert problem.needed_m > problem.distance_m
