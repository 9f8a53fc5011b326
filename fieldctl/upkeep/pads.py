"""What is wrong with a pad? Each sign is measured against the pad's own past, beside what all pads did meanwhile.

    deaf            blows are felt ever less high: frozen in, crushed, or its plate has slipped
    chatters        strikes that are nobody's, far more than before and than elsewhere: it is loose
    noisy           its noise at rest has risen: water, a rubbed cable, something that lies on it
    still           it measures nothing at all any more, where it did before
    felt-nothing    called again and again, and never touched; silent-pad: the same where nobody taps calls
    not-called      touched again and again, and nobody called
    unproved        nobody has touched it with certainty for a long time; never-proved: not once

A height is a strike's peak times the noise of its day, so that a pad whose noise falls with it is seen as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fieldctl.upkeep.account import Finding, Sure
from fieldctl.upkeep.apart import Apart, apart, falls, shared
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.past import Past, Turn
from fieldctl.upkeep.series import Season

DEAF_RECENT, DEAF_LEAST, DEAF_BEFORE = 14.0, 6, 12  # days, and blows now and before
DEAF_SHARE = 0.6  # of its own height: people strike by a factor of two differently, their median by far less
DEAF_ERRORS = 4.5  # of the median: 24 pads looked at on 150 days must not be wrong once
DEAF_SURELY = 0.35
BLOWS_SCATTER = 0.35  # log of height, at least, from blow to blow; from memory
SLOPE_DAYS = 40.0
NOISE_RECENT, NOISE_LEAST, NOISE_BEFORE = 5.0, 3, 10
NOISY_TIMES, NOISY_ERRORS = 2.2, 6.0
NOISE_SCATTER = 0.15  # log, from day to day
STILL, STILL_BEFORE = 1.0, 3.0  # steps of the converter: the least that a pad can report, and what was well above
LOOSE_DAYS, LOOSE_LEAST, LOOSE_TIMES = 4, 12.0, 5.0  # days looked at; strikes a day; times what is usual
TURNS_DAYS = 45.0
CHANCE = 1e-4  # of a run of turns that is taken for more than chance
MISS_LEAST = 0.08  # share of turns that go wrong on a good pad, at least
UNPROVED_DAYS, UNPROVED_TURNS = 28.0, 3  # without a sure touch, and turns meanwhile in which there could have been one


def pad_findings(pasts: Sequence[Past], season: Season, today: float) -> list[list[Finding]]:
    """Of each target what its pad shows on the evening of a day."""
    heights = _heights(season, today)
    noises = _noises(season, today)
    turns = [[turn for turn in past.turns if today - TURNS_DAYS < turn.day < today + 1] for past in pasts]
    found = []
    for n, past in enumerate(pasts):
        loose = _chatters(season, n)
        still = _still(season, n)
        signs = [
            *loose,
            *([] if loose or still else _deaf(season, n, heights, today)),
            *([] if loose else _noisy(season, n, noises)),
            *still,
            *_turned(turns, n),
        ]
        found.append(signs or _unproved(past, today))
    return found


def _heights(season: Season, today: float) -> list[Apart | None]:
    return [
        apart(
            day, value, today + 1, recent=DEAF_RECENT, least=DEAF_LEAST, before=DEAF_BEFORE, spread=BLOWS_SCATTER
        )
        for day, value in zip(season.blow_day, season.blow, strict=True)
    ]  # fmt: skip


def _deaf(season: Season, n: int, heights: Sequence[Apart | None], today: float) -> list[Finding]:
    mine = heights[n]
    if mine is None:
        return []
    beside = mine.by - shared(heights, n)
    errors = beside / mine.by * mine.errors if mine.by else 0.0
    if beside >= math.log(DEAF_SHARE) or errors > -DEAF_ERRORS:
        return []
    late = season.blow_day[n] > today + 1 - SLOPE_DAYS
    slope = falls(season.blow_day[n][late], season.blow[n][late])
    sure: Sure = "sure" if beside < math.log(DEAF_SURELY) and slope is not None else "likely"
    since = _since(season.blow_day[n], season.blow[n], mine.before + beside / 2)
    values = {"percent": round(math.exp(beside) * 100), "blows": mine.many}
    return [Finding("deaf", sure, since, values, about="pad")]


def _since(day: Array, value: Array, under: float) -> float | None:
    """The day since which the middle of five blows has lain under a level."""
    if day.size < 5:
        return None
    middle = np.median(np.lib.stride_tricks.sliding_window_view(value, 5), axis=1)
    above = np.flatnonzero(middle >= under)
    return float(np.floor(day[min(above[-1] + 5, day.size - 1) if above.size else 0]))


def _noises(season: Season, today: float) -> list[Apart | None]:
    logs = np.log(np.maximum(season.noise, 0.5))
    return [
        apart(
            season.day, row, today, recent=NOISE_RECENT, least=NOISE_LEAST, before=NOISE_BEFORE, spread=NOISE_SCATTER
        )
        for row in logs
    ]  # fmt: skip


def _noisy(season: Season, n: int, noises: Sequence[Apart | None]) -> list[Finding]:
    mine = noises[n]
    if mine is None:
        return []
    beside = mine.by - shared(noises, n)
    errors = beside / mine.by * mine.errors if mine.by else 0.0
    if beside < math.log(NOISY_TIMES) or errors < NOISY_ERRORS:
        return []
    times = math.exp(beside)
    since = _since(season.day, np.log(np.maximum(_known(season.noise[n]), 0.5)) * -1, -(mine.before + beside / 2))
    return [Finding("noisy", "likely", since, {"times": times, "noise": math.exp(mine.now)}, about="pad")]


def _known(values: Array) -> Array:
    """Values with gaps filled by the last before them."""
    at = np.where(np.isnan(values), 0, np.arange(values.size))
    filled: Array = values[np.maximum.accumulate(at)]
    return np.nan_to_num(filled)


def _still(season: Season, n: int) -> list[Finding]:
    told = ~np.isnan(season.noise[n])
    noise, day = season.noise[n][told], season.day[told]
    if noise.size < NOISE_LEAST + NOISE_BEFORE or np.median(noise[:-NOISE_LEAST]) < STILL_BEFORE:
        return []
    if np.any(noise[-NOISE_LEAST:] > STILL):
        return []
    return [Finding("still", "likely", float(day[np.flatnonzero(noise > STILL)[-1] + 1]), about="pad")]


def _chatters(season: Season, n: int) -> list[Finding]:
    open_days = np.flatnonzero((season.heard > 0).any(axis=0))
    latest, before = open_days[-LOOSE_DAYS:], open_days[:-LOOSE_DAYS]
    if not latest.size:
        return []
    loose = season.loose
    own = float(np.quantile(loose[n, before], 0.9)) if before.size else 0.0
    others = np.delete(loose, n, axis=0)
    usual = np.median(others[:, latest], axis=0) if others.size else np.zeros(latest.size)
    over = loose[n, latest] > np.maximum(LOOSE_LEAST, LOOSE_TIMES * np.maximum(own, usual))
    if over.sum() < 2:
        return []
    first = latest[int(np.flatnonzero(over)[0])]
    most = float(loose[n, latest].max())
    sure: Sure = "likely" if over.sum() > 2 else "perhaps"
    return [Finding("chatters", sure, float(season.day[first]), {"strikes": round(most)}, about="pad")]


def _turned(turns: Sequence[Sequence[Turn]], n: int) -> list[Finding]:
    """Strikes against calls, over exercises."""
    kinds: tuple[tuple[str, Sure, list[list[tuple[float, bool]]]], ...] = (
        ("felt-nothing", "likely", [[(t.day, not t.touched) for t in row if t.called] for row in turns]),
        ("silent-pad", "perhaps", [[(t.day, not t.touched) for t in row if t.called is None] for row in turns]),
        ("not-called", "perhaps", [[(t.day, not t.called) for t in row if t.touched and t.called is not None]
                                   for row in turns]),
    )  # fmt: skip
    for key, sure, rows in kinds:
        mine = rows[n]
        wrong = [day for day, missed in mine if missed]
        others = [missed for m, row in enumerate(rows) for _, missed in row if m != n]
        usual = max(MISS_LEAST, (sum(others) + 1) / (len(others) + 2))
        if wrong and _at_least(len(wrong), len(mine), usual) < CHANCE:
            values = {"missed": len(wrong), "turns": len(mine)}
            return [Finding(key, sure, float(np.floor(wrong[0])), values, about="pad")]
    return []


def _at_least(hits: int, of: int, share: float) -> float:
    """The chance of so many hits or more, each with a share of its own."""
    return sum(math.comb(of, k) * share**k * (1.0 - share) ** (of - k) for k in range(hits, of + 1))


def _unproved(past: Past, today: float) -> list[Finding]:
    """When it was last touched for certain: at an opening, or as the hit of an exercise."""
    strikes = past.strikes
    proofs = [*past.touched, *strikes.day[strikes.probe > 0], *(turn.day for turn in past.turns if turn.touched)]
    last = max((day for day in proofs if day < today + 1), default=None)
    since = past.told.day[0] if last is None and past.told.day.size else last
    if since is None or today - since <= UNPROVED_DAYS:
        return []
    if sum(since < turn.day < today + 1 for turn in past.turns) < UNPROVED_TURNS:
        return []
    key = "unproved" if last is not None else "never-proved"
    return [Finding(key, "sure", float(np.floor(since)), {"days": int(today - since)}, about="pad")]
