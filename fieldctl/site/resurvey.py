"""A target's place from tapes to stakes, with its own ±, and how far it has moved since it was surveyed before.

    fix(tapes, near, side) -> Fix       where two tapes or more meet; BadInput where nobody can tell
    way_between(old, new) -> Move       how far and which way, and whether that is beyond both ±

Tapes are level metres. Of two tapes the point is x = (a² - b² + c²) / 2c along the line of the stakes and
√(a² - x²) beside it (textbook), on the side where the target lay before, or on the one that is named. Its ± is the
distance to the farthest of the four points that the tapes' own ± allow: on a circle around a stake the distance grows
with the angle, so none of the points between is farther. A third tape tells the side and checks the two others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import atan2, degrees, hypot, isinf, sqrt
from typing import Literal

from fieldctl.errors import BadInput
from fieldctl.site.model import Place, Stake

Side = Literal["left", "right"]

TAPE_M = 0.1  # of a tape, whatever its length, and of a stake that leans (common practice, no source)
TAPE_SHARE = 0.01  # of its length: sag, slope, wind (common practice, no source)
MOST_M = 5.0  # a place with a wider ± than this is not worth writing down: nobody finds a target by it


@dataclass(frozen=True, slots=True)
class Tape:
    """A level distance to a stake."""

    stake: Stake
    length_m: float

    @property
    def plus_minus_m(self) -> float:
        """The ± of the distance."""
        return TAPE_M + TAPE_SHARE * self.length_m


@dataclass(frozen=True, slots=True)
class Fix:
    """A place by tapes; `chosen` tells what told the side: the old place, a person, or a third tape."""

    x_m: float
    y_m: float
    plus_minus_m: float
    side: Side
    chosen: Literal["old-place", "named", "third-tape"]


@dataclass(frozen=True, slots=True)
class Move:
    """From an old place to a new one; `beyond` where the two ± together do not explain it."""

    distance_m: float
    bearing_deg: float
    plus_minus_m: float
    days: int | None

    @property
    def beyond(self) -> bool:
        """Whether it surely moved."""
        return self.distance_m > self.plus_minus_m


def way_between(old: Place, new: Place) -> Move:
    """How far a target has come since its last place, clockwise from +y."""
    dx, dy = new.x_m - old.x_m, new.y_m - old.y_m
    dates = (old.surveyed_on, new.surveyed_on)
    days = None if dates[0] is None or dates[1] is None else (dates[1] - dates[0]).days
    return Move(hypot(dx, dy), degrees(atan2(dx, dy)) % 360.0, old.plus_minus_m + new.plus_minus_m, days)


def fix(tapes: Sequence[Tape], near: Place | None = None, side: Side | None = None) -> Fix:
    """Where the tapes meet; BadInput with what is wrong with them."""
    names = [tape.stake.name for tape in tapes]
    if len(set(names)) < 2 or len(set(names)) < len(names):
        raise BadInput(
            "Two stakes are needed." if len(set(names)) == len(names) else "One stake is named twice.",
            expected="two tapes or more, each from a stake of its own",
            remedy="Measure from a second stake that lies well aside, as seen from the target.",
        )
    pairs = [(each, meet) for each in combinations(tapes, 2) for meet in _both(*each)]
    if not pairs:
        raise _never_meet(tapes)
    best = min(meet.plus_minus_m for _, meet in pairs)
    if best > MOST_M:
        how = "nobody could tell where" if isinf(best) else f"the place would be ± {best:.1f} m"
        raise BadInput(
            f"Seen from the target these stakes lie nearly in one line: {how}.",
            expected=f"a place within ± {MOST_M:g} m",
            remedy="Measure from another stake, so that the tapes meet more nearly at a right angle.",
        )
    pair = next(each for each, meet in pairs if meet.plus_minus_m == best)
    meets = [meet for each, meet in pairs if each == pair]
    others = [tape for tape in tapes if tape not in pair]
    agreeing = [meet for meet in meets if all(_agrees(meet, tape) for tape in others)]
    if not agreeing:
        raise BadInput(
            "The tapes do not agree: no point has all of these distances.",
            expected="level distances from the stakes that are named, within "
            + ", ".join(f"{tape.plus_minus_m:.2f} m" for tape in tapes),
            remedy="Read each tape once more, and look whether a stake was moved or mistaken.",
        )
    return _chosen(agreeing, near, side, by_tape=len(agreeing) < len(meets))


def _chosen(meets: Sequence[Fix], near: Place | None, side: Side | None, *, by_tape: bool) -> Fix:
    """One of two sides of the line."""
    if side is not None:
        for meet in meets:
            if meet.side == side:
                return _because(meet, "named")
        raise BadInput(
            f"On the {side} the tapes do not agree.",
            expected="the side that the third tape tells",
            remedy="Leave the side out, or read the tapes once more.",
        )
    if by_tape:
        return _because(meets[0], "third-tape")
    if near is not None:
        ranked = sorted(meets, key=lambda meet: hypot(meet.x_m - near.x_m, meet.y_m - near.y_m))
        off = [hypot(meet.x_m - near.x_m, meet.y_m - near.y_m) for meet in ranked]
        if off[0] + near.plus_minus_m + ranked[0].plus_minus_m < off[1]:
            return _because(ranked[0], "old-place")
    raise BadInput(
        "It may lie on either side of the line between the stakes, and its old place does not tell which.",
        expected="the side, as seen from the first stake named towards the second",
        remedy="Say --side left or --side right, or measure from a third stake.",
    )


def _because(meet: Fix, chosen: Literal["old-place", "named", "third-tape"]) -> Fix:
    return Fix(meet.x_m, meet.y_m, meet.plus_minus_m, meet.side, chosen)


def _both(one: Tape, other: Tape) -> list[Fix]:
    """Both points where two tapes meet, on the left and on the right; none where they do not meet at all."""
    middle = _meet(one, other, one.length_m, other.length_m)
    if middle is None:
        return []
    corners = [
        _meet(
            one, other, max(0.0, one.length_m + i * one.plus_minus_m), max(0.0, other.length_m + k * other.plus_minus_m)
        )
        for i in (-1, 1)
        for k in (-1, 1)
    ]
    found: list[Fix] = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        at = _place(one, other, middle, sign)
        if any(corner is None for corner in corners):
            plus_minus_m = float("inf")  # the tapes may reach just to the line: both sides run into one
        else:
            ends = [_place(one, other, corner, sign) for corner in corners if corner is not None]
            plus_minus_m = max(hypot(x - at[0], y - at[1]) for x, y in ends)
        found.append(Fix(at[0], at[1], plus_minus_m, "left" if side == "left" else "right", "named"))
    return found


def _meet(one: Tape, other: Tape, a_m: float, b_m: float) -> tuple[float, float] | None:
    """Along and beside the line from one stake to the other; None where circles of these radii do not meet."""
    c_m = hypot(other.stake.x_m - one.stake.x_m, other.stake.y_m - one.stake.y_m)
    if c_m == 0.0:
        return None
    along = (a_m * a_m - b_m * b_m + c_m * c_m) / (2.0 * c_m)
    square = a_m * a_m - along * along
    return None if square < 0.0 else (along, sqrt(square))


def _place(one: Tape, other: Tape, meet: tuple[float, float], sign: float) -> tuple[float, float]:
    """A point along and beside the line, in the site's metres; `sign` 1 for the left as seen from the first stake."""
    dx, dy = other.stake.x_m - one.stake.x_m, other.stake.y_m - one.stake.y_m
    c_m = hypot(dx, dy)
    ux, uy = dx / c_m, dy / c_m
    along, beside = meet[0], meet[1] * sign
    return one.stake.x_m + along * ux - beside * uy, one.stake.y_m + along * uy + beside * ux


def _agrees(meet: Fix, tape: Tape) -> bool:
    told_m = hypot(meet.x_m - tape.stake.x_m, meet.y_m - tape.stake.y_m)
    return abs(told_m - tape.length_m) <= tape.plus_minus_m + meet.plus_minus_m


def _never_meet(tapes: Sequence[Tape]) -> BadInput:
    one, other = tapes[:2]
    apart_m = hypot(other.stake.x_m - one.stake.x_m, other.stake.y_m - one.stake.y_m)
    return BadInput(
        f"The tapes do not meet: {one.stake.name} and {other.stake.name} lie {apart_m:.2f} m apart, and the tapes are "
        f"{one.length_m:g} m and {other.length_m:g} m.",
        expected="two tapes that are longer together than the stakes lie apart, and differ by less",
        remedy="Read the tapes once more, and look whether it was these two stakes.",
    )
