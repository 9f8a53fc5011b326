"""What the figures show, in words: the alternative for who cannot see them. Needs nothing heavy."""

from __future__ import annotations

from itertools import pairwise
from math import hypot

from fieldctl.debrief.gaps import worth_telling
from fieldctl.debrief.model import BurialDebrief, Debrief
from fieldctl.debrief.stretches import key_marks
from fieldctl.debrief.words import Said, Words, clock, in_words, length, moment, name_of_split, plus_minus, said


def timeline_in_words(d: Debrief, words: Words) -> str:
    """The time line as sentences: each burial's moments with their ±, its signal, what took longest, the gaps."""
    rows = [said("alt.timeline", title=d.title, length=length(d.length_us or 0))]
    for b in d.burials:
        parts: list[Said] = [
            said(
                "alt.moment-hand" if m.by == "hand" else "alt.moment",
                name=name_of_split(m.name),
                at=moment(m.at_us, m.plus_minus_us),
                pm=plus_minus(m.plus_minus_us),
            )
            for m in key_marks(b.marks)
        ]
        for first, last in b.sent:
            key = "alt.sent-open" if last is None else "alt.sent"
            parts.append(said(key, first=clock(first), last="" if last is None else clock(last)))
        if b.found is None:
            parts.append(said("alt.not-found"))
        rows.append(said("alt.burial", burial=b.burial, moments="; ".join(in_words(p, words) for p in parts)))
        rows += [t.text for t in b.touches if t.kind != "noticed"]
    rows += [d.longest, *(g.text for g in worth_telling(d.gaps))]
    rows += [b.alive.text for b in d.burials if b.alive is not None]
    return " ".join(in_words(row, words) for row in rows)


def map_in_words(d: Debrief, words: Words) -> str:
    """The map as sentences: the outline, where each burial lay and how deep, the order with its distances."""
    rows = [said("alt.map", title=d.title)]
    if d.outline_m:
        xs, ys = [p[0] for p in d.outline_m], [p[1] for p in d.outline_m]
        corners = {"x0": min(xs), "x1": max(xs), "y0": min(ys), "y1": max(ys)}
        rows.append(said("alt.outline", **{name: f"{v:.0f}" for name, v in corners.items()}))
    rows += [_place(b) for b in d.burials if b.where is not None]
    if legs := legs_of(d):
        told = "; ".join(
            in_words(said("alt.leg", first=first, last=last, distance=f"{metres:.0f}"), words)
            for first, last, metres in legs
        )
        rows.append(said("alt.legs", legs=told))
    return " ".join(in_words(row, words) for row in rows)


def _place(b: BurialDebrief) -> Said:
    assert b.where is not None
    w = b.where
    coil = said("alt.coil-unknown")
    if w.tilt_deg is not None and w.azimuth_deg is not None:
        coil = said("places.upright")
        if w.tilt_deg > 0:
            coil = said("places.lying", tilt=f"{w.tilt_deg:.0f}", azimuth=f"{w.azimuth_deg:.0f}")
    found = said("alt.not-found") if b.found is None else said("alt.found", at=clock(b.found.at_us))
    return said(
        "alt.place",
        burial=b.burial,
        x=f"{w.x_m:.0f}",
        y=f"{w.y_m:.0f}",
        depth=f"{w.depth_m:.1f}",
        coil=coil,
        found=found,
    )


def legs_of(d: Debrief) -> list[tuple[str, str, float]]:
    """From find to find with the distance in metres, where the order is decided and both places are known."""
    rows = []
    for first, last in pairwise(d.order):
        if len(first) != 1 or len(last) != 1:
            continue
        a, b = d.burial(first[0]).where, d.burial(last[0]).where
        if a is not None and b is not None:
            rows.append((first[0], last[0], hypot(b.x_m - a.x_m, b.y_m - a.y_m)))
    return rows
