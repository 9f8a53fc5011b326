"""fieldctl target tune: what the stored strikes say about a pad's threshold; changes it only where told to."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput

if TYPE_CHECKING:
    from fieldctl.strikes.tune import Proposal

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
    told = (to is not None) + proposed + own
    if told > 1 or (told and not only):
        raise BadInput(
            "It is not clear what to change.",
            expected="one target, and one of --set, --proposed and --own",
            remedy="Such as: fieldctl target tune 'Larch 3' --proposed.",
        )
    found, names, tuned = _read(site, only)
    if told:
        from fieldctl.strikes.tune import OWN

        target = next(iter(found), only)
        if proposed and target not in found:
            raise BadInput(f"{only} has told of no strike yet.", remedy="Name a threshold with --set, or wait.")
        threshold = found[target].threshold if proposed else round((to or 0.0) * 10)
        if proposed and threshold == OWN:
            raise BadInput(
                f"Nothing is proposed for {only}: {found[target].why}.", remedy="Leave it, or name one with --set."
            )
        ask(site, "target-tune", json, _tuned, target=target, threshold=threshold, reason=reason, by=who(by))
        return
    rows = [
        {"target": target, "name": names.get(target, ""), "in_force": tuned.get(target, 0), **asdict(proposal)}
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


def _read(site: Path, only: str) -> tuple[dict[str, Proposal], dict[str, str], dict[str, int]]:
    """Proposals for the targets that are asked for, names of all, and thresholds that people set."""
    from fieldctl.events import StrikeRecorded, TargetAdded, TargetNamed, TargetTakenOut, TargetTuned
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.strikes.tune import propose

    names: dict[str, str] = {place.target: place.name for place in load_site(site).places}
    tuned: dict[str, int] = {}
    strikes: dict[str, list[tuple[str, tuple[int, ...]]]] = {}
    with Reader.read(ledger_path(site)) as reader:
        for fact in reader.facts(kinds=(TargetAdded, TargetNamed, TargetTuned, TargetTakenOut)):
            match fact:
                case TargetAdded() | TargetNamed() if fact.name:
                    names[fact.target] = fact.name
                case TargetTuned():
                    tuned[fact.target] = fact.threshold
                case TargetTakenOut():
                    tuned.pop(fact.target, None)
        for fact in reader.facts(kinds=(StrikeRecorded,)):
            if isinstance(fact, StrikeRecorded) and only.lower() in (
                "",
                fact.target,
                names.get(fact.target, "").lower(),
            ):
                strikes.setdefault(fact.target, []).append((fact.taken_for, fact.features))
    return {target: propose(strikes[target]) for target in sorted(strikes)}, names, tuned


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
