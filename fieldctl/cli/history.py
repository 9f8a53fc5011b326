"""fieldctl target history: what one target measured and what happened to it, from the log alone."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.site.model import Site
    from fieldctl.units import TargetId
    from fieldctl.upkeep.history import History

DAYS_SHOWN = 14  # of the table; --json has all of them
COLUMNS = ("rest", "load", "celsius", "coldest", "noise", "sensitivity", "strikes", "lost", "plus-minus")


def history(
    target: Annotated[str, typer.Argument(help="A target's id or name.")],
    on: Annotated[str | None, typer.Option(help="As of that day, such as 2026-01-24; today otherwise.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """One target's battery, pad and link by days, and what happened to it; beside a running serve or without."""
    from fieldctl.events import TargetNamed
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.upkeep.history import read_history

    found = load_site(site)
    today = _day(on)
    with Reader.read(ledger_path(site)) as reader:
        names = {place.target: place.name for place in found.places}
        for fact in reader.facts(kinds=(TargetNamed,)):
            if isinstance(fact, TargetNamed) and fact.target in names:
                names[fact.target] = fact.name
        told = read_history(reader, found, _target(target, names), today)
    if json:
        _as_json(told, found)
    else:
        _for_people(told)


def _target(said: str, names: dict[TargetId, str]) -> TargetId:
    """The target of that id or name; NotFound with those that there are."""
    for target, name in names.items():
        if said.strip().casefold() in (target, name.casefold()):
            return target
    known = ", ".join(names.values()) or "none: site.toml names no target"
    raise NotFound(f"There is no target {said!r}.", expected=known, remedy="Name one of these, or its id.")


def _day(on: str | None) -> datetime.date:
    if on is None:
        return datetime.datetime.now(datetime.UTC).date()
    try:
        return datetime.date.fromisoformat(on)
    except ValueError:
        raise BadInput(f"{on!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as --on 2026-01-24.") from None


def _as_json(told: History, site: Site) -> None:
    from fieldctl import __version__
    from fieldctl.upkeep import as_json
    from fieldctl.upkeep.history import as_row

    account = as_json.as_row(told.upkeep)
    (battery,) = account["batteries"]
    show.as_json(
        {
            "what": "fieldctl target history",
            "history_schema": 1,
            "site": site.title,
            "version": __version__,
            "today": account["today"],
            "closing_day": account["closing_day"],
            "battery": battery,
            **as_row(told),
        }
    )


def _for_people(told: History) -> None:
    from fieldctl.upkeep import words
    from fieldctl.upkeep.charts import in_words
    from fieldctl.upkeep.moments import in_words as moment_words

    row = told.row
    state, advice = words.say(f"state.{row.state}"), words.advice_words(row, told.upkeep)
    print(f"{row.place.name}, {row.place.zone}: {state}. {advice}")
    if row.estimate is not None:
        print(f"{words.last_words(row)} {words.left_words(row)}, {words.basis_words(row)}.")
    for finding in row.findings:
        says, remedy = words.finding_words(finding, row)
        print(f"{says} ({words.say(f'sure.{finding.sure}')}) To do: {remedy}")
    for picture in told.pictures:
        print(f"\n{words.say(f'picture.{picture.key}')}")
        show.lines(f"  {sentence}" for sentence in in_words(picture, words.ENGLISH))
    rows = _days(told)
    if rows:
        print()
        show.table(("day", *COLUMNS), rows)
    print()
    for moment in told.moments:
        says, text = moment_words(moment, words.ENGLISH)
        print(" ".join(part for part in (moment.when[:16] or words.say("moment.no-day"), says, text) if part))
    if told.left_out:
        show.say(words.say("moment.left-out", n=told.left_out))


def _days(told: History) -> list[tuple[str, ...]]:
    """The last days that have a value, one row each; "-" where nothing is known."""
    from fieldctl.upkeep.words import day_of

    lines = {line.key: line for picture in told.pictures for line in picture.lines if not line.ahead}
    values = {key: dict(zip(lines[key].day, lines[key].value, strict=True)) for key in COLUMNS if key in lines}
    days = sorted({day for known in values.values() for day in known})[-DAYS_SHOWN:]
    return [
        (day_of(day), *(f"{values[key][day]:.3g}" if day in values.get(key, {}) else "-" for key in COLUMNS))
        for day in days
    ]
