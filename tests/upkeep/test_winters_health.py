"""Invented winters: is the deaf pad named before it fails, what else ails in time, how often is there a false alarm?

Everything in them is invented (sims/winter_health.py). The seeds here are others than those that the limits were tried
on (0 to 250). FIELDCTL_TESTS_LONG takes more of them, and looks oftener.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np
from health_kit import Invented, invented
from upkeep_kit import packs, seen

from fieldctl.upkeep.pads import pad_findings
from fieldctl.upkeep.sickness import signs
from sims.winter import DAYS, FIRST_DAY, TARGETS
from sims.winter_health import LINES, Ail

LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))
SEEDS = range(1_000, 1_060 if LONG else 1_014)
ALARM_SEEDS = range(1_000, 1_030 if LONG else 1_005)
ALARM_EVERY_DAYS = 5 if LONG else 14
NAMES_DEAF = {"deaf", "felt-nothing", "silent-pad"}  # each says of the pad that it does not feel what it should
LATE_DAYS = 12  # until when what was wrong may still be told: signs look back on days
FOLLOWS = {
    "deaf": {"deaf", "felt-nothing", "silent-pad", "still"},
    "loose": {"chatters", "noisy", "deaf"},
    "dead": {"still", "felt-nothing", "silent-pad", "deaf"},
    "lossy": {"loses-frames", "resends", "wide"},
    "open": {"follows-weather", "apart-from-others"},
    "reboots": {"reboots-brown-out", "reboots"},
}
"""What may be said of a target that ails so."""
LINE = {"line-loses", "loses-frames", "resends", "wide"}
FACTS = {"unproved", "never-proved"}  # nobody has touched it: true whatever its pad is like


def named(winter: Invented, ail: Ail, keys: set[str], until: int) -> int | None:
    """The first evening, of every third, on which it was said of the target."""
    n = ail.target
    for day in range(ail.begins, until, 3):
        if ail.kind in ("deaf", "loose", "dead"):
            today = float(FIRST_DAY + day)
            said = pad_findings(winter.pasts, winter.season.upto(today), today)[n]
        else:
            said = list(winter.found(day)[n])
        if keys & {finding.key for finding in said}:
            return day
    return None


def test_the_deaf_pad_is_named_before_it_fails() -> None:
    """At least 9 of 10 of those that fail in the season: it has failed when half of all blows are felt no more."""
    ahead: list[int | None] = []
    for seed in SEEDS:
        winter = invented(seed)
        ail = winter.health.ail("deaf")
        assert ail is not None
        if ail.fails < DAYS:
            first = named(winter, ail, NAMES_DEAF, ail.fails)
            ahead.append(None if first is None else ail.fails - first)
    told = [days for days in ahead if days is not None]
    print(f"deaf pads named {len(told)} of {len(ahead)}, {np.median(told):.0f} days ahead in the middle")
    assert len(ahead) >= 12
    assert len(told) >= 0.9 * len(ahead)


def test_what_else_ails_is_named_within_days() -> None:
    """Loose and dead pads, bad links, open housings, boots: within ten days, at least 9 of 10 of all together."""
    delays: dict[str, list[int | None]] = {}
    for seed in SEEDS[: len(SEEDS) // 2]:
        winter = invented(seed)
        for ail in winter.health.ails:
            if ail.kind != "deaf" and ail.begins < DAYS - 12:
                first = named(winter, ail, FOLLOWS[ail.kind], ail.begins + 12)
                delays.setdefault(ail.kind, []).append(None if first is None else first - ail.begins)
    for kind, rows in delays.items():
        known = [days for days in rows if days is not None]
        print(f"{kind}: {len(known)} of {len(rows)}, after {np.median(known):.0f} days in the middle")
    every = [days for rows in delays.values() for days in rows]
    assert len(every) >= 8
    assert sum(days is not None for days in every) >= 0.9 * len(every)


def false_alarms(winter: Invented, day: int) -> set[tuple[int, str]]:
    """What is said on an evening of a target that has no such ailment, nor lies on a line that had a bad day lately."""
    ails = {ail.target: ail for ail in winter.health.ails if ail.begins <= day}
    wrong = set()
    for n, said in enumerate(winter.found(day)):
        bad_line = any(
            line == n % LINES and begin <= day < begin + long + LATE_DAYS
            for line, begin, long in winter.health.bad_lines
        )
        may = FACTS | (FOLLOWS[ails[n].kind] if n in ails else set()) | (LINE if bad_line else set())
        wrong |= {(n, finding.key) for finding in said if finding.key not in may}
    return wrong


def test_few_false_alarms_over_all_findings_together() -> None:
    """Batteries, pads, links, housings: at most one a season for each 20 targets."""
    alarms: Counter[str] = Counter()
    for seed in ALARM_SEEDS:
        winter = invented(seed)
        days = range(14, DAYS, ALARM_EVERY_DAYS)
        alarms.update(key for _, key in set().union(*(false_alarms(winter, day) for day in days)))
        for pack, whole in packs(winter.winter):
            end = pack.gone - 1 if pack.last is None else pack.last
            known = [seen(winter.winter, pack.target, whole, day) for day in days if pack.first + 14 <= day < end]
            found = {sign.sign for one in known if one is not None for sign in signs(one.belief, one.days, one.use)}
            alarms.update(found if not pack.bad else ())
    many = TARGETS * len(ALARM_SEEDS)
    print(f"false alarms {sum(alarms.values())} in {many} seasons of a target: {dict(alarms)}")
    assert sum(alarms.values()) <= many / 20
