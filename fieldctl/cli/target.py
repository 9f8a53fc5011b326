"""fieldctl target: the buried units."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who

target = typer.Typer(
    help="Add, name, find and take out targets.",
    epilog="Example:  fieldctl target search bus   then   fieldctl target add bus HARDWARE SECRET --name 'Larch 9'",
    no_args_is_help=True,
)
Who = Annotated[str, typer.Argument(help="A target's id or name.")]
Reason = Annotated[str, typer.Option("--reason", help="Why, in a few words.")]


@target.command("list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every target: state, signal as it says, ± of its clock, battery."""
    ask(site, "target-list", json, lambda row: rows(row["targets"]))


@target.command()
def search(link: str, site: SiteDir = HERE, json: AsJson = False) -> None:
    """Who is new on a bus? Several may answer at once; takes some seconds."""
    ask(site, "target-search", json, _found, link=link)


@target.command()
def add(
    link: str,
    hardware: Annotated[str, typer.Argument(help="The hardware id on its label.")],
    secret: Annotated[str, typer.Argument(help="The factory secret on its label.")],
    name: Annotated[str, typer.Option(help="A name for people.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Give a new target keys of this site; press its button first."""
    ask(site, "target-add", json, _one, link=link, hardware=hardware, secret=secret, name=name, by=who(by))


@target.command()
def name(who_: Who, new: str, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Give a target a name for people."""
    ask(site, "target-name", json, _one, target=who_, name=new, by=who(by))


@target.command()
def find(
    who_: Who,
    send: Annotated[bool, typer.Option(help="Let it send so that a receiver finds it (closed field only).")] = False,
    end: Annotated[bool, typer.Option(help="End such a signal.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Where a target lies."""
    if end:
        ask(site, "target-locate-end", json, _one, target=who_)
    else:
        ask(site, "target-locate", json, _one, target=who_, send=send)


@target.command()
def rotate(who_: Who, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Give a target new keys."""
    ask(site, "target-rotate", json, _one, target=who_, by=who(by))


@target.command("take-out")
def take_out(
    who_: Who,
    reason: Reason = "",
    lost: Annotated[bool, typer.Option(help="It was lost or stolen: nothing of it is believed any more.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Take a target out of the field."""
    ask(site, "target-take-out", json, _one, target=who_, reason=reason, lost=lost, by=who(by))


@target.command()
def bar(who_: Who, reason: Reason = "", site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Bar a target from use until it is dug out."""
    ask(site, "target-bar", json, _one, target=who_, reason=reason, by=who(by))


@target.command()
def clear(who_: Who, reason: Reason = "", site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """A barred target was dug out and seen to be quiet."""
    ask(site, "target-clear", json, _one, target=who_, reason=reason, by=who(by))


def rows(targets: list[dict[str, Any]]) -> None:
    """Targets as a table."""
    show.table(
        ("target", "name", "state", "heard", "signal", "±ms", "volts", "°C", "place"),
        [
            (
                t["target"],
                t["name"],
                t["life"],
                "-" if t["heard_s_ago"] is None else f"{t['heard_s_ago']:g} s ago",
                t["signal"],
                t["plus_minus_ms"],
                t["volts_load"],
                t["celsius"],
                t["place"],
            )
            for t in targets
        ],
    )
    for t in targets:
        for detail in t["odd"].values():
            print(f"{t['name']}: {detail}")


def _found(row: dict[str, Any]) -> None:
    show.table(("hardware", "button pressed"), [(f["hardware"], f["pressed"]) for f in row["found"]])


def _one(row: dict[str, Any]) -> None:
    show.lines(f"{key}: {value}" for key, value in row.items() if value not in ("", None))
