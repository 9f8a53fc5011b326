"""The time line of an exercise as a picture: a band for each burial with its stretches, moments, signal and gaps.

    timeline_figure(debrief, words) -> Picture      SVG, PNG, and the same in words

Each kind of stretch has a hatching and a light colour, each moment a shape and its name with its time, so that the
picture can be read in grey, by colour-blind eyes and on a phone held upright. Lengths in inches: the axes' own y runs
in inches from the top, so that nothing depends on how many burials there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fieldctl.debrief.figure_words import timeline_in_words
from fieldctl.debrief.model import BurialDebrief, Debrief, Mark, Stretch
from fieldctl.debrief.stretches import key_marks
from fieldctl.debrief.words import ENGLISH, Words, clock, in_words, length, name_of_split, said
from fieldctl.site.drawing import DPI, FONT_PT, INK, MUTED, WIDTH_IN, Picture, picture
from fieldctl.units import US_PER_S

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SCREEN_IN = 7.6  # on a screen 1920 px wide the smallest words are then 35 px high
LEFT_IN, RIGHT_IN, RIGHT_ALIVE_IN = 0.12, 0.12, 0.5
HIT_BY_HAND: dict[str, Any] = {"marker": "D", "ms": 7, "mew": 1.4, "mfc": "white"}  # no pad reported it
HEAD_IN, LEVEL_IN, MARK_IN, BAND_IN, SIGNAL_IN, BETWEEN_IN = 0.25, 0.19, 0.08, 0.30, 0.22, 0.14
TITLE_IN, AXIS_IN, ROW_IN, TOP_IN = 0.34, 0.46, 0.198, 0.06
TEN_IN = 0.22  # for the two words "10 min" and "15 min" above the bands
LETTER_IN = 0.62 * FONT_PT / 72  # a letter's mean width, generous
LEVELS_MOST = 7
KINDS: dict[str, tuple[str, str]] = {
    "signal": ("#CFE3F1", "//"),
    "coarse": ("#D3EBE2", ".."),
    "fine": ("#FBF0C4", "--"),
    "probing": ("#F0DDE8", "||"),
    "noticing": ("#F4B183", "xx"),
    "digging": ("#D9D9D9", "\\\\"),
    "between": ("#FFFFFF", ""),
    "open": ("#FFFFFF", "oo"),
}
"""Kind of stretch -> a light colour and a hatching of its own; a dark rim is round each."""
PER_MIN = 60 * US_PER_S


@dataclass(frozen=True, slots=True)
class _Label:
    """A moment's words: its minute, the level above the band, and where the words begin."""

    at: float
    text: str
    level: int
    left: float


@dataclass(frozen=True, slots=True)
class _Block:
    """What is drawn for one burial: its labels with a level each, and how high it is."""

    burial: BurialDebrief
    labels: tuple[_Label, ...]
    levels: int

    @property
    def high_in(self) -> float:
        return HEAD_IN + self.levels * LEVEL_IN + MARK_IN + BAND_IN + SIGNAL_IN + BETWEEN_IN


def timeline_figure(d: Debrief, words: Words = ENGLISH, *, wide: bool = False) -> Picture:
    """The time line; `wide` for a screen that many look at. Deterministic, the same debrief gives the same bytes."""
    title = in_words(said("figure.timeline", title=d.title), words)
    return picture(
        lambda: _draw(d, words, title, SCREEN_IN if wide else WIDTH_IN), title, timeline_in_words(d, words), "timeline"
    )


def shows_alive(d: Debrief) -> bool:
    """Whether a survival curve is drawn: only where something is said of somebody's time."""
    return d.survival is not None and any(b.alive is not None for b in d.burials)


def last_min(d: Debrief) -> float:
    """How far the axis goes, minutes; at least one."""
    ends = [d.length_us or 0, *(m.at_us for b in d.burials for m in b.marks)]
    minutes = max(ends) / PER_MIN
    if shows_alive(d):
        minutes = max(minutes, 16.0, *(b.alive.minutes for b in d.burials if b.alive is not None), 0.0)
    return max(1.0, minutes) * 1.03


def first_min(d: Debrief) -> float:
    """Where the axis begins: at the start, or before it where something was struck or tapped before."""
    return min([0.0, *(m.at_us / PER_MIN for b in d.burials for m in b.marks)]) - 0.005 * last_min(d)


