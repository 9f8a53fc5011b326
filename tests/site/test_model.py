"""Outlines, and finding places by id."""

import pytest

from fieldctl.site.files import read_site
from fieldctl.site.model import Zone
from fieldctl.site.new import templates
from fieldctl.units import TargetId

HORSESHOE = Zone("h", "H", ((0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (10, 10), (10, 30), (0, 30)))


@pytest.mark.parametrize(
    ("x", "y", "off_m"),
    [
        (5, 20, 0.0),
        (25, 20, 0.0),
        (15, 5, 0.0),
        (15, 20, 5.0),  # between the arms: a ray to the east crosses two edges
        (-3, 20, 3.0),
        (33, 34, 5.0),
        (15, 11, 1.0),
    ],
)
def test_how_far_a_point_lies_outside(x: float, y: float, off_m: float) -> None:
    assert HORSESHOE.off_by_m(x, y) == pytest.approx(off_m)


def test_nowhere_is_outside_of_a_zone_that_nobody_drew() -> None:
    assert Zone("z", "Z").off_by_m(1e6, 0) == 0.0


def test_names_find_what_they_name() -> None:
    site = read_site(dict(templates())["site.toml"])
    assert site.place(TargetId("5ee0000c")).name == "Larch 12"
    assert site.zone("lower").title == "Lower hollow"
    with pytest.raises(KeyError):
        site.place(TargetId("5ee0000d"))
    with pytest.raises(KeyError):
        site.zone("middle")
