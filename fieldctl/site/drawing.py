"""What every picture of the field has in common: paper, palette, letters, flux lines, and words for who cannot see it.

Made to be read on a phone, in sun, by colour-blind eyes and on a grey printer: each burial has a shape, a letter and a
hatching besides its colour (the palette of Okabe and Ito), each line a dash of its own, and all labels stand on white.
matplotlib is loaded late, when something is drawn.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.dipole import RECEIVER_LIMIT_A_PER_M, field_strengths
from fieldctl.physics.flux import flux_lines
from fieldctl.site.sending import HELD_M

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

WIDTH_IN = 4.2  # a phone held upright is about 360 to 420 px wide: 11 points are then about 13 px
DPI = 240
FONT_PT = 10.5
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000", "#7A6A00")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*")
HATCHES = ("///", "\\\\\\", "...", "|||", "---", "xxx", "ooo", "+++")
INK, MUTED = "#111111", "#555555"
FAR_DASH = (0, (2, 1.5))
LETTER_PT = 12.0  # from a target to its letter
NEIGHBOUR_SHARE = 0.2  # of the width: nearer targets push each other's letters away


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: `svg` text, `png` bytes, and `text`, which says the same to who cannot see it."""

    svg: str
    png: bytes
    text: str


def picture(draw: Callable[[], Figure], title: str, text: str, key: str = "picture") -> Picture:
    """Draw, with settings that give the same bytes for the same picture; `key` tells several in one page apart."""
    import matplotlib

    settings: Any = {
        "svg.hashsalt": f"fieldctl-{key}",  # the same picture gives the same bytes, two in one page other names
        "svg.fonttype": "path",  # letters look the same on every phone
        "font.family": "DejaVu Sans",  # comes with matplotlib
        "font.size": FONT_PT,
        "hatch.linewidth": 0.5,
        "text.parse_math": False,  # a name may hold a dollar sign
    }
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a letter that the font lacks: the words have it
        figure = draw()
        svg, png = io.StringIO(), io.BytesIO()
        figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
        figure.savefig(png, format="png", dpi=DPI, metadata={"Software": None, "Description": text})
    return Picture(_with_words(svg.getvalue(), title, text, key), png.getvalue(), text)


def _with_words(svg: str, title: str, text: str, key: str) -> str:
    """An SVG that a screen reader can read: a role, a title, a description; ids that no other picture in a page has."""
    svg = re.sub(r'((?:\bid=")|(?:href="#)|(?:url\(#))', rf"\g<1>{key}-", svg[svg.index("<svg ") :])
    head = svg.index(">") + 1
    opening = svg[: head - 1] + f' role="img" aria-labelledby="{key}-title {key}-text">'
    words = f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-text">{escape(text)}</desc>'
    return opening + words + svg[head:]


def fit(axes: Axes, low: Floats, high: Floats, tall: float) -> Floats:
    """Fit axes that are `tall` times as high as wide to the ground, one scale both ways; the corners, (2, 2) m."""
    size, middle = high - low, 0.5 * (low + high)
    span = max(float(size[0]), float(size[1]) / tall)
    half = 0.5 * np.array([span, span * tall])
    axes.set_aspect("equal")
    axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
    axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
    axes.set_autoscale_on(False)
    return np.stack([middle - half, middle + half])


def light(k: int, share: float) -> tuple[float, float, float]:
    """A burial's colour thinned with white."""
    from matplotlib.colors import to_rgb

    r, g, b = to_rgb(COLOURS[k % 8])
    return (1 - share * (1 - r), 1 - share * (1 - g), 1 - share * (1 - b))


