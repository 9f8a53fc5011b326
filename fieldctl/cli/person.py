"""fieldctl person: names beside the log; certificates of attendance."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.season import Since, Until
from fieldctl.errors import BadInput

person = typer.Typer(
    help="People by name: who there is, rename, forget for good; certificates of attendance.",
    no_args_is_help=True,
)
Name = Annotated[str, typer.Argument(help="Somebody's name or id.")]


@person.command("list", epilog="Example:  fieldctl person list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Everybody who has a name here, when each was named last, and when the name goes."""
    ask(site, "person-list", json, _listed)


@person.command(epilog="Example:  fieldctl person rename Tove 'Tove K'")
def rename(
    name: Name,
    new: Annotated[str, typer.Argument(help="The new name; a nickname will do.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Give somebody another name; the log keeps the id."""
    ask(
        site,
        "person-rename",
        json,
        lambda row: print(f"{row['person']}: {row['name']}"),
        person=name,
        name=new,
        by=who(by),
    )


@person.command(epilog="Example:  fieldctl person forget Tove --yes")
def forget(
    name: Name,
    yes: Annotated[bool, typer.Option("--yes", help="It cannot be undone; say that you mean it.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Take somebody's name away for good, here and from every later backup; the log keeps the id."""
    if not yes:
        raise BadInput(
            f"The name of {name!r} would be gone for good; reasons and notes that people wrote may hold it still.",
            expected="--yes, where you mean it",
            remedy="Look at those as well: they cannot be changed. Then say it again with --yes.",
        )
    ask(site, "person-forget", json, _forgotten, person=name, by=who(by))


@person.command(epilog="Example:  fieldctl person certificate Tove --html tove.html")
def certificate(
    name: Annotated[list[str] | None, typer.Argument(help="Whose; everybody who searched otherwise.")] = None,
    html: Annotated[Path, typer.Option(help="The file to write.")] = Path("certificate.html"),
    site: SiteDir = HERE,
    json: AsJson = False,
    since: Since = None,
    until: Until = None,
) -> None:
    """Certificates of attendance, one page each, to print and sign."""
    from fieldctl.cli.season import find_person, read_season, write
    from fieldctl.debrief.certificate import certificate as made
    from fieldctl.debrief.texts import texts_of

    book, names, about = read_season(site, since, until)
    people = [find_person(book, names, each) for each in name] if name else list(book.people)
    if not people:
        raise BadInput("Nobody searched in this season.", remedy="Name other days, or look at: fieldctl season.")
    path = write(html, made(people, names, about, texts_of("season", about.language)))
    row = {"written": str(path), "people": [one.person for one in people]}
    if json:
        show.as_json(row)
    else:
        print(f"written: {path}, {len(people)} of them")


def _listed(row: dict[str, Any]) -> None:
    show.table(
        ("id", "name", "last named", "the name goes"),
        [(p["person"], p["name"], p["last_named"], p["goes_on"]) for p in row["people"]],
    )
    days = row["keep_names_days"]
    print("Names are kept until somebody asks." if days is None else f"Names are kept for {days} days.")
    if row["forgotten"]:
        print(f"forgotten: {', '.join(row['forgotten'])}")
    _left(row)


def _forgotten(row: dict[str, Any]) -> None:
    print(f"forgotten: {row['person']}")
    _left(row)


def _left(row: dict[str, Any]) -> None:
    if row["log_left"]:
        show.say(
            "A name may still stand in the log's file, since somebody read it; it is tried again until it is gone."
        )
