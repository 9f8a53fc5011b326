"""fieldctl drill: the drills on file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.cli.common import HERE, AsJson, SiteDir

if TYPE_CHECKING:
    from fieldctl.drill.candidate import Candidate
    from fieldctl.drill.plan import Drill
    from fieldctl.rehearsal.recorded import Recorded
    from fieldctl.site.model import Site
    from fieldctl.units import TargetId

PICTURES = (".svg", ".png")

drill = typer.Typer(
    help="List and check the drills on file.",
    no_args_is_help=True,
)


@drill.command("list", epilog="Example:  fieldctl drill list")
def list_(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Every drill of the site with what it asks for; needs no serve."""
    from fieldctl.errors import FileFaults

    rows: list[dict[str, Any]] = []
    for path in sorted((site / "drills").glob("*.toml")):
        try:
            plan = _read(path, site)
        except FileFaults as faults:
            rows.append({"drill": path.stem, "faults": [str(f) for f in faults.faults]})
            continue
        rows.append(
            {
                "drill": plan.name,
                "title": plan.title,
                "limit_s": plan.limit_s,
                "burials": [{"burial": b.name, "signal": b.signal.kind, "find": b.find} for b in plan.burials],
            }
        )
    if json:
        show.as_json({"drills": rows})
        return
    table = [
        (
            r["drill"],
            r.get("title", f"{len(r.get('faults', ()))} faults"),
            len(r.get("burials", ())),
            show.clock(r.get("limit_s")),
        )
        for r in rows
    ]
    show.table(("drill", "title", "burials", "limit"), table)


@drill.command(epilog="Example:  fieldctl drill check close-pair drills/mine.toml")
def check(
    files: Annotated[list[Path], typer.Argument(help="Drill files, or names of the site's drills.")],
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Read drill files and name every fault with its line."""
    from fieldctl.errors import Fault, FileFaults

    faults: list[Fault] = []
    for path in files:
        try:
            _read(path, site)
        except FileFaults as found:
            faults += found.faults
    if faults:
        raise FileFaults(faults)
    if json:
        show.as_json({"checked": [str(p) for p in files], "faults": []})
    else:
        print(f"No fault in {len(files)} file{'s' if len(files) != 1 else ''}.")


@drill.command(epilog="Example:  fieldctl drill preview three-in-sequence --skill novice --picture map.svg")
def preview(
    file: Annotated[Path, typer.Argument(help="A drill file, or the name of one of the site's drills.")],
    runs: Annotated[int, typer.Option(help="How many repetitions.")] = 1000,
    skill: Annotated[str, typer.Option(help="novice, trained or practised.")] = "trained",
    searchers: Annotated[int, typer.Option(help="How many search together.")] = 1,
    seed: Annotated[int, typer.Option(help="Picks the targets and draws the searchers.")] = 0,
    picture: Annotated[
        Path | None, typer.Option(help="Write the map here (.svg or .png); it shows the places.")
    ] = None,
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """How long is a group likely to need? An estimate by simulated searchers."""
    from fieldctl.drill.pick import pick
    from fieldctl.errors import BadInput, Refused
    from fieldctl.rehearsal import as_lines, beside_recorded, preview
    from fieldctl.rehearsal.apart import disturbance_of
    from fieldctl.rehearsal.picture import picture_of
    from fieldctl.site.files import load_site

    if picture is not None and (picture.suffix not in PICTURES or not picture.parent.is_dir()):
        raise BadInput(
            f"No picture can be written to {picture}.",
            expected=f"a file {' or '.join(PICTURES)} in a folder that is there",
            remedy="Name another file.",
        )
    plan, found = _read(file, site), load_site(site)
    candidates, depths = _today(site, found)
    picks = pick(plan, candidates, seed=seed, disturbance=disturbance_of(found))
    if not picks.staffed:
        rows = "\n  ".join(f"burial {u.burial or 'of the drill'}: {u.wrong} ({u.nearest})." for u in picks.unmet)
        raise Refused(f"This drill cannot be staffed on {found.title}:\n  {rows}", remedy="Change the wishes named.")
    shown = -1

    def progress(share: float) -> None:
        nonlocal shown
        if int(share * 10) > shown:
            shown = int(share * 10)
            show.say(f"rehearsing: {shown * 10} %")

    done = preview(
        found, plan, picks, runs=runs, skill=skill, searchers=searchers, seed=seed, progress=progress, depths_m=depths
    )
    recorded = _recorded(site, plan)
    done = beside_recorded(done, recorded.times, recorded.left_out)
    if picture is not None:
        drawn = picture_of(found, plan, picks, depths_m=depths)
        picture.write_bytes(drawn.png if picture.suffix == ".png" else drawn.svg.encode())
    if json:
        show.as_json(done.as_json())
    else:
        show.lines(as_lines(done))


def _today(folder: Path, site: Site) -> tuple[list[Candidate], dict[TargetId, float] | None]:
    """The targets as a controller would pick from them, as far as the log knows (not who is heard); and how deep they
    lie today, None where the log says nothing of the snow."""
    import datetime

    from fieldctl.cli.outside import SystemClock, ledger_path
    from fieldctl.controller.memory import Memory, remember
    from fieldctl.drill.candidate import Candidate
    from fieldctl.ledger.reader import Reader
    from fieldctl.site.snow import Readings, burial_now
    from fieldctl.site.whereabouts import put_elsewhere

    memory = Memory()
    if ledger_path(folder).is_file():
        with Reader.read(ledger_path(folder)) as reader:
            memory = remember(reader)
    day, wall = memory.day(site.zone_of()), SystemClock().wall()
    today = None if wall is None else datetime.date.fromisoformat(wall[:10])
    known = Readings(memory.snow.readings, today)
    depths: dict[TargetId, float] = {}
    for place in site.places if memory.snow.readings else ():
        deep = burial_now(place, known, today).depth_m
        if deep is not None and put_elsewhere(place, memory.snow.moved.get(place.target)) is None:
            depths[place.target] = round(deep, 2)
    candidates = [
        Candidate(
            p.target,
            p.zone,
            p.x_m,
            p.y_m,
            depths.get(p.target, p.depth_m),
            None if p.axis is None else p.axis.tilt_deg,
            day.struck_since_renewed(p.target),
            not (why := day.why_not(p.target)),
            why,
        )
        for p in site.places
    ]
    return candidates, depths or None


def _recorded(site: Path, drill: Drill) -> Recorded:
    from fieldctl.cli.outside import ledger_path
    from fieldctl.ledger.reader import Reader
    from fieldctl.rehearsal.recorded import Recorded, recorded_times

    if not ledger_path(site).is_file():
        return Recorded()
    with Reader.read(ledger_path(site)) as reader:
        return recorded_times(reader, drill)


def _read(named: Path, site: Path) -> Drill:
    """The drill of a file, or of that name in the site's drills/."""
    from fieldctl.drill.files import read_drill
    from fieldctl.errors import NotFound
    from fieldctl.site.files import read_text

    by_name = site / "drills" / f"{named.name.removesuffix('.toml')}.toml"
    path = by_name if not named.exists() and named.name == str(named) else named
    if not path.is_file():
        known = ", ".join(sorted(p.stem for p in by_name.parent.glob("*.toml"))) or "none"
        raise NotFound(
            f"There is no drill {named}.", expected=f"a file, or one of {known}", remedy="Name one of these."
        )
    return read_drill(read_text(path, path.name), path.name)
