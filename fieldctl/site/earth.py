"""Degrees on the earth to metres of the site's plane, and back: east, north and up around the site's origin (WGS 84).

The plane touches the ellipsoid, raised to the origin's height, at the origin. Distances in it fall short of those on
the ellipsoid by s³/6R², 0.004 mm at 1 km; tests/published checks against an outside reference.
"""

from __future__ import annotations

import math

from fieldctl.site.model import Origin

# WGS 84 (NIMA TR8350.2): semi-major axis and flattening
A_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
E2 = FLATTENING * (2 - FLATTENING)


def to_plane(origin: Origin, lat_deg: float, lon_deg: float) -> tuple[float, float]:
    """Metres (east, north) of a point at the origin's height."""
    lat0, lon0 = math.radians(origin.lat_deg), math.radians(origin.lon_deg)
    x0, y0, z0 = _ecef(lat0, lon0, origin.height_m)
    x, y, z = _ecef(math.radians(lat_deg), math.radians(lon_deg), origin.height_m)
    dx, dy, dz = x - x0, y - y0, z - z0
    east = -math.sin(lon0) * dx + math.cos(lon0) * dy
    north = -math.sin(lat0) * (math.cos(lon0) * dx + math.sin(lon0) * dy) + math.cos(lat0) * dz
    return east, north


def to_earth(origin: Origin, x_m: float, y_m: float) -> tuple[float, float]:
    """Degrees (lat, lon) of a point of the plane: `to_plane` turned round by Newton steps on local radii."""
    lat_deg, lon_deg = origin.lat_deg, origin.lon_deg
    for _ in range(6):  # each step gains some five digits within 20 km
        east, north = to_plane(origin, lat_deg, lon_deg)
        lat = math.radians(lat_deg)
        w = 1 - E2 * math.sin(lat) ** 2
        meridian_m = A_M * (1 - E2) / w**1.5 + origin.height_m
        parallel_m = (A_M / math.sqrt(w) + origin.height_m) * math.cos(lat)
        lat_deg += math.degrees((y_m - north) / meridian_m)
        lon_deg += math.degrees((x_m - east) / parallel_m)
    return lat_deg, lon_deg


def _ecef(lat: float, lon: float, height_m: float) -> tuple[float, float, float]:
    n = A_M / math.sqrt(1 - E2 * math.sin(lat) ** 2)
    return (
        (n + height_m) * math.cos(lat) * math.cos(lon),
        (n + height_m) * math.cos(lat) * math.sin(lon),
        (n * (1 - E2) + height_m) * math.sin(lat),
    )
