"""What a phone ticked while the field did not hear it: when that was, and on which day."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldctl.errors import BadInput
from fieldctl.units import TAP_PLUS_MINUS_US, US_PER_S, HostTime, Stamp, micros, seconds

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

AGO_MOST_US = 40 * 86_400 * US_PER_S  # a phone that nobody took up again for so long has forgotten what was done
TEXT_MOST = 500  # letters of a reason


@dataclass(frozen=True, slots=True)
class Ticked:
    """When something was ticked (None: nobody can tell, the host was rebooted since), and its day ("": nor that)."""

    made: Stamp | None
    day: str


def ticked(c: Controller, at_us: int | None, boot: str, plus_minus_s: float, day: str) -> Ticked:
    """Check what a phone says; now where it says no moment. The day is ours where we can tell, else the phone's."""
    here, wall = c.outside.here(), c.outside.clock.wall()
    if day and not _is_day(day):
        raise BadInput(f"{day!r} is no day.", expected="YEAR-MONTH-DAY", remedy="Such as 2026-01-24.")
    if at_us is not None and boot != here.boot:
        return Ticked(None, _phones_day(day, wall))
    ago_us = 0 if at_us is None else max(0, here.us - at_us)  # a phone cannot be ahead of us: its clock is
    if ago_us > AGO_MOST_US:
        raise _too_long_ago()
    plus_minus_us = TAP_PLUS_MINUS_US if at_us is None else max(TAP_PLUS_MINUS_US, micros(plus_minus_s))
    made = Stamp(HostTime(here.boot, here.us - ago_us), plus_minus_us)
    return Ticked(made, day_ago(wall, seconds(ago_us)) or day)


def _is_day(day: str) -> bool:
    try:
        return datetime.date.fromisoformat(day).isoformat() == day
    except ValueError:
        return False


def _phones_day(day: str, wall: str | None) -> str:
    """The day as a phone says it, today at most; a phone whose clock is wrong by weeks knows no day."""
    today, first = day_ago(wall), day_ago(wall, seconds(AGO_MOST_US))
    if day and day < first:
        raise _too_long_ago()
    return min(day, today) if day and today else day or today


def _too_long_ago() -> BadInput:
    return BadInput(
        "Nothing can have been ticked then.",
        expected="at most 40 days ago",
        remedy="Say the day: fieldctl upkeep swapped TARGET --day YEAR-MONTH-DAY.",
    )


def told_later_s(made: Stamp | None, at: HostTime) -> float | None:
    """How long after it was made the field heard of it; None where nobody can tell."""
    return None if made is None or made.at.boot != at.boot else round(seconds(at - made.at), 1)


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
