"""fieldctl walk-in: release an exercise that nobody leads, see what goes on, start and stop it."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import BadInput

walk_in = typer.Typer(help="Exercises that nobody leads, released for hours and zones.", no_args_is_help=True)

Zone = Annotated[str, typer.Argument(help="The zone.")]


@walk_in.command(
    epilog="Example:  fieldctl walk-in release one-burial --zone upper --until 16:00 --by Ansel",
)
def release(
    drill: Annotated[str, typer.Argument(help="A drill on file whose finds are hits.")],
    zone: Annotated[list[str], typer.Option(help="A zone; may be given several times.")],
    begins: Annotated[str, typer.Option("--from", help="From when on, today, such as 13:00; now otherwise.")] = "",
    until: Annotated[str, typer.Option(help="Until when, today, such as 16:00.")] = "",
    minutes: Annotated[float | None, typer.Option("--for", help="Or for how many minutes from now.")] = None,
    pause: Annotated[float, typer.Option(help="Seconds between two parties.")] = 60.0,
    limit: Annotated[float, typer.Option(help="Minutes that a party may last at most.")] = 20.0,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Let anybody start a drill in these zones until then; one party a zone, and it ends by itself."""
    ask(
        site,
        "walkin-release",
        json,
        _released,
        drill=drill,
        zones=tuple(zone),
        by=who(by),
        begins=_today(begins),
        ends=_today(until),
        ends_in_min=minutes,
        pause_s=pause,
        limit_min=limit,
    )


@walk_in.command(epilog="Example:  fieldctl walk-in end w1 --by Ansel")
def end(
    name: Annotated[str, typer.Argument(help="A release, such as w1; all of them when none is named.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """End a release, and the parties that it let start."""
    ask(
        site,
        "walkin-end",
        json,
        lambda row: show.lines([f"ended: {', '.join(row['ended']) or 'none was released'}"]),
        by=who(by),
        release=name,
    )


@walk_in.command(epilog="Example:  fieldctl walk-in status")
def status(site: SiteDir = HERE, json: AsJson = False) -> None:
    """What is released, and what goes on."""
    ask(site, "walkin-status", json, _status)


@walk_in.command(epilog="Example:  fieldctl walk-in start upper")
def start(zone: Zone, site: SiteDir = HERE, json: AsJson = False) -> None:
    """Start a party; while one goes on, or in the pause after it, nothing is started."""
    ask(site, "walkin-start", json, _started, zone=zone)


@walk_in.command(epilog="Example:  fieldctl walk-in stop upper")
def stop(zone: Zone, site: SiteDir = HERE, json: AsJson = False) -> None:
    """Stop the party of a zone; no other exercise is stopped by this."""
    ask(
        site,
        "walkin-stop",
        json,
        lambda row: show.lines(["stopped" if row["stopped"] else "no party was out: nothing to stop"]),
        zone=zone,
    )


def _today(text: str) -> str:
    """A time of today with this machine's offset, as the controller wants it; empty for none."""
    if not text:
        return ""
    try:
        at = datetime.time.fromisoformat(text)
    except ValueError:
        raise BadInput(
            f"{text!r} is no time of today.", expected="such as 16:00", remedy="Write it like this."
        ) from None
    return datetime.datetime.combine(datetime.datetime.now().date(), at).astimezone().isoformat()


def _released(row: dict[str, Any]) -> None:
    zones = ", ".join(row["zones"])
    show.lines([f"{row['release']}: {row['title']} in {zones}, for {row['ends_in_s'] / 60:.0f} min"])
    for zone, lines in row["in_the_way_now"].items():
        show.lines([f"in the way now in {zone}: {line}" for line in lines])


def _status(row: dict[str, Any]) -> None:
    for one in row["released"]:
        zones = ", ".join(one["zones"])
        show.lines([f"{one['release']}: {one['title']} in {zones}, {one['ends_in_s'] / 60:.0f} min left"])
    found = [None if zone["of"] is None else f"{zone['found']} of {zone['of']}" for zone in row["zones"]]
    rows = [(z["zone"], z["state"], z["exercise"], f) for z, f in zip(row["zones"], found, strict=True)]
    show.table(("zone", "state", "exercise", "found"), rows)


def _started(row: dict[str, Any]) -> None:
    words = {
        "started": "started",
        "goes-on": "a party is out already: nothing was started",
        "pause": f"a pause after the last party, {row['wait_s']} s left: nothing was started",
    }
    show.lines([words[row["did"]]])
