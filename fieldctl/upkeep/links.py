"""What is wrong with the way to a target? Frames lost, orders sent again, the ± of its clock, boots with their reason.

loses-frames  questions without an answer, far more than before and than on the rest of its line
line-loses  the same on most of a line: told once, of the target that has it worst
resends     orders have to be said again and again
wide        its clock cannot be told as well as before: answers wander in time
reboots     it begins anew again and again; the remedy goes by the reason that it gives most often
moved       it answers on another link than where it was surveyed, or was added anew elsewhere since
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from fieldctl.upkeep.account import Finding, Sure
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.past import Past
from fieldctl.upkeep.series import ASKED_LEAST, Season

RECENT = 5  # days on which something was said
BAD_DAYS = 3  # of these, before anything is said: a line has bad days
BEFORE = 5
LOST_LEAST = 0.05  # share of questions; orders still come through then, a strike comes later
LOST_SURELY = 0.2
TIMES = 3.0  # what was usual, of its own and of the others on its line
RESENT_LEAST, RESENT_TIMES = 15.0, 5.0  # orders a day
WIDE_MS, WIDE_TIMES = 4.0, 3.0  # twice what a bus promises
BOOT_DAYS, BOOTS_LEAST = 7.0, 3
PLAIN = frozenset({"power", "watchdog", "brown-out", "fault"})  # reasons that have a remedy of their own
MOVED_DAYS = 1.0  # a survey on the day before it was added again is of the new place


def link_findings(pasts: Sequence[Past], season: Season, today: float) -> list[list[Finding]]:
    """Of each target what its link shows on the evening of a day."""
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(season.asked >= ASKED_LEAST, season.lost / season.asked, np.nan)
    lines = [past.line for past in pasts]
    found: list[list[Finding]] = [[] for _ in pasts]
    for line in dict.fromkeys(lines):
        members = [n for n, each in enumerate(lines) if each == line]
        whole = _whole_line(share, members, season, line)
        if whole is not None:
            worst, finding = whole
            found[worst].append(finding)
            continue
        for n in members:
            found[n] += _loses(share, n, members, season) or _resends(season, n, members)
    for n, past in enumerate(pasts):
        found[n] += _wide(season, n)
        found[n] += _reboots(past, today)
        found[n] += _moved(past, today)
    return found


def _parts(row: Array) -> tuple[Array, Array, np.ndarray] | None:
    """The last days on which it said something, all before, and which the last were; None with too few."""
    said = np.flatnonzero(~np.isnan(row))
    if said.size < RECENT + BEFORE:
        return None
    return row[said[-RECENT:]], row[said[:-RECENT]], said[-RECENT:]


def _whole_line(
    share: Array, members: Sequence[int], season: Season, line: str
) -> tuple[int, Finding] | None:  # fmt: skip
    """Most of a line loses: which target has it worst, and what is to be said."""
    if len(members) < 3:
        return None
    both = [(n, parts) for n in members if (parts := _parts(share[n])) is not None]
    now = {n: float(np.median(parts[0])) for n, parts in both}
    bad = [
        n for n, parts in both if now[n] > max(LOST_LEAST, TIMES * float(np.median(parts[1])))
    ]  # fmt: skip
    if len(bad) <= len(members) / 2:
        return None
    worst = max(bad, key=lambda n: now[n])
    parts = next(parts for n, parts in both if n == worst)
    values = {"line": line, "many": len(bad), "of": len(members), "percent": round(now[worst] * 100)}
    return worst, Finding("line-loses", "likely", float(season.day[parts[2][0]]), values, about="link")


def _loses(share: Array, n: int, members: Sequence[int], season: Season) -> list[Finding]:
    parts = _parts(share[n])
    if parts is None:
        return []
    now, before, when = parts
    others = share[[m for m in members if m != n]][:, when]
    told = others[~np.isnan(others)]
    usual = max(float(np.median(before)), float(np.median(told)) if told.size else 0.0)
    over = now > max(LOST_LEAST, TIMES * usual)
    if over.sum() < BAD_DAYS:
        return []
    middle = float(np.median(now))
    sure: Sure = "sure" if over.all() and middle > LOST_SURELY else "likely"
    resent = int(np.nansum(season.resent[n, when]))
    values = {"percent": round(float(now.max()) * 100), "resent": resent}
    return [Finding("loses-frames", sure, float(season.day[when[over][0]]), values, about="link")]


def _resends(season: Season, n: int, members: Sequence[int]) -> list[Finding]:
    said = np.flatnonzero(season.heard[n] > 0)
    if said.size < RECENT + BEFORE:
        return []
    when = said[-RECENT:]
    now = float(np.median(season.resent[n, when] + season.orders_lost[n, when]))
    own = float(np.median(season.resent[n, said[:-RECENT]]))
    others = [m for m in members if m != n]
    usual = max(own, float(np.median(season.resent[others][:, when])) if others else 0.0)
    if now <= max(RESENT_LEAST, RESENT_TIMES * usual):
        return []
    values = {"resent": round(now), "lost": round(float(season.orders_lost[n, when].sum()))}
    return [Finding("resends", "likely", float(season.day[when[0]]), values, about="link")]


def _wide(season: Season, n: int) -> list[Finding]:
    parts = _parts(season.plus_minus_ms[n])
    if parts is None:
        return []
    now, before, when = parts
    others = np.delete(season.plus_minus_ms, n, axis=0)[:, when]
    told = others[~np.isnan(others)]
    usual = max(float(np.median(before)), float(np.median(told)) if told.size else 0.0)
    if float(np.median(now)) <= max(WIDE_MS, WIDE_TIMES * usual):
        return []
    values = {"ms": float(np.median(now)), "usual": float(np.median(before))}
    return [Finding("wide", "perhaps", float(season.day[when[0]]), values, about="link")]


def _reboots(past: Past, today: float) -> list[Finding]:
    late = [start for start in past.starts[1:] if today + 1 - BOOT_DAYS < start.day < today + 1]
    late = [start for start in late if start.why != "order"]
    if len(late) < BOOTS_LEAST:
        return []
    why, times = Counter(start.why for start in late).most_common(1)[0]
    key = f"reboots-{why}" if why in PLAIN else "reboots"
    sure: Sure = "sure" if times >= BOOTS_LEAST else "likely"
    return [Finding(key, sure, float(np.floor(late[0].day)), {"times": len(late)}, about="link")]


def _moved(past: Past, today: float) -> list[Finding]:
    """A place that was surveyed on another link than the one on which the target answers."""
    joined = [each for each in past.joined if each.day < today + 1]
    if not joined:
        return []
    now = joined[-1]
    if past.named_link and past.named_link != now.link:
        values = {"link": now.link, "surveyed": past.named_link}
        return [Finding("other-link", "likely", float(np.floor(now.day)), values, about="place")]
    was = joined[0].link
    elsewhere = not past.named_link and was != now.link
    if elsewhere and (past.surveyed is None or past.surveyed < np.floor(now.day) - MOVED_DAYS):
        values = {"link": now.link, "surveyed": was}
        return [Finding("other-link", "perhaps", float(np.floor(now.day)), values, about="place")]
    return []
