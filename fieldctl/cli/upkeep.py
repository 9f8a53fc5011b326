"""fieldctl upkeep: which batteries to change first, from the log alone; works beside a running serve, and without."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.carry import carry, visit
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.kit import reading
from fieldctl.cli.outside import ledger_path
from fieldctl.cli.retrieval import retrieval, self_test
from fieldctl.errors import BadInput

if TYPE_CHECKING:
    from fieldctl.upkeep.account import Upkeep

upkeep = typer.Typer(
    help="What to change, mend and carry up: batteries first.",
    invoke_without_command=True,
    no_args_is_help=False,
)


@upkeep.callback(epilog="Example:  fieldctl upkeep --site larch-hollow")
def account(
    context: typer.Context,
    site: SiteDir = HERE,
    json: AsJson = False,
    csv: Annotated[bool, typer.Option("--csv", help="One row for each battery and item, as CSV on stdout.")] = False,
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema of what --json prints.")] = False,
    on: Annotated[str | None, typer.Option(help="As of that day, such as 2026-01-24; today otherwise.")] = None,
) -> None:
    """Which batteries to change first, until when the others last, and what is wrong with any."""
    if context.invoked_subcommand is not None:
        if site != HERE or json or csv or schema or on is not None:
            raise BadInput("Options stand before the command.", remedy="Write them after it, such as: upkeep swapped …")
        return
    if schema:
        from fieldctl.upkeep.as_json import SCHEMA

        show.text([_pretty(SCHEMA)])
        return
    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    found, title = read(site, on)
    if csv:
        from fieldctl.upkeep.as_json import csv_lines

        show.text(csv_lines(found))
    elif json:
        from fieldctl import __version__
        from fieldctl.upkeep.as_json import as_row

        show.as_json({"site": title, "version": __version__, **as_row(found)})
    else:
        _for_people(found)


@upkeep.command(epilog="Example:  fieldctl upkeep swapped 'Larch 3' --day 2026-01-24")
def swapped(
    target: Annotated[str, typer.Argument(help="The target's id or name.")],
    day: Annotated[str, typer.Option(help="The day on which it was done; today otherwise.")] = "",
    notes: Annotated[str, typer.Option(help="Anything to keep, in a few words.")] = "",
    elsewhere: Annotated[
        bool, typer.Option("--elsewhere", help="It was put elsewhere: its place is not trusted until a newer survey.")
    ] = False,
    undo: Annotated[bool, typer.Option("--undo", help="None were put in that day: take it back.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Say that fresh cells were put into a target; what its readings then show is held against it."""
    if undo:
        if notes or elsewhere:
            raise BadInput(
                "What is taken back needs no note and no place.", remedy="Leave --notes and --elsewhere out."
            )
        ask(site, "battery-swap-undo", json, _not_swapped, target=target, day=day, by=who(by))
        return
    given = {"target": target, "day": day, "notes": notes, "elsewhere": elsewhere}
    ask(site, "battery-swapped", json, _swapped, **given, by=who(by))


upkeep.command(epilog="Example:  fieldctl upkeep reading base --volts 12.4 --celsius -5")(reading)
upkeep.command(epilog="Example:  fieldctl upkeep carry --html carry.html")(carry)
upkeep.add_typer(visit, name="visit")
upkeep.add_typer(self_test, name="self-test")
upkeep.add_typer(retrieval, name="retrieval")


def read(site: Path, on: str | None = None) -> tuple[Upkeep, str]:
    """The account of a site's batteries as of a day, and the site's title."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.upkeep.read import read_upkeep

    found = load_site(site)
    with Reader.read(ledger_path(site)) as reader:
        return read_upkeep(reader, found, _day(on)), found.title


def _day(on: str | None) -> datetime.date:
    if on is None:
        return datetime.datetime.now(datetime.UTC).date()
    try:
        return datetime.date.fromisoformat(on)
    except ValueError:
        raise BadInput(f"{on!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as --on 2026-01-24.") from None


def _pretty(value: Any) -> str:
    import json

    return json.dumps(value, ensure_ascii=False, indent=2) + "\n"


def _swapped(row: dict[str, Any]) -> None:
    print(f"{row['name']}: fresh cells on {row['day']}, written into the log.")


def _not_swapped(row: dict[str, Any]) -> None:
    print(f"{row['name']}: no fresh cells on {row['day']}, taken back in the log.")


def _for_people(found: Upkeep) -> None:
    from fieldctl.upkeep import words

    if not found.rows:
        print(words.say("nothing"))
        _kit_for_people(found)
        return
    print(words.summary_words(found))
    if found.closing is not None and found.closing < found.today:
        print(words.say("closing-past", day=found.closing.isoformat()))
    heads = ("target", "place", "battery", "left", "last", "do")
    rows = [
        (
            row.place.name,
            row.place.zone,
            "-" if row.battery is None else words.chemistry_words(row.battery.chemistry),
            words.left_words(row),
            words.band_words(row),
            words.say(f"state.{row.state}"),
        )
        for row in found.rows
    ]
    show.table([words.say(f"head.{head}") for head in heads], rows)
    for row in found.rows:
        if row.state in ("holds", "later") and not row.findings:
            continue
        print(f"\n{row.place.name}: {words.advice_words(row, found)}")
        if row.estimate is not None:
            print(f"  {words.last_words(row)} {words.left_words(row)}, {words.basis_words(row)}.")
        for finding in row.findings:
            says, remedy = words.finding_words(finding, row)
            print(f"  {says} ({words.say(f'sure.{finding.sure}')}) To do: {remedy}")
    _kit_for_people(found)
    if found.unplaced:
        show.say(words.say("unplaced", n=found.unplaced))


def _kit_for_people(found: Upkeep) -> None:
    from fieldctl.upkeep import kit_words
    from fieldctl.upkeep.words import say

    if not found.kit:
        return
    print(f"\n{kit_words.summary_words(found.kit)}")
    rows = [
        (
            row.name,
            kit_words.kind_words(row),
            kit_words.left_words(row),
            kit_words.seen_words(row),
            kit_words.state_words(row),
        )
        for row in found.kit
    ]
    show.table([say(f"head.{head}") for head in ("kit", "kind", "left", "seen", "do")], rows)
    for row in found.kit:
        if row.state in ("holds", "later") and not row.findings and not row.notes:
            continue
        print(f"\n{row.name}: {kit_words.advice_words(row)}")
        if row.read_on is not None:
            left = kit_words.left_words(row)
            print(f"  {'' if left == '-' else f'{left}, '}{kit_words.basis_words(row)}.")
        if row.notes:
            print(f"  {row.notes}")
        for finding in row.findings:
            says, remedy = kit_words.finding_words(finding, row)
            print(f"  {says} ({say(f'sure.{finding.sure}')}) To do: {remedy}")
