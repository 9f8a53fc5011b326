from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldctl.drill.candidate import Picks, Unmet
from fieldctl.drill.plan import Burial, Scene, Signal
from fieldctl.errors import BadInput, NotFound
from fieldctl.physics.dipole import FIELD_LIMIT_HIGH_A_PER_M, FIELD_LIMIT_LOW_A_PER_M, dipole_field, magnitude
from fieldctl.rehearsal.scene import scene_of
from fieldctl.site.sending import MOMENT_FULL_AM2, axis_from_survey

WHERE = [(20.0, 30.0, 1.0, 90.0, 90.0), (45.0, 12.0, 1.4, 0.0, 0.0)]


def test_the_full_moment_is_lawful_on_either_reading_of_the_limits():
    for offset in ([0, 0, 10], [10, 0, 0]):  # on the axis, broadside
        field = float(magnitude(dipole_field([0, 0, MOMENT_FULL_AM2], offset)))
        assert FIELD_LIMIT_LOW_A_PER_M <= field <= FIELD_LIMIT_HIGH_A_PER_M


def test_a_surveyed_axis_points_where_the_compass_says():
    assert axis_from_survey(90.0, 90.0) == pytest.approx([1, 0, 0], abs=1e-12)
    assert axis_from_survey(0.0, 90.0) == pytest.approx([0, 1, 0], abs=1e-12)
    assert axis_from_survey(200.0, 0.0) == pytest.approx([0, 0, 1], abs=1e-12)


def test_what_a_burial_says_is_in_the_arrays(tools):
    burials = [
        Burial("A", level=40, sends_at_most_s=300.0, after_find="falls-quiet"),
        Burial("B", Signal("after-find", after="A"), find="call", drop_on_s=5.0, drop_off_s=6.0),
    ]
    scene = scene_of(*tools.staffed(burials, WHERE))
    assert scene.moments_Am2 == pytest.approx([0.4 * MOMENT_FULL_AM2, MOMENT_FULL_AM2])
    assert scene.places.tolist() == [[20.0, 30.0, -1.0], [45.0, 12.0, -1.4]]
    assert scene.starts_s.tolist() == [0.0, np.inf]
    assert scene.after.tolist() == [-1, 0]
    assert scene.lasts_s.tolist() == [300.0, np.inf]
    assert scene.falls_quiet.tolist() == [True, False]
    assert scene.by_call.tolist() == [False, True]
    assert scene.outline_from == "zone"


def test_the_outline_is_the_drills_else_the_zones_else_a_box(tools):
    drawn = ((5.0, 5.0), (60.0, 5.0), (60.0, 40.0))
    site, drill, picks = tools.staffed([Burial("A"), Burial("B")], WHERE)
    of_drill = scene_of(site, replace(drill, scene=Scene(outline_m=drawn)), picks)
    assert of_drill.outline_from == "scene"
    assert of_drill.outline.tolist() == [list(p) for p in drawn]
    assert not any("outline of the debris" in a.what for a in of_drill.assumed)
    of_zone = scene_of(site, drill, picks)
    assert of_zone.outline_from == "zone"
    assert any("Lower hollow" in a.taken for a in of_zone.assumed)
    box = scene_of(replace(site, zones=(replace(site.zones[0], outline_m=()),)), drill, picks)
    assert box.outline_from == "box"
    assert box.outline.min(axis=0).tolist() == [0.0, -8.0]
    assert box.outline.max(axis=0).tolist() == [65.0, 50.0]
    assert any("a box" in a.taken for a in box.assumed)


def test_searchers_set_out_at_the_corner_nearest_to_the_last_seen_point(tools):
    site, drill, picks = tools.staffed([Burial("A")], WHERE[:1], scene=Scene(last_seen_m=(70.0, 60.0)))
    assert scene_of(site, drill, picks).entry.tolist() == [80.0, 50.0]


def test_what_was_not_surveyed_is_named_with_what_was_taken_instead(tools):
    burials = [Burial("A"), Burial("B", orientation="upright"), Burial("C", Signal("never"))]
    where = [*WHERE, (60.0, 20.0, 0.8, 0, 0)]
    site, drill, picks = tools.staffed(burials, where, axes=False)
    scene = scene_of(site, drill, picks)
    axes = [a for a in scene.assumed if "coil" in a.what]
    assert [a.burial for a in axes] == ["A", "B"]  # C never sends: its axis makes no difference
    assert "lying" in axes[0].taken
    assert "upright" in axes[1].taken
    assert scene.axes[0, 2] == pytest.approx(0.0, abs=1e-12)
    assert scene.axes[1].tolist() == [0.0, 0.0, 1.0]
    stray = replace(site, places=(replace(site.places[0], surveyed_on=None), *site.places[2:]))
    scene = scene_of(stray, drill, picks)
    said = [str(a) for a in scene.assumed]
    assert any(
        s.startswith("Burial A: nobody noted when the depth of Larch 1 was surveyed; 1.0 m is taken") for s in said
    )
    assert any(
        s.startswith(f"Burial B: target {picks.targets['B']} has no surveyed place; taken in the middle") for s in said
    )
    assert scene.places[1, :2].tolist() == scene.outline.mean(axis=0).tolist()
    wished = replace(drill, burials=(burials[0], replace(burials[1], depth_m=(1.0, 2.0)), burials[2]))
    assert scene_of(stray, wished, picks).depths_m[1] == 1.5


def test_a_drill_that_cannot_be_played_says_which_wish_and_the_nearest(tools):
    site, drill, _ = tools.staffed([Burial("A")], WHERE[:1])
    unmet = Unmet("A", "depth", "no target lies 3 to 4 m deep", "the deepest lies 1.4 m deep")
    with pytest.raises(BadInput, match=r"burial A: no target lies 3 to 4 m deep \(the deepest lies 1.4 m deep\)"):
        scene_of(site, drill, Picks({}, 0, (unmet,)))
    with pytest.raises(NotFound, match="burial A"):
        scene_of(site, drill, Picks({}, 0))
    with pytest.raises(BadInput, match="without burials"):
        scene_of(site, replace(drill, burials=()), Picks({}, 0))
