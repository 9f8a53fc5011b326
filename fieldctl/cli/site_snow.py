"""fieldctl site snow: how deep the snow is, one reading or a file of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who

if TYPE_CHECKING:
    from fieldctl.site.snow import Reading

snow = typer.Typer(help="How deep the snow is: the depth of every target follows from it.", no_args_is_help=True)

PART = 250  # readings that are sent at once; the controller takes a few more


@snow.command(epilog="Example:  fieldctl site snow measured 1.85 --zone upper")
def measured(
    metres: Annotated[float, typer.Argument(help="How deep the snow is, in metres.")],
    zone: Annotated[str | None, typer.Option(help="One zone; the whole site otherwise.")] = None,
    day: Annotated[str, typer.Option(help="The day on which it was measured; today otherwise.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Write a reading into the log; another one of the same day and zone takes its place."""
    ask(site, "snow-measured", json, _kept, snow_m=metres, zone=zone, day=day, by=who(by))


@snow.command("import", epilog="Example:  fieldctl site snow import winter.csv   (date,snow_m or date,snow_m,zone)")
def import_(
    file: Annotated[Path, typer.Argument(help="CSV with a header: date, snow_m, and zone where it is of one zone.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Take readings from a file into the log; what is there already counts once."""
    from fieldctl.cli.site_place import today
    from fieldctl.controller import socket
    from fieldctl.site.files import load_site, read_text
    from fieldctl.site.snow_rows import as_csv, read_readings

    zones = [each.name for each in load_site(site).zones]
    readings = read_readings(read_text(file, file.name), file.name, zones, today())
    row: dict[str, Any] = {"file": file.name, "readings": 0, "new": 0, "in_place_of": 0, "again": 0}
    for part in _parts(readings):
        answer = socket.ask(site, "snow-import", {"csv": as_csv(part), "file": file.name, "by": who(by)})
        for key in ("readings", "new", "in_place_of", "again"):
            row[key] += answer[key]
    if json:
        show.as_json(row)
    else:
        print(
            f"{row['file']}: {row['readings']} readings, {row['new']} new, {row['in_place_of']} in place of others, "
            f"{row['again']} known already."
        )


@snow.command("list", epilog="Example:  fieldctl site snow list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """The latest readings, newest first; those of the opening of a day stand among them."""
    ask(site, "snow-list", json, _listed)


def _parts(readings: Sequence[Reading]) -> Iterator[Sequence[Reading]]:
    for begin in range(0, len(readings), PART):
        yield readings[begin : begin + PART]


def _kept(row: dict[str, Any]) -> None:
    where = "the whole site" if row["zone"] is None else row["zone"]
    known = "; the log had it already" if row["again"] else ""
    print(f"{row['day']}, {where}: {row['snow_m']:g} m{known}.")


def _listed(row: dict[str, Any]) -> None:
    show.table(
        ("day", "zone", "m", "from"),
        [(each["day"], each["zone"] or "(all)", each["snow_m"], each["source"] or "stake") for each in row["readings"]],
    )
    if row["left_off"]:
        show.say(f"{row['left_off']} earlier readings are left off.")
    if row["undated"]:
        show.say(f"{row['undated']} openings lie in time nobody can tell: the base had no wall clock then.")
