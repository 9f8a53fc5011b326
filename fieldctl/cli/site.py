"""fieldctl site: begin a site, check its files, read a survey."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Annotated

import typer

from fieldctl.cli import show
from fieldctl.cli.cautions import CAUTIONS
from fieldctl.cli.common import HERE, AsJson, SiteDir
from fieldctl.cli.outside import make_key
from fieldctl.cli.site_place import no_go, places, resurvey
from fieldctl.cli.site_snow import snow

site = typer.Typer(
    help="Begin a site, check its files, survey it; where its targets lie, and how deep the snow is.",
    no_args_is_help=True,
)
site.add_typer(snow, name="snow")
site.command(epilog="Example:  fieldctl site places --site larch-hollow")(places)
site.command(epilog="Example:  fieldctl site resurvey 'Larch 1' --from 'red post=73.0' --from 'hut corner=99.0'")(
    resurvey
)
site.command("no-go", epilog="Example:  fieldctl site no-go --geojson > no-go.geojson")(no_go)


@site.command(
    epilog="Example:  fieldctl site new larch-hollow   (an invented site with twelve targets and four drills)"
)
def new(folder: Annotated[Path, typer.Argument(help="A new or empty folder.")], json: AsJson = False) -> None:
    """Write a commented site.toml, four example drills and the site's key; nothing existing is touched."""
    from fieldctl.site.new import new_site

    written = new_site(folder)
    key = make_key(folder)
    if json:
        show.as_json({"written": [str(p) for p in written], "key": str(key)})
        return
    show.lines(f"wrote {path}" for path in (*written, key))
    print()
    show.lines(CAUTIONS)
    print(f"\nNext: look through {folder}/site.toml, then: fieldctl serve --site {folder}")


@site.command(epilog="Example:  fieldctl site check --site larch-hollow")
def check(site: SiteDir = HERE, json: AsJson = False) -> None:
    """Read site.toml, surveys and drills, and name every fault with its line."""
    from fieldctl.drill.files import read_drill
    from fieldctl.errors import Fault, FileFaults
    from fieldctl.site.files import load_site, read_text

    faults: list[Fault] = []
    targets, closing = 0, None
    try:
        found_site = load_site(site)
        targets, closing = len(found_site.places), found_site.upkeep.closing_day
    except FileFaults as found:
        faults += found.faults
    drills = sorted((site / "drills").glob("*.toml"))
    for path in drills:
        try:
            read_drill(read_text(path, f"drills/{path.name}"), f"drills/{path.name}")
        except FileFaults as found:
            faults += found.faults
    if faults:
        raise FileFaults(faults)
    notes = []
    if closing is not None and closing < datetime.datetime.now(datetime.UTC).date():
        from fieldctl.upkeep.words import say

        notes.append(say("closing-past", day=closing.isoformat()))
    row = {"targets": targets, "drills": [p.stem for p in drills], "notes": notes}
    if json:
        show.as_json(row)
    else:
        show.lines([f"No fault: {targets} targets, {len(drills)} drills.", *notes])


@site.command(epilog="Example:  fieldctl site survey field.gpx --site larch-hollow")
def survey(
    file: Annotated[Path, typer.Argument(help="GeoJSON, GPX, or CSV in metres.")],
    site: SiteDir = HERE,
    json: AsJson = False,
) -> None:
    """Look at a survey as the site would read it; put the file into surveys/ to use it."""
    from fieldctl.site.files import load_site, read_text
    from fieldctl.site.survey import Known, SurveyText, as_toml, read_survey

    places = read_survey(SurveyText(file.name, read_text(file, file.name)), Known.of(load_site(site)))
    if json:
        rows = [{"target": p.target, "x_m": p.x_m, "y_m": p.y_m, "depth_m": p.depth_m} for p in places]
        show.as_json({"places": rows})
    else:
        print(as_toml(places))
        show.say(f"To use it, copy {file} into {site / 'surveys'}/ and start serve again.")
