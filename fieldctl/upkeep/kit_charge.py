"""What one reading says of the charge of the base's supply or of a piece of kit, and what that asks for.

    supply_of(item, read, rules) -> Supply      by volts at rest, or by the item's own display
    asked_for(item, supply)      -> what that asks for, if anything, and what is odd about it
    CHANGE_AT                                   from which charge on what is changed or charged, and who says so

Volts that a person reads at rest go through the same curves as those of buried cells, with the same interval, and make
no percentage where the curve is too flat. One reading tells of no resistance and no use, so nothing is forecast. What
an item shows of itself is repeated and not vouched for.
"""

from __future__ import annotations

import datetime
from typing import Any, Literal, NamedTuple

import numpy as np

from fieldctl.events import KitRead
from fieldctl.site.model import Battery, Kit, UpkeepRules
from fieldctl.upkeep.account import Finding, State, Sure
from fieldctl.upkeep.curves import CELLS, cold_keeps, freezes_c, rest_v
from fieldctl.upkeep.estimate import believe, estimate
from fieldctl.upkeep.readings import Hours, clean, daily, day_number

Basis = Literal["volts", "display", "nothing", "none"]
RECHARGED = ("li-ion", "lifepo4", "lead-acid")
CHARGING_SPREADS = 4.0  # of a make, above a full cell at rest: its charger was at it, or had been a moment before
DISPLAY_NEAR = 0.10  # a display within so much of the limit may be there already, or be next week
FREEZES_NEAR_C = 2.0

Want = tuple[State, str]
"""A state, and the key of the advice that goes with it."""

Said = tuple[Want | None, tuple[Finding, ...]]
"""What one look at an item asks for, if anything, and what it found."""


class ChangeAt(NamedTuple):
    """From which share of charge on a kind is changed or charged, and where that comes from."""

    kind: str
    share: float
    source: str


NEEDED = "rule of this house: as worn transceivers, it is needed in an alarm"
OTHERS = "rule of this house"
CHANGE_AT = {
    row.kind: row
    for row in (
        ChangeAt("transceiver", 0.5, "common practice for worn transceivers, no source; not for buried cells"),
        ChangeAt("base", 0.5, "rule of this house: what carries the field is charged before it is half empty"),
        ChangeAt("radio", 0.5, NEEDED),
        ChangeAt("lamp", 0.5, NEEDED),
        ChangeAt("probe", 0.3, OTHERS),
        ChangeAt("shovel", 0.3, OTHERS),
        ChangeAt("other", 0.3, OTHERS),
    )
}
"""A battery's own `change_at` in site.toml comes before these. Buried cells have no row: they follow their forecast."""


class Supply(NamedTuple):
    """What one reading says of the charge."""

    share: float | None = None
    low: float | None = None
    high: float | None = None
    basis: Basis = "none"
    celsius: float | None = None  # that can be believed
    findings: tuple[Finding, ...] = ()


def day_of_read(read: KitRead) -> float:
    """The day number of a reading."""
    return float(day_number(datetime.date.fromisoformat(read.day)))


def found(key: str, sure: Sure, since: float | None = None, remedy: str = "", **values: Any) -> Finding:
    """A finding about kit; `remedy` where it is another than its own."""
    return Finding(f"kit-{key}", sure, since, values, f"kit-{remedy}" if remedy else "", "kit")


def asked_for(item: Kit, supply: Supply) -> Said:
    """What the charge asks for: by its middle now, by the lower end of its interval soon."""
    odd = supply.findings
    if supply.basis == "none":
        empty = any(finding.key == "kit-empty" for finding in odd)
        want: Want = ("now", _remedy(item, "now")) if empty else ("unknown", "read")
        return (want if odd else None), odd
    if supply.share is None:
        return (("soon", "charge-unsure") if _charged(item) else ("unknown", "flat")), odd
    own = None if item.battery is None else item.battery.change_at
    limit = CHANGE_AT[item.kind].share if own is None else own
    low = supply.share - DISPLAY_NEAR if supply.low is None else supply.low
    if supply.share <= limit:
        return ("now", _remedy(item, "now")), odd
    return (("soon", _remedy(item, "soon")) if low <= limit else None), odd


def _charged(item: Kit) -> bool:
    return item.battery is not None and item.battery.chemistry in RECHARGED


def _remedy(item: Kit, when: str) -> str:
    return f"{'charge' if _charged(item) else 'change'}-{when}"


def supply_of(item: Kit, read: KitRead, rules: UpkeepRules) -> Supply:
    """What volts at rest or the item's own display say."""
    if read.percent is not None:
        return Supply(read.percent / 100.0, None, None, "display")
    battery, day = item.battery, day_of_read(read)
    if battery is None or read.volts is None:
        return Supply(findings=(found("kind-unknown", "sure", day),))
    nan = float("nan")
    warm = nan if read.celsius is None else read.celsius
    one = Hours(*(np.array([value]) for value in (day, read.volts, nan, warm, nan)))
    cleaned = clean(one, battery)
    values: dict[str, Any] = {"value": read.volts, "cells": battery.cells, "chemistry": battery.chemistry}
    kept = {each.key for each in cleaned.kept_out}
    odd = (found("thermometer", "perhaps", day, value=warm),) if "thermometer" in kept else ()
    if kept & {"no-volts", "wrong-way-round"}:
        return Supply(findings=(*odd, found("empty", "likely", day, **values)))
    if "too-many-volts" in kept:
        return Supply(findings=(*odd, found("too-many-volts", "likely", day, **values)))
    kind = battery.chemistry
    if read.volts > battery.cells * (float(rest_v(kind, np.array(1.0))) + CHARGING_SPREADS * CELLS[kind].spread_v):
        return Supply(findings=(*odd, found("charging", "likely", day, **values)))
    said = estimate(believe(battery, daily(cleaned.hours, battery.load_a), fresh=False))
    if said.share is None:
        return Supply(basis="nothing", findings=odd)
    celsius = None if odd else read.celsius
    freezing = _may_freeze(battery, said.low, celsius, rules)
    return Supply(said.share, said.low, said.high, "volts", celsius, (*odd, *freezing))


def _may_freeze(battery: Battery, low: float | None, celsius: float | None, rules: UpkeepRules) -> tuple[Finding, ...]:
    cold = min((each for each in (celsius, rules.expected_c) if each is not None), default=0.0)
    if battery.chemistry != "lead-acid" or low is None or freezes_c(low) <= cold - FREEZES_NEAR_C:
        return ()
    return (found("may-freeze", "perhaps", None, freezes=freezes_c(low), cold=cold),)


def had_in_the_cold(item: Kit, supply: Supply) -> tuple[float | None, float | None]:
    """What of it can be had while it is so cold; None where that is not known."""
    if item.battery is None or supply.celsius is None or supply.low is None or supply.high is None:
        return None, None
    kept = float(cold_keeps(item.battery.chemistry, np.array(supply.celsius)))
    return max(0.0, supply.low - kept), max(0.0, supply.high - kept)
