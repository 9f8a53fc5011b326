"""The zone from above: targets, debris, field, flux lines, strips, and who is strongest where. SVG and PNG.

    picture_of(site, drill, picks) -> Picture      svg, png, and the same in words

What it has in common with other pictures of the field is `fieldctl.site.drawing`. This module is the only one of the
package that loads matplotlib, and does so late.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Drill
from fieldctl.physics.dipole import RECEIVER_LIMIT_A_PER_M, field_strengths
from fieldctl.rehearsal.scene import Depths, Scene, scene_of
from fieldctl.rehearsal.strips import Strips, strip_width_for, strips_in
from fieldctl.site.drawing import (
    COLOURS,
    FAR_DASH,
    FONT_PT,
    HATCHES,
    INK,
    LETTER_PT,
    MARKERS,
    MUTED,
    WIDTH_IN,
    Picture,
    draw_burial,
    draw_flux,
    draw_outline,
    draw_start,
    fit,
    light,
    picture,
    sides,
)
from fieldctl.site.model import Site
from fieldctl.site.sending import HELD_M, MOMENT_FULL_AM2

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

MARGIN_M = 8.0
GRID = 220  # points along the longer side
LEVELS_A_PER_M = (RECEIVER_LIMIT_A_PER_M, 1e-6, 10e-6, 100e-6)
FIELD_LABELS = ("80 nA/m", "1 µA/m", "", "")  # the inner ones lie too close to the target for a label
Saying = Callable[[str], str]
"""An English sentence as the reader is to have it."""

STRIP_DASH = (0, (6, 3))
TITLE_LETTERS = 32  # a line
LEFT_IN, TITLE_IN, BELOW_IN, ROW_IN = 0.52, 0.36, 0.55, 0.208


def picture_of(site: Site, drill: Drill, picks: Picks, said: Saying = str, depths_m: Depths | None = None) -> Picture:
    """The picture of a staffed drill, its labels as `said` says them; raises as `scene_of` does."""
    return picture_of_scene(scene_of(site, drill, picks, depths_m), drill.title, said)


def picture_of_scene(scene: Scene, title: str, said: Saying = str) -> Picture:
    """The picture of a scene."""
    strips = strips_in(scene.outline, scene.entry, strip_width_for(MOMENT_FULL_AM2))
    return picture(lambda: _draw(scene, strips, title, said), title, in_words(scene, strips, title, said))


def in_words(scene: Scene, strips: Strips, title: str, said: Saying = str) -> str:
    """What the picture shows, in words."""
    low, high = scene.outline.min(axis=0), scene.outline.max(axis=0)
    where = {"scene": "as the drill draws it", "zone": "the outline of the zone", "box": "a box round the targets"}
    rows = [
        f"{title}, seen from above; x to the right and y upwards, in metres.",
        f"Debris, {where[scene.outline_from]}: x {low[0]:.0f} to {high[0]:.0f}, y {low[1]:.0f} to {high[1]:.0f}.",
        f"Searchers set out at x {scene.entry[0]:.0f}, y {scene.entry[1]:.0f}, "
        f"in {strips.first_round} {'strip' if strips.first_round == 1 else 'strips'} {strips.width_m:.0f} m wide.",
    ]
    for k, name in enumerate(scene.names):
        x, y = scene.places[k, :2]
        sends = "sends no signal" if not scene.sends[k] else _heard_from(scene, k)
        rows.append(f"{name} lies at x {x:.0f}, y {y:.0f}, {scene.depths_m[k]:.1f} m deep; {sends}.")
    if scene.sends.sum() > 1:
        rows.append("Hatching shows which burial is strongest where.")
    return " ".join(said(row) for row in rows)


def _heard_from(scene: Scene, k: int) -> str:
    """How far a burial is heard at the norm's limit, least and most."""
    turn = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    radius = np.linspace(1.0, 60.0, 591)
    points = np.empty((len(turn), len(radius), 3))
    points[..., 0] = scene.places[k, 0] + np.cos(turn)[:, None] * radius
    points[..., 1] = scene.places[k, 1] + np.sin(turn)[:, None] * radius
    points[..., 2] = HELD_M
    moment = scene.axes[k] * scene.moments_Am2[k]
    strength = field_strengths(moment, scene.places[k], points.reshape(-1, 3)).reshape(len(turn), -1)
    reach = np.where(strength >= RECEIVER_LIMIT_A_PER_M, radius, 0.0).max(axis=1)
    return f"its field is down to 80 nA/m at {reach.min():.0f} to {reach.max():.0f} m"


