"""A target's pictures as SVG inside a page: no style and no script of their own, a class for each thing that is drawn.

    drawn(picture, words, marks)  -> markup with a name for whoever cannot see it
    in_words(picture, words)      -> the same as sentences      by_weeks(line) -> rows of a table

Days without a value are gaps: a line ends before them and begins anew after them. Lines differ by how they are dashed
as well as by their names; the band of a forecast has an edge of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from html import escape

import numpy as np

from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.history import Line, Picture
from fieldctl.upkeep.readings import date_of
from fieldctl.upkeep.words import Words, day_of, say

WIDE, HIGH = 340.0, 150.0  # of the drawing's own units: about a phone's width in CSS pixels
LEFT, RIGHT, TOP, BOTTOM = 44.0, 8.0, 10.0, 22.0
GAP_DAYS = 1.5  # from one value to the next: more, and a day lies between of which nobody knows
TICKS = 4  # at most, along the values
LEAST_RANGE = {"%": 10.0, "V": 0.2, "°C": 4.0}
SHARES = {"%": (0.0, 100.0)}  # units whose ends are known
WEEK = 7
STROKES = 3  # ways to dash a line, by its place in the picture

Mark = tuple[float, str]
"""A day and the class of the upright line that stands there."""


def drawn(picture: Picture, words: Words, marks: Sequence[Mark] = ()) -> str:
    """One picture as an svg element, named by its title and told in its description."""
    first = min(float(line.day[0]) for line in picture.lines)
    last = max(float(line.day[-1]) for line in picture.lines)
    low, high, ticks = _range(picture)
    across = _Scale(first, max(last, first + 1.0), LEFT, WIDE - RIGHT)
    down = _Scale(low, high, HIGH - BOTTOM, TOP)
    name = f"picture-{picture.key}"
    parts = [
        f'<svg class="chart" viewBox="0 0 {WIDE:g} {HIGH:g}" role="img" aria-labelledby="{name} {name}-said">',
        f'<title id="{name}">{escape(say(f"picture.{picture.key}", words))}</title>',
        f'<desc id="{name}-said">{escape(" ".join(in_words(picture, words)))}</desc>',
        *_grid(ticks, down),
        *_days(first, last, across),
    ]
    for at, kind in marks:
        if first <= at <= last:
            x = across(at)
            parts.append(f'<path class="mark {kind}" d="M{x:.1f} {TOP:g}V{HIGH - BOTTOM:g}"/>')
    for nth, line in enumerate(picture.lines):
        parts += _line(line, nth, across, down)
    return "".join([*parts, "</svg>"])


class _Scale:
    """From values to the drawing."""

    def __init__(self, low: float, high: float, begin: float, end: float) -> None:
        self._low, self._begin, self._per = low, begin, (end - begin) / (high - low)

    def __call__(self, value: float) -> float:
        return self._begin + (value - self._low) * self._per


def _range(picture: Picture) -> tuple[float, float, list[float]]:
    """Lowest and highest value that are drawn, and the values that have a line: round ones."""
    unit = picture.lines[0].unit
    if unit in SHARES:
        low, high = SHARES[unit]
        return low, high, [0.0, 25.0, 50.0, 75.0, 100.0]
    ends = np.concatenate([line.value for line in picture.lines])
    low, high = float(ends.min()), float(ends.max())
    wide = max(high - low, LEAST_RANGE.get(unit, 0.1 * max(abs(high), 1.0)))
    middle = (low + high) / 2.0
    low, high = (0.0, max(high, wide)) if low >= 0 and unit == "" else (middle - wide / 2.0, middle + wide / 2.0)
    step = _round_step((high - low) / TICKS)
    begin, end = math.floor(low / step) * step, math.ceil(high / step) * step
    return begin, end, [begin + n * step for n in range(round((end - begin) / step) + 1)]


def _round_step(least: float) -> float:
    """1, 2 or 5 times a power of ten, at least so much."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * times for times in (1.0, 2.0, 5.0, 10.0) if power * times >= least * 0.999)


