"""The targets as the picker sees them: where each lies, whether it may play now, and which may be named outright."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.controller import snapshot
from fieldctl.drill.candidate import Candidate
from fieldctl.drill.plan import Drill
from fieldctl.errors import BadInput
from fieldctl.units import TargetId

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller


def candidates_of(c: Controller) -> list[Candidate]:
    """Every target with a place, as the picker sees it."""
    day, now = c.day, c.outside.clock.now()
    playing = c.exercises.playing_in()
    rows = []
    for place in c.site.places:
        known = c.known.get(place.target)
        why = day.why_not(place.target)
        if not why and known is None:
            why = "never added to this site"
        if not why and known is not None and known.life(now) != "online":
            why = f"{known.life(now)}"
        if not why and place.target in playing:
            why = f"plays in exercise {playing[place.target]}"
        rows.append(
            Candidate(
                place.target,
                place.zone,
                place.x_m,
                place.y_m,
                c.snow.depth_m(place),
                None if place.axis is None else place.axis.tilt_deg,
                day.struck_since_renewed(place.target),
                not why,
                why,
                snapshot.label(c, place.target),
            )
        )
    return rows


def of_this_field(drill: Drill, candidates: list[Candidate], named: dict[str, TargetId]) -> None:
    """BadInput for a burial that the drill does not have, or a target that has no place in this field."""
    burials = {b.name for b in drill.burials}
    places = {c.target for c in candidates}
    for burial, target in named.items():
        if burial not in burials:
            names = ", ".join(sorted(burials))
            raise BadInput(f"{drill.name} has no burial {burial!r}.", expected=names, remedy="Name one of these.")
        if target not in places:
            known = ", ".join(sorted(places)) or "none"
            raise BadInput(f"No target {target!r} lies in this field.", expected=known, remedy="Name one of these.")
