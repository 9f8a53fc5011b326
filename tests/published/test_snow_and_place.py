"""Snow and place against outside sources: tapes against geodesics, the line against a published area, settling against
a snow model that many programs share."""

from __future__ import annotations

import random
from itertools import pairwise
from math import exp, hypot, pi

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.spatial import ConvexHull

from fieldctl.site.earth import A_M, FLATTENING, to_earth
from fieldctl.site.model import Origin, Place, Stake
from fieldctl.site.no_go import around, hull
from fieldctl.site.resurvey import Tape, fix
from fieldctl.site.snow import settled_share
from fieldctl.site.whereabouts import from_stakes
from fieldctl.units import TargetId

WGS84 = Geodesic(A_M, FLATTENING)  # geographiclib: C. F. F. Karney, J. Geodesy 87:43 (2013)
ORIGIN = Origin(46.5, 9.5)  # at sea level, where the ellipsoid's distances are level ones


def test_tapes_along_geodesics_meet_where_the_target_lies() -> None:
    """Two stakes and a target on the earth; the tapes are geodesics that geographiclib measures."""
    r, met = random.Random(457), 0
    for _ in range(200):
        points = [(r.uniform(-40, 40), r.uniform(-40, 40)) for _ in range(3)]
        one, other, target = [to_earth(ORIGIN, x, y) for x, y in points]
        lengths = [WGS84.Inverse(*stake, *target)["s12"] for stake in (one, other)]
        stakes = Stake("a", *points[0]), Stake("b", *points[1])
        (ax, ay), (bx, by), (x, y) = points
        turn = (bx - ax) * (y - ay) - (by - ay) * (x - ax)
        if abs(turn) < 0.6 * lengths[0] * lengths[1]:
            continue  # seen from the target the stakes lie too nearly in one line
        side = "left" if turn > 0 else "right"
        found = fix([Tape(stake, length) for stake, length in zip(stakes, lengths, strict=True)], side=side)
        met += 1
        assert hypot(found.x_m - x, found.y_m - y) < 0.001
        assert found.plus_minus_m >= 0.1
    assert met > 80


def test_the_way_from_a_stake_is_the_geodesics_azimuth() -> None:
    r = random.Random(458)
    for _ in range(200):
        x, y = r.uniform(-300, 300), r.uniform(-300, 300)
        place = Place(TargetId("5ee00001"), "Larch 1", "upper", x, y, 1.0)
        (way,) = from_stakes([Stake("red post", 0.0, 0.0)], place)
        expected = WGS84.Inverse(ORIGIN.lat_deg, ORIGIN.lon_deg, *to_earth(ORIGIN, x, y))
        assert way.distance_m == pytest.approx(expected["s12"], abs=0.001)
        assert (way.bearing_deg - expected["azi1"] + 180) % 360 - 180 == pytest.approx(0, abs=0.01)


def test_the_hull_against_qhull_and_the_line_against_steiners_area() -> None:
    """scipy's ConvexHull is Qhull (Barber, Dobkin & Huhdanpaa, ACM TOMS 22:469, 1996); the area of all that lies within
    r of a convex figure is A + P r + π r² (J. Steiner, 1840)."""
    rng = np.random.default_rng(459)
    for _ in range(50):
        points = [(float(x), float(y)) for x, y in rng.uniform(0, 80, (12, 2))]
        expected = ConvexHull(points)
        assert set(hull(points)) == {points[k] for k in expected.vertices}
        line = around((x, y, 5.3) for x, y in points)
        steiner = expected.volume + expected.area * 5.3 + pi * 5.3**2  # in a plane, scipy's volume is the area
        assert steiner <= _area(line) <= steiner * 1.01


def _area(line: tuple[tuple[float, float], ...]) -> float:
    return sum(a[0] * b[1] - a[1] * b[0] for a, b in pairwise((*line, line[0]))) / 2


def left_by_the_model(days: int, density: float, celsius: float, above_kg_m2: float) -> float:
    """What is left of a layer's thickness by the compaction of Anderson (NOAA Tech. Rep. NWS 19, 1976) with the
    constants of Boone (2002) as Essery et al. (Adv. Water Resour. 55:131, 2013, table 3) give them; second-hand, read
    in an open model. Hourly steps, dry snow at one temperature."""
    cold, dense = -celsius, density
    for _ in range(days * 24):
        viscosity = 3.7e7 * exp(0.081 * cold + 0.018 * dense)
        metamorphism = 2.8e-6 * exp(-0.042 * cold - 0.046 * max(0.0, dense - 150.0))
        dense += dense * (above_kg_m2 * 9.81 / viscosity + metamorphism) * 3600.0
    return density / dense


@pytest.mark.parametrize("days", [3, 10, 30, 60, 90])
@pytest.mark.parametrize("density", [300.0, 350.0, 400.0])  # of snow that was trodden under a target
@pytest.mark.parametrize(("celsius", "above"), [(-8.0, 150.0), (-3.0, 300.0), (-1.0, 400.0)])
def test_what_settles_in_the_shared_model_lies_between_the_two_bounds(
    days: int, density: float, celsius: float, above: float
) -> None:
    left = left_by_the_model(days, density, celsius, above)
    assert settled_share(days) <= left <= 1.0


def test_soft_snow_settles_beyond_the_bound_by_no_more_than_the_readings_own_plus_minus() -> None:
    """What the bound does not hold: snow of 220 kg/m³ that nobody trod, warm and under a metre more of it."""
    beyond = [settled_share(days) - left_by_the_model(days, 220.0, -1.0, 400.0) for days in (3, 10, 30, 60, 90)]
    assert 0.0 < max(beyond) < 0.16  # of the height of the snow under it, in metres where that is 1 m
