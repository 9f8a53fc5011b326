"""Who may see what of a debrief: the crew all of it, a group by code no full names, children and walk-ins no survival.

for_audience(debrief, audience) -> Debrief

crew      everything
group     people by the first word of their name; who entered and corrected, why, and what was said before is
          left out
public    as group, and never a survival figure: children's and walk-in pages
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal, cast, get_args

from fieldctl.debrief.model import BurialDebrief, CorrectionRow, Debrief, Mark, Touch
from fieldctl.debrief.words import Said, said
from fieldctl.errors import BadInput

Audience = Literal["crew", "group", "public"]
AUDIENCES = get_args(Audience)


def as_audience(name: str) -> Audience:
    """The audience of a name; BadInput for one that there is not."""
    for known in AUDIENCES:
        if name == known:
            return cast(Audience, known)
    raise BadInput(f"There is no audience {name!r}.", expected=", ".join(AUDIENCES), remedy="Name one of these.")


def for_audience(d: Debrief, audience: Audience) -> Debrief:
    """What that audience may see; BadInput for an audience that there is not."""
    as_audience(audience)
    if audience == "crew":
        return d
    shown = replace(
        d,
        by="",
        searchers=tuple(first_word(name) for name in d.searchers),
        burials=tuple(_shortened(b) for b in d.burials),
        corrections=tuple(_unsigned(c) for c in d.corrections),
        then=(),
    )
    return shown if audience == "group" else without_survival(shown)


def without_survival(d: Debrief) -> Debrief:
    """The same debrief without any figure of survival."""
    return replace(d, survival=None, burials=tuple(replace(b, alive=None) for b in d.burials))


def without_places(d: Debrief) -> Debrief:
    """The same debrief without a word of where anything lies or how deep, nor a target's name, which may say it."""
    return replace(
        d,
        burials=tuple(replace(b, where=None, target_name="", usual=None) for b in d.burials),
        outline_m=(),
        entry_m=None,
        seen_m=None,
        anomalies=tuple(a for a in d.anomalies if "target" not in dict(a.values)),
    )


def first_word(name: str) -> str:
    """Of a name, or of several joined by +, the first word: enough for a group that knows each other."""
    return " + ".join(one.split()[0] if one.split() else "" for one in name.split(" + "))


def _shortened(b: BurialDebrief) -> BurialDebrief:
    return replace(
        b,
        searcher=first_word(b.searcher),
        marks=tuple(_mark(m) for m in b.marks),
        touches=tuple(_unreasoned(t) for t in b.touches),
        found=None if b.found is None else _mark(b.found),
    )


def _mark(m: Mark) -> Mark:
    return replace(m, who=first_word(m.who))


def _unsigned(c: CorrectionRow) -> CorrectionRow:
    """Without who made it and why, as a reason may name somebody; what it gives, to the first word of that name."""
    gives = c.change == "give"
    return replace(c, by="", why="", value="" if gives else c.value, text=_without(c.text, gives))


def _unreasoned(t: Touch) -> Touch:
    return replace(t, text=_without(t.text, gives=False))


_PLAIN: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "correction": ("correction-plain", ("by", "why")),
    "touch.void": ("touch.void-plain", ("why",)),
    "touch.voided": ("touch.voided-plain", ("why",)),
}
"""Sentences with their form without what a person wrote, and what that form leaves out."""


def _without(text: Said, gives: bool) -> Said:
    plain, left_out = _PLAIN.get(text.key, (text.key, ()))
    values = {n: _without(v, gives) if isinstance(v, Said) else v for n, v in text.values if n not in left_out}
    if gives and text.key == "change.give":
        values["value"] = first_word(str(values["value"]))
    return said(plain, **values)
