"""The base's own supply and the club's kit: what a person read or saw of it."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId


@dataclass(frozen=True, slots=True)
class KitRead(Fact):
    """Somebody read or saw something of an item (its name in site.toml) on a day (YEAR-MONTH-DAY).

    found: read (volts at rest, or percent as it shows itself), fine, broken (`notes` says what), lent (to a person's
    id), missing.
    """

    item: str
    day: str
    found: str
    by: PersonId
    at: HostTime
    volts: float | None = None
    celsius: float | None = None
    percent: float | None = None
    lent_to: str = ""
    notes: str = ""
