"""The account of a field as a page says it, in one reader's language: plain values, nothing left to decide.

    said_list(account, site, places, language)   the summary, what to take along, a row for each target
    said_row(row, account, site, place, language)

Rows come most urgent first: what is to be changed now, then whatever is sick in another way, then the rest in the
account's own order. Moments carry their time, so that a page can say how old they are as it is looked at.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from fieldctl.site.model import Site
from fieldctl.site.whereabouts import Whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep import kit_words
from fieldctl.upkeep.account import ORDER, Finding, Row, Upkeep
from fieldctl.upkeep.kit import KitRow
from fieldctl.upkeep.words import (
    Words,
    advice_words,
    basis_words,
    chemistry_words,
    day_of,
    finding_words,
    last_words,
    left_words,
    say,
    summary_words,
    words_of,
)
from fieldctl.web import words

DAY_S = 86_400.0
CHANGED = ("now", "soon")  # the states for which fresh cells are taken along
SHOWN = ("sure", "likely")  # how sure a finding must be for a word of its own beside the name

Values = dict[str, Any]


def said_list(account: Upkeep, site: Site, places: Mapping[TargetId, Whereabouts], language: str) -> Values:
    """Everything on the list's page but its buttons."""
    t, w = words.words(language), words_of(language)
    rows = sorted(account.rows, key=_urgent)
    said = [said_row(row, account, site, places.get(row.place.target), language) for row in rows]
    return {
        "summary": summary_words(account, w),
        "closing": _closing(account, t, w),
        "take": _take(account, t, w),
        "unplaced": t("upkeep.unplaced", n=account.unplaced) if account.unplaced else "",
        "sick": [(row["target"], row["name"], ", ".join(row["sick"])) for row in said if row["sick"]],
        "rows": said,
        "kit_summary": kit_words.summary_words(account.kit, w),
        "kit": [_item(row, w) for row in account.kit],
    }


def _item(row: KitRow, w: Words) -> Values:
    """The base's supply or a piece of the club's kit."""
    return {
        "name": row.name,
        "kind": kit_words.kind_words(row, w),
        "note": row.note,
        "state": row.state,
        "state_word": kit_words.state_words(row, w),
        "advice": kit_words.advice_words(row, w),
        "left": kit_words.left_words(row, w),
        "basis": kit_words.basis_words(row, w),
        "seen": kit_words.seen_words(row, w),
        "found": [
            {"says": says, "remedy": remedy, "sure": say(f"sure.{finding.sure}", w)}
            for finding in row.findings
            for says, remedy in [kit_words.finding_words(finding, row, w)]
        ],
    }


def _urgent(row: Row) -> float:
    """The account's order, with the sick ones right after what is to be changed now."""
    return min(ORDER.index(row.state), 0.5 if _sick(row) else len(ORDER))


def _sick(row: Row) -> list[str]:
    """What of a target asks to be looked at, by the word of its findings; what the state says already is left out."""
    found = [f.about for f in row.findings if f.sure in SHOWN and f.key not in ("kind-unknown", "never-read")]
    return sorted(set(found))


def _closing(account: Upkeep, t: words.Words, w: Words) -> Values:
    if account.closing is None:
        return {"says": t("upkeep.closing_none"), "parts": []}
    day, left = account.closing.isoformat(), (account.closing - account.today).days
    if left < 0:
        return {"says": say("closing-past", w, day=day), "parts": []}
    states = [row.state for row in account.rows]
    holds, unknown = states.count("holds"), states.count("unknown")
    change = len(states) - holds - unknown
    parts = [t("upkeep.closing_holds", n=holds, of=len(states))]
    parts += [t("upkeep.closing_change", n=change)] if change else []
    parts += [t("upkeep.closing_unknown", n=unknown)] if unknown else []
    return {"says": t("upkeep.closing", day=day, n=left), "parts": parts}


