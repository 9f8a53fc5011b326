"""fieldctl upkeep self-test and retrieval: before the season, and after it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.carry import Html, Target
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who

self_test = typer.Typer(
    help="Before the season: what each target shows, and who still lacks what.", no_args_is_help=True
)
retrieval = typer.Typer(
    help="In spring: every target brought in or given up by name; closed only at n of n.", no_args_is_help=True
)
Retrieval = Annotated[str, typer.Option(help="The retrieval; the latest otherwise.")]


# ---- the self-test -----------------------------------------------------------------------------------------------


@self_test.command(epilog="Example:  fieldctl upkeep self-test run --by Tove")
def run(
    anew: Annotated[bool, typer.Option("--anew", help="Begin a new season's round: nothing counts as proved.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Look at every target as it is now, and keep what it shows; proofs of this round stay."""
    ask(site, "self-test", json, _self_test, by=who(by), anew=anew)


@self_test.command(epilog="Example:  fieldctl upkeep self-test heard 'Larch 3' --by Tove")
def heard(target: Target, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """You hear it with a receiver, while it sends so that it can be found: fieldctl target find NAME --send."""
    ask(site, "self-test-heard", json, _self_test, target=target, by=who(by))


@self_test.command("show", epilog="Example:  fieldctl upkeep self-test show --html self-test.html")
def show_test(html: Html = None, site: SiteDir = HERE, json: AsJson = False) -> None:
    """What every target has shown in this round, and what it still lacks."""

    def people(row: dict[str, Any]) -> None:
        _write_or(html, site, row, "self-test", _self_test)

    row = ask(site, "self-test-show", json, people)
    if json and html is not None:
        _write(html, site, row, "self-test")


# ---- the retrieval -----------------------------------------------------------------------------------------------


@retrieval.command(epilog="Example:  fieldctl upkeep retrieval begin --by Ansel")
def begin(site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """List every target that lies in the field as far as anybody knows, also who was given up before."""
    ask(site, "retrieval-begin", json, _retrieval, by=who(by))


@retrieval.command(epilog="Example:  fieldctl upkeep retrieval got 'Larch 3' --by Tove")
def got(
    target: Target,
    note: Annotated[str, typer.Option(help="Anything to keep, in a few words.")] = "",
    retrieval: Retrieval = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A target is in the box; it stays added until it is taken out: fieldctl target take-out."""
    ask(site, "retrieval-got", json, _retrieval, target=target, note=note, retrieval=retrieval, by=who(by))


@retrieval.command(epilog="Example:  fieldctl upkeep retrieval lost 'Larch 3' --reason 'probed, nothing' --told Ansel")
def lost(
    target: Target,
    reason: Annotated[str, typer.Option(help="Why it is given up.")] = "",
    told: Annotated[str, typer.Option(help="Who was told.")] = "",
    place: Annotated[str, typer.Option(help="Where it lay last; its place on file otherwise.")] = "",
    retrieval: Retrieval = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A target is given up by name. It may still be heard one day: any signal is a person until proved otherwise."""
    ask(
        site, "retrieval-lost", json, _retrieval, target=target, reason=reason, told=told, place=place,
        retrieval=retrieval, by=who(by),
    )  # fmt: skip


@retrieval.command(epilog="Example:  fieldctl upkeep retrieval undo 'Larch 3'")
def undo(target: Target, retrieval: Retrieval = "", site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Take back what was said of a target last."""
    ask(site, "retrieval-undo", json, _retrieval, target=target, retrieval=retrieval, by=who(by))


@retrieval.command(epilog="Example:  fieldctl upkeep retrieval close --signed Ansel")
def close(
    signed: Annotated[str, typer.Option(help="Who signs for it.")] = "",
    retrieval: Retrieval = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Sign for it; refused until every target is in the box or given up by name."""
    ask(site, "retrieval-close", json, _retrieval, signed=signed or who(by), retrieval=retrieval, by=who(by))


@retrieval.command("show", epilog="Example:  fieldctl upkeep retrieval show --html spring.html")
def show_retrieval(html: Html = None, retrieval: Retrieval = "", site: SiteDir = HERE, json: AsJson = False) -> None:
    """One retrieval target by target, and everything that was ever lost."""

    def people(row: dict[str, Any]) -> None:
        _write_or(html, site, row, "retrieval", _retrieval)

    row = ask(site, "retrieval-show", json, people, retrieval=retrieval)
    if json and html is not None:
        _write(html, site, row, "retrieval")


# ---- what is shown -----------------------------------------------------------------------------------------------


def _write_or(html: Path | None, site: Path, row: dict[str, Any], sheet: str, people: Any) -> None:
    if html is None:
        people(row)
        return
    _write(html, site, row, sheet)
    print(f"written: {html}")


def _write(html: Path, site: Path, row: dict[str, Any], sheet: str) -> None:
    from fieldctl.cli.season import site_title, write
    from fieldctl.web.carry_sheet import retrieval_sheet, self_test_sheet

    title, language = site_title(site)
    make = self_test_sheet if sheet == "self-test" else retrieval_sheet
    write(html, make(row, language, title))


def _self_test(row: dict[str, Any]) -> None:
    from fieldctl.web.carry_sheet import lacks_words
    from fieldctl.web.words import words

    t = words("en")
    print(t("carry.self_test_round", round=row["round"], whole=row["whole"], of=len(row["targets"])))
    for one in row["targets"]:
        said = lacks_words(one, t) or [t("carry.self_test_whole")]
        show.lines([f"- {one['name']}: {said[0]}", *(f"    {text}" for text in said[1:])])


def _retrieval(row: dict[str, Any]) -> None:
    from fieldctl.web.carry_sheet import lost_words, said_words
    from fieldctl.web.words import words

    t = words("en")
    if row["retrieval"] is None:
        print(t("carry.retrieval_none"))
    elif row["open"]:
        print(t("carry.retrieval_goes_on", retrieval=row["retrieval"], day=row["day"] or "-", who=row["by"]))
    else:
        print(t("carry.retrieval_closed", retrieval=row["retrieval"], name=row["signed"]))
    if row["retrieval"] is not None:
        print(t("carry.retrieval_of", n=row["n"], of=row["of"]))
    for one in row["targets"]:
        said = "; ".join(said_words(each, t) for each in one["said"])
        print(f"- {one['name']} ({one['place']}): {t('carry.state_' + one['state'])}{f', {said}' if said else ''}")
    if row["units_out"]:
        print(t("carry.units_out", units=", ".join(row["units_out"])))
    if row["lost"]:
        show.lines([t("carry.lost_list"), *(f"- {lost_words(each, t)}" for each in row["lost"])])
        print(t("carry.lost_caution"))
