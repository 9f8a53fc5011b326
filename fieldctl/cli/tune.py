"""fieldctl target tune: what the stored strikes say about a pad's threshold; changes it only where told to."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite
from typing import Annotated, Any

import typer

from fieldctl.cli import show, tune_log
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import BadInput

Only = Annotated[str, typer.Argument(help="A target's id or name; all of them otherwise.")]


def tune(
    only: Only = "",
    to: Annotated[
        float | None, typer.Option("--set", help="Arm its pad with so many times the noise from now on.")
    ] = None,
    proposed: Annotated[bool, typer.Option("--proposed", help="Arm its pad with what is proposed.")] = False,
    own: Annotated[bool, typer.Option("--own", help="Back to the threshold of its own firmware.")] = False,
    reason: Annotated[str, typer.Option(help="Why, in a few words.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A threshold for each pad from its stored strikes, and what it would have done to them. Changes it if told to."""
    from fieldctl.strikes.tune import OWN, propose

    told = (to is not None) + proposed + own
    if told > 1 or (told and not only):
        raise BadInput(
            "It is not clear what to change.",
            expected="one target, and one of --set, --proposed and --own",
            remedy="Such as: fieldctl target tune 'Larch 3' --proposed.",
        )
    wanted = None if to is None else _threshold(to)
    log = tune_log.read(site)
    if only:
        target = log.target(only)
        found = {target: propose(log.strikes.get(target, []))}
    else:
        found = {target: propose(log.strikes[target]) for target in sorted(log.strikes)}
    if told:
        if proposed and found[target].threshold == OWN:
            raise BadInput(
                f"Nothing is proposed for {only}: {found[target].why}.", remedy="Leave it, or name one with --set."
            )
        threshold = found[target].threshold if proposed else wanted or 0
        ask(site, "target-tune", json, _tuned, target=target, threshold=threshold, reason=reason, by=who(by))
        return
    rows = [
        {"target": target, "name": log.names.get(target, ""), "in_force": log.tuned.get(target, 0), **asdict(proposal)}
        for target, proposal in found.items()
    ]
    if json:
        show.as_json({"targets": rows})
        return
    show.table(
        ("target", "name", "in force", "threshold", "would not have begun", "why"),
        [
            (r["target"], r["name"], _times(r["in_force"]), _times(e["threshold"]), _words(e), _why(r, e))
            for r in rows
            for e in r["effects"]
        ],
    )
    show.say("Nothing was changed. To change one: fieldctl target tune TARGET --proposed, or --set TIMES.")


def _threshold(times: float) -> int:
    """In tenths of the noise; BadInput where no pad can have it."""
    from fieldctl.strikes.tune import HIGHEST, OWN

    tenths = round(times * 10) if isfinite(times) else 0
    if not OWN <= tenths <= HIGHEST:
        raise BadInput(
            f"{times:g} × the noise is no threshold for a pad.",
            expected=f"{OWN / 10:g} to {HIGHEST / 10:g} × the noise",
            remedy="Look what its stored strikes allow: fieldctl target tune. Back to its own: --own.",
        )
    return tenths


def _times(threshold: int) -> str:
    return f"{threshold / 10:g} × the noise" if threshold else "its own"


def _words(effect: dict[str, Any]) -> str:
    """By kind: how many of how many."""
    return ", ".join(
        f"{effect['not_begun'][kind]} of {count} {kind}" for kind, count in sorted(effect["stored"].items())
    )


def _why(row: dict[str, Any], effect: dict[str, Any]) -> str:
    return f"proposed: {row['why']}" if effect["threshold"] == row["threshold"] else ""


def _tuned(row: dict[str, Any]) -> None:
    """What was changed, and how to take it back."""
    print(f"{row['target']}: {_times(row['threshold'])} from its next arming on; before: {_times(row['before'])}.")
    back = f"--set {row['before'] / 10:g}" if row["before"] else "--own"
    show.say(f"To take it back: fieldctl target tune {row['target']} {back}")
