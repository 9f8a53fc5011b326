"""A certificate of attendance: one A4 page to print and sign, or one page for each of many people.

    certificate(people, names, about, words) -> str        HTML that needs nothing else

It says who was there, when and for how long, from the log; no skill and no verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from fieldctl import __version__
from fieldctl.debrief.season import Person
from fieldctl.debrief.season_page import STYLE, About, page, table
from fieldctl.debrief.season_words import ENGLISH, Names, Words, name_of, say

LISTED_MOST = 20  # exercises on the one page; the others are counted

PRINT = """
section{max-width:40rem;margin:0 auto 4rem;padding:2rem;border:3px double #111}
section h1{text-align:center;margin-bottom:1.2em}.who{text-align:center;font-size:1.8rem;font-weight:700;margin:.4em 0}
.says{text-align:center;margin:1em auto}.sign{margin-top:4.5rem;border-top:1px solid #111;padding-top:.3em;width:20rem}
@media print{section{break-after:page;margin:0;max-width:none;min-height:236mm;box-sizing:border-box}
section{padding:1.2rem 2rem}section:last-child{break-after:auto}
section td,section th{padding-top:.15em;padding-bottom:.15em}}
"""


def certificate(people: Sequence[Person], names: Names, about: About, words: Words = ENGLISH) -> str:
    """The certificates of these people, one page each."""
    title = say("certificate", words)
    return page(title, "".join(_one(one, names, about, words) for one in people), about.language, STYLE + PRINT)


def _one(one: Person, names: Names, about: About, words: Words) -> str:
    who = name_of(one.person, names)
    values = {"n": one.exercises, "site": about.site, "hours": f"{one.hours:.1f}"}
    if not one.exercises:
        says = say("certificate.none", words, who=who)
    elif one.first_day is None:
        says = say("certificate.says-undated", words, **values)
    else:
        says = say("certificate.says", words, **values, first=one.first_day, last=one.last_day)
    rows = [
        (
            row.day or say("certificate.no-day", words),
            row.exercise,
            row.title or row.drill,
            "-" if row.ended_s is None else f"{max(0.0, row.ended_s) / 60:.0f}",
        )
        for row in one.attended[-LISTED_MOST:]
    ]
    more = len(one.attended) - len(rows)
    head = [say(f"certificate.{key}", words) for key in ("day", "number", "drill", "minutes")]
    listed = table(head, rows, numbers=(3,)) if rows else ""
    rest = f"<p class='small'>{escape(say('certificate.more', words, n=more))}</p>\n" if more > 0 else ""
    log = say("certificate.log", words, site=about.site, head=about.head, version=__version__)
    return (
        f"<section><h1>{escape(say('certificate', words))}</h1>\n<p class='who'>{escape(who)}</p>\n"
        f"<p class='says'>{escape(says)}</p>\n{listed}{rest}"
        f"<p class='small'>{escape(say('certificate.attends', words))} {escape(log)}</p>\n"
        f"<p class='sign'>{escape(say('certificate.signed', words))}</p></section>\n"
    )
