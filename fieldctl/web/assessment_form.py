"""What whoever assesses can press under a sheet: what was seen, the verdict, the signatures, as plain values.

Made in another process from the log as it is now; the words are those of the sheet. What may not be decided or signed
is refused by the verbs: the form only leaves out what they would refuse anyhow.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldctl.debrief.assessment import (
    FAILED,
    ITEMS,
    NOT_OVER,
    ROLES,
    VALUES,
    VERDICTS,
    Sheet,
    Standing,
)
from fieldctl.debrief.assessment_page import item_name, say
from fieldctl.debrief.season_words import Names, name_of

Form = dict[str, Any]


def form_of(it: Standing, now: Sheet, names: Names, words: Mapping[str, str]) -> Form:
    """The form of one sheet; `now` is the sheet as it would be decided now."""
    seen = {tick["item"]: tick for tick in now["ticks"]}
    because = "; ".join(say(f"because.{key}", words) for key in now["because"])
    proposed = say(f"proposal.{now['proposal']}", words)
    return {
        "exercise": now["exercise"],
        "candidate": now["candidate"],
        "name": name_of(now["candidate"], names),
        "digest": it.digest,  # of the sheet that is shown: what is signed is what was seen
        "open": not it.final and not it.altered,
        "over": now["proposal"] != NOT_OVER,
        "items": [_item(item, seen.get(item), names, words) for item in ITEMS],
        "values": [(value, say(f"value.{value}", words)) for value in VALUES],
        "says": f"{proposed} ({because})",
        "verdicts": [
            (verdict, say(f"verdict.{verdict}", words))
            for verdict in VERDICTS
            if verdict != FAILED or not now["technical"]
        ],
        "never_failed": bool(now["technical"]),
        "decided": None if it.decided is None else it.decided.verdict,
        "changed": it.decided is not None and bool(it.now),
        "roles": [_role(role, it, names, words) for role in ROLES],
        "signers": sorted(row.by for row in it.signed.values()),
    }


def _item(item: str, tick: Mapping[str, Any] | None, names: Names, words: Mapping[str, str]) -> dict[str, Any]:
    value = None if tick is None else tick["value"]
    return {
        "item": item,
        "says": item_name(item, words),
        "value": value,
        "by": "" if tick is None else name_of(tick["by"], names),
    }


def _role(role: str, it: Standing, names: Names, words: Mapping[str, str]) -> dict[str, Any]:
    row = it.signed.get(role)
    said = say("not-signed", words) if row is None else say("signed", words, by=name_of(row.by, names))
    return {"role": role, "says": say(f"role.{role}", words), "signed": row is not None, "said": said}
