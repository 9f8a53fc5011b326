"""fieldctl upkeep reading: what somebody read or saw of the base's own supply and of the club's kit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import BadInput, NotFound

SUPPLIES = Path("/sys/class/power_supply")  # where Linux tells of this machine's batteries

SAID = {
    "read": "its charge is written into the log",
    "fine": "fine, written into the log",
    "broken": "broken, written into the log",
    "lent": "out on loan, written into the log",
    "missing": "missing, written into the log",
}


def reading(
    item: Annotated[str, typer.Argument(help="The base, or a piece of kit, as site.toml names it.")],
    volts: Annotated[
        float | None, typer.Option(help="Volts of the whole battery at rest: no charger, no load for an hour.")
    ] = None,
    celsius: Annotated[float | None, typer.Option(help="How cold the battery is, beside its volts.")] = None,
    percent: Annotated[float | None, typer.Option(help="The charge that it shows itself.")] = None,
    this_machine: Annotated[
        bool, typer.Option("--this-machine", help="The percent that this machine says of its own battery (Linux).")
    ] = False,
    fine: Annotated[bool, typer.Option("--fine", help="Looked at, and fine.")] = False,
    broken: Annotated[str, typer.Option(help="What is broken, in a few words.")] = "",
    lent: Annotated[str, typer.Option(help="Who has it on loan from now on.")] = "",
    missing: Annotated[bool, typer.Option("--missing", help="It was not there at the count.")] = False,
    day: Annotated[str, typer.Option(help="The day on which it was read; today otherwise.")] = "",
    notes: Annotated[str, typer.Option(help="Anything to keep, in a few words.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Say what you read or saw of the base's own supply, or of a transceiver, probe or shovel of the club."""
    if this_machine:
        if percent is not None:
            raise BadInput("The percent is said twice.", remedy="Leave --percent or --this-machine out.")
        percent, notes = machine_percent(SUPPLIES), f"as read from this machine. {notes}".strip()
    ask(
        site, "kit-read", json, _people, item=item, volts=volts, celsius=celsius, percent=percent, fine=fine,
        broken=broken, lent_to=lent, missing=missing, day=day, notes=notes, by=who(by),
    )  # fmt: skip


def _people(row: dict[str, Any]) -> None:
    print(f"{row['item']}: {SAID[row['found']]} for {row['day']}.")


def machine_percent(supplies: Path) -> float:
    """The charge of this machine's own battery in percent, the lowest where it has several; NotFound without one."""
    found = []
    for supply in sorted(supplies.glob("*")):
        if _word(supply / "type") == "Battery" and _word(supply / "scope") != "Device":  # that is a mouse's, say
            said = _word(supply / "capacity")
            found += [float(said)] if said.isdecimal() else []
    if not found:
        raise NotFound("This machine tells of no battery.", remedy="Read it by hand: --volts or --percent.")
    return min(found)


def _word(file: Path) -> str:
    try:
        return file.read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        return ""
