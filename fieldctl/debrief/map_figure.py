"""The map of an exercise: order and distances of the finds, flux lines, debris, depths, the way each coil points.

    map_figure(debrief, words) -> Picture | None      None where no burial's place is known

Drawn from where things lay on that day, as the exercise's own conditions say. What nobody noted is not drawn: without
a coil's direction there is no arrow and no flux line.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldctl.debrief.figure_words import legs_of, map_in_words
from fieldctl.debrief.model import BurialDebrief, Debrief
from fieldctl.debrief.words import ENGLISH, Words, clock, in_words, said
from fieldctl.drill.plan import LEVEL_FULL
from fieldctl.site.drawing import (
    COLOURS,
    DPI,
    FAR_DASH,
    FONT_PT,
    INK,
    MARKERS,
    MUTED,
    WIDTH_IN,
    Floats,
    Picture,
    draw_burial,
    draw_flux,
    draw_outline,
    draw_start,
    fit,
    picture,
    sides,
    unit,
)
from fieldctl.site.sending import MOMENT_FULL_AM2, axis_from_survey

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARGIN_M = 8.0
LEAST_M = 30.0  # across: one burial alone is not looked at through a glass
LEFT_IN, TITLE_IN, BELOW_IN, ROW_IN = 0.52, 0.36, 0.52, 0.203
SHORT_LEG_PT = 90.0  # a leg whose distance would lie under arrows and markers: the legend says it
ARROW_PT = 26.0  # from a burial's middle to the head of its coil's arrow
UPRIGHT_DEG = 10.0  # a coil nearer to upright than this points to no side


def map_figure(d: Debrief, words: Words = ENGLISH) -> Picture | None:
    """The map; deterministic, the same debrief gives the same bytes."""
    known = [b for b in d.burials if b.where is not None]
    if not known:
        return None
    title = in_words(said("figure.map", title=d.title), words)
    return picture(lambda: _draw(d, known, words, title), title, map_in_words(d, words), "map")


def _draw(d: Debrief, known: Sequence[BurialDebrief], words: Words, title: str) -> Figure:
    from matplotlib.figure import Figure

    places = _places(known)
    outline = np.array(d.outline_m, dtype=np.float64).reshape(-1, 2)
    extra = [np.array([p], dtype=np.float64) for p in (d.entry_m, d.seen_m) if p is not None]
    corners = np.concatenate([places[:, :2], outline, *extra])
    low, high = corners.min(axis=0) - MARGIN_M, corners.max(axis=0) + MARGIN_M
    widen = np.maximum(0.0, LEAST_M - (high - low)) / 2
    low, high = low - widen, high + widen
    size = high - low
    tall = float(np.clip(size[1] / size[0], 0.45, 1.4))
    axes_in = WIDTH_IN - LEFT_IN - 0.1
    short_m = SHORT_LEG_PT / 72 / axes_in * max(size[0], size[1] / tall)
    handles = _legend(d, known, words, short_m)
    legend_in = ROW_IN * len(handles) + 0.1
    lines = textwrap.wrap(title, 34) or [""]
    height = TITLE_IN + 0.2 * (len(lines) - 1) + axes_in * tall + BELOW_IN + legend_in
    figure = Figure(figsize=(WIDTH_IN, height), facecolor="white", dpi=DPI)
    box = (LEFT_IN / WIDTH_IN, (legend_in + BELOW_IN) / height, axes_in / WIDTH_IN, axes_in * tall / height)
    axes = figure.add_axes(box)
    seen = fit(axes, low, high, tall)
    axes.set_xlabel("x, m", labelpad=1)
    axes.set_ylabel("y, m", labelpad=1)
    axes.tick_params(labelsize=FONT_PT - 0.5, pad=2)
    axes.grid(color="#DDDDDD", lw=0.6)
    axes.set_axisbelow(True)
    if len(outline):
        draw_outline(axes, outline)
    _flux(axes, d, known, places)
    _legs(axes, d, short_m)
    entry = np.array(d.entry_m) if d.entry_m is not None else places[:, :2].mean(axis=0) - [0.0, 1.0]
    beside = sides([_letter(d, b) for b in known], places[:, :2], entry, (seen[0, 0], seen[1, 0]), axes_in)
    for k, b in enumerate(known):
        _coil(axes, b, places[k], axes_in, seen[1, 0] - seen[0, 0])
        draw_burial(axes, _index(d, b), _letter(d, b), places[k, :2], _beside_coil(b, beside[k]), sends=b.sends)
    if d.entry_m is not None:
        draw_start(axes, np.array(d.entry_m), outline.mean(axis=0), in_words(said("split.start"), words))
    if d.seen_m is not None:
        axes.plot(*d.seen_m, marker="P", ms=8, mfc="white", mec=INK, mew=1.3, ls="", zorder=8)
    bold: Any = {"size": FONT_PT + 1.5, "weight": "bold", "color": INK}
    figure.text(0.5, 1 - 0.06 / height, "\n".join(lines), ha="center", va="top", **bold)
    figure.legend(
        handles=[handle for handle, _ in handles],
        labels=[label for _, label in handles],
        loc="lower left",
        bbox_to_anchor=(0.02, 0.0),
        frameon=False,
        fontsize=FONT_PT - 0.5,
        handlelength=2.2,
        labelspacing=0.35,
        borderaxespad=0.2,
    )
    return figure


def _places(known: Sequence[BurialDebrief]) -> Floats:
    rows = [(b.where.x_m, b.where.y_m, -b.where.depth_m) for b in known if b.where is not None]
    return np.array(rows, dtype=np.float64)


def _index(d: Debrief, b: BurialDebrief) -> int:
    """The place of a burial in its drill: its colour and shape, the same in both figures."""
    return d.burials.index(b)


def _letter(d: Debrief, b: BurialDebrief) -> str:
    """A burial's name with its place in the order of the finds; none where it is not decided or not found."""
    nth = next((i for i, group in enumerate(d.order, 1) if group == (b.burial,)), None)
    return b.burial if nth is None else f"{nth}. {b.burial}"


