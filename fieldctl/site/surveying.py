"""Writing down a survey that was made with tapes: one more file in the site's folder of surveys, never a changed one.

    new_survey(folder, site, target, found, made) -> (name, text, place)    faults come before anything is written
    write(folder, name, text)                                               never over a file that is there

`place` is read back from the text, so what is told is what the site will say after its next start.
"""

from __future__ import annotations

import datetime
import os
import pathlib
from dataclasses import dataclass

from fieldctl.errors import Refused
from fieldctl.site.files import SURVEY_FOLDER
from fieldctl.site.model import Place, Site
from fieldctl.site.resurvey import Fix
from fieldctl.site.survey import Known, SurveyText, read_survey
from fieldctl.tables import csv_line
from fieldctl.units import TargetId

COLUMNS = ("target", "x_m", "y_m", "plus_minus_m", "depth_m", "snow_m", "surveyed_on", "method", "note")
A_DAY = 99  # surveys by tape, each a file


@dataclass(frozen=True, slots=True)
class Made:
    """When and how a survey was made; the depth stays as it was where nobody measured it."""

    day: datetime.date
    method: str
    depth_m: float | None = None
    snow_m: float | None = None
    note: str = ""


def new_survey(folder: pathlib.Path, site: Site, target: TargetId, found: Fix, made: Made) -> tuple[str, str, Place]:
    """Name and text of a survey of one target, and its place as the site will read it; Refused, FileFaults."""
    before = site.place(target)
    if before.surveyed_on is not None and before.surveyed_on > made.day:
        raise Refused(
            f"{before.name} was surveyed on {before.surveyed_on}, after {made.day}: the later survey would stand.",
            expected=f"a day from {before.surveyed_on} on",
            remedy="Say the day on which it was measured: --day YEAR-MONTH-DAY.",
        )
    name = _name(folder, made.day)
    if before.surveyed_on == made.day and before.source > name:
        raise Refused(
            f"{before.source} names {before.name} on the same day, and of one day the later file by name counts.",
            expected="one survey of a target a day",
            remedy=f"Take the target out of {before.source}, then do this again.",
        )
    values = (
        target, round(found.x_m, 3), round(found.y_m, 3), round(found.plus_minus_m, 3), made.depth_m, made.snow_m,
        made.day.isoformat(), made.method, made.note or before.note or None,
    )  # fmt: skip
    text = csv_line(COLUMNS) + csv_line(values)
    (place,) = read_survey(SurveyText(name, text), Known.of(site))
    return name, text, place


def _name(folder: pathlib.Path, day: datetime.date) -> str:
    for number in range(1, A_DAY + 1):
        name = f"{SURVEY_FOLDER}/{day.isoformat()}-resurvey-{number:02d}.csv"
        if not (folder / name).exists():
            return name
    raise Refused(
        f"There are {A_DAY} surveys by tape of {day} already.",
        expected=f"at most {A_DAY} a day",
        remedy="Put them together into one file.",
    )


def write(folder: pathlib.Path, name: str, text: str) -> pathlib.Path:
    """Write a new survey; Refused where that cannot be done, and then nothing is left behind."""
    path = folder / name
    try:
        path.parent.mkdir(exist_ok=True)
        with path.open("x", encoding="utf-8", newline="") as file:  # x: never over what appeared since
            try:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            except OSError:
                path.unlink(missing_ok=True)
                raise
    except OSError as error:
        raise Refused(
            f"{path} cannot be written: {error.strerror}.",
            expected="a folder that this user may write to, with room",
            remedy="Mend that, and do this again.",
        ) from None
    return path
