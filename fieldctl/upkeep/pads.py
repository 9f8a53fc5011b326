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
from bisect import bisect_left, bisect_right
from collections.abc import Sequence

import numpy as np

from fieldctl.upkeep.account import Finding, Sure
from fieldctl.upkeep.apart import OTHERS_LEAST, Apart, apart, falls, shared
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.past import Past, Turn
from fieldctl.upkeep.series import Season

DEAF_RECENT, DEAF_LEAST, DEAF_BEFORE = 14.0, 6, 12  # days, and blows now and before
DEAF_SHARE = 0.55  # of its own height: people strike by a factor of two differently, their median by far less
DEAF_ERRORS = 3.0  # of the median; this and the next by invented winters: more, and 24 pads give too many false alarms
DEAF_SURELY = 0.35
QUIET_SHARE, QUIET_ERRORS, DEAF_ERRORS_QUIET = 0.75, 5.0, 2.0  # frozen in, a pad's noise at rest falls as well
SHARED_DAYS = 3.0  # about a day, in which all pads' blows tell what snow and weather did to all of them
BLOWS_SCATTER = 0.35  # log of height, at least, from blow to blow; from memory
FALL_DAYS = (30.0, 45.0)  # over which a slow fall is looked for
FALL_SHARE, FALL_ERRORS = 0.42, 3.5
NOISE_RECENT, NOISE_LEAST, NOISE_BEFORE = 5.0, 3, 10
NOISY_TIMES, NOISY_ERRORS = 2.2, 6.0
NOISE_SCATTER = 0.15  # log, from day to day
STILL, STILL_BEFORE = 1.0, 3.0  # steps of the converter: the least that a pad can report, and what was well above
LOOSE_DAYS, LOOSE_LEAST, LOOSE_TIMES = 4, 12.0, 5.0  # days looked at; strikes a day; times what is usual
TURNS_DAYS = 45.0
LATEST_TURNS = 8
CHANCE = 2e-5  # of so many turns that went wrong: 24 pads looked at on 150 days must not be wrong once
MISS_LEAST = 0.08  # share of turns that go wrong on a good pad, at least
MISS_USUAL, MISS_WEIGHT = 0.15, 10  # before the others' turns say more; as if so many had been seen
NEVER_DAYS = 70.0  # strikes are not looked at further back
UNPROVED_DAYS, UNPROVED_TURNS = 28.0, 3  # without a sure touch, and turns meanwhile in which there could have been one


def pad_findings(pasts: Sequence[Past], season: Season, today: float) -> list[list[Finding]]:
    """Of each target what its pad shows on the evening of a day."""
    blows = blows_beside(season)
    noises = _noises(season, today)
    turns = [_between(past.turns, today + 1 - TURNS_DAYS, today + 1) for past in pasts]
    found = []
    for n, past in enumerate(pasts):
        loose = _chatters(season, n)
        still = _still(season, n)
        signs = [
            *loose,
            *([] if loose or still else _deaf(blows[n], today, _beside(noises, n))),
            *([] if loose else _noisy(season, n, noises)),
            *still,
            *_turned(turns, n),
        ]
        found.append(signs or _unproved(past, today))
    return found


def blows_beside(season: Season) -> list[tuple[Array, Array]]:
    """Days and log heights of each target's blows, less what all pads' blows did about each day.

    A turn without a touch counts as a blow just under what is felt: a pad that goes deaf tells of its best blows alone.
    Days on which a pad was shaken are left out: what shakes it is no measure of how it feels a blow.
    """
    kept = []
    for n, (day, value) in enumerate(zip(season.blow_day, season.blow, strict=True)):
        calm = season.loose[n][(np.floor(day) - season.day[0]).astype(np.int64)] <= LOOSE_LEAST
        kept.append((day[calm], value[calm]))
    known = [(day, value - np.median(value)) for day, value in kept if day.size]
    effect = np.zeros(season.day.size)
    if len(known) > OTHERS_LEAST:
        days, values = (np.concatenate(parts) for parts in zip(*known, strict=True))
        order = np.argsort(days)
        days, values = days[order], values[order]
        begin, end = (np.searchsorted(days, season.day + by) for by in (-SHARED_DAYS, SHARED_DAYS + 1.0))
        effect = np.array([np.median(values[a:b]) if b > a else 0.0 for a, b in zip(begin, end, strict=True)])
    return [
        _less(np.concatenate([day, lost_day]), np.concatenate([value, lost]), effect, season.day[0])
        for (day, value), lost_day, lost in zip(kept, season.missed_day, season.missed, strict=True)
    ]


def _less(day: Array, value: Array, effect: Array, first: float) -> tuple[Array, Array]:
    order = np.argsort(day, kind="stable")
    day, value = day[order], value[order]
    return day, value - effect[(np.floor(day) - first).astype(np.int64)]


