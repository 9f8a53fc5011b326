"""Sheets to print and to sign with a pen: the carry list, the retrieval, the self-test; HTML that needs nothing else.

carry_sheet(said, language)    retrieval_sheet(row, language, site)    self_test_sheet(row, language, site)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from fieldctl.debrief.season_page import STYLE, page, paragraph, table
from fieldctl.upkeep.selftest import CHECKS
from fieldctl.web import words
from fieldctl.web.sayings import say

SHEET_STYLE = (
    STYLE
    + """
:where(.book){max-width:48rem;margin:0 auto}
:where(.book) .signs{display:grid;grid-template-columns:1fr 1.4fr 2fr;gap:2rem;margin-top:2rem;break-inside:avoid}
:where(.book) .sign{border-top:1px solid #111;padding-top:.3em;margin-top:1.6rem}
:where(.book) .box{display:inline-block;width:1em;height:1em;border:2px solid #111;vertical-align:-.15em}
:where(.book) ul{margin:.2em 0;padding-left:1.2em}
:where(.book) ul.pack{columns:2;list-style:none;padding:0}
:where(.book) .stops th:last-child{width:30%}
:where(.book) .dots{border-bottom:1px dotted #111;display:inline-block;width:75%}
@media print{
:where(.book){font-size:8.5pt;line-height:1.25}
:where(.book) h1{font-size:14pt;margin:0}
:where(.book) h2{font-size:10pt;margin:.5em 0 .1em}
:where(.book) p{margin:.1em 0}
:where(.book) table{margin:.1em 0}
:where(.book) ul.pack{columns:3;margin:.1em 0}
:where(.book) :is(th,td){padding:.1em .4em .1em 0}
:where(.book) .stops :is(th,td):nth-last-child(3){width:40%}
:where(.book) .stops th:last-child{width:17%}
:where(.book) .signs{margin-top:.3em}
:where(.book) .sign{margin-top:1.5em}
:where(.book) .after{break-before:page}
}
"""
)
"""One page of A4 for a usual visit."""

Values = Mapping[str, Any]


def carry_sheet(said: Values, language: str) -> str:
    """The carry list as one HTML file."""
    t = words.words(language)
    parts = [f"<h1>{escape(t('carry.title'))}</h1>\n", paragraph(said["head"], "strong"), paragraph(said["way"])]
    parts += [_h2(t("carry.pack")), _listed([f"{BOX} {escape(line)}" for line in said["pack"]], "pack")]
    if said["stops"]:
        parts += [_h2(t("carry.stops")), _stops(said["stops"], t)]
    parts += [_signs(t), _h2(said["since"]["title"], "after"), _lines(said["since"]["lines"])]
    parts += [paragraph(line) for line in said["box"]]
    if said["kit"]:
        parts.append(paragraph(said["kit"]))
    if said["desk"]:
        rows = [f"{row['name']}: {row['says']} {row['remedy']}" for row in said["desk"]]
        parts += [_h2(t("carry.desk")), _lines(rows)]
    return page(t("carry.title"), "".join(parts), language, SHEET_STYLE)


def _stops(stops: Sequence[Values], t: words.Words) -> str:
    """A row for each job; a target's name and the way to it stand once."""
    head = ("", t("carry.where"), t("carry.what"), t("carry.done"), t("carry.not_done"))
    top = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    lines = []
    for n, stop in enumerate(stops, start=1):
        span = f' rowspan="{len(stop["jobs"])}"' if len(stop["jobs"]) > 1 else ""
        where = escape("; ".join(stop["near"]).replace(".; ", ". "))
        first = f"<td{span}>{n}</td><td{span}><strong>{escape(stop['name'])}</strong> <small>{where}</small></td>"
        for job in stop["jobs"]:
            why = escape(" ".join(job["why"][:1]))
            what = f"{escape(job['what'])} <small>{why}</small>"
            lines.append(f"<tr>{first}<td>{what}</td><td>{BOX}</td><td>{BOX} {DOTS}</td></tr>")
            first = ""
    return f'<table class="stops"><thead><tr>{top}</tr></thead><tbody>\n' + "\n".join(lines) + "</tbody></table>\n"


def retrieval_sheet(row: Values, language: str, site: str) -> str:
    """A retrieval as one HTML file: what stands for each target, boxes for the rest, and the list of the lost."""
    t = words.words(language)
    title = t("carry.retrieval")
    parts = [f"<h1>{escape(title)}</h1>\n", paragraph(t("carry.day", day=row.get("day") or "–", site=site), "strong")]
    parts.append(paragraph(t("carry.retrieval_of", n=row["n"], of=row["of"])))
    parts.append(paragraph(t("carry.retrieval_what")))
    head = ("", t("carry.stops"), t("carry.got"), t("carry.state_lost"), t("carry.sign_name"))
    rows = [
        [
            str(n),
            f"{one['name']} ({say(language, one['place'])})",
            "✓" if one["state"] == "got" else "☐",
            "✓" if one["state"] == "lost" else "☐",
            "; ".join(filter(None, (said_words(said, t) for said in one["said"]))),
        ]
        for n, one in enumerate(row["targets"], start=1)
    ]
    parts.append(table(head, rows))
    if row["units_out"]:
        parts.append(paragraph(t("carry.units_out", units=", ".join(row["units_out"])), "strong"))
    if row["lost"]:
        parts += [_h2(t("carry.lost_list")), _lines(lost_words(_said(one, language), t) for one in row["lost"])]
        parts.append(paragraph(t("carry.lost_caution")))
    if row.get("signed"):
        parts.append(paragraph(t("carry.retrieval_closed", retrieval=row["retrieval"], name=row["signed"]), "strong"))
    return page(title, "".join([*parts, _signs(t)]), language, SHEET_STYLE)


def said_words(said: Values, t: words.Words) -> str:
    """Who said something of a target, when, and why."""
    return f"{t('carry.ticked_ago', who=said['by'] or '–', day=said['day'] or '–')} {said['why']}".strip()


def lost_words(row: Values, t: words.Words) -> str:
    """One line of the list of the lost."""
    text = t(
        "carry.lost_row",
        name=row["name"],
        place=row["last_place"],
        heard=row["last_heard"][:16].replace("T", " ") or t("carry.never"),
        day=row["day"] or "–",
        by=row["by"] or "–",
        told=row["told"] or "–",
        reason=row["reason"],
    )
    found = row["found_day"]
    return text if found is None else f"{text} {t('carry.lost_found', day=found or '–')}"


def _said(row: Values, language: str) -> Values:
    """With its place as the reader says it."""
    return {**row, "last_place": say(language, row["last_place"])}


def self_test_sheet(row: Values, language: str, site: str) -> str:
    """The self-test as one HTML file: a column for each check, and what each target lacks in words."""
    t = words.words(language)
    title = t("carry.self_test")
    day = max((one["day"] for one in row["targets"]), default="") or "–"
    round_of = {"round": row["round"], "whole": row["whole"], "of": len(row["targets"])}
    parts = [f"<h1>{escape(title)}</h1>\n", paragraph(t("carry.day", day=day, site=site), "strong")]
    parts.append(paragraph(t("carry.self_test_round", **round_of)))
    sign = {"good": "✓", "bad": "✗", "open": "–"}
    head = ["", *(t(f"carry.check_{check}") for check in CHECKS)]
    rows = [[one["name"], *(sign.get(one["checks"].get(check, ""), "") for check in CHECKS)] for one in row["targets"]]
    parts.append(table(head, rows))
    lines = [f"{one['name']} {text}" for one in row["targets"] for text in lacks_words(one, t)]
    if lines:
        parts += [_h2(t("carry.self_test_lacks", what="")), _lines(lines)]
    return page(title, "".join([*parts, _signs(t)]), language, SHEET_STYLE)


def lacks_words(row: Values, t: words.Words) -> list[str]:
    """What a target lacks and what to do about it, a sentence each."""
    if not row["tested"]:
        return [t("carry.self_test_untested")]
    return [t(f"carry.{key}") for key in row["says"]]


BOX = '<span class="box"></span>'
DOTS = '<span class="dots">&nbsp;</span>'  # room for a reason


def _signs(t: words.Words) -> str:
    cells = "".join(f'<div class="sign">{escape(t(f"carry.sign_{key}"))}</div>' for key in ("day", "name", "hand"))
    return f'{paragraph(t("carry.caution"))}<div class="signs">{cells}</div>\n'


def _h2(text: str, css: str = "") -> str:
    return f'<h2 class="{css}">{escape(text)}</h2>\n' if css else f"<h2>{escape(text)}</h2>\n"


def _lines(rows: Iterable[str]) -> str:
    return _listed(map(escape, rows))


def _listed(rows: Iterable[str], css: str = "") -> str:
    """A list of lines that are HTML already."""
    return f'<ul class="{css}">' + "".join(f"<li>{row}</li>" for row in rows) + "</ul>\n"
