"""fieldctl site places, resurvey, no-go: where targets lie, from the site's files and its log; no controller needed."""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import ledger_path
from fieldctl.errors import BadInput, NotFound

if TYPE_CHECKING:
    from fieldctl.site.model import Site
    from fieldctl.site.resurvey import Tape
    from fieldctl.site.whereabouts import Snow
    from fieldctl.units import TargetId

PICTURES = (".svg", ".png")
TARGET = Annotated[str, typer.Argument(help="A target's id or name.")]
On = Annotated[str | None, typer.Option(help="As of that day, such as 2026-01-24; today otherwise.")]


def places(
    target: Annotated[str | None, typer.Argument(help="One target, by id or name; all otherwise.")] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
    csv: Annotated[bool, typer.Option("--csv", help="One row for each target, as CSV on stdout.")] = False,
    on: On = None,
) -> None:
    """Where every target lies: coordinates, the way from the nearest stake, its depth today with its ±."""
    from fieldctl.site.files import load_site
    from fieldctl.site.whereabouts import as_row, in_words, whereabouts

    if csv and json:
        raise BadInput("CSV is not JSON.", expected="--csv or --json", remedy="Leave one of them out.")
    found, day = load_site(site), day_of(on) if on else today()
    snow, names = said(site, found)
    asked = [one_of(found, names, target)] if target else list(found.targets)
    rows = [{"target": t, "name": names[t], **as_row(whereabouts(found, t, snow, day))} for t in asked]
    if json:
        show.as_json({"today": day.isoformat(), "places": rows})
    elif csv:
        _as_csv(rows)
    elif target:
        show.lines([f"{rows[0]['name']} ({rows[0]['target']})", *in_words(rows[0])])
    else:
        _table(rows)