def _take(account: Upkeep, t: words.Words, w: Words) -> list[str]:
    """Cells by kind for what is to be changed on this visit or soon."""
    kinds: dict[str, list[Row]] = {}
    for row in account.rows:
        if row.state in CHANGED and row.battery is not None:
            kinds.setdefault(row.battery.chemistry, []).append(row)
    return [
        t(
            "upkeep.take", n=sum(row.battery.cells for row in rows if row.battery), kind=chemistry_words(kind, w),
            targets=", ".join(row.place.name for row in rows),
        )
        for kind, rows in kinds.items()
    ]  # fmt: skip


def said_row(row: Row, account: Upkeep, site: Site, place: Whereabouts | None, language: str) -> Values:
    """One target as its row and the head of its own page say it."""
    t, w = words.words(language), words_of(language)
    known = row.estimate is not None and row.estimate.share is not None
    return {
        "known": known,
        "target": row.place.target,
        "name": row.place.name,
        "zone": _zone(site, row.place.zone),
        "state": row.state,
        "state_word": say(f"state.{row.state}", w),
        "sick": [t(f"upkeep.sick_{about}") for about in _sick(row)],
        "where": _where(place, site, t),
        "left": left_words(row, w) if known else t("upkeep.not_known"),
        "basis": basis_words(row, w),
        "last": last_words(row, w) if row.forecast is not None else "",
        "advice": advice_words(row, account, w),
        "volts": _volts(row, t),
        "celsius": "" if row.celsius is None else f"{row.celsius:.0f} °C".replace("-", "−"),
        "heard": moment_of(row.last_heard),
        "in_since": _since(row, t),
        "found": [_finding(finding, row, w) for finding in row.findings],
    }


def _zone(site: Site, name: str) -> str:
    return next((zone.title for zone in site.zones if zone.name == name), name)


def _where(place: Whereabouts | None, site: Site, t: words.Words) -> list[str]:
    """How to find it, a line each: from the nearest stake or by metres, how deep, and what is doubtful about it."""
    if place is None:
        return []
    lines = [] if place.moved is None else [t("upkeep.moved", day=place.moved.day)]
    if place.stakes:
        way = place.stakes[0]
        key = "upkeep.from_site" if site.origin is None else "upkeep.from_north"
        degrees = f"{way.bearing_deg % 360:03.0f}"
        lines.append(t(key, m=f"{way.distance_m:.1f}", stake=way.stake.name, degrees=degrees))
    else:
        lines.append(t("upkeep.at_metres", x=f"{place.place.x_m:.1f}", y=f"{place.place.y_m:.1f}"))
    lines[-1] += f", ±\u00a0{place.place.plus_minus_m:g}\u00a0m"
    burial = place.burial
    if burial is not None and burial.least_m is not None and burial.most_m is not None:
        lines.append(t("upkeep.deep", least=f"{burial.least_m:.1f}", most=f"{burial.most_m:.1f}"))
    return [*lines, place.place.note] if place.place.note else lines


def _volts(row: Row, t: words.Words) -> str:
    if row.volts_rest is None:
        return ""
    load = t("upkeep.not_known") if row.volts_load is None else f"{row.volts_load:.2f}"
    return t("upkeep.volts", rest=f"{row.volts_rest:.2f}", load=load)


def _since(row: Row, t: words.Words) -> str:
    if row.began is None:
        return ""
    return t("upkeep.in_since_fresh" if row.fresh else "upkeep.in_since", day=day_of(row.began))


def _finding(finding: Finding, row: Row, w: Words) -> Values:
    says, remedy = finding_words(finding, row, w)
    return {"says": says, "remedy": remedy, "sure": say(f"sure.{finding.sure}", w), "about": finding.about}


def moment_of(number: float | None) -> str:
    """A day number with its hour as RFC 3339; "" for none."""
    if number is None:
        return ""
    return datetime.datetime.fromtimestamp(number * DAY_S, datetime.UTC).strftime("%Y-%m-%dT%H:%MZ")
