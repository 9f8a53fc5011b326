"""fieldctl upkeep carry and visit: what to take up on this visit, and what was done up there."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.site.model import Site
    from fieldctl.upkeep.carry import Carry

visit = typer.Typer(
    help="A visit to the field: begun with the carry list, ticked, signed for; the phone page does the same.",
    no_args_is_help=True,
)
Html = Annotated[Path | None, typer.Option(help="Write it as one HTML file, to print and to sign.")]
Visit = Annotated[str, typer.Option(help="The visit; the latest otherwise.")]
Target = Annotated[str, typer.Argument(help="The target's id or name.")]
What = Annotated[str, typer.Option(help="What was to be done: battery, barred, or a finding's key as show names it.")]


def carry(
    site: SiteDir = HERE,
    json: AsJson = False,
    csv: Annotated[bool, typer.Option("--csv", help="One row for each thing to do, as CSV on stdout.")] = False,
    html: Html = None,
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema of what --json prints.")] = False,
    on: Annotated[str | None, typer.Option(help="As of that day, such as 2026-01-24; today otherwise.")] = None,
) -> None:
    """What to take up on this visit, in walking order, from the log alone; works beside a running serve."""
    if schema:
        from json import dumps

        from fieldctl.upkeep.carry_as_json import SCHEMA

        show.text([dumps(SCHEMA, ensure_ascii=False, indent=2) + "\n"])
        return
    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    found, of, names = read(site, on)
    if html is not None:
        from fieldctl.cli.season import write
        from fieldctl.web.carry_said import said_carry
        from fieldctl.web.carry_sheet import carry_sheet

        write(html, carry_sheet(said_carry(found, of, of.language, names), of.language))
    if csv:
        from fieldctl.upkeep.carry_as_json import csv_lines

        show.text(csv_lines(found))
    elif json:
        from fieldctl import __version__
        from fieldctl.upkeep.carry_as_json import as_row

        show.as_json({"site": of.title, "version": __version__, **as_row(found)})
    elif html is not None:
        print(f"written: {html}")
    else:
        _for_people(found, of, names)


def read(site: Path, on: str | None = None) -> tuple[Carry, Site, Any]:
    """The list of a site as of a day, the site, and what its targets are called."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.upkeep.carry_read import read_carry, read_names

    found = load_site(site)
    with Reader.read(ledger_path(site)) as reader:
        return read_carry(reader, found, _day(on)), found, read_names(reader, found)


def _day(on: str | None) -> datetime.date:
    if on is None:
        return datetime.datetime.now(datetime.UTC).date()
    try:
        return datetime.date.fromisoformat(on)
    except ValueError:
        raise BadInput(f"{on!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as --on 2026-01-24.") from None


def _for_people(found: Carry, of: Site, names: Any) -> None:
    from fieldctl.web.carry_said import said_carry
    from fieldctl.web.words import words

    said, t = said_carry(found, of, "en", names), words("en")
    show.lines([said["head"], said["way"]])
    show.lines(said["box"])
    if said["kit"]:
        print(said["kit"])
    show.lines([f"\n{said['since']['title']}", *(f"  {line}" for line in said["since"]["lines"])])
    show.lines([f"\n{t('carry.pack')}", *(f"  [ ] {line}" for line in said["pack"])])
    if said["desk"]:
        show.lines([f"\n{t('carry.desk')}", *(f"  {r['name']}: {r['says']} {r['remedy']}" for r in said["desk"])])
    for n, stop in enumerate(said["stops"], start=1):
        show.lines([f"\n{n}. {stop['name']}", *(f"   {line}" for line in (*stop["near"], *stop["far"]))])
        for job in stop["jobs"]:
            show.lines([f"   [ ] {job['what']}", *(f"       {text}" for text in job["why"])])
    show.lines([f"\n{t('carry.caution')}"])


# ---- a visit -----------------------------------------------------------------------------------------------------


