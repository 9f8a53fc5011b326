"""fieldctl rights, fieldctl phone: who may what, and whose phones act for whom."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import BadInput

rights = typer.Typer(help="Who may watch, instruct, look after targets, or is in charge.", no_args_is_help=True)
phone = typer.Typer(help="Phones that are paired: codes for new ones, an end for lost ones.", no_args_is_help=True)

Person = Annotated[str, typer.Argument(help="A name or nickname.")]
Right = Annotated[str, typer.Argument(help="watch, instruct, upkeep or in-charge.")]
WHICH = ("watch", "instruct", "upkeep", "in-charge")


@rights.command("list", epilog="Example:  fieldctl rights list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Everybody who has a right, a phone or a password."""
    ask(site, "right-list", json, lambda row: _people(row["people"]))


@rights.command(epilog="Example:  fieldctl rights give Tove instruct --until 2031-04-30")
def give(
    person: Person,
    right: Right,
    until: Annotated[
        str, typer.Option(help="today (14 hours), good (for good), a day, or a moment as RFC 3339.")
    ] = "today",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Give somebody a right, for today unless said otherwise."""
    ask(
        site, "right-give", json, lambda row: _people([row]),
        person=person, right=_right(right), until=_end(until), by=who(by),
    )  # fmt: skip


@rights.command(epilog="Example:  fieldctl rights take Tove instruct")
def take(person: Person, right: Right, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Take a right from somebody."""
    ask(site, "right-take", json, lambda row: _people([row]), person=person, right=_right(right), by=who(by))


@rights.command("code", epilog="Example:  fieldctl rights code")
def code_(site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """A one-time code for when nobody in charge can sign in any more: opens the page /first, good for ten minutes."""
    ask(site, "first-code", json, _code, by=who(by))


@phone.command("list", epilog="Example:  fieldctl phone list")
def phones(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every paired phone."""
    ask(site, "right-list", json, lambda row: _phones(row["people"]))


@phone.command("code", epilog="Example:  fieldctl phone code Tove")
def phone_code(person: Person, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """A code that pairs one phone for somebody who holds a right: opens the page /pair, once, within ten minutes."""
    ask(site, "phone-code", json, _code, person=person, by=who(by))


@phone.command(epilog="Example:  fieldctl phone end 0011223344556677")
def end(
    phone_: Annotated[str, typer.Argument(metavar="PHONE", help="Its id, as the list shows it.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Let one phone act for nobody any more."""
    ask(site, "phone-end", json, lambda row: _phones([row]), phone=phone_, by=who(by))


@phone.command("end-all", epilog="Example:  fieldctl phone end-all Tove")
def end_all(person: Person, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Lost or stolen: end every phone, every open code and the password of somebody; the rights stay."""
    ask(site, "phone-end-all", json, _ended, person=person, by=who(by))


def _right(text: str) -> str:
    if text not in WHICH:
        raise BadInput(f"There is no right {text!r}.", expected=", ".join(WHICH), remedy="Name one of these.")
    return text


def _end(text: str) -> str:
    """A day is meant to its end, as this machine's clock has it; all else goes on as it is."""
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        return text
    midnight = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time())
    return midnight.astimezone().isoformat()


def _people(people: list[dict[str, Any]]) -> None:
    rows = []
    for person in people:
        held = "; ".join(f"{row['right']} {_until(row)}" for row in person["rights"]) or "-"
        rows.append((person["name"], held, len(person["phones"]), person["password"]))
    show.table(("name", "rights", "phones", "password"), rows)


def _until(row: dict[str, Any]) -> str:
    if row["for_good"]:
        return "for good"
    if row["holds"] is None:
        return f"until {row['until']} (nobody knows the time: gives nothing)"
    if not row["holds"]:
        return "(over)"
    return f"until {row['until']}" if row["until"] else f"for {row['left_s'] / 3600:.1f} h"


def _phones(people: list[dict[str, Any]]) -> None:
    rows = [(p["phone"], person["name"], p["label"] or "-", p["seen"]) for person in people for p in person["phones"]]
    show.table(("phone", "name", "kind", "seen"), rows)


def _code(row: dict[str, Any]) -> None:
    where = row["path"].partition("/")[2].partition("/")[0]
    show.lines([row["code"], f"Good once, for {row['ends_s'] // 60} minutes, at the field's page /{where}"])


def _ended(row: dict[str, Any]) -> None:
    show.lines([f"ended: {row['ended']} phones, open codes, the password"])
    _people([row])
