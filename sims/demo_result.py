"""What a demo came to: what the controller says, put beside the truth of the mountain's process, and what failed of it.

Nothing here runs before the controller is gone: the product never sees the truth.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from fieldctl.events import Fact, StrikeRecorded

SCHEMA = 1
TARGETS = 12

Row = dict[str, Any]


def result(shown: Row, status: Row, kinds: Mapping[str, str]) -> Row:
    """The exercise and all off as the controller shows them; `kinds` are the kinds of link by target."""
    burials = []
    for b in shown["burials"]:
        find = b["find"] or {}
        burials.append(
            {
                "burial": b["burial"],
                "target": b["target"],
                "link": kinds[b["target"]],
                "sent_from_s": b["sent"][0]["from_s"] if b["sent"] else None,
                "found_at_s": find.get("at_s"),
                "plus_minus_ms": find.get("plus_minus_ms"),
                "searcher": find.get("searcher"),
            }
        )
    off = status["all_off"]
    return {
        "schema": SCHEMA,
        "exercise": {"id": shown["exercise"], "drill": shown["drill"], "state": shown["state"], "burials": burials},
        "all_off": {
            "confirmed": off["confirmed"],
            "unconfirmed": [u["target"] for u in off["unconfirmed"]],
            "took_s": off["took_s"],
        },
    }


def compare(facts: Sequence[Fact], truth: Row, kinds: Mapping[str, str]) -> Row:
    """Strikes lost, stamps outside their ±, and how far past a grant anything sent; `truth` by target."""
    made = {(t, boot, number): us for t, said in truth.items() for boot, number, us in said["made"]}
    recorded = {(f.target, f.boot, f.number): f for f in facts if isinstance(f, StrikeRecorded)}
    outside = 0
    widths: dict[str, list[float]] = {"serial": [], "mqtt": []}
    for key, fact in recorded.items():
        widths[kinds[fact.target]].append(fact.at.plus_minus_us / 1000)
        if key not in made or abs(made[key] - fact.at.at.us) > fact.at.plus_minus_us:
            outside += 1
    return {
        "strikes": {
            "made": len(made),
            "recorded": len(recorded),
            "lost": len(made.keys() - recorded.keys()),
            "taken_for": dict(Counter(f.taken_for for f in recorded.values())),
        },
        "stamps": {
            "outside": outside,
            "plus_minus_ms": {
                kind: {"p50": _median(found), "max": max(found, default=None)} for kind, found in widths.items()
            },
        },
        "past_grant_us_max": max((said["past_grant_us"] for said in truth.values() if said["sent"]), default=0),
    }


def _median(values: list[float]) -> float | None:
    rows = sorted(values)
    return rows[len(rows) // 2] if rows else None


def what_failed(row: Row) -> list[str]:
    """Everything that the demo promises and that did not hold, in words."""
    exercise, strikes, off = row["exercise"], row["strikes"], row["all_off"]
    table = (
        (exercise["state"] == "complete", f"the exercise is {exercise['state']}"),
        (all(b["found_at_s"] is not None for b in exercise["burials"]), "a burial was not found"),
        ({b["link"] for b in exercise["burials"]} == {"serial", "mqtt"}, "not both kinds of link were in use"),
        (strikes["lost"] == 0 and strikes["made"] == strikes["recorded"], f"strikes were lost: {strikes}"),
        (row["stamps"]["outside"] == 0, f"{row['stamps']['outside']} stamps lie outside their ±"),
        (not off["unconfirmed"] and len(off["confirmed"]) == TARGETS, f"all off: {off['unconfirmed']} did not confirm"),
        (row["past_grant_us_max"] <= 0, f"something sent {row['past_grant_us_max']} µs past its grant"),
    )
    return [line for holds, line in table if not holds]


def as_lines(row: Row) -> list[str]:
    """The result for people."""
    exercise, strikes, stamps, off = row["exercise"], row["strikes"], row["stamps"], row["all_off"]
    lines = [f"Exercise {exercise['id']} ({exercise['drill']}): {exercise['state']}"]
    for b in exercise["burials"]:
        sent = "never sent" if b["sent_from_s"] is None else f"sent from {round(b['sent_from_s'], 3) + 0:.3f} s"
        found = "not found"
        if b["found_at_s"] is not None:
            found = (
                f"found at {b['found_at_s']:.3f} s ±{b['plus_minus_ms']:.1f} ms by {b['searcher'] or 'nobody named'}"
            )
        lines.append(f"  {b['burial']} on {b['target']} ({b['link']}): {sent}, {found}")
    kinds = ", ".join(f"{n} {kind}" for kind, n in strikes["taken_for"].items()) or "none"
    lines.append(
        f"Strikes: {strikes['made']} made, {strikes['recorded']} recorded, {strikes['lost']} lost; taken for: {kinds}"
    )
    for kind, found in stamps["plus_minus_ms"].items():
        if found["max"] is not None:
            lines.append(
                f"Stamps on {kind}: half of them within ±{found['p50']:.1f} ms, all within ±{found['max']:.1f}"
            )
    lines.append(f"Stamps with the truth outside their ±: {stamps['outside']}")
    took = "" if off["took_s"] is None else f" within {off['took_s']:g} s"
    lines.append(f"All off: {len(off['confirmed'])} confirmed{took}, {len(off['unconfirmed'])} did not")
    return lines
