"""The site's map on paper, for whoever drives the grooming machine: zones, stakes, targets, and the no-go line.

    draw_map(site) -> Picture      SVG, PNG and words; in metres of the site's plane

Drawn in black and white: the cab's printer has no colour. Where a target lies is a hint, so this map is for the crew.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldctl.site.drawing import FONT_PT, INK, MUTED, WIDTH_IN, Floats, Picture, fit, picture
from fieldctl.site.model import Site
from fieldctl.site.no_go import Line, lines

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TALL = 1.3  # as high as wide: a sheet of paper with room for words
EDGE_M = 8.0  # around all that is drawn
DASH = (0, (5, 3))
BOX = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.1"}


def draw_map(site: Site) -> Picture:
    """The map of a site with its no-go lines."""
    among = lines(site)
    return picture(lambda: _draw(site, among), site.title, words_of(site, among), "site-map")


def words_of(site: Site, among: Sequence[Line]) -> str:
    """What the map shows, for whoever cannot see it."""
    rows = [f"Map of {site.title}, in metres."]
    for line in among:
        corners = ", ".join(f"({x:.0f}, {y:.0f})" for x, y in line.points_m)
        rows.append(f"No grooming machines inside of {line.title}: {corners}.")
    rows += [f"Stake {stake.name} at x {stake.x_m:g}, y {stake.y_m:g}." for stake in site.stakes]
    rows += [f"{place.name} at x {place.x_m:.1f}, y {place.y_m:.1f}." for place in site.places]
    return " ".join(rows)


def _draw(site: Site, among: Sequence[Line]) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, WIDTH_IN * TALL + 0.7))
    axes = figure.add_axes((0.16, 0.09, 0.82, 0.82))
    low, high = _ends(site, among)
    fit(axes, low, high, TALL)
    middle = _middle([(low[0], low[1]), (high[0], high[1])])
    for zone in site.zones:
        if zone.outline_m:
            _ring(axes, zone.outline_m, lw=1.2, color=MUTED)
            x, y = min(x for x, _ in zone.outline_m), max(y for _, y in zone.outline_m)
            _label(axes, (x, y), zone.title, MUTED, (x, y))
    for line in among:
        _ring(axes, line.points_m, lw=2.6, color=INK, ls=DASH, zorder=6)  # over the labels' boxes, under their words
    for stake in site.stakes:
        axes.plot(stake.x_m, stake.y_m, marker="+", ms=11, mew=2.2, color=INK, zorder=6)
        _label(axes, (stake.x_m, stake.y_m), stake.name, INK, middle)
    for place in site.places:
        axes.plot(place.x_m, place.y_m, marker="o", ms=5, color=INK, zorder=6)
        together = [(each.x_m, each.y_m) for each in site.places if each.zone == place.zone]
        _label(axes, (place.x_m, place.y_m), place.name, INK, _middle(together))
    axes.set_xlabel("x, m" + (" (east)" if site.origin else ""), fontsize=FONT_PT)
    axes.set_ylabel("y, m" + (" (north)" if site.origin else ""), fontsize=FONT_PT)
    axes.tick_params(labelsize=FONT_PT - 1.5)
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_axisbelow(True)
    axes.set_title(f"{site.title}\ndashed: no grooming machines inside", fontsize=FONT_PT, weight="bold")
    return figure


def _ends(site: Site, among: Sequence[Line]) -> tuple[Floats, Floats]:
    points = [
        *(point for zone in site.zones for point in zone.outline_m),
        *(point for line in among for point in line.points_m),
        *((stake.x_m, stake.y_m) for stake in site.stakes),
        *((place.x_m, place.y_m) for place in site.places),
    ]
    found = np.array(points or [(0.0, 0.0)], dtype=np.float64)
    return found.min(axis=0) - EDGE_M, found.max(axis=0) + EDGE_M


def _ring(axes: Axes, outline: Sequence[tuple[float, float]], **how: object) -> None:
    ring = np.array([*outline, outline[0]])
    axes.plot(ring[:, 0], ring[:, 1], **how)  # type: ignore[arg-type]


def _label(axes: Axes, at: tuple[float, float], text: str, color: str, inward: tuple[float, float]) -> None:
    """A name beside its point, towards the middle of what it belongs to: clear of the line and of the sheet's edge."""
    right, up = at[0] <= inward[0], at[1] <= inward[1]
    how: dict[str, Any] = {
        "xy": at,
        "xytext": (4.0 if right else -4.0, 5.0 if up else -5.0),
        "textcoords": "offset points",
        "ha": "left" if right else "right",
        "va": "bottom" if up else "top",
        "fontsize": FONT_PT - 2.5,
        "color": color,
    }
    axes.annotate(text, zorder=5, bbox=BOX, **how)
    axes.annotate(text, zorder=7, **how)


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
