"""fieldctl target trace: how a strike looked at its pad, read out of the target once and kept in the log."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, By, SiteDir, who
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.events import StrikeRecorded, TraceRead
    from fieldctl.strikes.trace import StrikeTrace

PICTURES = (".svg", ".png")
BAR = 24  # letters from the baseline to the farthest sample
ROW_MS = 1.0  # a line of the drawing for people


def trace(
    target: Annotated[str, typer.Argument(help="A target's id or name.")],
    number: Annotated[int, typer.Argument(help="The strike's number; the last one otherwise.", min=0)] = 0,
    boot: Annotated[int, typer.Option(help="The target's boot; that of its last strike otherwise.", min=0)] = 0,
    csv: Annotated[bool, typer.Option("--csv", help="One row for each sample, as CSV on stdout.")] = False,
    picture: Annotated[Path | None, typer.Option(help="Draw it into this file (.svg or .png).")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    by: By = "",
) -> None:
    """How one of the last four strikes looked at its pad, in steps of its converter. Read once, kept in the log."""
    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    if picture is not None and (picture.suffix not in PICTURES or not picture.parent.is_dir()):
        raise BadInput(
            f"No picture can be written to {picture}.",
            expected=f"a file {' or '.join(PICTURES)} in a folder that is there",
            remedy="Name another file.",
        )
    row = _found(site, target, number, boot, by)
    from fieldctl.strikes.trace import of_row

    found = of_row(row)
    if picture is not None:
        from fieldctl.upkeep.trace_figure import trace_figure

        drawn = trace_figure(found, _about(row))
        picture.write_bytes(drawn.png if picture.suffix == ".png" else drawn.svg.encode())
    if json:
        show.as_json(row)
    elif csv:
        show.text(_csv(found))
    else:
        _for_people(row, found, picture)
    if row["missing"]:
        why = f": {row['why']}" if row["why"] else ""
        show.say(f"{len(row['missing'])} of {row['parts']} parts are missing{why}. Ask again to go on with them.")


def _found(site: Path, target: str, number: int, boot: int, by: str) -> dict[str, Any]:
    """The row of a trace: from the log where it is whole there, else out of the target."""
    from fieldctl.controller import socket
    from fieldctl.strikes.trace import as_row

    id_, name, last, read = _in_log(site, target)
    if number == 0 and (last is None or boot not in (0, last.boot)):
        raise NotFound(
            f"{name} has told of no strike{f' in boot {boot}' if boot else ''}.",
            expected="a target that was struck",
            remedy="Name another, or look whether its pad was armed.",
        )
    boot = boot or (0 if last is None else last.boot)
    number = number or (0 if last is None else last.number)
    for fact in read:
        if (fact.boot, fact.number) == (boot, number) and not fact.missing:
            return as_row(fact, name)
    arguments = {"target": id_, "number": number, "boot": boot, "by": who(by)}
    return socket.ask(site, "target-trace", arguments)


def _in_log(site: Path, target: str) -> tuple[str, str, StrikeRecorded | None, list[TraceRead]]:
    """A target's id and name, its last strike, and the traces that were read of it."""
    from fieldctl.events import StrikeRecorded, TargetAdded, TargetNamed, TraceRead
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site
    from fieldctl.units import TargetId

    names: dict[str, str] = {place.target: place.name for place in load_site(site).places}
    last: StrikeRecorded | None = None
    read: list[TraceRead] = []
    with Reader.read(ledger_path(site)) as reader:
        for fact in reader.facts(kinds=(TargetAdded, TargetNamed)):
            if isinstance(fact, TargetAdded | TargetNamed) and (fact.name or fact.target not in names):
                names[fact.target] = fact.name or fact.target
        low = target.lower()
        id_ = next((id_ for id_, name in names.items() if low in (id_, name.lower())), None)
        if id_ is None:
            known = ", ".join(f"{id_} ({name})" for id_, name in sorted(names.items())) or "none"
            raise NotFound(f"There is no target {target!r}.", expected=known, remedy="Name one of these.")
        for fact in reader.facts(kinds=(StrikeRecorded, TraceRead), target=TargetId(id_)):
            if isinstance(fact, TraceRead):
                read.append(fact)
            elif isinstance(fact, StrikeRecorded) and (
                last is None or (fact.boot, fact.number) > (last.boot, last.number)
            ):
                last = fact
    return id_, names[id_], last, read


def _about(row: dict[str, Any]) -> str:
    return f"{row['name']}: strike {row['number']} of boot {row['boot']}"


def _csv(trace: StrikeTrace) -> Iterator[str]:
    from fieldctl.tables import csv_line

    yield csv_line(("ms", "steps"))
    yield from map(csv_line, trace.points)


def _for_people(row: dict[str, Any], trace: StrikeTrace, picture: Path | None) -> None:
    """In words, and drawn in letters: a line a millisecond, its farthest sample as a bar, the threshold as colons."""
    from fieldctl.upkeep.trace_figure import in_words

    print(_about(row))
    show.lines(in_words(trace))
    if picture is not None:
        print(f"written: {picture}")
        return
    most = max(abs(trace.peak[1]), trace.begins, 1)
    for begin in range(int(trace.points[0][0]), int(trace.points[-1][0]) + 1):
        within = [step for ms, step in trace.points if begin <= ms < begin + ROW_MS]
        heard = [step for step in within if step is not None]
        if not heard:
            print(f"{begin:4} ms  not heard")
            continue
        farthest = max(heard, key=abs)
        print(f"{begin:4} ms {farthest:7}  {_bar(farthest, most, trace.begins)}")


def _bar(step: int, most: int, begins: int) -> str:
    line = [" "] * (2 * BAR + 1)
    for side in (-1, 1):
        line[BAR + side * round(BAR * begins / most)] = ":"
    end = BAR + round(BAR * step / most)
    for at in range(min(BAR, end), max(BAR, end) + 1):
        line[at] = "#"
    line[BAR] = "|" if end == BAR else line[BAR]
    return "".join(line).rstrip()
