"""When a thumb was there: a stamp with the ± of a thumb and of the clock that its phone knows the host's by."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.errors import BadInput
from fieldctl.units import TAP_PLUS_MINUS_US, Stamp, micros, seconds

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

AGO_MOST_S = 3600  # as long ago as a tap may lie: what is older is a correction


def tapped(c: Controller, ago_s: float, pressed_us: int | None, plus_minus_us: int) -> Stamp:
    """When a thumb was there: so long ago, or at a moment of the host's clock as its phone knows that clock."""
    here = c.outside.here()
    if pressed_us is not None:
        ago_s = max(0.0, seconds(here.us - pressed_us))  # what lies ahead lies within its ± of now
    if not 0 <= ago_s <= AGO_MOST_S:
        raise BadInput(f"{ago_s:g} s ago cannot be.", expected="0 to 3600 s", remedy="Correct it later instead.")
    return Stamp(here.plus(-micros(ago_s)), TAP_PLUS_MINUS_US + plus_minus_us)
