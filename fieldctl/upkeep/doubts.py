"""A change that was ticked at one target and shows at another: what each target's readings show, held side by side.

    seen_of(hours, battery, ticks) -> Seen     one target's clean days, and the history that its last day belongs to
    side_by_side(seen)     -> the same          ticks that nothing shows are questions where another changed unticked
    other_of(seen, target, question)            the target that a question is about as well

Cells that were nearly full, or of a flat curve, do not show that they gave way to fresh ones: there the person is
believed. But where somebody ticked the wrong target, the right one shows a change that nobody ticked; so such a tick is
not believed while that stands open. Who answers it for the one believes the other again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fieldctl.site.model import Battery
from fieldctl.units import TargetId
from fieldctl.upkeep.readings import Clean, Daily, Hours, clean, daily
from fieldctl.upkeep.swaps import History, Question, history

NEAR_DAYS = 3.0  # by which a tick may lie beside the change that it means
AGAINST: Mapping[Question, Question] = {"ticked-not-done": "done-not-ticked", "done-not-ticked": "ticked-not-done"}


@dataclass(frozen=True, slots=True)
class Seen:
    """What one target's readings show: all its days, and which of them are of the battery that is in."""

    battery: Battery
    cleaned: Clean
    days: Daily
    ticks: tuple[float, ...]
    history: History


def seen_of(hours: Hours, battery: Battery, ticks: Sequence[float]) -> Seen:
    """One target's by itself."""
    cleaned = clean(hours, battery)
    days = daily(cleaned.hours, battery.load_a)
    return Seen(battery, cleaned, days, tuple(ticks), history(days, battery, ticks))


def side_by_side(seen: Mapping[TargetId, Seen]) -> dict[TargetId, Seen]:
    """Every target's, with those ticks in doubt that another target's unticked change may have been meant by."""
    changed = [(target, day) for target, each in seen.items() for day in _days(each.history, "done-not-ticked")]
    found = {}
    for target, each in seen.items():
        doubted = tuple(
            tick
            for tick in each.history.unseen
            if any(other != target and abs(day - tick) <= NEAR_DAYS for other, day in changed)
        )
        if doubted:
            each = replace(each, history=history(each.days, each.battery, each.ticks, doubted))
        found[target] = each
    return found


def other_of(seen: Mapping[TargetId, Seen], target: TargetId, question: Question, asked: float) -> TargetId | None:
    """Who was changed without a tick where this one was ticked without a change, or the other way round."""
    for other, each in seen.items():
        days = _days(each.history, AGAINST[question])
        if other != target and any(abs(day - asked) <= NEAR_DAYS for day in days):
            return other
    return None


def _days(found: History, question: Question) -> list[float]:
    return [day for key, day in found.questions if key == question]
