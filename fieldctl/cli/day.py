"""fieldctl day, fieldctl manual: opening and closing the field, hand-buried units."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who

day = typer.Typer(
    help="Open and close the field.",
    no_args_is_help=True,
)
manual = typer.Typer(help="Count hand-buried units out and in.", no_args_is_help=True)

Unit = Annotated[str, typer.Argument(help="The label of the hand-buried unit.")]
Exceptions = Annotated[list[str] | None, typer.Option("--exception", help="Key of a problem that is signed for.")]
Targets = Annotated[list[str] | None, typer.Option(help="A target's id; may be given several times.")]


@day.command(epilog="Example:  fieldctl day check")
def check(site: SiteDir = HERE, json: AsJson = False, touched: Targets = None) -> None:
    """What is in the way of opening, or of closing an open field; changes nothing."""
    ask(site, "day-check", json, _problems, touched=tuple(touched or ()))


@day.command(epilog="Example:  fieldctl day touch --for 30")
def touch(
    minutes: Annotated[float, typer.Option("--for", help="For how many minutes.")] = 30.0,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Let every pad listen for a while, so that its plate can be proved by touch before the field opens."""
    ask(site, "day-touch", json, _listening, by=who(by), minutes=minutes)


@day.command(
    "open",
    epilog="Example:  fieldctl day open --by Ansel --hazard 'low, with the patrol' --snow 1.9 --sweep 'nothing heard'",
)
def open_(
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
    hazard: Annotated[str, typer.Option(help="The hazard decision of today.")] = "",
    snow: Annotated[float | None, typer.Option(help="Snow depth at the field's stake, metres.")] = None,
    touched: Targets = None,
    sweep: Annotated[
        str, typer.Option(help="What the sweep for stray signals heard; no names, as it stays in the log.")
    ] = "",
    exception: Exceptions = None,
    notes: Annotated[str, typer.Option(help="Anything else worth keeping.")] = "",
) -> None:
    """Open the field; refused with everything that is still in the way."""
    ask(
        site,
        "day-open",
        json,
        lambda row: show.lines([f"open, {row['in_charge']} in charge; fresh targets: {row['fresh_left']}"]),
        by=who(by),
        hazard=hazard,
        snow_m=snow,
        touched=tuple(touched or ()),
        stray_sweep=sweep,
        exceptions=tuple(exception or ()),
        notes=notes,
    )


@day.command(
    epilog="Example:  fieldctl day close --by Ansel --signed Ansel --own-units-back --walk 'both zones, nothing'"
)
def close(
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
    signed: Annotated[str, typer.Option(help="The signature of the person in charge.")] = "",
    own_units_back: Annotated[bool, typer.Option(help="Everybody's own unit is back to send.")] = False,
    walk: Annotated[
        str, typer.Option(help="The listening walk: where, what was heard; no names, as it stays in the log.")
    ] = "",
    heard: Targets = None,
    exception: Exceptions = None,
) -> None:
    """Close the field; what was heard sending on the walk is barred by name."""
    ask(
        site,
        "day-close",
        json,
        lambda row: show.lines(["closed", *(f"exception: {e}" for e in row["exceptions"])]),
        by=who(by),
        signed=signed,
        own_units_back=own_units_back,
        listening_walk=walk,
        heard_sending=tuple(heard or ()),
        exceptions=tuple(exception or ()),
    )


@day.command(epilog="Example:  fieldctl day renewed tilled --zone upper")
def renewed(
    how: Annotated[str, typer.Argument(help="tilled, snowed over …")],
    zone: Annotated[str | None, typer.Option(help="One zone; the whole field otherwise.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """The surface was renewed: its targets are fresh again."""
    ask(site, "day-renewed", json, _fresh, by=who(by), how=how, zone=zone)


@manual.command("out", epilog="Example:  fieldctl manual out hand-3 upper 'below the lone larch'")
def out(
    unit: Unit,
    zone: Annotated[str, typer.Argument(help="The zone that it is buried in.")],
    place: Annotated[str, typer.Argument(help="Where, in words.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A unit was buried by hand: it cannot be switched off from here."""
    ask(site, "manual-out", json, _out, unit=unit, zone=zone, place=place, by=who(by))


@manual.command("in", epilog="Example:  fieldctl manual in hand-3 --seen-off")
def in_(
    unit: Unit,
    seen_off: Annotated[bool, typer.Option(help="Somebody saw that it is off.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A hand-buried unit came back."""
    ask(site, "manual-in", json, _out, unit=unit, seen_off=seen_off, by=who(by))


def _problems(row: dict[str, Any]) -> None:
    print("The field is open." if row["open"] else "The field is closed.")
    if row["touched"]:
        print(f"Plates proved by touch: {', '.join(row['touched'])}.")
    for p in row["problems"]:
        print(f"- {p['wrong']} {p['remedy']} [{p['key']}{', may be signed for' if p['may_sign'] else ''}]")
    for p in row["warnings"]:
        print(f"- to know: {p['wrong']} {p['remedy']}")


def _listening(row: dict[str, Any]) -> None:
    show.lines(["every pad is asked to listen: touch each plate, then look with fieldctl day check"])
    show.lines([f"touched so far: {', '.join(row['touched']) or 'none'}"])


def _fresh(row: dict[str, Any]) -> None:
    show.table(("zone", "fresh"), list(row["fresh_left"].items()))


def _out(row: dict[str, Any]) -> None:
    show.lines([f"out: {', '.join(row['out']) or 'none'}"])
    if row.get("not_seen_off"):
        show.lines([f"came back, not seen off: {', '.join(row['not_seen_off'])}"])
