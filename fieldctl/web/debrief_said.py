"""What the controller had said in an exercise, in the reader's language inside a debrief or an assessment's sheet.

A debrief's own sentences have texts of their own; these few hold a sentence of the controller as it stands in the log.
What a person wrote, such as the reason of a correction, stays as it was written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

from fieldctl.debrief.assessment import Standing
from fieldctl.debrief.model import Judge
from fieldctl.debrief.words import Said

HELD: Mapping[str, str] = {
    "gap.technical": "why",
    "gap.technical-open": "why",
    "gap.technical-unmeasured": "why",
    "note": "text",
    "odd.target": "detail",
}
"""Sentences of a debrief with the placeholder in which the controller speaks."""


def in_language(said: Callable[[str], str], part: Any) -> Any:
    """A debrief, or any part of one, with the controller's sentences said; what holds none stays the same object."""
    match part:
        case Said(key=key) if key in HELD:
            return Said(key, tuple((name, said(v) if name == HELD[key] else v) for name, v in part.values))  # type: ignore[arg-type]
        case Judge():
            return replace(part, why=said(part.why))
        case tuple():
            return tuple(in_language(said, one) for one in part)
    if not is_dataclass(part) or isinstance(part, type | Said):
        return part
    new = {field.name: in_language(said, getattr(part, field.name)) for field in fields(part)}
    changed = {name: value for name, value in new.items() if value != getattr(part, name)}
    return replace(part, **changed) if changed else part


def sheet_in_language(said: Callable[[str], str], it: Standing) -> Standing:
    """An assessment's sheet as it is shown; its digest stays that of the sheet which was decided and signed."""
    technical = [{**row, "says": said(row["says"])} for row in it.sheet["technical"]]
    to_judge = [{**row, "why": said(row["why"])} for row in it.sheet["to_judge"]]
    return replace(it, sheet={**it.sheet, "technical": technical, "to_judge": to_judge})
