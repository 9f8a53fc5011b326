"""When something was pressed, by the host's clock: what comes late out of the air starts nothing.

A phone that lost the field keeps what was pressed on it, and the air delivers it whenever it is back. So a page says
with each order when the thumb was there (header X-Fieldctl-Pressed: `at;plus-minus;boot`, in µs of the host's clock as
the live stream tells it, and the host boot in which that clock counts). An order that comes late is refused with words;
a tap that only says when something was keeps its moment; all off and stop are carried out whenever they come.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from fieldctl.errors import BadInput
from fieldctl.units import US_PER_S, HostTime, seconds
from fieldctl.web.problems import TooLate

HEADER = "X-Fieldctl-Pressed"
LATE_US = 5 * US_PER_S  # as old as a page's knowledge may be before it bars orders by itself
NEVER_LATE = ("all-off", "exercise-stop", "walkin-stop")  # they make the field quieter, whenever they come
PATTERN = r"^[0-9]{1,15};[0-9]{1,15};[A-Za-z0-9-]{1,64}$"

_PRESSED = re.compile(PATTERN.removesuffix("$") + r"\Z")


@dataclass(frozen=True, slots=True)
class Pressed:
    """The moment of a press, its ±, how long ago it was when it was read, and whether that was in this boot."""

    at_us: int
    plus_minus_us: int
    ago_us: int
    this_boot: bool = True

    def can_be_dated(self) -> None:
        """TooLate for a moment of a clock that began anew since."""
        if not self.this_boot:
            raise TooLate("The field's computer began anew after this was pressed, so it was not carried out.")

    def in_time(self) -> None:
        """TooLate unless it came in time, by a clock that can tell."""
        self.can_be_dated()
        late_us = max(self.ago_us, self.plus_minus_us)
        if late_us > LATE_US:
            late_s = seconds(late_us)
            raise TooLate(f"It came {late_s:.0f} s late and was not carried out.")


def read_pressed(text: str | None, here: HostTime) -> Pressed | None:
    """What the header says, None without one; BadInput for what it cannot say."""
    if text is None:
        return None
    if not _PRESSED.match(text):
        raise BadInput(
            f"The header {HEADER} cannot be read.",
            expected="at;plus-minus;boot, the first two in microseconds of the host's clock",
            remedy="Send it as the live stream tells the host's clock, or leave it out.",
        )
    at, plus_minus, boot = text.split(";")
    found = Pressed(int(at), int(plus_minus), here.us - int(at), boot == here.boot)
    if found.this_boot and found.ago_us + found.plus_minus_us < 0:
        raise BadInput(
            "The moment of this press has yet to come.",
            expected="a moment of the host's clock that is past",
            remedy="Open the page anew, so that it learns what time it is here.",
        )
    return found
