"""The season book as one HTML file that needs nothing else: tables, figures with their words, fit for a printer.

season_page(season, names, about, words) -> str
person_page(season, person, names, about, words) -> str

Its inside alone, for a page that holds `STYLE` and everything else:
season_body(season, names, about, words, images=True) -> str
person_body(season, person, names, about, words, images=True) -> str
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from fieldctl import __version__
from fieldctl.debrief import season_figures
from fieldctl.debrief.kaplan import Curve
from fieldctl.debrief.season import KINDS, Person, Season
from fieldctl.debrief.season_words import (
    ENGLISH,
    Names,
    Words,
    bounds,
    kind_name,
    median_of,
    name_of,
    progress_of,
    ratio_words,
    say,
)
from fieldctl.debrief.summary import AWAY_LEAST_S
from fieldctl.site.drawing import Picture

TEAMS_SHOWN = 20
UNREADABLE_SHOWN = 20


@dataclass(frozen=True, slots=True)
class About:
    """Where a page comes from: the site, the last entry that it knows, the language of its texts."""

    site: str
    head: int
    language: str = "en"


ALONE = """
:root{color-scheme:light}
body{color:#111;background:#fff;margin:0 auto;padding:1rem;max-width:60rem}
@page{size:A4;margin:16mm}
@media print{body{padding:0;max-width:none}}
"""
"""The style of a page that holds nothing else."""

STYLE = """
:where(.book){font:16px/1.45 system-ui,sans-serif;color:#111;background:#fff;color-scheme:light}
:where(.book) h1{font-size:1.6rem;margin:.2em 0}
:where(.book) h2{font-size:1.2rem;margin:1.6em 0 .4em;border-bottom:2px solid #111}
:where(.book) :is(p,li){max-width:46rem}
:where(.book) small{font-size:.85em;color:#444}
:where(.book) .small{display:block;min-height:0;padding:0;font-size:.85em;color:#444}
:where(.book) table{border-collapse:collapse;width:100%;margin:.6em 0;font-variant-numeric:tabular-nums}
:where(.book) :is(th,td){text-align:left;padding:.3em .6em .3em 0;border-bottom:1px solid #bbb;vertical-align:top}
:where(.book) th{border-bottom:2px solid #111}
:where(.book) :is(td.n,th.n){text-align:right}
:where(.book) figure{margin:1em 0;max-width:30rem;break-inside:avoid}
:where(.book) figure :is(svg,img){width:100%;height:auto}
:where(.book) .scroll{overflow-x:auto;overflow-wrap:normal}
:where(.book) .strong{font-weight:700}
:where(.book) .figures{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(18rem,100%),1fr));gap:1rem}
@media print{
:where(.book){font-size:10.5pt}
:where(.book) h2{break-after:avoid}
:where(.book) tr{break-inside:avoid}
:where(.book) thead{display:table-header-group}
:where(.book) .scroll{overflow:visible}
}
"""
"""The style of what stands in it: everything is under the class `book`, and a page around it may hold more."""


def page(title: str, body: str, language: str = "en", style: str = STYLE) -> str:
    """A whole HTML file."""
    return (
        f'<!doctype html>\n<html lang="{escape(language)}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{ALONE}{style}</style></head>\n"
        f'<body>\n<article class="book">\n{body}</article></body></html>\n'
    )


def table(head: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[int] = ()) -> str:
    """A table; columns in `numbers` stand to the right."""
    kind = [' class="n"' if n in numbers else "" for n in range(len(head))]
    top = "".join(f'<th scope="col"{k}>{escape(cell)}</th>' for k, cell in zip(kind, head, strict=True))
    lines = [
        "<tr>" + "".join(f"<td{k}>{escape(cell)}</td>" for k, cell in zip(kind, row, strict=True)) + "</tr>"
        for row in rows
    ]
    return (
        f'<div class="scroll" tabindex="0"><table><thead><tr>{top}</tr></thead><tbody>\n'
        + "\n".join(lines)
        + "</tbody></table></div>\n"
    )


def paragraph(text: str, css: str = "") -> str:
    """A paragraph."""
    return f'<p class="{css}">{escape(text)}</p>\n' if css else f"<p>{escape(text)}</p>\n"


def figure(picture: Picture | None, title: str, *, images: bool = False) -> str:
    """A figure with its heading; the words for who cannot see it are in the picture itself.

    `images`: as an image in itself, for a page whose content security policy forbids style inside it.
    """
    if picture is None:
        return ""
    drawn = picture.svg
    if images:
        data = b64encode(picture.svg.encode()).decode()
        drawn = f'<img alt="{escape(picture.text)}" src="data:image/svg+xml;base64,{data}">'
    return f"<figure>{drawn}<figcaption class='small'>{escape(title)}</figcaption></figure>\n"


def season_page(season: Season, names: Names, about: About, words: Words = ENGLISH) -> str:
    """The whole book."""
    return page(say("title", words, site=about.site), season_body(season, names, about, words), about.language)


def season_body(season: Season, names: Names, about: About, words: Words = ENGLISH, *, images: bool = False) -> str:
    """The book without a page round it."""
    title = say("title", words, site=about.site)
    parts = [f"<h1>{escape(title)}</h1>\n", paragraph(period(season, words), "strong")]
    if not season.exercises:
        parts.append(paragraph(say("empty", words)))
    else:
        parts += [_done(season, words), _time(season, words, images), _kinds(season, words, images)]
        parts += [_people(season, names, words), _teams(season, names, words)]
    return "".join([*parts, _apart(season, words), footer(about, words)])


def period(season: Season, words: Words = ENGLISH) -> str:
    """From when to when, in words."""
    if season.first_day is None:
        return say("period.none", words)
    key = "period.all" if season.since is None and season.until is None else "period.some"
    open_end = say("open", words)
    return say(
        key,
        words,
        first=season.first_day,
        last=season.last_day,
        since=season.since or open_end,
        until=season.until or open_end,
    )


def footer(about: About, words: Words) -> str:
    """Where it comes from, and the caution."""
    made = say("made", words, version=__version__, head=about.head)
    return paragraph(f"{made} {say('training', words)}", "small")


def _h2(text: str) -> str:
    return f"<h2>{escape(text)}</h2>\n"


def _done(season: Season, words: Words) -> str:
    looked = season.signal.looked_for + season.probing.looked_for
    found = season.signal.found + season.probing.found
    states = ", ".join(f"{n} {say(f'state.{state}', words)}" for state, n in sorted(season.states.items()))
    rows = (
        f"{say('done.exercises', words, n=season.exercises)}: {states}",
        say("done.people", words, n=len(season.people), teams=season.teams_in_all),
        say("done.burials", words, n=looked, found=found),
    )
    listed = "<ul>" + "".join(f"<li>{escape(row)}</li>" for row in rows) + "</ul>\n"
    drills = sorted(season.drills.items(), key=lambda item: (-item[1], item[0]))
    head = (say("done.drill", words), say("done.times", words))
    return _h2(say("done", words)) + listed + table(head, [(name, str(n)) for name, n in drills], numbers=(1,))


def _time(season: Season, words: Words, images: bool) -> str:
    parts, figures = [_h2(say("time", words))], []
    for key, curve in (("signal", season.signal), ("probing", season.probing)):
        if curve.looked_for:
            title = say(f"time.{key}", words)
            parts.append(paragraph(f"{title}: {median_of(curve, words)}"))
            drawn = season_figures.time_to_find(curve, title, words, key=f"time-{key}")
            figures.append(figure(drawn, title, images=images))
    return "".join([*parts, '<div class="figures">', *figures, "</div>\n", paragraph(say("time.what", words), "small")])


def slow_sentences(season: Season, words: Words = ENGLISH) -> list[str]:
    """What people are slow at, a sentence each; or that it cannot be said."""
    if all(kind.ratio is None for kind in season.kinds):
        return [say("kinds.few", words)]
    said = [
        say("kinds.slow", words, kind=kind_name(kind.key, words), **ratio_words(kind.ratio, words))
        for kind in season.slow_at
        if kind.ratio is not None
    ]
    return said or [say("kinds.none-slow", words)]


def _kinds(season: Season, words: Words, images: bool) -> str:
    rows = []
    for kind in season.kinds:
        ratio = "-"
        if kind.ratio is not None:
            ratio = "{times} ({low}, {high})".format(**ratio_words(kind.ratio, words))
        rows.append((kind_name(kind.key, words), _of(kind.curve), _median(kind.curve, words), ratio))
    head = [say(f"kinds.{key}", words) for key in ("kind", "found", "median", "ratio")]
    said = "".join(paragraph(sentence, "strong") for sentence in slow_sentences(season, words))
    picture = figure(season_figures.kinds(season, words), say("figure.kinds-title", words), images=images)
    note = paragraph(say("kinds.what", words, n=len(KINDS)), "small")
    return _h2(say("kinds", words)) + said + picture + table(head, rows) + note


def _of(curve: Curve) -> str:
    return f"{curve.found} / {curve.looked_for}"


def _median(curve: Curve, words: Words) -> str:
    median, low, high = bounds(curve, words)
    return "-" if median == "-" else f"{median} ({low}, {high})"


def _people(season: Season, names: Names, words: Words) -> str:
    rows = [
        (
            name_of(one.person, names),
            str(one.exercises),
            f"{one.hours:.1f}",
            days(one),
            _of(one.curve),
            _median(one.curve, words),
            progress_of(one.progress.ratio, words),
        )
        for one in season.people
    ]
    columns = ("who", "exercises", "hours", "days", "found", "median", "progress")
    made = table([say(f"people.{key}", words) for key in columns], rows, numbers=(1, 2))
    unnamed = paragraph(say("people.unnamed", words, n=season.unnamed)) if season.unnamed else ""
    return _h2(say("people", words)) + made + unnamed + paragraph(say("people.what", words), "small")


def days(one: Person) -> str:
    """Somebody's first and last day."""
    if one.first_day is None or one.last_day is None:
        return "-"
    return one.first_day if one.first_day == one.last_day else f"{one.first_day} - {one.last_day}"


def _teams(season: Season, names: Names, words: Words) -> str:
    if not season.teams:
        return ""
    rows = [
        (" + ".join(name_of(who, names) for who in t.people), str(t.exercises), _of(t.curve), _median(t.curve, words))
        for t in season.teams[:TEAMS_SHOWN]
    ]
    head = [say(f"people.{key}", words) for key in ("who", "exercises", "found", "median")]
    more = season.teams_in_all - len(rows)
    rest = paragraph(say("teams.more", words, n=more), "small") if more > 0 else ""
    return _h2(say("teams", words)) + table(head, rows, numbers=(1,)) + rest


def apart_sentences(season: Season, words: Words = ENGLISH) -> list[str]:
    """What is in no curve and what was odd, a sentence each."""
    said = [
        say("apart.left", words, n=n, why=say(f"left.{why}", words, away=f"{AWAY_LEAST_S:g}"))
        for why, n in sorted(season.left_out.items())
    ]
    for key in ("anomalies", "to_judge", "corrections", "undated"):
        n = getattr(season, key)
        if n:
            said.append(say(f"apart.{key.replace('_', '-')}", words, n=n))
    said += [
        say("apart.unreadable", words, exercise=row.exercise, why=row.why)
        for row in season.unreadable[:UNREADABLE_SHOWN]
    ]
    if len(season.unreadable) > UNREADABLE_SHOWN:
        said.append(say("certificate.more", words, n=len(season.unreadable) - UNREADABLE_SHOWN))
    return said or [say("apart.none", words)]


def _apart(season: Season, words: Words) -> str:
    rows = "".join(f"<li>{escape(row)}</li>" for row in apart_sentences(season, words))
    return f"{_h2(say('apart', words))}<ul>{rows}</ul>\n"


def person_page(season: Season, one: Person, names: Names, about: About, words: Words = ENGLISH) -> str:
    """One person's season on one page."""
    title = f"{name_of(one.person, names)}: {say('title', words, site=about.site)}"
    return page(title, person_body(season, one, names, about, words), about.language)


def person_body(
    season: Season, one: Person, names: Names, about: About, words: Words = ENGLISH, *, images: bool = False
) -> str:
    """One person's season without a page round it."""
    name = name_of(one.person, names)
    head = [say(f"people.{key}", words) for key in ("exercises", "hours", "days", "found")]
    cells = (str(one.exercises), f"{one.hours:.1f}", days(one), _of(one.curve))
    drawn = season_figures.person(one, name, words)
    parts = [
        f"<h1>{escape(name)}</h1>\n",
        paragraph(f"{say('title', words, site=about.site)}. {period(season, words)}", "strong"),
        table(head, [cells]),
        paragraph(median_of(one.curve, words)),
        paragraph(f"{say('people.progress', words)}: {progress_of(one.progress.ratio, words)}"),
        figure(drawn, say("figure.person-title", words, name=name), images=images),
        paragraph(say("people.what", words), "small"),
        footer(about, words),
    ]
    return "".join(parts)