def _draw(scene: Scene, strips: Strips, title: str, said: Saying) -> Figure:
    from matplotlib.figure import Figure

    corners = np.concatenate([scene.outline, scene.places[:, :2], scene.entry[None, :]])
    low, high = corners.min(axis=0) - MARGIN_M, corners.max(axis=0) + MARGIN_M
    size = high - low
    tall = float(np.clip(size[1] / size[0], 0.45, 1.5))
    axes_in = WIDTH_IN - LEFT_IN - 0.1
    rows = _legend_rows(scene, strips, said)
    legend_in = ROW_IN * len(rows) + 0.1
    lines = textwrap.wrap(title, TITLE_LETTERS) or [""]
    height = TITLE_IN + 0.2 * (len(lines) - 1) + axes_in * tall + BELOW_IN + legend_in
    figure = Figure(figsize=(WIDTH_IN, height), facecolor="white")
    box = (LEFT_IN / WIDTH_IN, (legend_in + BELOW_IN) / height, axes_in / WIDTH_IN, axes_in * tall / height)
    axes = figure.add_axes(box)
    seen = fit(axes, low, high, tall)
    x = np.linspace(seen[0, 0], seen[1, 0], GRID)
    y = np.linspace(seen[0, 1], seen[1, 1], max(20, round(GRID * tall)))
    axes.set_xlabel("x, m", labelpad=1)
    axes.set_ylabel("y, m", labelpad=1)
    axes.tick_params(labelsize=FONT_PT - 0.5, pad=2)
    _ground(axes, scene, strips)
    beside = sides(scene.names, scene.places[:, :2], scene.entry, (x[0], x[-1]), axes_in)
    if scene.sends.any():
        lettered = scene.places[:, :2] + 1.8 * LETTER_PT * beside * (x[-1] - x[0]) / (72 * axes_in)
        _field(axes, scene, x, y, np.concatenate([_flux(axes, scene), lettered]))
    draw_start(axes, scene.entry, scene.outline.mean(axis=0), said("start"))
    for k, name in enumerate(scene.names):
        draw_burial(axes, k, name, scene.places[k, :2], beside[k], sends=bool(scene.sends[k]))
    head = "\n".join(lines)
    figure.text(0.5, 1.0 - 0.08 / height, head, ha="center", va="top", fontsize=FONT_PT + 2, weight="bold", color=INK)
    labels = [label for _, label in rows]
    figure.legend(
        handles=[handle for handle, _ in rows],
        labels=labels,
        loc="lower center",
        frameon=False,
        fontsize=FONT_PT,
        handlelength=2.4,
        labelspacing=0.4,
        borderaxespad=0.1,
    )
    return figure


def _ground(axes: Axes, scene: Scene, strips: Strips) -> None:
    draw_outline(axes, scene.outline)
    for i, line in enumerate(strips.lines[: strips.first_round]):
        walked = line[::-1] if i % 2 else line
        axes.plot(walked[:, 0], walked[:, 1], color=MUTED, lw=1.4, ls=STRIP_DASH, zorder=3)
        way = walked[1] - walked[0]
        arrow = {"arrowstyle": "-|>,head_width=0.3,head_length=0.5", "color": MUTED, "lw": 1.4}
        axes.annotate("", xy=walked[0] + 0.9 * way, xytext=walked[0] + 0.88 * way, arrowprops=arrow, zorder=3)


