"""fieldctl target: the buried units."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.history import history
from fieldctl.cli.trace import trace
from fieldctl.cli.tune import tune

target = typer.Typer(
    help="Add, name, find and take out targets.",
    no_args_is_help=True,
)
target.command(epilog="Example:  fieldctl target tune")(tune)
target.command(epilog="Example:  fieldctl target trace 'Lone larch' --picture strike.svg")(trace)
target.command(epilog="Example:  fieldctl target history 'Lone larch'")(history)
Who = Annotated[str, typer.Argument(metavar="TARGET", help="A target's id or name.")]
LinkName = Annotated[str, typer.Argument(help="The name of the link in site.toml.")]
Reason = Annotated[str, typer.Option("--reason", help="Why, in a few words.")]


@target.command("list", epilog="Example:  fieldctl target list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every target: state, signal as it says, ± of its clock, battery."""
    ask(site, "target-list", json, lambda row: rows(row["targets"]))


@target.command(epilog="Example:  fieldctl target search bus")
def search(link: LinkName, site: SiteDir = HERE, json: AsJson = False) -> None:
    """Who is new on a bus? Several may answer at once; takes some seconds."""
    ask(site, "target-search", json, _found, link=link)


@target.command(
    epilog="Example:  fieldctl target add bus 696e76640000000d --name 'Larch 13'   (and type the secret of its label)"
)
def add(
    link: LinkName,
    hardware: Annotated[str, typer.Argument(help="The hardware id on its label.")],
    secret_file: Annotated[
        Path | None, typer.Option(help="A file with the factory secret on its label; asked for otherwise.")
    ] = None,
    name: Annotated[str, typer.Option(help="A name for people.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Give a new target keys of this site; press its button first."""
    secret = _secret(secret_file)
    ask(site, "target-add", json, _one, link=link, hardware=hardware, secret=secret, name=name, by=who(by))


@target.command(epilog="Example:  fieldctl target name 5ee00003 'Lone larch'")
def name(
    who_: Who,
    new: Annotated[str, typer.Argument(help="The name for people, such as the label on its stake.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Give a target a name for people."""
    ask(site, "target-name", json, _one, target=who_, name=new, by=who(by))


@target.command(epilog="Example:  fieldctl target find 'Lone larch'")
def find(
    who_: Who,
    send: Annotated[bool, typer.Option(help="Let it send so that a receiver finds it (closed field only).")] = False,
    end: Annotated[bool, typer.Option(help="End such a signal.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Where a target lies and how to find it: coordinates, the way from the nearest stakes, its depth today."""
    if end:
        ask(site, "target-locate-end", json, _one, target=who_)
    else:
        ask(site, "target-locate", json, _where, target=who_, send=send)


@target.command(epilog="Example:  fieldctl target moved 'Lone larch' --day 2026-01-24 --notes 'out of the cornice'")
def moved(
    who_: Who,
    day: Annotated[str, typer.Option(help="The day on which it was done; today otherwise.")] = "",
    notes: Annotated[str, typer.Option(help="Where to, and why, in a few words.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A target was put elsewhere without a survey: its place is not trusted until a newer survey."""
    ask(site, "target-moved", json, _moved, target=who_, day=day, notes=notes, by=who(by))


@target.command(epilog="Example:  fieldctl target rotate 'Lone larch'")
def rotate(who_: Who, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Give a target new keys."""
    ask(site, "target-rotate", json, _one, target=who_, by=who(by))


@target.command("take-out", epilog="Example:  fieldctl target take-out 'Lone larch' --reason 'its mast leans'")
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


@target.command(epilog="Example:  fieldctl target bar 'Lone larch' --reason 'heard though it says quiet'")
def bar(who_: Who, reason: Reason = "", site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Bar a target from use until it is dug out."""
    ask(site, "target-bar", json, _one, target=who_, reason=reason, by=who(by))


@target.command(epilog="Example:  fieldctl target clear 'Lone larch' --reason 'dug out, silent on the bench'")
def clear(who_: Who, reason: Reason = "", site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """A barred target was dug out and seen to be quiet."""
    ask(site, "target-clear", json, _one, target=who_, reason=reason, by=who(by))


def _secret(file: Path | None) -> str:
    """A label's secret from a file, a pipe or typed unseen: arguments are seen by every account of the machine."""
    if file is not None:
        return file.read_text(encoding="ascii", errors="replace").strip()
    if sys.stdin.isatty():
        return str(typer.prompt("Factory secret on its label", hide_input=True, err=True)).strip()
    return sys.stdin.readline().strip()


def rows(targets: list[dict[str, Any]]) -> None:
    """Targets as a table."""
    show.table(
        ("target", "name", "state", "since", "heard", "signal", "±ms", "volts", "°C", "place"),
        [
            (
                t["target"],
                t["name"],
                " + ".join(one["state"] for one in t["states"]),
                t["states"][0]["since"],
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


def _where(row: dict[str, Any]) -> None:
    from fieldctl.site.whereabouts import in_words

    print(f"{row['name']} ({row['target']})")
    show.lines([row["place"]] if row["where"] is None else in_words(row["where"]))
    if row["sending"]:
        print(f"It is let send for {row['ends_in_s']} s at most, and ends with: fieldctl target find … --end")


def _moved(row: dict[str, Any]) -> None:
    print(f"{row['name']}: {row['place']}")
    show.say("Survey it where it lies now: fieldctl site resurvey, or a file in the folder surveys.")


def _one(row: dict[str, Any]) -> None:
    show.lines(f"{key}: {value}" for key, value in row.items() if value not in ("", None))
