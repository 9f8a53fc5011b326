"""What the ready check sees of each target: link, life, clock, battery, abilities, what it plays in, how it lies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.ready import TargetView
from fieldctl.site.snow import Burial
from fieldctl.site.whereabouts import put_elsewhere
from fieldctl.units import TargetId, seconds
from fieldctl.wire.messages import Ability, Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.known import Known


def views_of(c: Controller) -> dict[TargetId, TargetView]:
    """Every target that was added, by its id."""
    now = c.outside.clock.now()
    owner = c.exercises.playing_in()
    return {k.target: _view(c, k, now, owner.get(k.target)) for k in c.known.values()}


def _view(c: Controller, k: Known, now: Any, playing: str | None) -> TargetView:
    abilities = k.greeting.abilities if k.greeting else 0
    return TargetView(
        k.target,
        snapshot.label(c, k.target),
        c.lines[k.line].kind,
        k.life(now),
        None if k.heard_us is None else seconds(now - k.heard_us),
        snapshot.clock_width_us(k, now),
        bool(k.flags & Flags.BATTERY_LOW),
        None if k.report is None else k.report.load_mv,
        bool(abilities & Ability.TRANSMITTER),
        bool(abilities & Ability.PAD),
        k.sends_unasked(),
        playing,
        k.obeys_another(c.grants.generation),
        *_place(c, k),
    )


def _place(c: Controller, k: Known) -> tuple[Burial | None, float, float, str | None]:
    """How deep it lies, what a probe reaches, and whether somebody put it elsewhere; nothing without a place."""
    rules = c.site.upkeep
    place = next((place for place in c.site.places if place.target == k.target), None)
    if place is None:
        return None, rules.probe_m, rules.reach_m, None
    moved = put_elsewhere(place, c.snow.now.moved.get(k.target))
    return c.snow.burial(place), rules.probe_m, rules.reach_m, None if moved is None else moved.day