def draw_flux(
    axes: Axes, start: Floats, places: Floats, coils: Floats, moments_Am2: Floats, which: Sequence[int]
) -> Floats:
    """Flux lines from a start (2,) to burials at places (K, 3): full where heard, dashed before; points (P, 2)."""
    points = [np.empty((0, 2))]
    held = np.array([[start[0], start[1], HELD_M]])
    for k in which:
        line = flux_lines(coils[k], places[k], held, on_surface=True)[0]
        heard = field_strengths(coils[k] * moments_Am2[k], places[k], line)[0] >= RECEIVER_LIMIT_A_PER_M
        first = int(np.argmax(heard)) if heard.any() else len(line) - 1
        axes.plot(line[:, 0], line[:, 1], color="white", lw=4.2, zorder=4.5)
        axes.plot(line[: first + 1, 0], line[: first + 1, 1], color=COLOURS[k % 8], lw=1.4, ls=FAR_DASH, zorder=5)
        axes.plot(line[first:, 0], line[first:, 1], color=COLOURS[k % 8], lw=2.6, zorder=5)
        points.append(line[::5, :2])
    return np.concatenate(points)


def sides(
    names: Sequence[str], places: Floats, entry: Floats, left_right: tuple[float, float], axes_in: float
) -> Floats:
    """On which side of each burial at (K, 2) its letter stands, (K, 2) unit: away from the entry and from neighbours,
    and not beyond the right or left edge."""
    span = left_right[1] - left_right[0]
    out = np.empty((len(names), 2))
    for k, name in enumerate(names):
        at = places[k]
        away = unit(at - entry)
        for i, other in enumerate(places):
            if i != k and np.hypot(*(at - other)) < NEIGHBOUR_SHARE * span:
                apart = at - other if np.any(at != other) else np.array([np.cos(2.4 * k), np.sin(2.4 * k)])
                away = away + 2.0 * unit(apart)
        side = unit(away)
        wide = (LETTER_PT + 0.75 * (FONT_PT + 1.5) * len(name)) * span / (72 * axes_in)
        if (side[0] > 0.3 and at[0] + wide > left_right[1]) or (side[0] < -0.3 and at[0] - wide < left_right[0]):
            side = side * [-1.0, 1.0]
        out[k] = side
    return out


def draw_burial(axes: Axes, k: int, name: str, at: Floats, side: Floats, *, sends: bool) -> None:
    """A burial with its shape and letter; hollow where it sends no signal."""
    boxed = {"facecolor": "white", "edgecolor": INK, "lw": 0.8, "boxstyle": "round,pad=0.2"}
    axes.plot(*at, marker=MARKERS[k % 8], ms=10.5, mfc=COLOURS[k % 8] if sends else "white", mec=INK, mew=1.6, zorder=9)
    across = "left" if side[0] > 0.3 else "right" if side[0] < -0.3 else "center"
    upright = "bottom" if side[1] > 0.6 else "top" if side[1] < -0.6 else "center"
    axes.annotate(
        name,
        xy=(float(at[0]), float(at[1])),
        xytext=(float(side[0]) * LETTER_PT, float(side[1]) * LETTER_PT),
        textcoords="offset points",
        ha=across,
        va=upright,
        fontsize=FONT_PT + 1.5,
        weight="bold",
        color=INK,
        bbox=boxed,
        zorder=10,
    )


def draw_start(axes: Axes, entry: Floats, inside: Floats, name: str = "start") -> None:
    """The point where searchers set out, its label on the side that lies outside the ground around `inside`."""
    axes.plot(*entry, marker="o", ms=6, color=INK, zorder=8)
    inward = np.sign(inside - entry)
    across = {-1.0: "right", 0.0: "center", 1.0: "left"}[float(inward[0])]  # beside the outline, within the axes
    axes.annotate(
        name,
        xy=(float(entry[0]), float(entry[1])),
        xytext=(0.0, -5.0 * (float(inward[1]) or 1.0)),
        textcoords="offset points",
        ha=across,
        va="bottom" if inward[1] < 0.0 else "top",
        fontsize=FONT_PT - 0.5,
        weight="bold",
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.05"},
        zorder=10,
    )


def draw_outline(axes: Axes, outline: Floats) -> None:
    """The outline of the debris, (V, 2) m."""
    ring = np.concatenate([outline, outline[:1]])
    axes.plot(ring[:, 0], ring[:, 1], color=INK, lw=2.0, solid_joinstyle="round", zorder=4)


def unit(v: Floats) -> Floats:
    """A direction of length 1; east where there is none."""
    length = float(np.hypot(*v))
    return v / length if length > 1e-9 else np.array([1.0, 0.0])
