"""Figures of a season, each as SVG, PNG and words; matplotlib is loaded when one is drawn.

    time_to_find(curve, title, words) -> Picture | None      share not yet found, its interval, who is still looked for
    kinds(season, words) -> Picture | None                   how many times as long each kind of burial takes
    person(one, name, words) -> Picture | None               one person's finds, exercise by exercise

None where there is nothing to draw. Told apart by shape and dash besides colour; grey on paper is enough.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldctl.debrief.kaplan import Curve
from fieldctl.debrief.season import Person, Season
from fieldctl.debrief.season_words import ENGLISH, Words, clock, kind_name, median_of, progress_of, ratio_words, say
from fieldctl.site.drawing import COLOURS, INK, MUTED, WIDTH_IN, Picture, picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

POINTS_SAID = (1, 2, 3, 5, 10, 15)  # minutes that the words name
TICKS_MOST = 60  # of those not found: more would be a bar
RISK_AT = 5  # moments at which it is said how many are still looked for
DOTS_MOST = 150  # of one person: the latest
STEPS_MOST = 400  # of a curve: more cannot be told apart, and make a page heavy
RATIOS = (0.1, 0.2, 0.33, 0.5, 0.67, 1, 1.5, 2, 3, 5, 10)


def time_to_find(curve: Curve, title: str, words: Words = ENGLISH, key: str = "time") -> Picture | None:
    """The share not yet found against minutes looked for; None where nobody was found."""
    if not curve.times_s.size:
        return None
    minutes = curve.times_s / 60
    said = [(share_at(curve, 60.0 * m), str(m)) for m in POINTS_SAID if m < minutes[-1]]
    said.append((float(curve.share[-1]), f"{minutes[-1]:.1f}".removesuffix(".0")))  # where the curve ends
    points = ", ".join(
        say("figure.time-point", words, share=round(100 * share), minutes=after) for share, after in said
    )
    text = say(
        "figure.time-text",
        words,
        title=title,
        points=points,
        found=curve.found,
        looked=curve.looked_for,
        median=median_of(curve, words),
    )
    return picture(lambda: _draw_time(curve, words), title, text, key)


def share_at(curve: Curve, s: float) -> float:
    """The share not yet found after so many seconds."""
    step = int(np.searchsorted(curve.times_s, s, side="right")) - 1
    return 1.0 if step < 0 else float(curve.share[step])


def _draw_time(curve: Curve, words: Words) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 3.6))
    axes = figure.add_axes((0.16, 0.27, 0.79, 0.69))
    end = max(curve.times_s[-1], curve.left_s[-1] if curve.left_s.size else 0.0) / 60
    few = np.unique(np.linspace(0, curve.times_s.size - 1, STEPS_MOST).astype(int))
    t = np.concatenate(([0.0], curve.times_s[few] / 60, [end]))
    share = 100 * np.concatenate(([1.0], curve.share[few], curve.share[-1:]))
    low, high = (100 * np.concatenate(([1.0], bound[few], bound[-1:])) for bound in (curve.low, curve.high))
    known = ~np.isnan(low)
    axes.fill_between(
        t, low, high, where=known, step="post", color=COLOURS[0], alpha=0.18, lw=0, label="95 %", zorder=2
    )
    axes.step(t, share, where="post", color=COLOURS[0], lw=2.2, zorder=4)
    if curve.left_s.size:
        left = curve.left_s[np.unique(np.linspace(0, curve.left_s.size - 1, TICKS_MOST).astype(int))]
        axes.plot(
            left / 60, [100 * share_at(curve, s) for s in left], ls="", marker="|", ms=9, mew=1.4, color=INK, zorder=5,
            label=say("figure.censored", words),
        )  # fmt: skip
    median = curve.claimed
    if median is not None:
        at = median.s / 60
        axes.plot([0, at, at], [50, 50, 0], ls=(0, (4, 2)), lw=1.3, color=COLOURS[1], zorder=3)
        axes.text(
            at + 0.015 * end, 3, say("figure.half", words, median=clock(median.s)), color=INK, ha="left", va="bottom",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0}, zorder=6,
        )  # fmt: skip
    axes.set_xlim(0, end * 1.02)
    axes.set_ylim(0, 102)
    _whole(axes.xaxis)
    axes.set_xlabel(say("figure.axis-time", words))
    axes.set_ylabel(say("figure.axis-share", words))
    axes.legend(loc="upper right", fontsize=8.5, frameon=True, framealpha=1.0, edgecolor=MUTED)
    _plain(axes)
    for x in np.linspace(0, end, RISK_AT):
        still = int(curve.looked_for - np.searchsorted(np.sort(_all_times(curve)), 60 * x, side="left"))
        axes.text(x, -33, str(still), ha="center", va="top", fontsize=8.5, color=INK, clip_on=False)
    axes.text(0, -25, say("figure.still", words) + ":", ha="left", va="top", fontsize=8.5, color=MUTED, clip_on=False)
    return figure


def _all_times(curve: Curve) -> np.ndarray:
    deaths = np.round(curve.at_risk * (1 - curve.share / np.concatenate(([1.0], curve.share[:-1]))))
    return np.concatenate([np.repeat(curve.times_s, deaths.astype(int)), curve.left_s])


def kinds(season: Season, words: Words = ENGLISH, key: str = "kinds") -> Picture | None:
    """How many times as long as the rest each kind takes; None where no kind has enough finds."""
    if all(kind.ratio is None for kind in season.kinds):
        return None
    rows = []
    for kind in season.kinds:
        name = kind_name(kind.key, words)
        if kind.ratio is None:
            rows.append(say("figure.kinds-few", words, kind=name))
        else:
            rows.append(say("figure.kinds-row", words, kind=name, **ratio_words(kind.ratio, words)))
    title = say("figure.kinds-title", words)
    return picture(
        lambda: _draw_kinds(season, words), title, say("figure.kinds-text", words, rows="; ".join(rows)), key
    )


def _draw_kinds(season: Season, words: Words) -> Figure:
    import textwrap

    from matplotlib.figure import Figure
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

    figure = Figure(figsize=(WIDTH_IN, 0.75 + 0.5 * len(season.kinds)))
    axes = figure.add_axes((0.44, 0.17, 0.52, 0.81))
    lows, highs = [0.67], [1.5]
    for n, kind in enumerate(reversed(season.kinds)):
        if kind.ratio is None:
            axes.text(1.02, n, say("figure.few", words), va="center", ha="left", fontsize=8.5, color=MUTED)
            continue
        low, high = kind.ratio.low or kind.ratio.times, kind.ratio.high or kind.ratio.times
        lows.append(low)
        highs.append(high)
        colour = COLOURS[1] if kind.slow else COLOURS[0]
        axes.plot([low, high], [n, n], color=colour, lw=2.4, solid_capstyle="butt", zorder=3)
        for end, known in ((low, kind.ratio.low), (high, kind.ratio.high)):
            axes.plot(end, n, marker="|" if known is not None else "$?$", ms=8, color=colour, mew=2, zorder=3)
        axes.plot(kind.ratio.times, n, marker="D" if kind.slow else "o", ms=7.5, color=colour, mec=INK, zorder=4)
    axes.axvline(1, color=INK, lw=1.0, ls=(0, (4, 2)), zorder=1)
    axes.set_xscale("log")
    axes.set_xlim(min(lows) * 0.92, max(highs) * 1.08)
    axes.xaxis.set_major_locator(FixedLocator([x for x in RATIOS if axes.get_xlim()[0] <= x <= axes.get_xlim()[1]]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    names = ["\n".join(textwrap.wrap(kind_name(kind.key, words), 24)) for kind in reversed(season.kinds)]
    axes.set_yticks(range(len(names)), names, fontsize=9)
    axes.set_ylim(-0.6, len(names) - 0.4)
    axes.set_xlabel(say("figure.axis-kinds", words), fontsize=9.5, x=0.2)
    _plain(axes)
    axes.grid(visible=False, axis="y")
    return figure


def person(one: Person, name: str, words: Words = ENGLISH, key: str = "person") -> Picture | None:
    """One person's times in the order of the season; None where there are none."""
    if not one.looks:
        return None
    title = say("figure.person-title", words, name=name)
    text = say(
        "figure.person-text",
        words,
        name=name,
        found=one.curve.found,
        looked=one.curve.looked_for,
        exercises=one.exercises,
        progress=progress_of(one.progress.ratio, words),
    )
    return picture(lambda: _draw_person(one, words), title, text, key)


