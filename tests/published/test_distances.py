"""Degrees to metres of the site's plane, against an outside reference for distances on the earth.

Source: PyPI's geographiclib (Karney, Algorithms for geodesics, J. Geodesy 87:43, 2013; WGS 84). Grade: derived, by
another route (geodesics on the ellipsoid; the program turns earth-centred coordinates into a plane). No standard's text
was at hand.
"""

import itertools
import math

import pytest
from geographiclib.geodesic import Geodesic

from fieldctl.site.earth import A_M, FLATTENING, to_earth, to_plane
from fieldctl.site.model import Origin

WGS84 = Geodesic.WGS84
ORIGINS = [
    Origin(0, 0),
    Origin(46.5, 9.8),
    Origin(-44.3, 169.9),
    Origin(68.4, -179.9999),
    Origin(84.9, 12),
    Origin(31, 77),
]
AZIMUTHS = range(0, 360, 15)


def test_the_ellipsoid_is_the_same() -> None:
    assert WGS84.a == A_M
    assert WGS84.f == FLATTENING


@pytest.mark.parametrize("origin", ORIGINS, ids=str)
@pytest.mark.parametrize("away_m", [0.5, 30, 300, 1000])
def test_points_lie_where_they_were_put_to_a_centimetre(origin: Origin, away_m: float) -> None:
    for azimuth in AZIMUTHS:
        there = WGS84.Direct(origin.lat_deg, origin.lon_deg, azimuth, away_m)
        x_m, y_m = to_plane(origin, there["lat2"], there["lon2"])
        truth = away_m * math.sin(math.radians(azimuth)), away_m * math.cos(math.radians(azimuth))
        assert math.dist((x_m, y_m), truth) < 0.01


@pytest.mark.parametrize("origin", ORIGINS, ids=str)
def test_distances_between_any_two_points_within_a_kilometre(origin: Origin) -> None:
    points = [(x, y) for x in (-700, -15, 0, 640) for y in (-690, 0, 3, 700)]
    worst_m = 0.0
    for a, b in itertools.combinations(points, 2):
        there = WGS84.Inverse(*to_earth(origin, *a), *to_earth(origin, *b))
        worst_m = max(worst_m, abs(there["s12"] - math.dist(a, b)))
    assert worst_m < 0.01


def test_higher_up_a_degree_is_longer() -> None:
    """Derived: lengths grow by h/N east-west and h/M north-south, the ellipsoid's radii there; 2000 m: 0.031 %."""
    low, high = Origin(46.5, 9.8), Origin(46.5, 9.8, 2000.0)
    lat, lon = to_earth(low, 700.0, 700.0)
    x_m, y_m = to_plane(high, lat, lon)
    e2 = FLATTENING * (2 - FLATTENING)
    w = 1 - e2 * math.sin(math.radians(46.5)) ** 2
    n_m, m_m = A_M / math.sqrt(w), A_M * (1 - e2) / w**1.5
    assert x_m == pytest.approx(700 * (1 + 2000 / n_m), abs=1e-3)
    assert y_m == pytest.approx(700 * (1 + 2000 / m_m), abs=1e-3)
    assert x_m - 700 > 0.2
