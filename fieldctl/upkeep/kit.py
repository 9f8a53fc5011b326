"""The base's own supply and the club's kit: what people read and saw of them, and what to do, most urgent first.

    kit_account(kit, reads, rules, today) -> rows      pure; `reads` are `KitRead` in order of the log

What runs on something is looked at by its charge (`kit_charge`), the rest by eye. What was found broken stays so until
somebody finds it fine; what is lent or missing is back when somebody reads or sees it again.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from fieldctl.events import KitRead
from fieldctl.site.model import Battery, Kit, UpkeepRules
from fieldctl.units import PersonId
from fieldctl.upkeep.account import ASKED_DAYS, ORDER, Finding, State
from fieldctl.upkeep.kit_charge import Basis, Said, Supply, asked_for, day_of_read, found, had_in_the_cold, supply_of
from fieldctl.upkeep.readings import day_number

AWAY = ("lent", "missing")
POWERED = ("base", "transceiver", "radio", "lamp")  # looked at by their charge; the others by eye


@dataclass(frozen=True, slots=True)
class KitRow:
    """One item's account: shares 0 to 1, None where nothing is claimed; days are day numbers; people by name."""

    name: str
    kind: str
    note: str
    battery: Battery | None
    state: State
    advice: str
    share: float | None
    low: float | None
    high: float | None
    had_low: float | None  # of the full charge, what can be had in the cold that was measured with it
    had_high: float | None
    basis: Basis
    volts: float | None
    celsius: float | None
    read_on: float | None  # when its charge was read
    seen_on: float | None  # when somebody had it in hand, and who
    seen_by: str
    lent_to: str
    notes: str  # with the last word of it
    findings: tuple[Finding, ...]

    @property
    def wants_cells(self) -> bool:
        """Fresh cells are to be taken along for it."""
        return self.advice in ("change-now", "change-soon")


def kit_account(
    kit: Sequence[Kit],
    reads: Sequence[KitRead],
    rules: UpkeepRules,
    today: datetime.date,
    names: Mapping[PersonId, str] = MappingProxyType({}),
) -> tuple[KitRow, ...]:
    """Every item as of a day; what was read of an item that the file names no more is told for a while.

    `names` are those of people by id; who has none here is called by the id.
    """
    now = float(day_number(today))
    past = sorted((read for read in reads if day_of_read(read) <= now), key=day_of_read)  # of a day: as the log has it
    known = {item.name for item in kit}
    gone = {read.item: read for read in past if read.item not in known and now - day_of_read(read) <= ASKED_DAYS}
    rows = [_row(item, [read for read in past if read.item == item.name], rules, now) for item in kit]
    rows += [_gone(read) for read in gone.values()]
    rows = [replace(row, seen_by=_who(row.seen_by, names), lent_to=_who(row.lent_to, names)) for row in rows]
    return tuple(sorted(rows, key=lambda row: (ORDER.index(row.state), row.kind != "base", row.name)))


def _who(person: str, names: Mapping[PersonId, str]) -> str:
    return names.get(PersonId(person), person)


def _gone(read: KitRead) -> KitRow:
    day = day_of_read(read)
    return KitRow(
        read.item, "other", "", None, "unknown", "gone", None, None, None, None, None, "none", None, None, None, day,
        read.by, read.lent_to, read.notes, (found("gone", "sure", day),),
    )  # fmt: skip


def _row(item: Kit, reads: Sequence[KitRead], rules: UpkeepRules, now: float) -> KitRow:
    hand = [read for read in reads if read.found not in AWAY]
    last = reads[-1] if reads else None
    seen = hand[-1] if hand else None
    charge = next((read for read in reversed(hand) if read.found == "read"), None)
    supply = Supply() if charge is None else supply_of(item, charge, rules)
    if last is not None and last.found in AWAY:
        said = [_away(last, rules, now)]
    else:
        powered = item.kind in POWERED or item.battery is not None
        looked = _looked_at(charge if powered else seen, "read" if powered else "look", rules, now)
        said = [_broken(hand), looked, asked_for(item, supply), (("holds", "holds"), ())]
    state, advice = min((want for want, _ in said if want is not None), key=lambda want: ORDER.index(want[0]))
    had_low, had_high = had_in_the_cold(item, supply)
    return KitRow(
        item.name,
        item.kind,
        item.note,
        item.battery,
        state,
        advice,
        supply.share,
        supply.low,
        supply.high,
        had_low,
        had_high,
        supply.basis,
        volts=None if charge is None else charge.volts,
        celsius=None if charge is None else charge.celsius,
        read_on=None if charge is None else day_of_read(charge),
        seen_on=None if seen is None else day_of_read(seen),
        seen_by="" if seen is None else seen.by,
        lent_to=last.lent_to if last is not None and last.found == "lent" else "",
        notes="" if last is None or last.found == "broken" else last.notes,  # what is broken stands in its finding
        findings=tuple(finding for _, findings in said for finding in findings),
    )


def _away(last: KitRead, rules: UpkeepRules, now: float) -> Said:
    """Out on loan, or not there when it was counted."""
    day = day_of_read(last)
    if last.found == "missing":
        return ("now", "look-for"), (found("missing", "sure", day),)
    if now - day > rules.kit_days:
        return ("soon", "fetch"), (found("lent-long", "sure", day, days=int(now - day)),)
    return ("later", "lent"), (found("lent", "sure", day),)


def _broken(hand: Sequence[KitRead]) -> Said:
    last = next((read for read in reversed(hand) if read.found in ("fine", "broken")), None)
    if last is None or last.found == "fine":
        return None, ()
    return ("now", "mend"), (found("broken", "sure", day_of_read(last), what=last.notes),)


def _looked_at(looked: KitRead | None, way: str, rules: UpkeepRules, now: float) -> Said:
    """Never looked at, or not for longer than the site wants; `way` is how it is looked at."""
    if looked is None:
        return ("unknown", way), (found("never", "sure", None, way),)
    since = day_of_read(looked)
    if now - since <= rules.kit_days:
        return None, ()
    return ("soon", way), (found("overdue", "sure", since, way, days=int(now - since)),)