def _draw(d: Debrief, words: Words, title: str, across_in: float) -> Figure:
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    right_in = RIGHT_ALIVE_IN if shows_alive(d) else RIGHT_IN
    wide_in = across_in - LEFT_IN - right_in
    first, last = first_min(d), last_min(d)
    per_in = (last - first) / wide_in
    blocks = [_block(b, words, first, last, per_in) for b in d.burials]
    ten_in = TEN_IN if shows_alive(d) else 0.0
    axes_in = TOP_IN + ten_in + sum(b.high_in for b in blocks)
    handles = _legend(d, words)
    columns = 1 if across_in == WIDTH_IN else 2
    legend_in = ROW_IN * -(-len(handles) // columns) + 0.1
    lines = _wrapped(title, round(36 * across_in / WIDTH_IN))
    title_in = TITLE_IN + 0.2 * (len(lines) - 1)
    high = title_in + axes_in + AXIS_IN + legend_in
    figure = Figure(figsize=(across_in, high), facecolor="white", dpi=DPI)
    axes = figure.add_axes((LEFT_IN / across_in, (legend_in + AXIS_IN) / high, wide_in / across_in, axes_in / high))
    axes.set_xlim(first, last)
    axes.set_ylim(axes_in, 0)
    axes.set_yticks([])
    axes.set_xlabel(in_words(said("figure.minutes"), words), labelpad=1)
    axes.tick_params(labelsize=FONT_PT - 0.5, pad=2)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8))
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    _gaps(axes, d)
    if shows_alive(d):
        _alive(axes, d, words)
    top = TOP_IN + ten_in
    for block in blocks:
        _burial(axes, block, top, words, per_in)
        top += block.high_in
    figure.text(
        0.5, 1 - 0.06 / high, "\n".join(lines), ha="center", va="top", size=FONT_PT + 1.5, weight="bold", color=INK
    )
    if handles:
        figure.legend(
            handles=[h for h, _ in handles],
            labels=[label for _, label in handles],
            loc="lower left",
            bbox_to_anchor=(0.02, 0.0),
            frameon=False,
            fontsize=FONT_PT - 0.5,
            handlelength=2.0,
            labelspacing=0.35,
            borderaxespad=0.2,
            ncols=columns,
        )
    return figure


def _wrapped(title: str, letters: int) -> list[str]:
    import textwrap

    return textwrap.wrap(title, letters) or [""]


def _block(b: BurialDebrief, words: Words, first: float, last: float, per_in: float) -> _Block:
    """Give each label a level: the latest lowest, so that a leader passes to the left of the labels beneath it."""
    marks = [*key_marks(b.marks), *(m for m in b.marks if m.name == "call" and _false(b, m))]
    begins: list[float] = []  # of the leftmost label so far, by level
    placed, turned = [], []
    for mark in sorted(marks, key=lambda m: (-m.at_us, m.name)):
        text = f"{in_words(name_of_split(mark.name), words)} {clock(mark.at_us)}"
        text = f"({text})" if mark.name == "call" and _false(b, mark) else text
        at = mark.at_us / PER_MIN
        wide = (len(text) * LETTER_IN + 0.06) * per_in
        if at + wide > last:
            turned.append((at, text, max(first, at - wide)))
            continue
        level = next((i for i, begin in enumerate(begins) if at + wide <= begin), len(begins))
        if level == len(begins):
            begins.append(at)
        begins[level] = at
        placed.append(_Label(at, text, level, at))
    for at, text, left in turned[::-1]:  # what would not fit beyond its moment stands before it, above the others
        placed.append(_Label(at, text, len(begins), left))
        begins.append(left)
    return _Block(b, tuple(label for label in placed if label.level < LEVELS_MOST), min(len(begins), LEVELS_MOST))


def _false(b: BurialDebrief, mark: Mark) -> bool:
    """Whether a call did not count, or came before anything was touched."""
    return not mark.counts or any(t.kind in ("early", "never") and t.called_us == mark.at_us for t in b.touches)


