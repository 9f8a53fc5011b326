"""The raw trace of a strike as a picture: steps of the pad's converter against milliseconds from its begin.

    trace_figure(trace, about) -> Picture      SVG, PNG, and the same in words

The threshold lies as a dashed line on both sides of the baseline; parts that nobody heard are hatched, never joined.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.site.drawing import COLOURS, DPI, FONT_PT, INK, MUTED, WIDTH_IN, Picture, picture
from fieldctl.strikes.trace import StrikeTrace

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

HIGH_IN = 3.3
HEAD_ROOM = 1.1  # of the farthest sample, or of the threshold
THRESHOLD: dict[str, Any] = {"color": COLOURS[1], "lw": 1.2, "ls": (0, (5, 2)), "zorder": 4}
WHITE = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.1"}


def trace_figure(trace: StrikeTrace, about: str) -> Picture:
    """The picture; `about` names target and strike. Deterministic, the same trace gives the same bytes."""
    return picture(lambda: _draw(trace, about), about, f"{about}: {' '.join(in_words(trace))}", "trace")


def in_words(trace: StrikeTrace) -> list[str]:
    """The same as sentences."""
    first, last = trace.points[0][0], trace.points[-1][0]
    at, peak = trace.peak
    said = [
        f"From {-first:g} ms before the begin to {last:g} ms after it, a sample every {trace.every_us / 1000:g} ms.",
        f"Farthest from the baseline: {peak} steps at {at:g} ms; a strike began beyond {trace.begins}.",
    ]
    if trace.rest is not None:
        said.append(f"Before the begin it was {trace.rest:.1f} steps from the baseline (root mean square).")
    if trace.scale:
        said.append(f"In multiples of {2**trace.scale} steps.")
    return [*said, *(f"Not heard: from {begin:g} to {end:g} ms." for begin, end in _gaps(trace))]


def _gaps(trace: StrikeTrace) -> list[tuple[float, float]]:
    """From when to when nothing was heard, ms."""
    gaps: list[tuple[float, float]] = []
    step_ms = trace.every_us / 1000
    for ms, step in trace.points:
        if step is not None:
            continue
        if gaps and gaps[-1][1] == ms:
            gaps[-1] = (gaps[-1][0], ms + step_ms)
        else:
            gaps.append((ms, ms + step_ms))
    return gaps


def _draw(trace: StrikeTrace, about: str) -> Figure:
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    figure = Figure(figsize=(WIDTH_IN, HIGH_IN), facecolor="white", dpi=DPI, layout="constrained")
    axes = figure.add_subplot()
    half = HEAD_ROOM * max(abs(trace.peak[1]), trace.begins, 1)
    axes.set_xlim(trace.points[0][0], trace.points[-1][0])
    axes.set_ylim(-half, half)
    axes.set_title(about, fontsize=FONT_PT + 1, weight="bold", color=INK)
    axes.set_xlabel("ms from the begin", labelpad=1)
    axes.set_ylabel("steps of the converter", labelpad=1)
    axes.tick_params(labelsize=FONT_PT - 0.5, pad=2)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=7))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    threshold = _lines(axes, trace)
    for begin, end in _gaps(trace):
        axes.axvspan(begin, end, facecolor="#EEEEEE", edgecolor=MUTED, hatch="///", lw=0.8, zorder=2)
        middle = 0.5 * (begin + end)
        axes.text(middle, 0.0, "not heard", ha="center", va="center", color=INK, bbox=WHITE, zorder=6)
    lone = [step if step is not None else float("nan") for _, step in trace.points]
    axes.plot([ms for ms, _ in trace.points], lone, color=COLOURS[0], lw=1.4, marker="o", ms=2.0, zorder=5)
    figure.legend(
        handles=[threshold],
        labels=[f"what a strike has to exceed: {trace.begins} steps"],
        loc="outside lower center",
        frameon=False,
        fontsize=FONT_PT - 0.5,
    )
    return figure


def _lines(axes: Axes, trace: StrikeTrace) -> Line2D:
    """Baseline, begin and both sides of the threshold, which is given back for the words below."""
    axes.axhline(0.0, color=MUTED, lw=0.8, zorder=3)
    axes.axvline(0.0, color=INK, lw=0.9, ls=(0, (1, 1.5)), zorder=3)
    axes.axhline(-trace.begins, **THRESHOLD)
    return axes.axhline(trace.begins, **THRESHOLD)
