"""Who may what, folded from facts; and whether a right that has an end still stands.

Within one boot of the host the raw clock decides, which nobody can set. After a reboot the wall's label does; where the
wall's time is not known then, nobody can say that the right has not ended: it gives nothing until the time is known.
A right for good always stands.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field

from fieldctl.errors import BadInput, Refused
from fieldctl.events import Fact, PersonForgotten, PhoneEnded, PhonePaired, RightEnded, RightGranted
from fieldctl.units import US_PER_S, HostTime, PersonId

TODAY = "today"
FOR_GOOD = "good"
TODAY_S = 14 * 3600  # from the opening to the last debrief of a long winter's day; needs no wall clock
LONGEST_S = 10 * 366 * 24 * 3600  # whoever means more says for good

FOLDED: tuple[type[Fact], ...] = (RightGranted, RightEnded, PhonePaired, PhoneEnded, PersonForgotten)


@dataclass(slots=True)
class AccessState:
    """Rights by person, and paired phones, as the facts so far say."""

    granted: dict[PersonId, dict[str, RightGranted]] = field(default_factory=dict)
    phones: dict[str, PhonePaired] = field(default_factory=dict)

    def take(self, fact: Fact) -> bool:
        """Fold one more fact; whether it had to do with access."""
        match fact:
            case RightGranted():
                self.granted.setdefault(fact.person, {})[fact.right] = fact
            case RightEnded():
                rights = self.granted.get(fact.person, {})
                rights.pop(fact.right, None)
                if not rights:
                    self.granted.pop(fact.person, None)
            case PhonePaired():
                self.phones[fact.phone] = fact
            case PhoneEnded():
                self.phones.pop(fact.phone, None)
            case PersonForgotten():
                self.granted.pop(fact.person, None)
                self.phones = {name: phone for name, phone in self.phones.items() if phone.person != fact.person}
            case _:
                return False
        return True


def stands(grant: RightGranted, here: HostTime, wall: str | None) -> bool | None:
    """Whether a right holds at this moment; None where nobody can tell (it then gives nothing)."""
    if grant.ends_at is None:
        return True
    if grant.ends_at.boot == here.boot:
        return here.us < grant.ends_at.us
    if wall is None or not grant.until:
        return None if grant.until else False
    return instant(wall) < instant(grant.until)


def instant(label: str) -> float:
    """Seconds since 1970 of an RFC 3339 label of ours."""
    return datetime.datetime.fromisoformat(label).timestamp()


def end_of(until: str, here: HostTime, wall: str | None) -> tuple[str, HostTime | None]:
    """(label, moment) of an end that a person gave: "today", "good", or RFC 3339; both empty for good.

    BadInput for what is no such end or lies in the past; Refused for a date where nobody knows the wall's time.
    """
    if until == FOR_GOOD:
        return "", None
    if until == TODAY:
        left_s = float(TODAY_S)
        return _label(instant(wall) + left_s) if wall else "", here.plus(TODAY_S * US_PER_S)
    try:
        at = datetime.datetime.fromisoformat(until)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise BadInput(
            f"{until[:40]!r} is no end of a right.",
            expected=f'"{TODAY}", "{FOR_GOOD}", or a moment as RFC 3339 such as 2031-04-30T22:00:00Z',
            remedy="Give one of these.",
        )
    if wall is None:
        raise Refused(
            "This base station does not know what time it is, so it cannot tell when that would be.",
            expected=f'"{TODAY}" or "{FOR_GOOD}", or a clock that is set',
            remedy="Give the right for today or for good, or set the clock first.",
        )
    left_s = at.timestamp() - instant(wall)
    if not 0 < left_s <= LONGEST_S:
        when = "is over already" if left_s <= 0 else "is more than ten years away"
        raise BadInput(f"That end {when}.", remedy=f'Give a later or nearer one, or "{FOR_GOOD}".')
    return _label(at.timestamp()), here.plus(round(left_s * US_PER_S))


def _label(seconds: float) -> str:
    at = datetime.datetime.fromtimestamp(seconds, datetime.UTC)
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