@visit.command(epilog="Example:  fieldctl upkeep visit begin --by Tove")
def begin(site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Go up with the list as it is now; what is ticked from then on belongs to it."""
    found, _, _ = read(site)
    ask(site, "visit-begin", json, _shown, items=found.items, found=found.found, by=who(by))


@visit.command(epilog="Example:  fieldctl upkeep visit tick 'Larch 3' --not-done --why 'ice as hard as stone'")
def tick(
    target: Target,
    what: What = "battery",
    not_done: Annotated[bool, typer.Option("--not-done", help="It was not done; needs --why.")] = False,
    why: Annotated[str, typer.Option(help="Why it was not done, or a note.")] = "",
    visit: Visit = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Something was done, or was not; it takes the place of whatever was ticked of it before."""
    row, item = _item(site, visit, target, what)
    ask(
        site, "visit-tick", json, _shown, visit=row["visit"], item=item, done=not not_done, why=why, by=who(by)
    )  # fmt: skip


@visit.command(epilog="Example:  fieldctl upkeep visit untick 'Larch 3'")
def untick(
    target: Target,
    what: What = "battery",
    visit: Visit = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Take back what was ticked of something last, and with it the change of battery that it stood for."""
    row, item = _item(site, visit, target, what)
    ticks = [one["tick"] for each in row["items"] if each["item"] == item for one in each["ticks"]]
    if not ticks:
        raise NotFound(f"Nothing was ticked of {item}.", remedy="Look at it: fieldctl upkeep visit show.")
    ask(site, "visit-untick", json, _shown, visit=row["visit"], tick=ticks[-1], by=who(by))


@visit.command(epilog="Example:  fieldctl upkeep visit close --signed Tove --why 'fog from noon on'")
def close(
    signed: Annotated[str, typer.Option(help="Who signs for it.")] = "",
    why: Annotated[str, typer.Option(help="Why the rest was left.")] = "",
    visit: Visit = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Sign for a visit; what two phones disagree about has to be settled first."""
    row = _visit(site, visit)
    ask(site, "visit-close", json, _shown, visit=row["visit"], signed=signed or who(by), why=why, by=who(by))


@visit.command("list", epilog="Example:  fieldctl upkeep visit list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every visit, the latest first."""
    ask(site, "visit-list", json, _visits)


@visit.command("show", epilog="Example:  fieldctl upkeep visit show --visit v3")
def show_(visit: Visit = "", site: SiteDir = HERE, json: AsJson = False) -> None:
    """One visit: what was done, what was not and why, and what does not agree."""
    ask(site, "visit-show", json, _shown, visit=visit)


def _visit(site: Path, visit: str) -> dict[str, Any]:
    from fieldctl.controller import socket

    return socket.ask(site, "visit-show", {"visit": visit})


def _item(site: Path, visit: str, target: str, what: str) -> tuple[dict[str, Any], str]:
    """A visit, and the item of it that is meant."""
    from fieldctl.controller import socket

    row = _visit(site, visit)
    rows = [*row["items"], *socket.ask(site, "target-list", {})["targets"]]
    for one in rows:
        if target.lower() in (one["target"], one["name"].lower()):
            return row, f"{one['target']}:{what}"
    names = ", ".join(dict.fromkeys(one["name"] for one in rows)) or "none"
    raise NotFound(f"There is no target {target!r}.", expected=names, remedy="Name one of these.")


def _visits(row: dict[str, Any]) -> None:
    rows = [
        (one["visit"], one["day"], one["by"], f"{one['done']} of {one['items']}", one["signed"], one["unsettled"])
        for one in row["visits"]
    ]
    show.table(("visit", "day", "by", "done", "signed", "to settle"), rows)


def _shown(row: dict[str, Any]) -> None:
    from fieldctl.web.words import words

    t = words("en")
    if row["open"]:
        print(t("carry.goes_on", visit=row["visit"], day=row["day"] or "-", who=row["by"]))
    else:
        print(t("carry.closed", visit=row["visit"], name=row["signed"]))
    if row["why"]:
        print(t("carry.closed_why", why=row["why"]))
    for item in row["items"]:
        print(f"- {item['name']} ({item['key']}): {t('carry.state_' + item['state'])}")
        for one in item["ticks"]:
            says = t("carry.done") if one["done"] else f"{t('carry.not_done')}: {one['why']}"
            print(f"    {one['by']}, {one['day'] or '-'}: {says}")
            if one["late"]:
                print("    " + t("carry.late"))
            for change in one["meanwhile"]:
                print("    " + t(f"carry.change_{change['what']}", who=change["by"] or "-", day=change["day"]))
