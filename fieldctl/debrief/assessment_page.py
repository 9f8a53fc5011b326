"""An assessment's sheet to look at and to print: HTML that needs nothing else, and lines for a terminal.

sheet_page(standing, names, about, started, words) -> str
sheet_body(standing, names, about, started, words) -> str   without a page round it; its style is SHEET_STYLE
sheet_lines(standing, names, words) -> list of lines
sheet_row(standing, names) -> dict                          for --json and for pages
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from html import escape
from importlib import resources
from types import MappingProxyType
from typing import Any

from fieldctl import __version__
from fieldctl.debrief.assessment import ITEMS, ROLES, Standing
from fieldctl.debrief.season_page import STYLE, About, page, paragraph, table
from fieldctl.debrief.season_words import Names, Words, clock, name_of

ENGLISH: Words = MappingProxyType(
    tomllib.loads(resources.files("fieldctl.debrief").joinpath("assessment_english.toml").read_text(encoding="utf-8"))
)
"""Every sentence in English."""

SHEET_SCHEMA = 1
SHEET_STYLE = (
    STYLE
    + """
:where(.book){max-width:48rem;margin:0 auto}
:where(.book) .signs{display:grid;grid-template-columns:1fr 1fr;gap:3rem;margin-top:2.5rem}
:where(.book) .sign{border-top:1px solid #111;padding-top:.3em;margin-top:2.5rem}
:where(.book) .digest{font-family:monospace;word-break:break-all}
:where(.book) .verdict{font-size:1.3rem;font-weight:700;border:2px solid #111}
:where(.book) .verdict{padding:.3em .7em;margin:.4em 0;display:inline-block}
:where(.book) .facts th{font-weight:400;color:#444;border-bottom:1px solid #bbb;width:30%}
@media print{
:where(.book){font-size:9pt;line-height:1.3}
:where(.book) h1{font-size:15pt}
:where(.book) h2{font-size:11pt;margin:.9em 0 .2em}
:where(.book) p{margin:.3em 0}
:where(.book) table{margin:.2em 0}
:where(.book) :is(th,td){padding:.12em .5em .12em 0}
:where(.book) .signs{margin-top:1em}
:where(.book) .sign{margin-top:1.8em}
:where(.book) ul{margin:.2em 0}
:where(.book) .facts tbody{columns:2;display:block}
:where(.book) .facts tr{display:flex}
:where(.book) .facts th{flex:0 0 40%}
:where(.book) .facts td{flex:1}
}
"""
)


def say(key: str, words: Words = ENGLISH, /, **values: object) -> str:
    """A sentence in a language, in English where the language lacks it; KeyError for a key that there is not.

    Where its number `n` is 1 and a form of one alone is there, that one.
    """
    if values.get("n") == 1 and f"{key}.one" in ENGLISH:
        key = f"{key}.one"
    return words.get(key, ENGLISH[key]).format(**values)


def sheet_row(it: Standing, names: Names) -> dict[str, Any]:
    """The sheet as JSON-able values, with the names that are still kept beside the ids."""
    ids = {
        who
        for who in [
            it.sheet["candidate"],
            *it.sheet["searchers"],
            *(tick["by"] for tick in it.sheet["ticks"]),
            *(row.by for row in it.signed.values()),
            *([it.decided.by] if it.decided else []),
        ]
        if who in names
    }
    return {
        "what": "fieldctl assessment",
        "sheet_schema": SHEET_SCHEMA,
        "sheet": it.sheet,
        "digest": it.digest,
        "decided": None
        if it.decided is None
        else {"verdict": it.decided.verdict, "why": it.decided.why, "by": it.decided.by},
        "signed": {role: row.by for role, row in it.signed.items()},
        "void_signatures": it.void,
        "altered": it.altered,
        "final": it.final,
        "otherwise_now": list(it.now),
        "names": {who: name_of(who, names) for who in sorted(ids)},
    }


def sheet_page(it: Standing, names: Names, about: About, started: str | None, words: Words = ENGLISH) -> str:
    """The sheet as one HTML file; `started` is the wall's label of the start."""
    title = say("title", words, candidate=name_of(it.sheet["candidate"], names))
    return page(title, sheet_body(it, names, about, started, words), about.language, SHEET_STYLE)


def _parts(now: Sequence[str], words: Words) -> str:
    """Which parts of a sheet would be otherwise, each once, in words."""
    keys = dict.fromkeys(f"part.{name.split('.')[0]}" for name in now)
    return ", ".join(dict.fromkeys(say(key if key in ENGLISH else "part.other", words) for key in keys))


def sheet_body(it: Standing, names: Names, about: About, started: str | None, words: Words = ENGLISH) -> str:
    """The sheet without a page round it."""
    sheet = it.sheet
    title = say("title", words, candidate=name_of(sheet["candidate"], names))
    parts = [
        f"<h1>{escape(title)}</h1>\n",
        paragraph(say("sub", words, title=sheet["title"], exercise=sheet["exercise"], site=about.site), "strong"),
        _verdict(it, names, words),
        _h2(say("conditions", words)),
        _facts(conditions(sheet, names, started, words)),
        _h2(say("burials", words)),
        _burials(sheet, words),
        _listed(say("technical", words), technical(sheet, words) or [say("technical.none", words)]),
        _observed(sheet, names, words),
        _maybe(say("corrections", words), corrections(sheet, names, words)),
        _maybe(say("to-judge", words), [say("to-judge.row", words, **_two(row)) for row in sheet["to_judge"]]),
        _signatures(it, names, words),
    ]
    if it.now:
        parts.append(paragraph(say("now", words, keys=_parts(it.now, words)), "small"))
    parts.append(paragraph(say("digest", words, digest=it.digest), "small digest"))
    parts.append(paragraph(say("made", words, version=sheet["version"], shown=__version__), "small"))
    return "".join(parts)


def _facts(rows: Sequence[tuple[str, str]]) -> str:
    lines = "".join(f'<tr><th scope="row">{escape(key)}</th><td>{escape(said)}</td></tr>\n' for key, said in rows)
    return f'<table class="facts"><tbody>\n{lines}</tbody></table>\n'


def _two(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"source": row["source"], "why": row["why"]}


def _h2(text: str) -> str:
    return f"<h2>{escape(text)}</h2>\n"


def _listed(title: str, rows: Sequence[str]) -> str:
    return _h2(title) + "<ul>" + "".join(f"<li>{escape(row)}</li>" for row in rows) + "</ul>\n"


def _maybe(title: str, rows: Sequence[str]) -> str:
    return _listed(title, rows) if rows else ""


def _verdict(it: Standing, names: Names, words: Words) -> str:
    rows = [paragraph(proposal(it, words))]
    if it.altered:
        rows.insert(0, paragraph(say("altered", words), "verdict"))
    if it.decided is None:
        return "".join([paragraph(say("draft", words), "verdict"), *rows])
    said = say("decided", words, verdict=say(f"verdict.{it.decided.verdict}", words))
    rows.insert(0, paragraph(said, "verdict"))
    if it.decided.why:
        rows.append(paragraph(say("decided-why", words, by=name_of(it.decided.by, names), why=it.decided.why)))
    if it.final:
        rows.append(paragraph(say("final", words), "small"))
    return "".join(rows)


def proposal(it: Standing, words: Words = ENGLISH) -> str:
    """What the field proposed when the sheet was made, and why."""
    because = "; ".join(say(f"because.{key}", words) for key in it.sheet["because"])
    said = say(f"proposal.{it.sheet['proposal']}", words)
    return f"{say('proposal', words, proposal=said)} ({because})."


def conditions(
    sheet: Mapping[str, Any], names: Names, started: str | None, words: Words = ENGLISH
) -> list[tuple[str, str]]:
    """The conditions that hold for the whole exercise, as rows."""
    kept: Mapping[str, Any] = sheet["conditions"]
    unknown = say("unknown", words)
    snow = kept.get("snow_m")
    in_charge = kept.get("in_charge")
    rows = {
        "day": started or kept.get("wall") or unknown,
        "site": kept.get("site") or unknown,
        "snow": unknown if snow is None else say("burial.depth", words, depth=snow),
        "hazard": kept.get("hazard") or unknown,
        "in-charge": unknown if not in_charge else name_of(str(in_charge), names),
        "limit": clock(sheet["limit_s"]),
        "searchers": ", ".join(name_of(who, names) for who in sheet["searchers"]),
        "seed": str(sheet["seed"]),
        "version": f"fieldctl {kept.get('version') or unknown}",
    }
    return [(say(f"condition.{key}", words), str(value)) for key, value in rows.items()]


def _burials(sheet: Mapping[str, Any], words: Words) -> str:
    head = [say(f"burial.{key}", words) for key in ("name", "where", "signal", "surface", "unit", "found", "limit")]
    return table(head, [_burial(row, sheet["conditions"], words) for row in sheet["burials"]])


def _burial(row: Mapping[str, Any], kept: Mapping[str, Any], words: Words) -> list[str]:
    place = (kept.get("places") or {}).get(row["burial"]) or {}
    unit = (kept.get("targets") or {}).get(row["burial"]) or {}
    unknown = say("unknown", words)
    where = unknown if row["depth_m"] is None else say("burial.depth", words, depth=row["depth_m"])
    if row["azimuth_deg"] is not None and row["tilt_deg"] is not None:
        where += ", " + say("burial.axis", words, azimuth=f"{row['azimuth_deg']:g}", tilt=f"{row['tilt_deg']:g}")
    struck = place.get("struck")
    surface = unknown if struck is None else say("burial.fresh", words)
    if struck:
        surface = say("burial.struck", words, n=struck)
    signal = say(f"signal.{row['signal']}", words)
    if row["signal"] != "never":
        keying = row["keying"]
        signal = say(
            "burial.keying", words, signal=signal, on=keying["on_ms"], period=keying["period_ms"], level=row["level"]
        )
    says = say("burial.unit-says", words, target=row["target"], firmware=unit.get("firmware") or unknown)
    found = "-"
    if row["found_s"] is not None:
        kind = say(f"kind.{row['kind']}", words)
        found = say("burial.find", words, clock=_exact(row["found_s"]), pm=f"{row['plus_minus_s']:.2g}", kind=kind)
    return [row["burial"], where, signal, surface, says, found, say(f"limit.{row['limit']}", words)]


def _exact(s: float) -> str:
    """Seconds as m:ss.s: near a limit the tenth matters."""
    sign, tenths = ("-" if s < 0 else ""), round(abs(s) * 10)
    return f"{sign}{tenths // 600}:{tenths % 600 / 10:04.1f}"


def technical(sheet: Mapping[str, Any], words: Words = ENGLISH) -> list[str]:
    """What went wrong with the field, a sentence each."""
    return [say(f"fault.{row['key']}", words, about=row["about"], says=row["says"]) for row in sheet["technical"]]


def item_name(item: str, words: Words = ENGLISH) -> str:
    """What an item of the observer's list is called; a free one is called what it is."""
    return say(f"item.{item}", words) if item in ITEMS else item


def _observed(sheet: Mapping[str, Any], names: Names, words: Words) -> str:
    rows = [[item_name(t["item"], words), value(t, words), name_of(t["by"], names), t["why"]] for t in sheet["ticks"]]
    title = _h2(say("observed", words))
    if not rows:
        return title + paragraph(say("observed.none", words))
    return title + table([say(f"observed.{key}", words) for key in ("item", "value", "by", "why")], rows)


def value(tick: Mapping[str, Any], words: Words = ENGLISH) -> str:
    """What was ticked, in words."""
    said = say(f"value.{tick['value']}", words) if f"value.{tick['value']}" in ENGLISH else str(tick["value"])
    return say("observed.by-hand", words, value=said) if tick["by_hand"] else said


def corrections(sheet: Mapping[str, Any], names: Names, words: Words = ENGLISH) -> list[str]:
    """The corrections in force, a sentence each."""
    return [
        say(
            "correction",
            words,
            change=c["change"],
            about=c["about"],
            value="" if c["value"] is None else name_of(str(c["value"]), names),
            why=c["why"],
            by=name_of(c["by"], names),
        )
        for c in sheet["corrections"]
    ]


def _signatures(it: Standing, names: Names, words: Words) -> str:
    cells = []
    for role in ROLES:
        row = it.signed.get(role)
        said = say("not-signed", words) if row is None else say("signed", words, by=name_of(row.by, names))
        cells.append(f'<div class="sign">{escape(say(f"role.{role}", words))}: {escape(said)}</div>')
    void = paragraph(say("void", words, n=it.void), "small") if it.void else ""
    return f'{_h2(say("signatures", words))}<div class="signs">{"".join(cells)}</div>\n{void}'


def sheet_lines(it: Standing, names: Names, words: Words = ENGLISH) -> list[str]:
    """The sheet for a terminal."""
    sheet = it.sheet
    rows = [say("title", words, candidate=name_of(sheet["candidate"], names)), proposal(it, words)]
    if it.altered:
        rows.append(say("altered", words))
    rows.append(
        say("draft", words)
        if it.decided is None
        else say("decided", words, verdict=say(f"verdict.{it.decided.verdict}", words))
    )
    rows += [f"{key}: {said}" for key, said in conditions(sheet, names, None, words)]
    rows += ["  ".join(_burial(row, sheet["conditions"], words)) for row in sheet["burials"]]
    rows += [f"{say('technical', words)}: {row}" for row in technical(sheet, words)]
    rows += [f"{item_name(t['item'], words)}: {value(t, words)}" for t in sheet["ticks"]]
    rows += [f"{say('corrections', words)}: {row}" for row in corrections(sheet, names, words)]
    rows += [f"{say('to-judge', words)}: {say('to-judge.row', words, **_two(row))}" for row in sheet["to_judge"]]
    for role in ROLES:
        row = it.signed.get(role)
        said = say("not-signed", words) if row is None else say("signed", words, by=name_of(row.by, names))
        rows.append(f"{say(f'role.{role}', words)}: {said}")
    if it.now:
        rows.append(say("now", words, keys=_parts(it.now, words)))
    return rows