def _deaf(blows: tuple[Array, Array], today: float, noise: tuple[float, float]) -> list[Finding]:
    """`noise` is how far it has moved, and by how many errors: where it fell too, less is asked of the blows."""
    day, height = blows
    quiet = noise[0] < math.log(QUIET_SHARE) and noise[1] < -QUIET_ERRORS
    asked = DEAF_ERRORS_QUIET if quiet else DEAF_ERRORS
    by, many, before = 0.0, 0, 0.0
    lower = apart(
        day, height, today + 1, recent=DEAF_RECENT, least=DEAF_LEAST, before=DEAF_BEFORE, spread=BLOWS_SCATTER
    )
    if lower is not None and lower.by < math.log(DEAF_SHARE) and lower.errors < -asked:
        by, many, before = lower.by, lower.many, lower.before
    for days in FALL_DAYS:
        fall = falls(day, height, today + 1, days, FALL_ERRORS)
        if fall is not None and fall.by < min(by, math.log(FALL_SHARE)):
            by, many, before = fall.by, fall.many, float(np.median(height))
    if not many:
        return []
    sure: Sure = "sure" if by < math.log(DEAF_SURELY) and lower is not None and lower.errors < -asked else "likely"
    values = {"percent": round(math.exp(by) * 100), "blows": many}
    return [Finding("deaf", sure, _since(day, height, before + by / 2), values, about="pad")]


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


def _beside(all_apart: Sequence[Apart | None], n: int) -> tuple[float, float]:
    """How far one stands apart beside what the others did, and by how many errors; nothing where it is not known."""
    mine = all_apart[n]
    if mine is None or not mine.by:
        return 0.0, 0.0
    beside = mine.by - shared(all_apart, n)
    return beside, beside / mine.by * mine.errors


def _noisy(season: Season, n: int, noises: Sequence[Apart | None]) -> list[Finding]:
    mine = noises[n]
    beside, errors = _beside(noises, n)
    if mine is None or beside < math.log(NOISY_TIMES) or errors < NOISY_ERRORS:
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
    if over.sum() < 3 and (over & (season.bursts[n, latest] > LOOSE_LEAST)).sum() < 2:
        return []
    first = latest[int(np.flatnonzero(over)[0])]
    most = float(loose[n, latest].max())
    sure: Sure = "likely" if over.sum() > 2 else "perhaps"
    return [Finding("chatters", sure, float(season.day[first]), {"strikes": round(most)}, about="pad")]


def _between(turns: Sequence[Turn], begin: float, end: float) -> Sequence[Turn]:
    """Turns that lie between two moments; they are in order of time."""
    return turns[bisect_right(turns, begin, key=_day) : bisect_left(turns, end, key=_day)]


def _day(turn: Turn) -> float:
    return turn.day


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
        many, went_wrong = sum(map(len, rows)) - len(mine), sum(missed for row in rows for _, missed in row)
        went_wrong -= sum(missed for _, missed in mine)
        usual = max(MISS_LEAST, (went_wrong + MISS_USUAL * MISS_WEIGHT) / (many + MISS_WEIGHT))
        for latest in (mine[-LATEST_TURNS:], mine):
            wrong = [day for day, missed in latest if missed]
            if wrong and _at_least(len(wrong), len(latest), usual) < CHANCE:
                values = {"missed": len(wrong), "turns": len(latest)}
                return [Finding(key, sure, float(np.floor(wrong[0])), values, about="pad")]
    return []


def _at_least(hits: int, of: int, share: float) -> float:
    """The chance of so many hits or more, each with a share of its own."""
    return sum(math.comb(of, k) * share**k * (1.0 - share) ** (of - k) for k in range(hits, of + 1))


def _unproved(past: Past, today: float) -> list[Finding]:
    """When it was last touched for certain: at an opening, or as the hit of an exercise."""
    probes = past.strikes.day[(past.strikes.probe > 0) & (past.strikes.day < today + 1)]
    touched = [day for day in past.touched if day < today + 1]
    turned = [turn.day for turn in _between(past.turns, today + 1 - UNPROVED_DAYS, today + 1) if turn.touched]
    last = max((*probes[-1:].tolist(), *touched[-1:], *turned[-1:]), default=None)
    since = last
    if last is None and past.told.day.size:
        since = max(past.told.day[0], today - NEVER_DAYS)
    if since is None or today - since <= UNPROVED_DAYS:
        return []
    if len(_between(past.turns, since, today + 1)) < UNPROVED_TURNS:
        return []
    key = "unproved" if last is not None else "never-proved"
    return [Finding(key, "sure", float(np.floor(since)), {"days": int(today - since)}, about="pad")]
