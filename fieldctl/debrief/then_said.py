"""What earlier versions said of an exercise, where that would now be otherwise, and why: as sentences.

    then_said(rows, names) -> Said of each, none where all say the same

Why a version counted otherwise stands in `because.FORM`, one sentence for each form of summary that changed a result.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldctl.debrief.summary import CHANGED_RESULTS, form_of
from fieldctl.debrief.summary_kept import Then
from fieldctl.debrief.words import ENGLISH, Said, said
from fieldctl.units import PersonId

Names = Mapping[PersonId, str]
Change = tuple[str, str, Any, Any]


def then_said(rows: Iterable[Then], names: Names) -> tuple[Said, ...]:
    """What earlier versions said otherwise, with the reason, and what was entered since; each sentence once."""
    told: list[Said] = []
    for row in rows:
        if row.by_version:
            told.append(said("then.version", version=row.version, changes=_changes(row.by_version, names)))
            form = form_of(row.version)
            told += [said(f"because.{n}") for n in CHANGED_RESULTS if form is not None and n > form] or [
                said("then.unknown")
            ]
        if row.by_entries:
            told.append(said("then.entries", count=len(row.since), changes=_changes(row.by_entries, names)))
            told += [_since(*each, names) for each in row.since]
    return tuple(dict.fromkeys(told))


def _since(what: str, about: str, by: str, why: str, names: Names) -> Said:
    key = f"since.{what}" if f"since.{what}" in ENGLISH else "since.other"
    return said(key, what=what, about=about, who=_name(by, names), why=why)


def _changes(changes: Iterable[Change], names: Names) -> Said:
    first, *others = [_change(*change, names) for change in changes]
    for other in others:
        first = said("then.and", first=first, last=other)
    return first


def _change(burial: str, what: str, then: object, now: object, names: Names) -> Said:
    before, after = _value(then, what, names), _value(now, what, names)
    if not burial:
        return said("then.change-whole", what=said(f"what.{what}"), then=before, now=after)
    return said("then.change", burial=burial, what=said(f"what.{what}"), then=before, now=after)


def _value(value: object, what: str, names: Names) -> str | Said:
    if value is None or value == "":
        return said("then.nothing")
    if isinstance(value, bool):
        return said("then.yes" if value else "then.no")
    if what == "searcher":
        return _name(str(value), names)
    key = f"{'find' if what == 'kind' else what}.{value}"
    return said(key) if key in ENGLISH else str(value)


def _name(who: str, names: Names) -> str:
    return " + ".join(names.get(PersonId(one), one) for one in who.split(" + "))
