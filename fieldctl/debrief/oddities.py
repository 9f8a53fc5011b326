"""What is out of the ordinary in an exercise, listed and never hidden; and what is missing, said and never invented."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from fieldctl.debrief.model import BurialDebrief, StrikeRow
from fieldctl.debrief.reading import USUAL_SPLITS, Reading
from fieldctl.debrief.stretches import key_marks
from fieldctl.debrief.words import Said, clock, length, listed, name_of_split, said
from fieldctl.events import CallMade, OrderEnded, SignalDue, SignalOn, StrikesDropped, TargetOdd
from fieldctl.keying import PERIOD_MAX_MS
from fieldctl.units import US_PER_MS, TargetId

LATE_US = PERIOD_MAX_MS * US_PER_MS  # one longest period: sooner no receiver could have told
MANY_STRIKES = 20  # on one pad in one exercise: probing beside it, or a pad that chatters


def anomalies_of(reading: Reading, burials: Sequence[BurialDebrief], strikes: Sequence[StrikeRow]) -> tuple[Said, ...]:
    """Everything odd, in a fixed order."""
    rows: list[Said] = []
    shift = reading.result.shift_us
    if shift:
        rows.append(said("odd.shift" if shift > 0 else "odd.shift-earlier", length=length(shift)))
    for b in burials:
        rows += _of_burial(reading, b)
        count = sum(1 for s in strikes if s.burial == b.burial)
        if count >= MANY_STRIKES:
            rows.append(said("odd.strikes-many", burial=b.burial, count=count))
    rows += _of_targets(reading, {b.target: b for b in burials})
    boots = len(reading.recorded.boots)
    if boots > 1:
        rows.append(said("odd.clock", count=boots - 1))
    if reading.result.state in ("all-off", "ledger-failed"):
        rows.append(said(f"odd.{reading.result.state}"))
    rows += [said("note", text=text) for text in reading.amended.unusable]
    return tuple(rows)


def _of_burial(reading: Reading, b: BurialDebrief) -> list[Said]:
    rows = []
    early = any(text == f"{b.burial} was found before its signal was on" for text in reading.result.anomalies)
    if early:
        rows.append(said("odd.before-signal", burial=b.burial))
    rows += _late(reading, b.burial)
    if any(until is None for _, until in b.sent) and reading.end_us is not None:
        rows.append(said("odd.end-unknown", burial=b.burial))
    chain = [m for m in key_marks(b.marks) if m.name in ("signal", "coarse", "fine", "hit", "airway")]
    order = ("signal", "coarse", "fine", "hit", "airway")
    for sooner, later in pairwise(chain):
        apart = later.at_us - sooner.at_us > sooner.plus_minus_us + later.plus_minus_us
        if apart and order.index(sooner.name) > order.index(later.name):
            late, early_name = name_of_split(sooner.name), name_of_split(later.name)
            rows.append(said("odd.disorder", burial=b.burial, late=late, early=early_name))
    return rows


def _late(reading: Reading, burial: str) -> list[Said]:
    """Signals that came more than a period after their moment, or not at all."""
    dues = [us for f in reading.all_of(SignalDue) if f.burial == burial and (us := reading.since(f.at)) is not None]
    ons = [(us, f) for f in reading.all_of(SignalOn) if f.burial == burial and (us := reading.since(f.at)) is not None]
    rows = []
    for i, due in enumerate(dues):
        until = dues[i + 1] if i + 1 < len(dues) else None
        on = next(((us, f) for us, f in ons if us + f.at.plus_minus_us >= due and (until is None or us < until)), None)
        if on is not None and on[0] - due > LATE_US + on[1].at.plus_minus_us:
            rows.append(said("odd.late", burial=burial, length=length(on[0] - due), due=clock(due), on=clock(on[0])))
    if dues and not ons:
        rows.append(said("odd.never-on", burial=burial, due=clock(dues[0])))
    return rows


def _of_targets(reading: Reading, by_target: dict[TargetId, BurialDebrief]) -> list[Said]:
    rows: list[Said] = []
    for fact in reading.all_of(StrikesDropped):
        if (b := by_target.get(fact.target)) is not None:
            rows.append(said("odd.dropped", target=b.target_name, burial=b.burial, count=fact.count))
    for odd in reading.all_of(TargetOdd):
        if (b := by_target.get(odd.target)) is not None:
            rows.append(said("odd.target", target=b.target_name, burial=b.burial, detail=odd.detail))
    for order in reading.all_of(OrderEnded):
        b = by_target.get(order.target)
        if b is not None and order.outcome == "late":
            late = length(order.late_us)
            rows.append(said("odd.order-late", target=b.target_name, burial=b.burial, length=late))
    return rows


def missing_of(reading: Reading, burials: Sequence[BurialDebrief]) -> tuple[Said, ...]:
    """What a reader would look for and is not there."""
    rows = []
    if reading.end_us is None:
        last = "0:00" if reading.last_us is None else clock(reading.last_us)
        rows.append(said("missing.end", last=last))
    open_ones = [b.burial for b in burials if b.found is None]
    if len(open_ones) == len(burials):
        rows.append(said("missing.nothing"))
    elif open_ones:
        rows.append(said("missing.found", names=listed(open_ones)))
    bare = [b.burial for b in burials if not any(m.name in USUAL_SPLITS or m.by == "thumb" for m in b.marks)]
    if bare:
        rows.append(said("missing.moments", names=listed(bare)))
    tapped = any(isinstance(f, CallMade) for f in reading.facts)
    quiet = [
        b.burial
        for b in burials
        if any(m.name == "hit" for m in b.marks) and not any(m.name == "call" and m.counts for m in b.marks)
    ]
    if quiet and not tapped:
        rows.append(said("missing.call", names=listed(quiet)))
    airless = [b.burial for b in burials if b.found is not None and not any(m.name == "airway" for m in b.marks)]
    if airless:
        rows.append(said("missing.airway", names=listed(airless)))
    rows += _places(reading, burials)
    undated = sum(1 for f in reading.result.to_judge if f.at_us is None)
    if undated:
        rows.append(said("missing.undated", count=undated))
    return tuple(rows)


def _places(reading: Reading, burials: Sequence[BurialDebrief]) -> list[Said]:
    rows = []
    if lost := [b.burial for b in burials if b.where is None]:
        rows.append(said("missing.place", names=listed(lost)))
    coils = [b.burial for b in burials if b.sends and b.where is not None and b.where.tilt_deg is None]
    if coils:
        rows.append(said("missing.coil", names=listed(coils)))
    if len(reading.drill.scene.outline_m) < 3:
        rows.append(said("missing.outline"))
    return rows