def _draw_person(one: Person, words: Words) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, 3.4))
    axes = figure.add_axes((0.14, 0.16, 0.82, 0.64))
    numbers = {e: n + 1 for n, e in enumerate(dict.fromkeys(look.exercise.exercise for look in one.looks))}
    looks = one.looks[-DOTS_MOST:]
    for found, marker, face, label in (
        (True, "o", COLOURS[0], say("figure.found", words)),
        (False, "^", "white", say("figure.not-found", words)),
    ):
        rows = [look for look in looks if look.burial.found is found]
        if rows:
            x, y = [numbers[look.exercise.exercise] for look in rows], [look.own_s / 60 for look in rows]
            axes.plot(x, y, ls="", marker=marker, ms=5.5, mfc=face, mec=INK, mew=1.0, label=label, zorder=3)
    middle = len(numbers) // 2
    first = numbers[looks[0].exercise.exercise]
    halves = ((one.progress.earlier, first, middle), (one.progress.later, max(first, middle + 1), len(numbers)))
    label = say("figure.halves", words)
    for curve, begin, end in halves:
        if curve.claimed is not None and end >= begin:
            at = curve.claimed.s / 60
            axes.plot([begin - 0.4, end + 0.4], [at, at], color="white", lw=5.0, zorder=4)
            axes.plot(
                [begin - 0.4, end + 0.4], [at, at], color=COLOURS[1], lw=2.6, ls=(0, (5, 1)), label=label, zorder=5
            )
            label = "_"
    axes.set_xlim(first - 1, len(numbers) + 1)
    axes.set_ylim(bottom=0)
    _whole(axes.xaxis)
    _whole(axes.yaxis)
    axes.set_xlabel(say("figure.axis-nth", words))
    axes.set_ylabel(say("figure.axis-minutes", words))
    _plain(axes)
    figure.legend(loc="upper left", bbox_to_anchor=(0.1, 1.0), fontsize=8.5, ncols=1, frameon=False, borderpad=0.1)
    return figure


def _whole(axis: Axis) -> None:
    """Whole numbers along an axis, as few as can be read on a phone."""
    from matplotlib.ticker import MaxNLocator

    axis.set_major_locator(MaxNLocator(6, integer=True))


def _plain(axes: Axes) -> None:
    axes.grid(visible=True, color="#cccccc", lw=0.6, zorder=0)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
