"""The line for grooming machines: every target well inside, whatever its ±; the site's own line; files for machines."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from itertools import pairwise
from math import cos, hypot, pi, sin
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.errors import FileFaults, Refused
from fieldctl.site.earth import to_plane
from fieldctl.site.files import read_site
from fieldctl.site.model import Grooming, NoGo, Origin, Place, Site, Zone
from fieldctl.site.no_go import as_csv, as_geojson, as_gpx, crosses_itself, hull, lines, outside_m
from fieldctl.units import TargetId

ORIGIN = Origin(10.0, 20.0, 1500.0)
ZONES = (Zone("upper", "Upper <hollow>"), Zone("lower", "Lower"))


def place(number: int, x_m: float, y_m: float, plus_minus_m: float = 0.5, zone: str = "upper") -> Place:
    return Place(TargetId(f"5ee0{number:04x}"), f"Larch {number}", zone, x_m, y_m, 1.0, plus_minus_m=plus_minus_m)


SITE = Site(
    "larch-hollow", "Larch Hollow", origin=ORIGIN, zones=ZONES,
    places=(place(1, 10, 10), place(2, 40, 12), place(3, 25, 30, 2.0), place(4, 100, 100, zone="lower")),
)  # fmt: skip
HOURGLASS = ((0.0, 0.0), (10.0, 10.0), (10.0, 0.0), (0.0, 10.0))

metres = st.floats(-500, 500)


@given(
    st.lists(st.tuples(metres, metres, st.floats(0, 20)), min_size=1, max_size=20),
    st.floats(0, 30),
    st.floats(0, 2 * pi),
)
def test_whatever_lies_within_its_plus_minus_keeps_the_margin(
    found: list[tuple[float, float, float]], margin: float, way: float
) -> None:
    places = tuple(place(n + 1, x, y, pm) for n, (x, y, pm) in enumerate(found))
    among = lines(replace(SITE, places=places, grooming=Grooming(margin_m=margin)))
    for each in places:
        x, y = (each.x_m + each.plus_minus_m * cos(way), each.y_m + each.plus_minus_m * sin(way))
        assert outside_m(among, x, y) <= -margin + 1e-6


def test_one_line_a_zone_and_none_where_nothing_lies() -> None:
    assert [(line.name, line.drawn) for line in lines(SITE)] == [("upper", False), ("lower", False)]
    assert lines(replace(SITE, places=SITE.places[:3]))[-1].name == "upper"
    assert outside_m((), 0, 0) == float("inf")


def test_a_line_around_one_target_is_nearly_a_circle() -> None:
    line = lines(SITE)[1]
    radii = [hypot(x - 100, y - 100) for x, y in line.points_m]
    assert min(radii) >= 5.5
    assert max(radii) < 5.5 * 1.01


def test_the_sites_own_line_counts_alone_and_runs_counter_clockwise() -> None:
    clockwise = ((0.0, 0.0), (0.0, 50.0), (50.0, 50.0), (50.0, 0.0))
    site = replace(SITE, grooming=Grooming(lines=(NoGo("all", "All", clockwise),)))
    (line,) = lines(site)
    assert line.drawn
    assert line.points_m == tuple(reversed(clockwise))
    assert outside_m([line], 25, 25) == pytest.approx(-25)
    assert outside_m([line], 53, 54) == pytest.approx(5)


@pytest.mark.parametrize("points", [[], [(0.0, 0.0)], [(0.0, 0.0), (1.0, 1.0), (0.0, 0.0)]])
def test_a_hull_of_next_to_nothing(points: list[tuple[float, float]]) -> None:
    assert set(hull(points)) == set(points)


def test_an_outline_that_crosses_itself() -> None:
    assert crosses_itself(HOURGLASS) == (1, 3)
    assert crosses_itself(((0, 0), (10, 0), (10, 10), (5, 4), (0, 10))) is None


def test_geojson_gives_the_same_metres_back() -> None:
    data = json.loads(as_geojson(SITE, lines(SITE)))
    ring = data["features"][0]["geometry"]["coordinates"][0]
    assert ring[0] == ring[-1]
    for (lon, lat), (x, y) in zip(ring, lines(SITE)[0].points_m, strict=False):
        assert to_plane(ORIGIN, lat, lon) == pytest.approx((x, y), abs=0.02)
    area = sum(a[0] * b[1] - a[1] * b[0] for a, b in pairwise(ring))
    assert area > 0, "RFC 7946 wants outer rings counter-clockwise"


def test_gpx_is_a_closed_track_that_any_reader_reads() -> None:
    root = ElementTree.fromstring(as_gpx(SITE, lines(SITE)))
    space = "{http://www.topografix.com/GPX/1/1}"
    tracks = root.findall(f"{space}trk")
    assert tracks[0].findtext(f"{space}name") == "no machines: Upper <hollow>"
    points = [dict(point.attrib) for point in tracks[0].iter(f"{space}trkpt")]
    assert points[0] == points[-1]
    assert len(points) == len(lines(SITE)[0].points_m) + 1


def test_csv_in_metres_needs_no_origin_and_the_others_say_what_they_need() -> None:
    plain = replace(SITE, origin=None)
    rows = list(csv.DictReader(io.StringIO("".join(as_csv(lines(plain))))))
    assert [float(row["x_m"]) for row in rows[:2]] == [round(x, 2) for x, _ in lines(plain)[0].points_m[:2]]
    for write in (as_geojson, as_gpx):
        with pytest.raises(Refused) as caught:
            write(plain, lines(plain))
        assert "origin" in caught.value.expected


TOML = 'name = "a"\ntitle = "A"\n\n[[zone]]\nname = "upper"\n\n'


def test_what_the_file_says() -> None:
    rules = read_site(
        TOML + "[upkeep]\nprobe_m = 3.2\n[grooming]\nmargin_m = 8\nblade_m = 0.3\n"
        '[[no_go]]\nname = "upper"\noutline_m = [[0, 0], [9, 0], [9, 9]]\n'
    )
    assert rules.upkeep.probe_m == 3.2
    assert rules.grooming == Grooming(8, 0.3, (NoGo("upper", "upper", ((0, 0), (9, 0), (9, 9))),))


@pytest.mark.parametrize(
    ("text", "key", "word"),
    [
        ('[[no_go]]\nname = "one"\n', "no_go[1].outline_m", "missing"),
        ('[[no_go]]\nname = "one"\noutline_m = [[0, 0], [1, 1]]\n', "no_go[1].outline_m", "2 points"),
        ('[[no_go]]\nname = "one"\noutline_m = [[0,0],[9,9],[9,0],[0,9]]\n', "no_go[1].outline_m", "1 and 3 cross"),
        ("[grooming]\nmargin_m = -1\n", "grooming.margin_m", "outside"),
        ("[grooming]\nblade = 1\n", "grooming.blade", "did you mean blade_m"),
        ("[upkeep]\nprobe_m = 24\n", "upkeep.probe_m", "outside"),
    ],
)
def test_faults_of_the_file(text: str, key: str, word: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_site(TOML + text)
    assert [fault.key for fault in caught.value.faults] == [key]
    assert word in caught.value.faults[0].wrong
