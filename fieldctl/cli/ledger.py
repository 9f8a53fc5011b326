"""fieldctl ledger: export, verify, replay; all of them work beside a running serve."""

from __future__ import annotations

from json import loads
from typing import TYPE_CHECKING, Annotated

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import EXIT_FAILURE, BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.ledger.reader import Reader

HASH_DIGITS = 64

ledger = typer.Typer(
    help="The append-only log: give it out, prove its chain, score it anew.",
    no_args_is_help=True,
)


@ledger.command(epilog="Example:  fieldctl ledger export > winter.jsonl")
def export(
    site: SiteDir = HERE,
    json: AsJson = False,
    exercise: Annotated[str | None, typer.Option(help="One exercise only.")] = None,
    csv: Annotated[bool, typer.Option(help="The strikes as CSV.")] = False,
    names: Annotated[bool, typer.Option(help="With people's names.")] = False,
) -> None:
    """Every entry as JSON Lines, or the strikes as CSV, on stdout; with --json as one object."""
    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    from fieldctl.ledger.export import export_lines, strikes_csv
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        _known(reader, exercise)
        if json:
            head, *rows = map(loads, export_lines(reader, exercise, names=names))
            show.as_json({**head, "entries": rows[:-1]})  # the last one is the end's count
        else:
            show.text(strikes_csv(reader, exercise) if csv else export_lines(reader, exercise, names=names))


def _known(reader: Reader, exercise: str | None) -> None:
    """NotFound for an exercise that the log does not hold: nothing is no answer."""
    if exercise is not None and next(reader.facts(exercise=exercise), None) is None:
        raise NotFound(f"The log holds no exercise {exercise!r}.", remedy="Look at the list: fieldctl ledger replay.")


@ledger.command(epilog="Example:  fieldctl ledger verify")
def verify(
    site: SiteDir = HERE,
    json: AsJson = False,
    noted: Annotated[
        str, typer.Option(help="A head that was noted earlier, NUMBER:HASH: proves no tail is gone.")
    ] = "",
) -> None:
    """Walk the chain of hashes and name what does not hold."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.ledger.verify import verify as walk

    with Reader.read(ledger_path(site)) as reader:
        verdict = walk(reader, _head(noted) if noted else None)
    if json:
        flaws = [{"seq": flaw.seq, "what": flaw.what, "says": flaw.says} for flaw in verdict.flaws]
        head = {"seq": verdict.head[0], "hash": verdict.head[1]}
        show.as_json({"ok": verdict.ok, "entries": verdict.entries, "head": head, "flaws": flaws, "more": verdict.more})
        if not verdict.ok:
            raise typer.Exit(EXIT_FAILURE)
        return
    verdict.raise_if_broken()
    print(f"The chain holds: {verdict.entries} entries. Note its head elsewhere: {verdict.head[0]}:{verdict.head[1]}")


def _head(noted: str) -> tuple[int, str]:
    number, colon, digest = noted.partition(":")
    if not colon or not number.isdecimal() or len(digest) != HASH_DIGITS:
        raise BadInput(
            f"{noted!r} is no head of a ledger.",
            expected="NUMBER:HASH as verify prints it",
            remedy="Copy it whole, from a report or from the label of a backup.",
        )
    return int(number), digest.lower()


@ledger.command(epilog="Example:  fieldctl ledger replay --exercise x12")
def replay(
    site: SiteDir = HERE,
    json: AsJson = False,
    exercise: Annotated[str | None, typer.Option(help="One exercise only.")] = None,
) -> None:
    """Score every exercise anew from its entries, and make every stamp again from its evidence."""
    from fieldctl.cli.replay import as_row, replayed, stamps_that_differ
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        _known(reader, exercise)
        results, unreadable = replayed(reader, exercise)
        names = reader.names()
        stamps = stamps_that_differ(reader, exercise)
    rows = [as_row(result, names) for result in results]
    if json:
        show.as_json(
            {"exercises": rows, "unreadable": unreadable, "stamps": stamps.made, "stamps_that_differ": stamps.differ}
        )
    else:
        for row in rows:
            print(f"{row['exercise']}  {row['drill']}  {row['state']}")
            show.table(
                ("burial", "target", "found", "±ms", "by"),
                [
                    (b["burial"], b["target"], show.clock(b["found_at_s"]), b["plus_minus_ms"], b["searcher"])
                    for b in row["burials"]
                ],
            )
            show.lines(f"to judge: {j['source']}: {j['why']}" for j in row["to_judge"])
            show.lines(f"note: {line}" for line in row["anomalies"])
        show.lines(f"NOT READ: {u['exercise']}: {u['why']}" for u in unreadable)
        print(f"{stamps.made} stamps made again from their evidence; {len(stamps.differ)} differ.")
        show.lines(f"DIFFERS: strike {d['target']}-{d['boot']}-{d['number']}: {d['why']}" for d in stamps.differ)
    if stamps.differ or unreadable:
        raise typer.Exit(EXIT_FAILURE)
