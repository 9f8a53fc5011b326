"""A debrief as HTML: a fragment that a page embeds, and one sheet that stands alone, with both figures in it.

    page_fragment(debrief, words, audience) -> str      no <html>; put `style()` once into the page that holds it
    sheet(debrief, words, audience) -> str              a file of its own: no script, nothing fetched
    figures(debrief, words, audience) -> dict           "timeline" and "map" as Picture, the map where a place is known

Everything that people or files wrote is escaped by Jinja2; the SVG is our own and escapes what stands in it.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from fieldctl.debrief.gaps import worth_telling
from fieldctl.debrief.model import BurialDebrief, Debrief, Mark
from fieldctl.debrief.show import Audience, for_audience
from fieldctl.debrief.words import (
    ENGLISH,
    Said,
    Words,
    clock,
    in_words,
    length,
    listed,
    moment,
    name_of_split,
    plus_minus,
    said,
)

if TYPE_CHECKING:
    from jinja2 import Environment

    from fieldctl.site.drawing import Picture

STRIKES_SHOWN = 12  # of one burial: more would leave the sheet, and all are in CSV and JSON
HITS_SHOWN = 6  # of one burial, in the table of its moments: the first ones, the find among them
CORRECTIONS_PRINTED = 8  # on paper; a page shows all
Row = dict[str, Any]


def figures(
    d: Debrief, words: Words = ENGLISH, audience: Audience = "crew", *, screen: bool = False
) -> dict[str, Picture]:
    """Both figures as that audience may see them; `screen`: for one that many look at from afar."""
    from fieldctl.debrief.figures import timeline_figure
    from fieldctl.debrief.map_figure import map_figure

    shown = for_audience(d, audience)
    drawn = {"timeline": timeline_figure(shown, words, wide=screen)}
    ground = map_figure(shown, words)
    return drawn if ground is None else {**drawn, "map": ground}


def page_fragment(
    d: Debrief, words: Words = ENGLISH, audience: Audience = "crew", *, language: str = "en", screen: bool = False
) -> str:
    """The debrief as HTML without a page round it; `screen`: large, for a group that stands five metres away.

    Its figures are images in themselves: a page with a strict content security policy forbids their style inside it.
    """
    context = _context(d, words, audience, language, screen)
    return _environment().get_template("debrief.html").render({**context, "pictures": _as_images(context["pictures"])})


def sheet(d: Debrief, words: Words = ENGLISH, audience: Audience = "crew", *, language: str = "en") -> str:
    """The debrief as one file that stands alone."""
    return _environment().get_template("sheet.html").render(_context(d, words, audience, language, screen=False))


@cache
def style() -> str:
    """The style of a fragment: everything in it is under the class `debrief`."""
    return resources.files("fieldctl.debrief").joinpath("templates", "debrief.css").read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("fieldctl.debrief"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _context(d: Debrief, words: Words, audience: Audience, language: str, screen: bool) -> Row:
    from markupsafe import Markup

    d = for_audience(d, audience)
    drawn = figures(d, words, screen=screen)

    def t(what: str | Said, **values: object) -> str:
        return in_words(said(what, **values) if isinstance(what, str) else what, words)

    return {
        "t": t,
        "d": d,
        "language": language,
        "screen": screen,
        "style": Markup(style()),
        "head": _head(d, words),
        "touches": [t(touch.text) for b in d.burials for touch in b.touches],
        "burials": [_burial(d, b, words) for b in d.burials],
        "order": _order(d, words),
        "marks": [_moment(m, None, words) for m in d.marks],
        "gaps": [t(g.text) for g in worth_telling(d.gaps)],
        "anomalies": [t(a) for a in d.anomalies],
        "missing": [t(m) for m in d.missing],
        "corrections": [t(c.text) for c in d.corrections],
        "printed": CORRECTIONS_PRINTED,
        "then": [t(text) for text in d.then],
        "judge": [_judge(j.source, j.at_us, j.why, words) for j in d.to_judge],
        "past": [t(u.text) for b in d.burials for u in (b.before, b.usual) if u is not None],
        "alive": [t(b.alive.text) for b in d.burials if b.alive is not None],
        "survival": [] if d.survival is None else [t(text) for text in d.survival.texts],
        "strikes": [_strikes(d, name, words) for name in (*(b.burial for b in d.burials), None)],
        "pictures": [(key, Markup(p.svg), p.text) for key, p in drawn.items()],
    }


def _as_images(pictures: list[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    from markupsafe import Markup

    image = Markup('<img alt="{}" src="data:image/svg+xml;base64,{}">')
    return [(key, image.format(text, b64encode(svg.encode()).decode()), text) for key, svg, text in pictures]


def _judge(source: str, at_us: int | None, why: str, words: Words) -> str:
    at: str | Said = said("unknown") if at_us is None else clock(at_us)
    return in_words(said("page.judge", source=source, at=at, why=why), words)


def _head(d: Debrief, words: Words) -> list[tuple[str, str]]:
    rows: list[tuple[str, str | Said]] = [
        ("head.searchers", listed(d.searchers) if d.searchers else said("nobody")),
        ("head.when", _day(d.started) if d.started else said("unknown")),
        ("head.lasted", said("unknown") if d.length_us is None else clock(d.length_us)),
        ("head.limit", clock(d.limit_us)),
        ("head.state", said(f"state.{d.state}")),
    ]
    return [(in_words(said(key), words), v if isinstance(v, str) else in_words(v, words)) for key, v in rows]


def _day(wall: str) -> str:
    """A label such as 2026-01-31T09:30:00.000Z, as people read it; another one as it is."""
    day, t, hour = wall.partition("T")
    return f"{day} {hour[:5]} UTC" if t and wall.endswith("Z") else wall


def _order(d: Debrief, words: Words) -> str:
    if not d.order or len(d.burials) < 2:
        return ""
    groups = [g[0] if len(g) == 1 else in_words(said("order.tie", names=listed(g)), words) for g in d.order]
    return in_words(said("order.one", order=", ".join(groups)), words)


def _burial(d: Debrief, b: BurialDebrief, words: Words) -> Row:
    lines: list[Said] = []
    if b.found is not None and b.gross_us is not None:
        how = said(f"find.{b.find_kind}")
        at, pm = moment(b.found.at_us, b.found.plus_minus_us), plus_minus(b.found.plus_minus_us)
        found = said("page.found", how=how, at=at, pm=pm)
        lines.append(said("page.found-by", how=how, at=at, pm=pm, who=b.searcher) if b.searcher else found)
        near = {True: "yes", False: "no", None: "near"}[b.in_time]
        lines.append(said(f"intime.{near}", limit=clock(d.limit_us)))
        if b.net_us is not None and b.net_us != b.gross_us:
            lines.append(said("net", gross=clock(b.gross_us), net=clock(b.net_us)))
        if b.search_us is not None and b.search_us not in (b.net_us, b.gross_us):
            lines.append(said("search", search=clock(b.search_us)))
    else:
        lines.append(said("find.none"))
    ends = {s.to_us: s for s in b.stretches}
    rows = []
    shown, left_out = _without_many_hits(b.marks)
    for mark in shown:
        stretch = ends.get(mark.at_us)
        rows.append(_moment(mark, None if stretch is None else stretch.net_us, words))
    where = "" if b.where is None else in_words(_where(b), words)
    return {
        "name": b.burial,
        "target": b.target_name,
        "where": where,
        "lines": "; ".join(in_words(line, words) for line in lines),
        "marks": rows,
        "more": in_words(said("hits.more", count=left_out), words) if left_out else "",
    }


def _without_many_hits(marks: Sequence[Mark]) -> tuple[list[Mark], int]:
    """A burial's moments with its first hits, and how many hits are left out."""
    hits = [m for m in marks if m.name == "hit"]
    beyond = {id(m) for m in hits[HITS_SHOWN:]}
    return [m for m in marks if id(m) not in beyond], len(beyond)