def _grid(ticks: Sequence[float], down: _Scale) -> Iterator[str]:
    step = ticks[1] - ticks[0]
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    for value in ticks:
        y = down(value)
        said = f"{value:.{digits}f}".replace("-", "−")
        yield f'<path class="grid" d="M{LEFT:g} {y:.1f}H{WIDE - RIGHT:g}"/>'
        yield f'<text class="tick" x="{LEFT - 5:g}" y="{y + 4:.1f}" text-anchor="end">{said}</text>'


def _days(first: float, last: float, across: _Scale) -> Iterator[str]:
    y = HIGH - 6.0
    yield f'<text class="tick" x="{LEFT:g}" y="{y:g}">{date_of(first).isoformat()}</text>'
    if last - first >= 1.0:
        said = date_of(last).isoformat()
        yield f'<text class="tick" x="{across(last):.1f}" y="{y:g}" text-anchor="end">{said}</text>'


def pieces(line: Line) -> list[np.ndarray]:
    """Indices of the stretches of a line without a day of which nothing is known; a forecast is one stretch."""
    if line.ahead:
        return [np.arange(line.size)]
    return np.split(np.arange(line.size), np.flatnonzero(np.diff(line.day) > GAP_DAYS) + 1)


def _line(line: Line, nth: int, across: _Scale, down: _Scale) -> Iterator[str]:
    kind = "ahead" if line.ahead else f"line-{nth % STROKES}"
    if line.low is not None and line.high is not None:
        upper = _points(line.day, line.high, across, down)
        lower = _points(line.day[::-1], line.low[::-1], across, down)
        yield f'<polygon class="band" points="{upper} {lower}"/>'
    for piece in pieces(line):
        if piece.size == 1:
            x, y = across(float(line.day[piece[0]])), down(float(line.value[piece[0]]))
            yield f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="2"/>'
        else:
            yield f'<polyline class="{kind}" points="{_points(line.day[piece], line.value[piece], across, down)}"/>'


def _points(day: Array, value: Array, across: _Scale, down: _Scale) -> str:
    return " ".join(f"{across(d):.1f},{down(v):.1f}" for d, v in zip(day.tolist(), value.tolist(), strict=True))


def in_words(picture: Picture, words: Words) -> list[str]:
    """What a picture shows, a sentence a line, and how many days lie in its gaps."""
    return [" ".join(sentence.split()) for line in picture.lines for sentence in _said(line, words)]


def _said(line: Line, words: Words) -> Iterator[str]:
    name, unit = say(f"line.{line.key}", words), line.unit
    if line.ahead:
        if line.low is not None and line.high is not None:
            yield say(
                "line.ahead", words, name=name, low=_number(line.low[-1]), high=_number(line.high[-1]), unit=unit,
                day=day_of(float(line.day[-1])),
            )  # fmt: skip
        return
    yield say(
        "line.says", words, name=name, unit=unit, first=_number(line.value[0]), begin=day_of(float(line.day[0])),
        last=_number(line.value[-1]), end=day_of(float(line.day[-1])), low=_number(line.value.min()),
        high=_number(line.value.max()),
    )  # fmt: skip
    missing = round(float(line.day[-1] - line.day[0])) + 1 - line.size
    if missing > 0:
        yield say("line.gaps", words, n=missing)


def _number(value: float) -> str:
    return f"{float(value):.3g}".replace("-", "−")


def by_weeks(line: Line) -> list[tuple[str, str, str, str]]:
    """First day of each week with values, their lowest, middle and highest; a forecast one row a week."""
    week = np.floor((line.day - line.day[0]) / WEEK)
    rows = []
    for number in np.unique(week):
        inside = week == number
        low = line.value[inside] if line.low is None else line.low[inside]
        high = line.value[inside] if line.high is None else line.high[inside]
        middle = float(np.median(line.value[inside]))
        rows.append((day_of(float(line.day[inside][0])), _number(low.min()), _number(middle), _number(high.max())))
    return rows
