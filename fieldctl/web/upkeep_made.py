"""The upkeep pages' contents as they are made in the other process: the whole list in every language, or one history.

    make_list(ledger, site, today) -> Made        kept by `upkeep_kept` and shown to many readers
    make_history(ledger, site, language, target, today) -> (name, markup)

Where the machine has no clock set, `today` is None and the last day that the log knows stands for it.
"""

from __future__ import annotations

import datetime
from typing import Any

from fieldctl.errors import NotFound
from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Site
from fieldctl.site.whereabouts import Whereabouts, whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep.charts import Mark, by_weeks, drawn, in_words
from fieldctl.upkeep.history import History, Picture, read_history
from fieldctl.upkeep.moments import Moment
from fieldctl.upkeep.moments import in_words as moment_in_words
from fieldctl.upkeep.read import read_upkeep
from fieldctl.upkeep.readings import date_of, day_number
from fieldctl.upkeep.snow_log import read_snow
from fieldctl.upkeep.words import Words, say, words_of
from fieldctl.web import words
from fieldctl.web.paper import fragment
from fieldctl.web.sayings import speaker
from fieldctl.web.upkeep_kept import Made, Shown, ShownRow
from fieldctl.web.upkeep_said import said_list, said_row

MOMENTS_OPEN = 40  # the latest, that are shown at once
STRUCK = "struck"  # a line for every day: apart from the others


def make_list(ledger: str, site: Site, today: datetime.date | None) -> Made:
    """Work the whole list out."""
    with Reader.read(ledger) as reader:
        entry = reader.head()[0]
        day = today or last_day(reader)
        account = read_upkeep(reader, site, day)
        places = _places(reader, site, today)
    said = {}
    for language in words.LANGUAGES:
        values = said_list(account, site, places, language)
        rows = tuple(
            ShownRow(
                row["target"], row["state"],
                fragment("upkeep_row.html", language, row=row, alone=False),
                fragment("upkeep_values.html", language, row=row),
                fragment("upkeep_swap.html", language, target=row["target"], name=row["name"], today=today or ""),
            )
            for row in values["rows"]
        )  # fmt: skip
        head, foot = (fragment(name, language, **values) for name in ("upkeep_head.html", "upkeep_kit.html"))
        said[language] = Shown(head, rows, foot)
    return Made(entry, day.isoformat(), said)


def last_day(reader: Reader) -> datetime.date:
    """The last day that the log knows of."""
    labels = [row[3] for row in reader.telemetry_hours() if row[3] is not None]
    return datetime.date.fromisoformat(max(labels)[:10]) if labels else date_of(0)


def _places(reader: Reader, site: Site, today: datetime.date | None) -> dict[TargetId, Whereabouts]:
    snow = read_snow(reader)
    return {place.target: whereabouts(site, place.target, snow, today) for place in site.places}


def make_history(
    ledger: str, site: Site, language: str, target: TargetId, today: datetime.date | None
) -> tuple[str, str]:
    """One target's name and history; NotFound for a target that the site does not have."""
    if target not in site.targets:
        raise NotFound(f"There is no target {target!r}.", remedy="Choose one from the upkeep page.")
    with Reader.read(ledger) as reader:
        found = read_history(reader, site, target, today or last_day(reader))
        place = whereabouts(site, target, read_snow(reader), today)
    w = words_of(language)
    row = said_row(found.row, found.upkeep, site, place, language)
    told = [said_moment(moment, language) for moment in reversed(found.moments)]
    moments = [one for one in told if one["key"] != STRUCK]
    markup = fragment(
        "upkeep_history.html",
        language,
        row=row,
        pictures=[said_picture(picture, found, w) for picture in found.pictures],
        moments=moments[:MOMENTS_OPEN],
        older=moments[MOMENTS_OPEN:],
        struck=[one for one in told if one["key"] == STRUCK],
        left_out=say("moment.left-out", w, n=found.left_out) if found.left_out else "",
    )
    return found.row.place.name, markup


def said_picture(picture: Picture, history: History, w: Words) -> dict[str, Any]:
    """One picture with what stands beside it: the names of its lines, sentences, a table for each line."""
    marks: list[Mark] = [(day, "fresh") for day in history.swaps]
    if history.upkeep.closing is not None:
        marks.append((float(day_number(history.upkeep.closing)), "closing"))
    return {
        "title": say(f"picture.{picture.key}", w),
        "svg": drawn(picture, w, marks),
        "lines": [
            {"name": say(f"line.{line.key}", w), "ahead": line.ahead, "rows": by_weeks(line)} for line in picture.lines
        ],
        "says": in_words(picture, w),
    }


def said_moment(moment: Moment, language: str) -> dict[str, str]:
    """A moment's time and sentence, with the words that a person or the controller said of it."""
    w = words_of(language)
    says, text = moment_in_words(moment, w)
    return {
        "when": moment.when,
        "day": moment.day or say("moment.no-day", w),
        "key": moment.key,
        "says": says,
        "text": speaker(language)(text) if text else "",
    }
