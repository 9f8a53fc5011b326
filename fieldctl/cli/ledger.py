"""fieldctl ledger: export, verify, replay; all of them work beside a running serve."""

from __future__ import annotations

from typing import Annotated

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path

ledger = typer.Typer(
    help="The append-only log: give it out, prove its chain, score it anew.",
    epilog="Example:  fieldctl ledger export > winter.jsonl",
    no_args_is_help=True,
)


@ledger.command()
def export(
    site: SiteDir = HERE,
    exercise: Annotated[str | None, typer.Option(help="One exercise only.")] = None,
    csv: Annotated[bool, typer.Option(help="The strikes as CSV.")] = False,
    names: Annotated[bool, typer.Option(help="With people's names.")] = False,
) -> None:
    """Every entry as JSON Lines, or the strikes as CSV, on stdout."""
    from fieldctl.ledger.export import export_lines, strikes_csv
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        show.lines(strikes_csv(reader, exercise) if csv else export_lines(reader, exercise, names=names))


@ledger.command()
def verify(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Walk the chain of hashes and name what does not hold."""
    from fieldctl.ledger.reader import Reader
    from fieldctl.ledger.verify import verify as walk

    with Reader.read(ledger_path(site)) as reader:
        verdict = walk(reader)
    if json:
        show.as_json(
            {
                "ok": verdict.ok,
                "entries": verdict.entries,
                "head": list(verdict.head),
                "flaws": [str(flaw) for flaw in verdict.flaws],
            }
        )
        if not verdict.ok:
            raise typer.Exit(1)
        return
    verdict.raise_if_broken()
    print(f"The chain holds: {verdict.entries} entries. Note the head elsewhere: {verdict.head[0]} {verdict.head[1]}")


@ledger.command()
def replay(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Score every exercise anew from its entries, and make every stamp again from its evidence."""
    from fieldctl.cli.replay import as_row, exercises_of, stamps_that_differ
    from fieldctl.ledger.reader import Reader

    with Reader.read(ledger_path(site)) as reader:
        rows = [as_row(result) for result in exercises_of(reader)]
        differ = stamps_that_differ(reader)
    if json:
        show.as_json({"exercises": rows, "stamps_that_differ": differ})
    else:
        for row in rows:
            print(f"{row['exercise']}  {row['drill']}  {row['state']}")
            show.table(
                ("burial", "target", "found", "±ms"),
                [(b["burial"], b["target"], show.clock(b["found_at_s"]), b["plus_minus_ms"]) for b in row["burials"]],
            )
        print(f"{len(differ)} stamps differ from the evidence beside them.")
    if differ:
        raise typer.Exit(1)
