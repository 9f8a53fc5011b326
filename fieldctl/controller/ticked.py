"""What a phone ticked while the field did not hear it: how long ago, and on which day that was."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldctl.errors import BadInput

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

AGO_MOST_S = 40 * 86_400.0  # a phone that nobody took up again for so long has forgotten what was done
PLUS_MINUS_MOST_S = 86_400.0
TEXT_MOST = 500  # letters of a reason
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}\Z")


@dataclass(frozen=True, slots=True)
class Ticked:
    """A moment as a phone tells it: seconds ago with their ±, and its day ("" where nobody knows)."""

    ago_s: float
    plus_minus_s: float
    day: str


def ticked(c: Controller, ago_s: float, plus_minus_s: float, day: str) -> Ticked:
    """Check what a phone says; the day follows from our wall clock, and from the phone's where we have none."""
    if not 0 <= ago_s <= AGO_MOST_S or not 0 <= plus_minus_s <= PLUS_MINUS_MOST_S:
        raise BadInput(
            "Nothing can have been ticked then.",
            expected="at most 40 days ago, to within a day",
            remedy="Tick it anew, or say the day: fieldctl upkeep swapped TARGET --day YEAR-MONTH-DAY.",
        )
    if day and not _DAY.match(day):
        raise BadInput(f"{day!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as 2026-01-24.")
    return Ticked(ago_s, plus_minus_s, day_ago(c.outside.clock.wall(), ago_s) or day)


def day_ago(wall: str | None, ago_s: float = 0.0) -> str:
    """The day so many seconds before a wall label; "" where there is no label."""
    if wall is None:
        return ""
    return (datetime.datetime.fromisoformat(wall) - datetime.timedelta(seconds=ago_s)).date().isoformat()


def bounded(text: str) -> str:
    """A reason or a note without blanks around it; BadInput for one that is too long."""
    text = " ".join(text.split())
    if len(text) > TEXT_MOST:
        raise BadInput("The note is too long.", expected=f"at most {TEXT_MOST} letters", remedy="Shorten it.")
    return text
