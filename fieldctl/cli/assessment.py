"""fieldctl assessment: candidates, sheets, ticks, verdicts, signatures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.cli.outside import ledger_path

if TYPE_CHECKING:
    from fieldctl.debrief.assessment import Standing

assessment = typer.Typer(
    help="Assess people by a drill that is marked so: conditions frozen, a sheet, a verdict, two signatures.",
    no_args_is_help=True,
)
Name = Annotated[str, typer.Argument(help="The exercise, such as x12.")]
Candidate = Annotated[str | None, typer.Option(help="Whose sheet, where several search together.")]
Why = Annotated[str, typer.Option(help="The reason, in a few words; no names, as it stays in the log.")]


@assessment.command("list", epilog="Example:  fieldctl assessment list --drill one-burial")
def list_(
    drill: Annotated[str | None, typer.Option(help="One drill only.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Every candidate, one line an attempt with its verdict, from the log; works beside a running serve."""
    from fieldctl.debrief.assessment_list import read_assessments
    from fieldctl.debrief.assessment_page import say
    from fieldctl.debrief.season_words import name_of
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        rows = read_assessments(reader, drill)
        names = reader.names()
    if json:
        show.as_json({"assessments": [_row(each, names) for each in rows]})
    elif not rows:
        print(say("list.none"))
    else:
        table = []
        for each in rows:
            head = (each.drill, name_of(each.candidate, names))
            table += [(*head, exercise, *_stands(it)) for exercise, it in each.attempts] or [
                (*head, "-", say("list.waiting"), "-")
            ]
        show.table(("drill", "candidate", "exercise", "verdict", "signatures"), table)


def _stands(it: Standing) -> tuple[str, str]:
    """The verdict of one attempt, and how often it is signed."""
    from fieldctl.debrief.assessment_page import say

    verdict = "list.waiting" if it.decided is None else f"verdict.{it.decided.verdict}"
    return say(verdict), f"{len(it.signed)} of 2"


def _row(each: Any, names: Any) -> dict[str, Any]:
    return {
        "drill": each.drill,
        "candidate": each.candidate,
        "name": names.get(each.candidate),
        "listed": each.listed,
        "state": each.state,
        "attempts": [
            {
                "exercise": exercise,
                "proposal": it.sheet["proposal"],
                "verdict": None if it.decided is None else it.decided.verdict,
                "signed": {role: fact.by for role, fact in it.signed.items()},
                "final": it.final,
            }
            for exercise, it in each.attempts
        ],
    }


@assessment.command("show", epilog="Example:  fieldctl assessment show x12 --html x12.html")
def show_(
    name: Name,
    candidate: Candidate = None,
    html: Annotated[Path | None, typer.Option(help="Write the sheet as one HTML file, to print.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """One sheet, as it was decided or as it would be decided now, from the log; works beside a running serve."""
    from fieldctl.cli.season import site_title, write
    from fieldctl.debrief.assessment_list import read_standing
    from fieldctl.debrief.assessment_page import sheet_lines, sheet_page, sheet_row
    from fieldctl.debrief.season_page import About
    from fieldctl.debrief.texts import texts_of
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        it, wall = read_standing(reader, name, candidate)
        names = reader.names()
        head = reader.head()[0]
    if html is not None:
        title, language = site_title(site)
        write(html, sheet_page(it, names, About(title, head, language), wall, texts_of("assessment", language)))
    if json:
        show.as_json(sheet_row(it, names))
    elif html is not None:
        print(f"written: {html}")
    else:
        show.lines(sheet_lines(it, names))


@assessment.command(epilog="Example:  fieldctl assessment candidates one-burial Tove Jon Ansel")
def candidates(
    drill: Annotated[str, typer.Argument(help="The drill, marked assessed = true.")],
    names: Annotated[list[str] | None, typer.Argument(help="Who, in order; replaces the list.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Write down who is to be assessed."""
    ask(
        site,
        "assessment-candidates",
        json,
        lambda row: show.lines([f"{row['drill']}:", *row["candidates"]]),
        drill=drill,
        candidates=tuple(names or ()),
        by=who(by),
    )


@assessment.command(epilog="Example:  fieldctl assessment tick x12 probing yes --why 'in a spiral'")
def tick(
    name: Name,
    item: Annotated[
        str,
        typer.Argument(
            help="hazard, alarm, switched, eyes, strips, coarse, fine, probing, marking, digging, airway, lead, or any."
        ),
    ],
    value: Annotated[str, typer.Argument(help="yes, no, 'not seen', or what was measured.")],
    by_hand: Annotated[bool, typer.Option("--by-hand", help="The field would have measured it; needs --why.")] = False,
    why: Why = "",
    candidate: Candidate = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """What the observer saw of one item; a later tick of the same item replaces it."""
    ask(
        site,
        "assessment-tick",
        json,
        _sheet,
        exercise=name,
        item=item,
        value=value,
        by_hand=by_hand,
        why=why,
        candidate=candidate,
        by=who(by),
    )


@assessment.command(epilog="Example:  fieldctl assessment decide x12 passed --by Mira")
def decide(
    name: Name,
    verdict: Annotated[str, typer.Argument(help="passed, failed or repeat; a technical fault means repeat.")],
    why: Why = "",
    candidate: Candidate = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Decide; the sheet as it is now is kept in the log for good."""
    ask(
        site,
        "assessment-decide",
        json,
        _sheet,
        exercise=name,
        verdict=verdict,
        why=why,
        candidate=candidate,
        by=who(by),
    )


@assessment.command(epilog="Example:  fieldctl assessment sign x12 second --by Ansel")
def sign(
    name: Name,
    role: Annotated[str, typer.Argument(help="assessor, or second: two different people.")],
    candidate: Candidate = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Sign the decided sheet; signed twice it does not change any more."""
    ask(site, "assessment-sign", json, _sheet, exercise=name, role=role, candidate=candidate, by=who(by))


def _sheet(row: dict[str, Any]) -> None:
    from fieldctl.debrief.assessment_page import say

    decided = row["decided"]
    said = say(f"proposal.{row['sheet']['proposal']}")
    print(f"{row['exercise']}: {say('proposal', proposal=said)}")
    print(say("draft") if decided is None else say("decided", verdict=say(f"verdict.{decided['verdict']}")))
    for role in ("assessor", "second"):
        by = row["signed"].get(role)
        said = say("not-signed") if by is None else say("signed", by=row["names"].get(by, by))
        print(f"{say(f'role.{role}')}: {said}")
    print(f"Whole sheet: fieldctl assessment show {row['exercise']}")
