"""Sentences about the base's own supply and the club's kit, and their rows for other programs."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import Any, get_args

from fieldctl.site.model import KIT_KINDS
from fieldctl.tables import Schema, list_of, object_of
from fieldctl.upkeep.account import ASKED_DAYS, ORDER, Finding, Sure
from fieldctl.upkeep.curves import CHEMISTRIES
from fieldctl.upkeep.kit import KitRow
from fieldctl.upkeep.kit_charge import CHANGE_AT, Basis
from fieldctl.upkeep.words import ENGLISH, Words, chemistry_words, day_of, percent, plain, say

HALF = ("change-now", "change-soon")


def kind_words(row: KitRow, words: Words = ENGLISH) -> str:
    """What kind of thing it is."""
    return say(f"kit.kind.{row.kind}", words)


def state_words(row: KitRow, words: Words = ENGLISH) -> str:
    """How it stands, in a word or two."""
    return say(f"kit.state.{row.state}", words)


def advice_words(row: KitRow, words: Words = ENGLISH) -> str:
    """What to do with it; for worn transceivers also where the half comes from."""
    own = None if row.battery is None else row.battery.change_at
    limit = CHANGE_AT[row.kind].share if own is None else own
    said = say(f"kit.advice.{row.advice}", words, limit=percent(limit), item=shlex.quote(row.name))
    if row.kind == "transceiver" and row.advice in HALF and own is None:
        said += " " + say("kit.half", words)
    return said


def left_words(row: KitRow, words: Words = ENGLISH) -> str:
    """The charge left: an interval by volts, one figure where it shows it itself, "-" where nothing is claimed."""
    if row.low is not None and row.high is not None:
        return say("percent", words, low=percent(row.low), high=percent(row.high))
    return "-" if row.share is None else say("kit.display", words, share=percent(row.share))


def basis_words(row: KitRow, words: Words = ENGLISH) -> str:
    """What the charge rests on, and when it was read; what of it can be had in the cold that was measured with it."""
    kind = "" if row.battery is None else chemistry_words(row.battery.chemistry, words)
    said = [say(f"kit.basis.{row.basis}", words, chemistry=kind, day=day_of(row.read_on))]
    if row.had_low is not None and row.had_high is not None and row.celsius is not None:
        had = {"low": percent(row.had_low), "high": percent(row.had_high)}
        said.append(say("kit.had", words, celsius=plain("celsius", row.celsius, words), **had))
    return "; ".join(said)


def seen_words(row: KitRow, words: Words = ENGLISH) -> str:
    """Who had it in hand last, and when; "-" where nobody said."""
    return "-" if row.seen_on is None else say("kit.seen", words, who=row.seen_by, day=day_of(row.seen_on))


def finding_words(finding: Finding, row: KitRow, words: Words = ENGLISH) -> tuple[str, str]:
    """What was found and what to do, as two sentences."""
    values = {name: plain(name, value, words) for name, value in finding.values.items()}
    values |= {"day": day_of(finding.since), "item": shlex.quote(row.name), "who": row.lent_to, "told": int(ASKED_DAYS)}
    return (
        say(f"finding.{finding.key}", words, **values),
        say(f"remedy.{finding.remedy or finding.key}", words, **values),
    )


def summary_words(rows: Sequence[KitRow], words: Words = ENGLISH) -> str:
    """How many of each state, as one sentence."""
    states = [row.state for row in rows]
    return say("kit.summary", words, **{state: states.count(state) for state in ORDER})


def kit_rows(rows: Sequence[KitRow]) -> list[dict[str, Any]]:
    """Every item as JSON-able values."""
    return [_as_row(row) for row in rows]


def _as_row(row: KitRow) -> dict[str, Any]:
    battery = row.battery
    return {
        "name": row.name,
        "kind": row.kind,
        "note": row.note,
        "state": row.state,
        "to_do": advice_words(row),
        "chemistry": None if battery is None else battery.chemistry,
        "cells": None if battery is None else battery.cells,
        "capacity_ah": None if battery is None else battery.capacity_ah,
        "share": _round(row.share, 3),
        "share_low": _round(row.low, 3),
        "share_high": _round(row.high, 3),
        "had_low": _round(row.had_low, 3),
        "had_high": _round(row.had_high, 3),
        "basis": row.basis,
        "basis_words": basis_words(row),
        "volts": _round(row.volts, 3),
        "celsius": _round(row.celsius, 1),
        "read_on": _day(row.read_on),
        "seen_on": _day(row.seen_on),
        "seen_by": row.seen_by,
        "lent_to": row.lent_to,
        "notes": row.notes,
        "wants_cells": row.wants_cells,
        "findings": [
            {"key": f.key, "sure": f.sure, "since": _day(f.since), "says": says, "remedy": remedy}
            for f in row.findings
            for says, remedy in [finding_words(f, row)]
        ],
    }


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)


def _day(number: float | None) -> str | None:
    return None if number is None else day_of(number)


_TEXT = {"type": "string"}
_DAY = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_NUMBER = {"type": ["number", "null"]}
_SHARE = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
KIT_SCHEMA: Schema = list_of(
    object_of(
        name=_TEXT, kind={"enum": ["base", *KIT_KINDS]}, note=_TEXT, state={"enum": list(ORDER)}, to_do=_TEXT,
        chemistry={"enum": [*CHEMISTRIES, None]}, cells={"type": ["integer", "null"]}, capacity_ah=_NUMBER,
        share=_SHARE, share_low=_SHARE, share_high=_SHARE, had_low=_SHARE, had_high=_SHARE,
        basis={"enum": list(get_args(Basis))}, basis_words=_TEXT, volts=_NUMBER, celsius=_NUMBER,
        read_on=_DAY, seen_on=_DAY, seen_by=_TEXT, lent_to=_TEXT, notes=_TEXT, wants_cells={"type": "boolean"},
        findings=list_of(
            object_of(key=_TEXT, sure={"enum": list(get_args(Sure))}, since=_DAY, says=_TEXT, remedy=_TEXT)
        ),
    )
)  # fmt: skip
"""What stands under "kit" in `fieldctl upkeep --json`."""