def _where(b: BurialDebrief) -> Said:
    assert b.where is not None
    return said("places.row", name=b.target_name, depth=f"{b.where.depth_m:.1f}")


def _moment(m: Mark, since_us: int | None, words: Words) -> Row:
    return {
        "name": in_words(name_of_split(m.name), words),
        "at": moment(m.at_us, m.plus_minus_us),
        "pm": in_words(plus_minus(m.plus_minus_us), words),
        "since": "" if since_us is None else in_words(length(since_us), words),
        "by": in_words(said(f"by.{m.by}"), words) + (f", {m.who}" if m.who else ""),
        "void": not m.counts,
    }


def _strikes(d: Debrief, burial: str | None, words: Words) -> Row:
    rows = [s for s in d.strikes if s.burial == burial]
    told = []
    for s in rows[:STRIKES_SHOWN]:
        kind = s.judged or s.taken_for
        taken = in_words(said(f"taken.{kind}"), words) if f"taken.{kind}" in ENGLISH else kind
        if s.judged is not None:
            taken += f" ({in_words(said('strike.judged'), words)})"
        at = in_words(said("unknown"), words) if s.at_us is None else moment(s.at_us, s.plus_minus_us)
        pm = in_words(plus_minus(s.plus_minus_us), words)
        told.append({"at": at, "pm": pm, "taken": taken, "became": in_words(said(f"strike.{s.became}"), words)})
    more = len(rows) - len(told)
    left = in_words(said("strikes.more", count=more), words) if more else ""
    return {"burial": burial or "–", "rows": told, "more": left}