def _field(axes: Axes, scene: Scene, x: Floats, y: Floats, drawn_already: Floats) -> None:
    """Strength of the strongest signal as contours, and by hatching whose it is; labels keep off what is drawn."""
    taken = np.concatenate([drawn_already, scene.places[:, :2], scene.entry[None, :]])
    east, north = np.meshgrid(x, y)
    points = np.stack([east.ravel(), north.ravel(), np.full(east.size, HELD_M)], axis=-1)
    which = np.flatnonzero(scene.sends)
    moments = scene.axes[which] * scene.moments_Am2[which, None]
    strength = field_strengths(moments, scene.places[which], points).reshape(len(which), *east.shape)
    strongest = strength.max(axis=0)
    if len(which) > 1:
        heard = strongest >= RECEIVER_LIMIT_A_PER_M
        for n, k in enumerate(which.tolist()):
            mine = np.where((strength.argmax(axis=0) == n) & heard, 1.0, 0.0)
            if (mine > 0.5).any():
                drawn = axes.contourf(x, y, mine, levels=[0.5, 1.5], colors=[light(k, 0.10)], zorder=0.5)
                drawn.set(hatch=HATCHES[k % 8], edgecolor=light(k, 0.6), linewidth=0.0)
    for level, name in zip(LEVELS_A_PER_M, FIELD_LABELS, strict=True):
        if not strongest.min() < level < strongest.max():
            continue
        wide = 2.2 if level == RECEIVER_LIMIT_A_PER_M else 1.0
        lines = axes.contour(x, y, strongest, levels=[level], colors=INK, linewidths=wide, linestyles=":", zorder=2)
        if name:
            at = _label_contour(axes, np.concatenate(lines.allsegs[0]), name, taken)
            taken = np.concatenate([taken, at])


def _label_contour(axes: Axes, line: Floats, name: str, taken: Floats) -> Floats:
    """One label a level, where its line is farthest from what is drawn; where it stands, (0 or 1, 2)."""
    low = np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    high = np.array([axes.get_xlim()[1], axes.get_ylim()[1]])
    room = np.array([0.13, 0.04]) * (high[0] - low[0])
    inside: Floats = line[((line > low + room) & (line < high - room)).all(axis=1)]
    if not len(inside):
        return inside
    gap = np.sqrt(np.sum((inside[:, None, :] - taken) ** 2, axis=2)).min(axis=1)
    at: Floats = inside[int(np.argmax(np.minimum(gap, 0.2 * (high[0] - low[0]))))]
    white = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.1"}
    x, y = float(at[0]), float(at[1])
    axes.text(x, y, name, fontsize=FONT_PT - 0.5, color=INK, ha="center", va="center", bbox=white, zorder=5.5)
    return at.reshape(1, 2)


def _flux(axes: Axes, scene: Scene) -> Floats:
    """Flux lines from the entry to each burial that sends; their points, (P, 2)."""
    which = np.flatnonzero(scene.sends).tolist()
    return draw_flux(axes, scene.entry, scene.places, scene.axes, scene.moments_Am2, which)


def _legend_rows(scene: Scene, strips: Strips, said: Saying) -> list[tuple[Any, str]]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    several = scene.sends.sum() > 1
    rows: list[tuple[Any, str]] = []
    for k, name in enumerate(scene.names):
        fill = COLOURS[k % 8] if scene.sends[k] else "white"
        mark = Line2D([], [], marker=MARKERS[k % 8], ls="", ms=10, mfc=fill, mec=INK, mew=1.4)
        what = said(f"{scene.depths_m[k]:.1f} m deep" + ("" if scene.sends[k] else ", no signal"))
        patch = Patch(facecolor=light(k, 0.10), edgecolor=light(k, 0.6), hatch=HATCHES[k % 8], lw=0.0)
        rows.append(((patch, mark) if several and scene.sends[k] else mark, f"{name}, {what}"))
    if several:
        rows.append((Line2D([], [], ls=""), said("hatched: where it is the strongest")))
    rows.append((Line2D([], [], color=INK, lw=2.0), said("outline of the debris")))
    rows.append(
        (Line2D([], [], color=MUTED, lw=1.4, ls=STRIP_DASH), said(f"search strips, {strips.width_m:.0f} m wide"))
    )
    if scene.sends.any():
        rows.append((Line2D([], [], color=COLOURS[0], lw=2.6), said("flux line from the start")))
        rows.append((Line2D([], [], color=COLOURS[0], lw=1.4, ls=FAR_DASH), said("… where it is too weak to be heard")))
        rows.append((Line2D([], [], color=INK, lw=1.8, ls=":"), said("field strength; heard within 80 nA/m")))
    return rows