def _burial(axes: Axes, block: _Block, top: float, words: Words, per_in: float) -> None:
    b = block.burial
    first, last = axes.get_xlim()
    found = said("alt.found", at=clock(b.found.at_us)) if b.found is not None else said("alt.not-found")
    head = f"{b.burial}: {in_words(found, words)}"
    white = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    axes.text(
        first, top + HEAD_IN / 2, head, size=FONT_PT + 0.5, weight="bold", color=INK, va="center", bbox=white, zorder=9
    )
    band = top + HEAD_IN + block.levels * LEVEL_IN + MARK_IN
    axes.plot([0, last], [band + BAND_IN / 2] * 2, color=MUTED, lw=0.8, zorder=2)
    for s in b.stretches:
        _stretch(axes, s, band, words, per_in)
    for label in block.labels:
        y = band - MARK_IN - (label.level + 0.5) * LEVEL_IN
        axes.plot([label.at] * 2, [y - 0.35 * LEVEL_IN, band], color=INK, lw=0.7, zorder=5)
        left = label.left + 0.05 * per_in
        axes.text(left, y, label.text, size=FONT_PT - 0.5, color=INK, va="center", bbox=white, zorder=6)
    for mark in [m for m in b.marks if m.name != "on"]:
        _mark(axes, b, mark, band)
    y = band + BAND_IN + 0.55 * SIGNAL_IN
    for began, ended in b.sent:
        until = last if ended is None else ended / PER_MIN
        thin: Any = {"lw": 1.6, "ls": (0, (2, 2))} if ended is None else {"lw": 4.0, "solid_capstyle": "butt"}
        axes.plot([began / PER_MIN, until], [y, y], color=INK, zorder=4, **thin)


def _stretch(axes: Axes, s: Stretch, band: float, words: Words, per_in: float) -> None:
    from matplotlib.patches import Rectangle

    colour, hatch = KINDS[s.kind]
    x, wide = s.from_us / PER_MIN, (s.to_us - s.from_us) / PER_MIN
    box = Rectangle((x, band), wide, BAND_IN, facecolor=colour, edgecolor=INK, hatch=hatch, lw=0.9, zorder=3)
    axes.add_patch(box)
    whole = s.net_us == s.to_us - s.from_us
    text = in_words(length(s.net_us) if whole else said("stretch.net", length=length(s.net_us)), words)
    if len(text) * LETTER_IN * per_in * 1.1 < wide:
        white = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
        at = (x + wide / 2, band + BAND_IN / 2)
        bold = "bold" if s.kind == "noticing" else "normal"
        axes.text(*at, text, size=FONT_PT - 0.5, weight=bold, color=INK, ha="center", va="center", bbox=white, zorder=4)


def _mark(axes: Axes, b: BurialDebrief, mark: Mark, band: float) -> None:
    """Its shape on the band's edge, and its ± where that is wide enough to be seen."""
    x, pm = mark.at_us / PER_MIN, mark.plus_minus_us / PER_MIN
    axes.plot([x - pm, x + pm], [band, band], color=INK, lw=2.2, solid_capstyle="butt", zorder=6)
    style: dict[str, Any] = {"marker": "|", "ms": 9, "mew": 1.8}
    if mark.name == "hit" and mark.by == "hand":
        style = HIT_BY_HAND
    elif mark.name == "hit":
        style = {"marker": "v", "ms": 9, "mew": 1.0}
    elif mark.name == "call" and _false(b, mark):
        style = {"marker": "X", "ms": 8, "mew": 1.2, "mfc": "white"}
    elif mark.name == "call":
        style = {"marker": "o", "ms": 7.5, "mew": 1.0}
    axes.plot(
        x, band, color=INK, mec=INK, zorder=7, ls="", **{"mfc": "#D55E00" if mark.name == "hit" else INK, **style}
    )


def _gaps(axes: Axes, d: Debrief) -> None:
    last = axes.get_xlim()[1]
    for g in d.gaps:
        if g.kind == "signal":
            continue
        until = last if g.until_us is None else g.until_us / PER_MIN
        hatch = "" if g.kind == "dark" else "xx"
        axes.axvspan(
            g.from_us / PER_MIN, until, facecolor="#EEEEEE", edgecolor="#999999", hatch=hatch, lw=0.6, zorder=0.5
        )
    if d.end_shown_us is not None:
        axes.axvline(d.end_shown_us / PER_MIN, color=INK, lw=1.2, ls=(0, (1, 1.5)), zorder=1)


