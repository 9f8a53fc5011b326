"""fieldctl target tune: what the stored strikes say about a pad's threshold. Reads the log and changes nothing."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path

Only = Annotated[str, typer.Argument(help="A target's id; all of them otherwise.")]


def tune(only: Only = "", site: SiteDir = HERE, json: AsJson = False) -> None:
    """A threshold for each pad from its stored strikes, and what it would have done to them. Changes nothing."""
    from fieldctl.events import StrikeRecorded
    from fieldctl.ledger.reader import Reader
    from fieldctl.strikes.tune import propose

    strikes: dict[str, list[tuple[str, tuple[int, ...]]]] = {}
    with Reader.read(ledger_path(site)) as reader:
        for fact in reader.facts(kinds=(StrikeRecorded,)):
            if isinstance(fact, StrikeRecorded) and only in ("", fact.target):
                strikes.setdefault(fact.target, []).append((fact.taken_for, fact.features))
    rows = [{"target": target, **asdict(propose(strikes[target]))} for target in sorted(strikes)]
    if json:
        show.as_json({"targets": rows})
        return
    show.table(
        ("target", "threshold", "would not have begun", "why"),
        [
            (r["target"], f"{e['threshold'] / 10:g} × the noise", _words(e), _why(r, e))
            for r in rows
            for e in r["effects"]
        ],
    )
    show.say("Nothing was changed. A threshold is the target's own until an order to arm names another.")


def _words(effect: dict[str, Any]) -> str:
    """By kind: how many of how many."""
    return ", ".join(
        f"{effect['not_begun'][kind]} of {count} {kind}" for kind, count in sorted(effect["stored"].items())
    )


def _why(row: dict[str, Any], effect: dict[str, Any]) -> str:
    return f"proposed: {row['why']}" if effect["threshold"] == row["threshold"] else ""
