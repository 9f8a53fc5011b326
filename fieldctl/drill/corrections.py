"""What a correction may say, and which are in force: a later entry amends an earlier one, and can be undone.

    change        about                 value                 effect
    void          strike, call, split   -                     it does not count
    judge         strike                a kind of strike      it is taken for that
    merge         strike                another strike        it is the same strike as the other: does not count
    add-hit       burial                seconds since start   a hit that no pad reported, entered by hand
    place-call    call                  burial                the call was for that burial
    give          burial                searcher              the find is that searcher's
    shift-start   exercise              seconds               the clock began so much later (negative: earlier)
    undo          correction            -                     that correction is not in force

Which ones are in force does not depend on the order in which they arrived: of two that say different things about the
same, the one ordered later counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldctl.events import Corrected, StrikeRecorded

CHANGES: dict[str, str] = {
    "void": "strike, call or split",
    "judge": "strike",
    "merge": "strike",
    "add-hit": "burial",
    "place-call": "call",
    "give": "burial",
    "shift-start": "exercise",
    "undo": "correction",
}
"""Every change with what it is about."""

STRIKE_KINDS = ("probe", "step", "vehicle", "unsure")


def strike_id(strike: StrikeRecorded) -> str:
    """The name of a strike: target, boot and number, which never repeat together."""
    return f"{strike.target}-{strike.boot}-{strike.number}"


def in_force(corrections: Iterable[Corrected], boots: Mapping[str, int]) -> list[Corrected]:
    """The corrections that count, in the order in which they were made; an undone one does not count.

    An undone undo counts for nothing, so what it undid is in force again. `boots` numbers the host boots that the
    exercise went through, since moments of two boots have no order of their own.
    """
    rows = list(corrections)
    undoes: dict[str, list[str]] = {}
    for row in rows:
        if row.change == "undo":
            undoes.setdefault(row.about, []).append(row.correction)

    def undone(correction: str, seen: frozenset[str]) -> bool:
        return any(undo not in seen and not undone(undo, seen | {undo}) for undo in undoes.get(correction, ()))

    rows.sort(key=lambda c: (boots.get(c.at.boot, len(boots)), c.at.us, c.correction))
    return [row for row in rows if row.change != "undo" and not undone(row.correction, frozenset({row.correction}))]


def fault_of(change: str, value: str | int | float | None) -> str | None:
    """What is wrong with a correction's form, in words; None when it can be used."""
    if change not in CHANGES:
        return f"there is no change {change!r}; there are {', '.join(CHANGES)}"
    if change == "judge" and value not in STRIKE_KINDS:
        return f"a strike is taken for one of {', '.join(STRIKE_KINDS)}, not {value!r}"
    if change in ("add-hit", "shift-start") and not isinstance(value, int | float):
        return f"{change} needs a number of seconds, not {value!r}"
    if change in ("merge", "place-call", "give") and not isinstance(value, str):
        return f"{change} needs a name, not {value!r}"
    return None
