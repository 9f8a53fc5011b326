"""fieldctl season: the season book, from the log alone; works beside a running serve."""

from __future__ import annotations

import contextlib
import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput, FieldctlError, NotFound

if TYPE_CHECKING:
    from fieldctl.debrief.season import Person, Season
    from fieldctl.debrief.season_page import About
    from fieldctl.debrief.season_words import Names
    from fieldctl.ledger.beside import Kept

Since = Annotated[str | None, typer.Option(help="The first day, such as 2025-12-01.")]
Until = Annotated[str | None, typer.Option(help="The last day, such as 2026-04-30.")]


def season(
    site: SiteDir = HERE,
    json: AsJson = False,
    csv: Annotated[bool, typer.Option("--csv", help="One row for each burial, as CSV on stdout.")] = False,
    html: Annotated[Path | None, typer.Option(help="Write the book as one HTML file, to look at or to print.")] = None,
    figures: Annotated[Path | None, typer.Option(help="Write each figure as SVG and PNG into this folder.")] = None,
    person: Annotated[
        str | None, typer.Option(help="One person's page, by name or id (with --html, --figures).")
    ] = None,
    since: Since = None,
    until: Until = None,
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema of what --json prints.")] = False,
) -> None:
    """What a season of practice did: people, teams, time to find, what people are slow at; with honest intervals."""
    if schema:
        from fieldctl.debrief.season_out import SCHEMA

        show.text([_json(SCHEMA)])
        return
    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    if person is not None and (csv or json):
        raise BadInput("CSV and JSON hold everybody.", expected="--person with --html or --figures", remedy="As named.")
    book, names, about = read_season(site, since, until)
    one = None if person is None else find_person(book, names, person)
    written = [*_page(html, book, one, names, about), *_figures(figures, book, one, names, about)]
    if csv:
        from fieldctl.debrief.season_out import csv_lines

        show.text(csv_lines(book, names))
    elif json:
        from fieldctl import __version__
        from fieldctl.debrief.season_out import as_row

        show.as_json({"site": about.site, "version": __version__, "head": about.head, **as_row(book, names)})
    elif written:
        show.lines(f"written: {path}" for path in written)
    else:
        _for_people(book, one, names)


def _json(value: Any) -> str:
    import json

    return json.dumps(value, ensure_ascii=False, indent=2) + "\n"


def read_season(site: Path, since: str | None = None, until: str | None = None) -> tuple[Season, Names, About]:
    """The season of a site's log, the names that are still kept, and where it comes from."""
    from fieldctl.debrief.season import season_of
    from fieldctl.debrief.season_page import About
    from fieldctl.debrief.summary_kept import read_summaries
    from fieldctl.ledger.reader import Reader

    for day in (since, until):
        _check_day(day)
    if since is not None and until is not None and since > until:
        raise BadInput(
            f"{since} comes after {until}.", expected="--since before --until", remedy="Change the two over."
        )
    path = ledger_path(site)
    title, language = site_title(site)
    with Reader.read(path) as reader:
        summaries = read_summaries(reader)
        names = reader.names()
        about = About(title, reader.head()[0], language)
    keep(path, summaries.made)
    return season_of(summaries.rows, summaries.unreadable, since, until), names, about


def keep(path: Path, made: list[Kept]) -> None:
    """Keep summaries that were made just now, where nobody else writes; otherwise whoever serves makes its own."""
    if not made:
        return
    from fieldctl.ledger.store import Ledger

    with contextlib.suppress(FieldctlError), Ledger.open(path, inline=True, who="fieldctl season") as ledger:
        ledger.put_summaries(made)


def _check_day(day: str | None) -> None:
    try:
        right = day is None or datetime.date.fromisoformat(day).isoformat() == day
    except ValueError:
        right = False
    if not right:
        raise BadInput(f"{day!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as --since 2025-12-01.")


