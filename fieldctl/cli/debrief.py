"""fieldctl debrief: where the minutes of one exercise went, from the log; works beside a running serve."""

from __future__ import annotations

from collections.abc import Iterator
from json import dumps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput

if TYPE_CHECKING:
    from fieldctl.debrief.model import Debrief


def debrief(
    exercise: Annotated[str, typer.Argument(help="The exercise, such as x12.")] = "",
    html: Annotated[Path | None, typer.Option(help="Write a sheet that stands alone to this file.")] = None,
    csv: Annotated[bool, typer.Option("--csv", help="One row a moment, on stdout.")] = False,
    figures: Annotated[
        Path | None, typer.Option(help="Write time line and map as SVG and PNG into this folder.")
    ] = None,
    audience: Annotated[
        str, typer.Option("--for", help="crew, group (no full names) or public (and no survival figures).")
    ] = "crew",
    schema: Annotated[bool, typer.Option("--schema", help="The JSON Schema of what --json prints.")] = False,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Where the minutes went: splits, touched but not noticed, gaps, corrections, beside earlier times."""
    if schema:
        from fieldctl.debrief.as_json import schema as of_json

        show.text([dumps(of_json(), ensure_ascii=False, indent=1), "\n"])
        return
    if not exercise:
        raise BadInput("No exercise is named.", expected="one such as x12", remedy="Name it: fieldctl debrief x12.")
    asked = {"--html": html, "--csv": csv, "--json": json, "--figures": figures}
    ways = [way for way, wanted in asked.items() if wanted]
    if len(ways) > 1:
        raise BadInput(f"{' and '.join(ways)} at once.", expected="one of them", remedy="Ask once for each.")
    if html is not None and not html.absolute().parent.is_dir():
        raise BadInput(
            f"No sheet can be written to {html}.", expected="a file in a folder that is there", remedy="Name another."
        )
    from fieldctl.debrief.read import read_debrief
    from fieldctl.debrief.show import as_audience, for_audience
    from fieldctl.debrief.words import in_words
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.files import load_site

    to = as_audience(audience)
    found = load_site(site)
    with Reader.read(ledger_path(site)) as reader:
        made = for_audience(read_debrief(reader, found, exercise), to)
    for sentence in made.then:  # what was said of it at the time and would now be said otherwise, beside every way out
        show.say(in_words(sentence))
    if html is not None:
        from fieldctl.debrief.report import sheet
        from fieldctl.debrief.texts import texts_of

        words = texts_of("debrief", found.language)
        html.write_text(sheet(made, words, to, language=found.language), encoding="utf-8")
        print(f"The sheet is in {html}.")
    elif figures is not None:
        _write(made, figures, found.language)
    elif csv:
        from fieldctl.debrief.as_json import as_csv

        show.text(as_csv(made))
    elif json:
        from fieldctl.debrief.as_json import as_json

        show.as_json(as_json(made))
    else:
        show.lines(_lines(made))


def _write(d: Debrief, folder: Path, language: str) -> None:
    from fieldctl.debrief.report import figures
    from fieldctl.debrief.texts import texts_of

    folder.mkdir(parents=True, exist_ok=True)
    for name, drawn in figures(d, texts_of("debrief", language)).items():
        for ending, data in (("svg", drawn.svg.encode()), ("png", drawn.png), ("txt", drawn.text.encode() + b"\n")):
            path = folder / f"{name}.{ending}"
            path.write_bytes(data)
            print(path)


def _lines(d: Debrief) -> Iterator[str]:
    """The debrief as lines for a terminal."""
    from fieldctl.debrief.gaps import worth_telling
    from fieldctl.debrief.words import clock, in_words, length, moment, name_of_split, plus_minus, said

    yield f"{d.exercise}  {d.title}  {in_words(said(f'state.{d.state}'))}  {', '.join(d.searchers)}"
    yield in_words(d.longest)
    if d.repeat:
        yield in_words(said("repeat"))
    for b in d.burials:
        found = in_words(said("find.none"))
        if b.found is not None:
            found = f"{in_words(said(f'find.{b.find_kind}'))} at {moment(b.found.at_us, b.found.plus_minus_us)}"
            if b.net_us is not None and b.net_us != b.gross_us:
                found += f" ({clock(b.net_us)} net)"
        yield f"{b.burial}  {b.target_name}  {found}"
        ends = {s.to_us: s for s in b.stretches}
        for m in b.marks:
            took = f"  took {in_words(length(ends[m.at_us].net_us))}" if m.at_us in ends else ""
            void = "" if m.counts else "  (voided)"
            name = in_words(name_of_split(m.name))
            at, pm = moment(m.at_us, m.plus_minus_us), in_words(plus_minus(m.plus_minus_us))
            yield f"  {at:>9}  {pm:>7}  {name}{took}{void}"
    texts = [t.text for b in d.burials for t in b.touches]
    texts += [g.text for g in worth_telling(d.gaps)]
    texts += [u.text for b in d.burials for u in (b.before, b.usual, b.alive) if u is not None]
    texts += [] if d.probe_line is None else [d.probe_line.text]
    texts += [] if d.survival is None else d.survival.texts
    texts += [*d.anomalies, *d.missing, *(c.text for c in d.corrections)]
    yield from (in_words(text) for text in texts)
    for j in d.to_judge:
        yield f"to judge: {j.source} at {'-' if j.at_us is None else clock(j.at_us)}: {j.why}"
