"""fieldctl exercise: start, follow, stop, call, correct."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, ask, who
from fieldctl.errors import BadInput

exercise = typer.Typer(
    help="Start, follow, stop and correct exercises.",
    no_args_is_help=True,
)
Ago = Annotated[float, typer.Option("--ago", help="How many seconds ago it was.")]
DrillName = Annotated[str, typer.Argument(help="The name of a drill on file; see fieldctl drill list.")]
Name = Annotated[str, typer.Argument(help="The exercise, such as x12.")]


@exercise.command(epilog="Example:  fieldctl exercise check three-in-sequence")
def check(
    drill: DrillName,
    seed: Annotated[int, typer.Option(help="The same seed picks the same targets.")] = 0,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Who would play what, and what is in the way, each with its remedy."""
    ask(site, "exercise-check", json, _check, drill=drill, seed=seed)


@exercise.command(epilog="Example:  fieldctl exercise start three-in-sequence --searcher Tove --searcher Jon")
def start(
    drill: DrillName,
    searcher: Annotated[list[str] | None, typer.Option(help="Who searches; may be given several times.")] = None,
    seed: Annotated[int | None, typer.Option(help="The same seed picks the same targets.")] = None,
    target: Annotated[list[str] | None, typer.Option(help="BURIAL=TARGET names one outright.")] = None,
    start_in: Annotated[float | None, typer.Option(help="Seconds until the start.")] = None,
    request: Annotated[str, typer.Option(help="Your own id of this start: asked twice, it starts once.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Start an exercise of a drill."""
    targets = dict(_pair(text) for text in target or ())
    ask(
        site,
        "exercise-start",
        json,
        _started,
        drill=drill,
        by=who(by),
        searchers=tuple(searcher or ()),
        seed=seed,
        targets=targets,
        start_in_s=start_in,
        request=request,
    )


@exercise.command(epilog="Example:  fieldctl exercise stop x12")
def stop(name: Name, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Stop an exercise: everything of it falls quiet."""
    ask(site, "exercise-stop", json, one, exercise=name, by=who(by))


@exercise.command(epilog="Example:  fieldctl exercise reopen x12")
def reopen(name: Name, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Take back the end of an exercise: what is not found sends again."""
    ask(site, "exercise-reopen", json, one, exercise=name, by=who(by))


@exercise.command(epilog="Example:  fieldctl exercise resume x12")
def resume(name: Name, site: SiteDir = HERE, json: AsJson = False, by: By = "") -> None:
    """Go on with an interrupted exercise."""
    ask(site, "exercise-resume", json, one, exercise=name, by=who(by))


@exercise.command("list", epilog="Example:  fieldctl exercise list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every exercise still in mind."""
    ask(site, "exercise-list", json, _all)


@exercise.command("show", epilog="Example:  fieldctl exercise show x12")
def show_(name: Name, site: SiteDir = HERE, json: AsJson = False) -> None:
    """One exercise with its result so far."""
    ask(site, "exercise-show", json, one, exercise=name)


@exercise.command(epilog="Example:  fieldctl exercise call x12 --burial A --searcher Jon --ago 3")
def call(
    name: Name,
    burial: Annotated[str | None, typer.Option(help="For which burial.")] = None,
    searcher: Annotated[str | None, typer.Option(help="Who called.")] = None,
    ago: Ago = 0.0,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """The searcher says "here"."""
    ask(site, "exercise-call", json, one, exercise=name, burial=burial, searcher=searcher, ago_s=ago, by=who(by))


@exercise.command(epilog="Example:  fieldctl exercise split x12 airway --burial A")
def split(
    name: Name,
    what: Annotated[str, typer.Argument(help="signal, coarse, fine, airway, or any other moment.")],
    burial: Annotated[str | None, typer.Option(help="Of which burial.")] = None,
    ago: Ago = 0.0,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A moment on the way."""
    ask(site, "exercise-split", json, one, exercise=name, name=what, burial=burial, ago_s=ago, by=who(by))


@exercise.command(
    context_settings={"ignore_unknown_options": True},  # seconds may be less than 0
    epilog="Example:  fieldctl exercise correct x12 add-hit A 83.5 --why 'its pad was iced over'.  Changes: void ID, "
    "judge ID KIND, merge ID ID, add-hit BURIAL SECONDS, place-call ID BURIAL, give BURIAL SEARCHER, shift-start "
    "EXERCISE SECONDS (less than 0: earlier), undo ID.",
)
def correct(
    name: Name,
    change: Annotated[str, typer.Argument(help="void, judge, merge, add-hit, place-call, give, shift-start, undo.")],
    about: Annotated[str, typer.Argument(help="The id that it is about.")],
    value: Annotated[str | None, typer.Argument(help="Where the change needs one.")] = None,
    why: Annotated[str, typer.Option(help="The reason, in a few words; no names, as it stays in the log.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """A later entry that amends an earlier one; every correction can be undone."""
    ask(
        site,
        "exercise-correct",
        json,
        _corrected,
        exercise=name,
        change=change,
        about=about,
        value=_number(change, value),
        why=why,
        by=who(by),
    )


@exercise.command(epilog="Example:  fieldctl exercise answer x12 QUESTION keep")
def answer(
    name: Name,
    question: Annotated[str, typer.Argument(help="The id of the question, as exercise show lists it.")],
    choice: Annotated[str, typer.Argument(help="One of its choices.")],
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """Decide something that the field asked."""
    ask(site, "exercise-answer", json, one, exercise=name, question=question, answer=choice, by=who(by))


def _started(row: dict[str, Any]) -> None:
    for warning in row["warnings"]:
        show.say(f"look at: {warning['wrong']} {warning['remedy']}")
    one(row)


def one(row: dict[str, Any]) -> None:
    """An exercise as lines for people."""
    head = f"{row['exercise']}  {row['drill']}  {row['state']}  {show.clock(row['clock_s'])}"
    print(f"{head} of {show.clock(row['limit_s'])}  searching: {', '.join(row['searchers']) or 'nobody named'}")
    rows = []
    for b in row["burials"]:
        find = b["find"]
        found = "-" if find is None else f"{show.clock(find['at_s'])} ±{find['plus_minus_ms']:.0f} ms by {find['kind']}"
        sends = f"{b['may_send_for_s']:g} s" if b["may_send_for_s"] else "-"
        rows.append((b["burial"], b["name"], b["phase"], found, sends))
    show.table(("burial", "target", "phase", "found", "may send for"), rows)
    for item in row["to_judge"]:
        print(f"to judge: {item['source']} at {show.clock(item['at_s'])}: {item['why']}")
    for question in row["questions"]:
        print(f"question {question['question']}: {question['what']} ({' / '.join(question['choices'])})")
    for line in row["anomalies"]:
        print(f"note: {line}")


def _all(row: dict[str, Any]) -> None:
    for each in row["exercises"]:
        one(each)


def _corrected(row: dict[str, Any]) -> None:
    print(f"correction {row['correction']}")
    one(row)


def _check(row: dict[str, Any]) -> None:
    show.table(("burial", "target"), list(row["picks"].items()))
    for h in row["hindrances"]:
        print(f"{'in the way' if h['blocks'] else 'warning'}: {h['wrong']} {h['remedy']}")
    print("Read out at the briefing:")
    show.lines(f"- {card}" for card in row["cards"])


def _pair(text: str) -> tuple[str, str]:
    burial, equals, target = text.partition("=")
    if not equals:
        raise BadInput(f"{text!r} names no target.", expected="BURIAL=TARGET", remedy="Such as --target A=5ee00003.")
    return burial, target


def _number(change: str, value: str | None) -> str | float | None:
    if value is None or change not in ("add-hit", "shift-start"):
        return value
    try:
        return float(value)
    except ValueError:
        raise BadInput(f"{value!r} is no number of seconds.", remedy="Such as 83.5.") from None