def site_title(folder: Path) -> tuple[str, str]:
    """A site's title and language; the folder's name where its files cannot be read."""
    from fieldctl.site.files import load_site

    try:
        site = load_site(folder)
    except FieldctlError:
        return folder.absolute().name, "en"  # the log speaks for itself; what is wrong with files, `site check` says
    return site.title, site.language


def find_person(book: Season, names: Names, who: str) -> Person:
    """Somebody of the season by name or id; NotFound where nobody of that name searched."""
    ids = {person for person, name in names.items() if name.casefold() == who.strip().casefold()} | {who.strip()}
    for one in book.people:
        if one.person in ids:
            return one
    known = ", ".join(sorted(names.get(one.person, one.person) for one in book.people)[:20])  # type: ignore[call-overload]
    raise NotFound(
        f"Nobody called {who!r} searched in this season.",
        expected=known or "nobody is named",
        remedy="Name one of these.",
    )


def write(path: Path, data: str | bytes) -> Path:
    """Write a file; Refused words for what cannot be written come from the program's own handling of OSError."""
    if isinstance(data, str):
        path.write_text(data, encoding="utf-8", newline="\n")
    else:
        path.write_bytes(data)
    return path


def _page(html: Path | None, book: Season, one: Person | None, names: Names, about: About) -> list[Path]:
    if html is None:
        return []
    from fieldctl.debrief.season_page import person_page, season_page
    from fieldctl.debrief.texts import texts_of

    words = texts_of("season", about.language)
    text = season_page(book, names, about, words) if one is None else person_page(book, one, names, about, words)
    return [write(html, text)]


def _figures(folder: Path | None, book: Season, one: Person | None, names: Names, about: About) -> list[Path]:
    if folder is None:
        return []
    from fieldctl.debrief import season_figures as draw
    from fieldctl.debrief.season_words import name_of, say
    from fieldctl.debrief.texts import texts_of

    words = texts_of("season", about.language)
    if one is not None:
        pictures = {"person": draw.person(one, name_of(one.person, names), words)}
    else:
        pictures = {
            "time-to-find": draw.time_to_find(book.signal, say("time.signal", words), words),
            "time-to-find-probing": draw.time_to_find(book.probing, say("time.probing", words), words),
            "kinds": draw.kinds(book, words),
        }
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, picture in pictures.items():
        if picture is not None:
            written += [write(folder / f"{name}.svg", picture.svg), write(folder / f"{name}.png", picture.png)]
            written.append(write(folder / f"{name}.txt", picture.text + "\n"))
    return written


def _for_people(book: Season, one: Person | None, names: Names) -> None:
    from fieldctl.debrief.season_page import apart_sentences, period, slow_sentences
    from fieldctl.debrief.season_words import bounds, median_of, name_of, progress_of, say

    print(period(book))
    if one is not None:
        print(f"{name_of(one.person, names)}: {one.exercises} exercises, {one.hours:.1f} hours. {median_of(one.curve)}")
        print(f"{say('people.progress')}: {progress_of(one.progress.ratio)}")
        return
    if not book.exercises:
        print(say("empty"))
        return
    states = ", ".join(f"{n} {say(f'state.{state}')}" for state, n in sorted(book.states.items()))
    print(f"{say('done.exercises', n=book.exercises)}: {states}")
    for key, curve in (("signal", book.signal), ("probing", book.probing)):
        if curve.looked_for:
            print(f"{say(f'time.{key}')}: {median_of(curve)}")
    show.lines(slow_sentences(book))
    rows = [
        (
            name_of(p.person, names),
            p.exercises,
            f"{p.curve.found} / {p.curve.looked_for}",
            bounds(p.curve)[0],
            progress_of(p.progress.ratio),
        )
        for p in book.people
    ]
    show.table([say(f"people.{key}") for key in ("who", "exercises", "found", "median", "progress")], rows)
    show.lines(f"- {sentence}" for sentence in apart_sentences(book))