def _beside_coil(b: BurialDebrief, side: Floats) -> Floats:
    """The letter's side, turned to the nearer of the two at right angles to the coil's arrow."""
    heading = _heading(b)
    if heading is None:
        return side
    across = np.array([-heading[1], heading[0]])
    return across if float(side @ across) >= 0.0 else -across


def _heading(b: BurialDebrief) -> Floats | None:
    """Which way a coil points, seen from above, (2,) unit; None where it was not noted or it stands upright."""
    w = b.where
    if w is None or w.tilt_deg is None or w.azimuth_deg is None or w.tilt_deg < UPRIGHT_DEG:
        return None
    return unit(axis_from_survey(w.azimuth_deg, w.tilt_deg)[:2])


def _coil(axes: Axes, b: BurialDebrief, place: Floats, axes_in: float, span_m: float) -> None:
    """An arrow both ways along a lying coil; a ring round an upright one; nothing where nobody noted it."""
    heading = _heading(b)
    if heading is not None:
        reach = heading * ARROW_PT / 72 / axes_in * span_m
        head, tail = place[:2] + reach, place[:2] - reach
        style: dict[str, Any] = {"arrowstyle": "<|-|>,head_width=0.25,head_length=0.45", "color": INK, "lw": 1.6}
        axes.annotate(
            "", xy=(float(head[0]), float(head[1])), xytext=(float(tail[0]), float(tail[1])), arrowprops=style, zorder=7
        )
    elif b.where is not None and b.where.tilt_deg is not None:
        axes.plot(*place[:2], marker="o", ms=17, mfc="none", mec=INK, mew=1.4, ls="", zorder=7)


def _flux(axes: Axes, d: Debrief, known: Sequence[BurialDebrief], places: Floats) -> None:
    """Flux lines from the start to each burial that sends and whose coil's way is known."""
    if d.entry_m is None:
        return
    coils, spots, moments = (np.zeros((len(d.burials), 3)), np.zeros((len(d.burials), 3)), np.zeros(len(d.burials)))
    which = []
    for b, place in zip(known, places, strict=True):
        k, w = _index(d, b), b.where
        if b.sends and w is not None and w.tilt_deg is not None and w.azimuth_deg is not None:
            coils[k], spots[k] = axis_from_survey(w.azimuth_deg, w.tilt_deg), place
            moments[k] = MOMENT_FULL_AM2 * b.level / LEVEL_FULL
            which.append(k)
    draw_flux(axes, np.array(d.entry_m), spots, coils, moments, which)


def _legs(axes: Axes, d: Debrief, short_m: float) -> None:
    """From find to find, each with its distance over everything else; of a short one the legend says it."""
    white = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.1"}
    for first, last, metres in legs_of(d):
        a, b = d.burial(first).where, d.burial(last).where
        assert a is not None
        assert b is not None
        axes.plot([a.x_m, b.x_m], [a.y_m, b.y_m], color=MUTED, lw=1.6, ls=(0, (1, 1.4)), zorder=3)
        at = ((a.x_m + b.x_m) / 2, (a.y_m + b.y_m) / 2)
        if metres >= short_m:
            text = f"{metres:.0f} m"
            axes.text(*at, text, size=FONT_PT - 0.5, color=INK, ha="center", va="center", bbox=white, zorder=11)


def _legend(d: Debrief, known: Sequence[BurialDebrief], words: Words, short_m: float) -> list[tuple[Any, str]]:
    from matplotlib.lines import Line2D

    rows: list[tuple[Any, str]] = []
    for b in known:
        assert b.where is not None
        k = _index(d, b)
        fill = COLOURS[k % 8] if b.sends else "white"
        mark = Line2D([], [], marker=MARKERS[k % 8], ls="", ms=10, mfc=fill, mec=INK, mew=1.4)
        depth = f"{b.where.depth_m:.1f}"
        text = said("figure.legend-open", name=b.burial, depth=depth)
        if b.found is not None:
            text = said("figure.legend-found", name=_letter(d, b), depth=depth, at=clock(b.found.at_us))
        rows.append((mark, in_words(text if b.sends else said("figure.silent", text=text), words)))

    def line(key: str, **style: Any) -> None:
        rows.append((Line2D([], [], **{"color": INK, **style}), in_words(said(key), words)))

    if d.outline_m:
        line("figure.outline", lw=2.0)
    if d.seen_m is not None:
        line("figure.seen", ls="", marker="P", ms=8, mfc="white", mec=INK)
    if legs_of(d):
        line("figure.order", lw=1.6, color=MUTED, ls=(0, (1, 1.4)))
    for first, last, metres in legs_of(d):
        if metres < short_m:
            leg = said("alt.leg", first=first, last=last, distance=f"{metres:.0f}")
            rows.append((Line2D([], [], ls=""), in_words(leg, words)))
    noted = [b for b in known if b.where is not None and b.where.tilt_deg is not None]
    if any(_heading(b) is not None for b in noted):
        line("figure.coil", ls="-", lw=1.6, marker="<", ms=5)
    if any(_heading(b) is None for b in noted):
        line("figure.upright", ls="", marker="o", ms=11, mfc="none", mec=INK)
    if d.entry_m is not None and any(b.sends for b in noted):
        line("figure.flux", lw=2.6, color=COLOURS[0])
        line("figure.far", lw=1.4, color=COLOURS[0], ls=FAR_DASH)
    return rows