def _alive(axes: Axes, d: Debrief, words: Words) -> None:
    """The study's curve with its interval behind the bands, on an axis of its own to the right."""
    import numpy as np

    from fieldctl.debrief.alive import FIFTEEN_MIN, TEN_MIN
    from fieldctl.physics.survival import curve, study

    assert d.survival is not None
    minutes = np.linspace(*axes.get_xlim(), 400)
    of = study(d.survival.study)
    at = curve(of, minutes)
    behind = axes.twinx()
    behind.set_zorder(axes.get_zorder() - 1)
    axes.patch.set_visible(False)
    if of.interval_known:
        behind.fill_between(minutes, 100 * at.low, 100 * at.high, color="#E4ECF3", lw=0, zorder=0)
    behind.plot(minutes, 100 * at.alive, color="#0072B2", lw=2.0, ls=(0, (6, 2)), zorder=0.6)
    behind.set_ylim(0, 108)
    behind.set_yticks([0, 25, 50, 75, 100])
    behind.tick_params(labelsize=FONT_PT - 0.5, pad=1)
    behind.set_ylabel(in_words(said("figure.alive"), words), size=FONT_PT - 0.5, labelpad=1)
    for side in ("top", "left"):
        behind.spines[side].set_visible(False)
    for minute, key in ((TEN_MIN, "figure.ten"), (FIFTEEN_MIN, "figure.fifteen")):
        axes.axvline(minute, color=MUTED, lw=1.1, ls=(0, (4, 2)), zorder=1)
        white = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
        y = TOP_IN + TEN_IN / 2
        axes.text(
            minute, y, in_words(said(key), words), size=FONT_PT - 0.5, ha="center", va="center", color=INK, bbox=white
        )


def _legend(d: Debrief, words: Words) -> list[tuple[Any, str]]:
    """A row for each thing that is drawn, and for nothing else."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    def line(key: str, **style: Any) -> tuple[Any, str]:
        return Line2D([], [], **{"ls": "", "color": INK, **style}), in_words(said(key), words)

    rows: list[tuple[Any, str]] = []
    kinds = {s.kind for b in d.burials for s in b.stretches}
    for kind, (colour, hatch) in KINDS.items():
        if kind in kinds:
            patch = Patch(facecolor=colour, edgecolor=INK, hatch=hatch, lw=0.9)
            rows.append((patch, in_words(said(f"legend.{kind}"), words)))
    marks = [(b, m) for b in d.burials for m in b.marks]
    if any(m.name == "hit" and m.by != "hand" for _, m in marks):
        rows.append(line("figure.hit", marker="v", ms=9, mfc="#D55E00", mec=INK))
    if any(m.name == "hit" and m.by == "hand" for _, m in marks):
        rows.append(line("figure.hit-hand", mec=INK, **HIT_BY_HAND))
    if any(m.name == "call" and not _false(b, m) for b, m in marks):
        rows.append(line("figure.call", marker="o", ms=7.5))
    if any(m.name == "call" and _false(b, m) for b, m in marks):
        rows.append(line("figure.false", marker="X", ms=8, mfc="white", mec=INK))
    if any(m.name not in ("hit", "call", "on") for _, m in marks):
        rows.append(line("figure.tapped", marker="|", ms=9, mew=1.8))
    if any(b.sent for b in d.burials):
        rows.append(line("figure.sends", ls="-", lw=4.0))
    if any(until is None for b in d.burials for _, until in b.sent):
        rows.append(line("figure.sends-open", ls=(0, (2, 2)), lw=1.6))
    shades = (("technical", "xx"), ("stopped", "xx"), ("dark", ""))
    for kind, hatch in shades:
        if any(g.kind == kind for g in d.gaps):
            patch = Patch(facecolor="#EEEEEE", edgecolor="#999999", hatch=hatch, lw=0.6)
            rows.append((patch, in_words(said(f"figure.{kind}"), words)))
    if d.end_shown_us is not None:
        rows.append(line("figure.end", ls=(0, (1, 1.5)), lw=1.2))
    if d.survival is not None and shows_alive(d):
        from fieldctl.physics.survival import study

        curve = Line2D([], [], ls=(0, (6, 2)), lw=2.0, color="#0072B2")
        key = "figure.alive-short" if study(d.survival.study).interval_known else "figure.alive-plain"
        rows.append((curve, in_words(said(key, study=d.survival.study), words)))
        rows.append(line("figure.ten-long", ls=(0, (4, 2)), lw=1.1, color=MUTED))
    return rows