def resurvey(
    target: TARGET,
    from_: Annotated[
        list[str], typer.Option("--from", help="A stake and the level metres to it, as 'red post=12.3'; two or more.")
    ],
    side: Annotated[
        str | None, typer.Option(help="left or right of the line from the first stake to the second.")
    ] = None,
    depth: Annotated[float | None, typer.Option(help="How deep it lies, probed that day, in metres.")] = None,
    snow: Annotated[float | None, typer.Option(help="How deep the snow was there that day, in metres.")] = None,
    day: Annotated[str | None, typer.Option(help="The day on which it was measured; today otherwise.")] = None,
    note: Annotated[str, typer.Option(help="A note for whoever looks for it; the old one stays otherwise.")] = "",
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Survey a target anew by tapes from two stakes or more; the old place is kept, and how far it came is told."""
    from fieldctl.site.files import load_site
    from fieldctl.site.resurvey import fix, way_between
    from fieldctl.site.surveying import Made, new_survey, write
    from fieldctl.site.whereabouts import put_elsewhere

    found = load_site(site)
    log, names = said(site, found)
    which = one_of(found, names, target)
    if (depth is None) is not (snow is None):
        raise BadInput(
            "A depth alone tells nothing of later days.", expected="--depth and --snow", remedy="Measure both, or none."
        )
    for value, most, what in ((depth, 10.0, "depth"), (snow, 30.0, "snow")):
        if value is not None and not 0 <= value <= most:
            raise BadInput(f"{value:g} is no {what}.", expected=f"metres, 0 to {most:g}", remedy="Give metres.")
    if side not in (None, "left", "right"):
        raise BadInput(f"{side!r} is no side.", expected="left or right", remedy="As seen from the first stake named.")
    tapes = [_tape(found, text) for text in from_]
    old = found.place(which)
    carried = put_elsewhere(old, log.moved.get(which))
    place = fix(tapes, None if carried else old, "left" if side == "left" else "right" if side == "right" else None)
    method = "tape from " + ", ".join(f"{tape.stake.name} {tape.length_m:g} m" for tape in tapes)
    made = Made(today() if day is None else day_of(day), method[:200], depth, snow, note)
    name, text, new = new_survey(site, found, which, place, made)
    write(site, name, text)
    move = way_between(old, new)
    row = {
        "target": which,
        "name": names[which],
        "x_m": new.x_m,
        "y_m": new.y_m,
        "plus_minus_m": new.plus_minus_m,
        "side": place.side,
        "side_by": place.chosen,
        "day": made.day.isoformat(),
        "came_m": None if carried else round(move.distance_m, 2),
        "came_bearing_deg": None if carried else round(move.bearing_deg) % 360,
        "came_plus_minus_m": None if carried else round(move.plus_minus_m, 2),
        "came_days": None if carried else move.days,
        "crept": not carried and move.beyond,
        "file": name,
    }
    if json:
        show.as_json(row)
    else:
        _surveyed(row)


def no_go(
    site: SiteDir = HERE,
    json: AsJson = False,
    geojson: Annotated[bool, typer.Option("--geojson", help="GeoJSON on stdout, for a machine's own map.")] = False,
    gpx: Annotated[bool, typer.Option("--gpx", help="A GPX track on stdout.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="The corners in metres as CSV on stdout.")] = False,
    picture: Annotated[Path | None, typer.Option(help="Write a map for the cab here (.svg or .png).")] = None,
) -> None:
    """The line that grooming machines stay outside of, and which targets it does not keep safe."""
    from fieldctl.site import no_go as lines_of
    from fieldctl.site.files import load_site

    if geojson + gpx + csv + json > 1:
        raise BadInput(
            "One format at a time.", expected="--geojson, --gpx, --csv or --json", remedy="Leave the others out."
        )
    if picture is not None and (picture.suffix not in PICTURES or not picture.parent.is_dir()):
        raise BadInput(
            f"No picture can be written to {picture}.",
            expected=f"a file {' or '.join(PICTURES)} in a folder that is there",
            remedy="Name another file.",
        )
    found = load_site(site)
    among = lines_of.lines(found)
    if picture is not None:
        from fieldctl.site.map_picture import draw_map

        drawn = draw_map(found)
        picture.write_bytes(drawn.png if picture.suffix == ".png" else drawn.svg.encode())
        show.say(f"wrote {picture}")
    if geojson:
        show.text([lines_of.as_geojson(found, among)])
    elif gpx:
        show.text([lines_of.as_gpx(found, among)])
    elif csv:
        show.text(lines_of.as_csv(among))
    else:
        from fieldctl.upkeep.snow import place_findings

        log, names = said(site, found)
        keys = ("outside-no-go", "under-blade", "bare", "put-elsewhere")
        findings = {
            target: [each for each in told if each.key in keys]
            for target, told in place_findings(found, log, today()).items()
        }
        _lines(among, [(names[t], each) for t, told in findings.items() for each in told], json=json)


def said(folder: Path, site: Site) -> tuple[Snow, dict[TargetId, str]]:
    """What the log says of snow and place, and what each target is called; the site alone where there is no log."""
    from fieldctl.events import TargetNamed
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.whereabouts import Snow
    from fieldctl.upkeep.snow_log import read_snow

    names = {place.target: place.name for place in site.places}
    if not ledger_path(folder).is_file():
        return Snow(), names
    with Reader.read(ledger_path(folder)) as reader:
        named = (fact for fact in reader.facts(kinds=(TargetNamed,)) if isinstance(fact, TargetNamed))
        return read_snow(reader), names | {fact.target: fact.name for fact in named if fact.target in names}


def one_of(site: Site, names: dict[TargetId, str], text: str) -> TargetId:
    """A target of the site by id or name."""
    low = text.strip().lower()
    for target in site.targets:
        if low in (target, names[target].lower()):
            return target
    listed = ", ".join(f"{target} ({names[target]})" for target in site.targets) or "none"
    raise NotFound(f"There is no target {text!r}.", expected=listed, remedy="Name one of these.")


def today() -> datetime.date:
    """The day by this machine's clock."""
    return datetime.datetime.now(datetime.UTC).date()


def day_of(text: str) -> datetime.date:
    """A day as it is typed."""
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise BadInput(f"{text!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as 2026-01-24.") from None


def _tape(site: Site, text: str) -> Tape:
    from fieldctl.site.placing import FAR_M
    from fieldctl.site.resurvey import Tape

    name, equals, metres = text.rpartition("=")
    try:
        length_m = float(metres.strip().removesuffix("m").strip().replace(",", "."))
    except ValueError:
        length_m = math.nan
    if not equals or not 0 <= length_m <= FAR_M:
        raise BadInput(
            f"{text!r} is no tape.", expected="a stake and metres, as 'red post=12.3'", remedy="Write it like that."
        )
    for stake in site.stakes:
        if stake.name.lower() == name.strip().lower():
            return Tape(stake, length_m)
    listed = ", ".join(stake.name for stake in site.stakes) or "none"
    raise NotFound(
        f"There is no stake {name.strip()!r}.", expected=listed, remedy="Name one of these, or add a [[stake]]."
    )


def _table(rows: list[dict[str, Any]]) -> None:
    def way(row: dict[str, Any]) -> str:
        if not row["from_stakes"]:
            return "-"
        first = row["from_stakes"][0]
        return f"{first['stake']} {first['bearing_deg']:.1f}° {first['distance_m']:.1f} m"

    def depth(row: dict[str, Any]) -> str:
        if row["moved_on"] is not None:
            return f"put elsewhere {row['moved_on']}"
        if row["depth_m"] is None:
            return "cannot be said"
        return f"{row['depth_m']:.1f} ({row['depth_least_m']:.1f} to {row['depth_most_m']:.1f})"

    show.table(
        ("target", "zone", "x", "y", "±", "surveyed", "from a stake", "m deep today"),
        [
            (
                row["name"], row["zone"], f"{row['x_m']:.1f}", f"{row['y_m']:.1f}", f"{row['plus_minus_m']:.1f}",
                row["surveyed_on"], way(row), depth(row),
            )
            for row in rows
        ],
    )  # fmt: skip


def _as_csv(rows: list[dict[str, Any]]) -> None:
    from fieldctl.tables import csv_line

    keys = [key for key in rows[0] if key != "from_stakes"] if rows else ["target"]
    show.text([csv_line((*keys, "from_stakes"))])
    for row in rows:
        flat = {**row, "depth_why": " ".join(row["depth_why"])}
        ways = "; ".join(f"{w['stake']} {w['bearing_deg']:g} deg {w['distance_m']:g} m" for w in row["from_stakes"])
        show.text([csv_line((*(flat[key] for key in keys), ways))])


def _surveyed(row: dict[str, Any]) -> None:
    from fieldctl.site.whereabouts import came_words

    side = {"old-place": "as its old place tells", "named": "as named", "third-tape": "as the third tape tells"}
    print(f"{row['name']}: x {row['x_m']:.2f} m, y {row['y_m']:.2f} m, ± {row['plus_minus_m']:.2f} m")
    print(f"on the {row['side']} of the line, {side[row['side_by']]}")
    if row["came_m"] is None:
        print("It had been put elsewhere: nothing is said of creep.")
    elif row["came_days"] is not None:
        print(came_words(row))
    print(f"wrote {row['file']}; the old place is kept")
    show.say("To use it in a running serve, start it again.")


def _lines(among: Any, findings: list[tuple[str, Any]], *, json: bool) -> None:
    from fieldctl.upkeep.words import words_about

    told = [(name, finding, *words_about(finding, name)) for name, finding in findings]
    if json:
        show.as_json(
            {
                "lines": [
                    {"name": line.name, "title": line.title, "drawn": line.drawn, "points_m": line.points_m}
                    for line in among
                ],
                "findings": [
                    {"target": name, "key": finding.key, "sure": finding.sure, "says": says, "remedy": remedy}
                    for name, finding, says, remedy in told
                ],
            }
        )
        return
    for line in among:
        how = "drawn in site.toml" if line.drawn else "around its targets"
        print(f"{line.title}: {len(line.points_m)} corners, {how}")
    if not among:
        print("No line: the site has no targets and draws none.")
    for name, finding, says, remedy in told:
        print(f"{name}: {says} ({finding.sure}) To do: {remedy}")
