"""A debrief as JSON with its schema number, and as CSV: one row a moment. Seconds; sentences in one language.

The contract of the JSON is `debrief.schema.json` beside this module; keys are only ever added.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib import resources
from typing import Any

from fieldctl.debrief.model import (
    SCHEMA,
    Alive,
    Away,
    BurialDebrief,
    Debrief,
    Mark,
    ProbeLine,
    StrikeRow,
    Usual,
)
from fieldctl.debrief.words import ENGLISH, Words, in_words
from fieldctl.tables import csv_line
from fieldctl.units import US_PER_MS, US_PER_S

Row = dict[str, Any]
COLUMNS = (
    "exercise",
    "drill",
    "burial",
    "what",
    "at_s",
    "plus_minus_s",
    "until_s",
    "from",
    "taken_for",
    "became",
    "who",
    "note",
    "source",
)


def schema() -> Row:
    """The JSON schema that `as_json` keeps to."""
    text = resources.files("fieldctl.debrief").joinpath("debrief.schema.json").read_text(encoding="utf-8")
    found: Row = json.loads(text)
    return found


def as_json(d: Debrief, words: Words = ENGLISH) -> Row:
    """A debrief as plain values."""
    return {
        "what": "fieldctl debrief",
        "schema": SCHEMA,
        "exercise": d.exercise,
        "drill": d.drill,
        "title": d.title,
        "started": d.started,
        "state": d.state,
        "limit_s": _s(d.limit_us),
        "length_s": _s(d.length_us),
        "start_plus_minus_s": _s(d.start_plus_minus_us),
        "shift_s": _s(d.shift_us),
        "searchers": list(d.searchers),
        "by": d.by,
        "longest": in_words(d.longest, words),
        "repeat": d.repeat,
        "order": [list(group) for group in d.order],
        "burials": [_burial(b, words) for b in d.burials],
        "moments": [_mark(m) for m in d.marks],
        "strikes": [_strike(s) for s in d.strikes],
        "gaps": [_gap(g, words) for g in d.gaps],
        "corrections": [
            {
                "correction": c.correction,
                "change": c.change,
                "about": c.about,
                "value": c.value,
                "by": c.by,
                "why": c.why,
                "at_s": _s(c.at_us),
                "wall": c.wall,
                "in_force": c.in_force,
                "usable": c.usable,
                "replaced": c.replaced,
                "text": in_words(c.text, words),
            }
            for c in d.corrections
        ],
        "then": [in_words(t, words) for t in d.then],
        "to_judge": [{"source": j.source, "burial": j.burial, "at_s": _s(j.at_us), "why": j.why} for j in d.to_judge],
        "anomalies": [in_words(a, words) for a in d.anomalies],
        "missing": [in_words(m, words) for m in d.missing],
        "map": {
            "outline_m": [list(p) for p in d.outline_m],
            "entry_m": None if d.entry_m is None else list(d.entry_m),
            "last_seen_m": None if d.seen_m is None else list(d.seen_m),
        },
        "probe_line": None if d.probe_line is None else _line(d.probe_line, words),
        "survival": None
        if d.survival is None
        else {
            "study": d.survival.study,
            "cite": d.survival.cite,
            "burials": d.survival.burials,
            "digging_s": d.survival.digging_s,
            "texts": [in_words(t, words) for t in d.survival.texts],
        },
    }


def _s(us: int | None) -> float | None:
    return None if us is None else us / US_PER_S


def _burial(b: BurialDebrief, words: Words) -> Row:
    return {
        "burial": b.burial,
        "target": b.target,
        "name": b.target_name,
        "sends": b.sends,
        "find_by": b.find_by,
        "sent": [{"from_s": _s(first), "until_s": _s(last)} for first, last in b.sent],
        "moments": [_mark(m) for m in b.marks],
        "found": None if b.found is None else _mark(b.found),
        "find_kind": b.find_kind,
        "searcher": b.searcher,
        "in_time": b.in_time,
        "gross_s": _s(b.gross_us),
        "net_s": _s(b.net_us),
        "search_s": _s(b.search_us),
        "stretches": [
            {
                "what": in_words(s.what, words),
                "kind": s.kind,
                "from_s": _s(s.from_us),
                "to_s": _s(s.to_us),
                "net_s": _s(s.net_us),
                "plus_minus_s": _s(s.plus_minus_us),
            }
            for s in b.stretches
        ],
        "touches": [
            {
                "kind": t.kind,
                "touched_s": _s(t.touched_us),
                "called_s": _s(t.called_us),
                "gap_s": _s(t.gap_us),
                "void": t.void,
                "text": in_words(t.text, words),
            }
            for t in b.touches
        ],
        "where": None
        if b.where is None
        else {
            "x_m": b.where.x_m,
            "y_m": b.where.y_m,
            "depth_m": b.where.depth_m,
            "azimuth_deg": b.where.azimuth_deg,
            "tilt_deg": b.where.tilt_deg,
        },
        "before": _usual(b.before, words),
        "usual": _usual(b.usual, words),
        "alive": _alive(b.alive, words),
    }


def _mark(m: Mark) -> Row:
    return {
        "name": m.name,
        "at_s": _s(m.at_us),
        "plus_minus_s": _s(m.plus_minus_us),
        "from": m.by,
        "who": m.who,
        "counts": m.counts,
        "source": m.source,
    }


def _strike(s: StrikeRow) -> Row:
    return {
        "source": s.source,
        "burial": s.burial,
        "target": s.target,
        "at_s": _s(s.at_us),
        "plus_minus_s": _s(s.plus_minus_us),
        "taken_for": s.taken_for,
        "rule": s.rule,
        "judged": s.judged,
        "became": s.became,
        "late": s.late,
    }


def _gap(g: Away, words: Words) -> Row:
    return {
        "kind": g.kind,
        "burial": g.burial,
        "from_s": _s(g.from_us),
        "until_s": _s(g.until_us),
        "measured": g.measured,
        "text": in_words(g.text, words),
    }


def _usual(u: Usual | None, words: Words) -> Row | None:
    if u is None:
        return None
    times = {"median_s": _s(u.median_us), "low_s": _s(u.low_us), "high_s": _s(u.high_us)}
    return {"count": u.count, **times, "text": in_words(u.text, words)}


def _alive(a: Alive | None, words: Words) -> Row | None:
    if a is None:
        return None
    shares = {"alive": a.alive, "low": a.low, "high": a.high}
    return {"minutes": a.minutes, "counted_to": a.counted, **shares, "text": in_words(a.text, words)}


def _line(p: ProbeLine, words: Words) -> Row:
    return {
        "area_m2": p.area_m2,
        "m2_per_min": p.m2_per_min,
        "measured": p.measured,
        "pad_m": p.pad_m,
        "text": in_words(p.text, words),
        "grids": [
            {
                "across_m": g.across_m,
                "along_m": g.along_m,
                "pad": round(g.pad, 3),
                "body": round(g.body, 3),
                "published": g.published,
                "source": g.source,
            }
            for g in p.grids
        ],
    }


def as_csv(d: Debrief, words: Words = ENGLISH) -> Iterator[str]:
    """One row a moment, strike, gap and correction, with a heading; for a spreadsheet, so no cell begins a formula."""
    yield csv_line(COLUMNS)
    head = (d.exercise, d.drill)
    for burial, marks in [("", d.marks), *((b.burial, b.marks) for b in d.burials)]:
        for m in marks:
            if m.by in ("thumb", "target") or m.source not in {s.source for s in d.strikes}:
                became = "counts" if m.counts else "void"
                yield csv_line(
                    (*head, burial, m.name, _cell(m.at_us), _cell(m.plus_minus_us), "", m.by, "", became, m.who, "",
                     m.source)
                )  # fmt: skip
    for b in d.burials:
        for first, last in b.sent:
            yield csv_line((*head, b.burial, "sent", _cell(first), "", _cell(last), "target", "", "", "", "", ""))
    for s in d.strikes:
        taken = s.judged or s.taken_for
        yield csv_line(
            (*head, s.burial or "", "strike", _cell(s.at_us), _cell(s.plus_minus_us), "", "pad", taken, s.became, "",
             s.rule, s.source)
        )  # fmt: skip
    for g in d.gaps:
        text = in_words(g.text, words)
        yield csv_line(
            (*head, g.burial or "", f"gap: {g.kind}", _cell(g.from_us), "", _cell(g.until_us), "", "", "", "", text, "")
        )
    for c in d.corrections:
        became = "in force" if c.in_force else "replaced" if c.replaced else "not in force"
        text = in_words(c.text, words)
        yield csv_line(
            (*head, "", f"correction: {c.change}", _cell(c.at_us), "", "", "hand", "", became, c.by, text, c.correction)
        )
    for then in d.then:
        yield csv_line((*head, "", "said before", "", "", "", "", "", "", "", in_words(then, words), ""))


def _cell(us: int | None) -> str:
    return "" if us is None else f"{us / US_PER_S:.3f}" if us % US_PER_MS == 0 else f"{us / US_PER_S:.6f}"
