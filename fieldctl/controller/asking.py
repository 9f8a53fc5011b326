"""What a target is asked when nothing else waits for it: who it is, to arm its pad or not, how it is, and to sleep."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.controller.known import Known
from fieldctl.units import US_PER_S, HostUs
from fieldctl.wire.messages import Ability, Arm, Ask, Flags, What

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

REPORT_EVERY_US = 60 * US_PER_S
GENERATION_FIRST = 1  # of a site where nobody raised it yet: its targets learn it by their first order
ORDER_LIVES_US = 4 * US_PER_S
_ARMED = int(Flags.ARMED)  # plain: each & with a flag would make a flag anew, for every target on every beat


def ask_what_is_due(c: Controller, known: Known, now: HostUs) -> None:
    """Post the one question or order that a target is due, if nothing else waits for it."""
    if known.session.state != "open" or known.heard_us is None or known.session.waiting:
        return
    if known.asleep_until_us is not None:
        return  # it is asked how it is when it wakes
    if known.obeys_another(c.grants.generation):
        return  # it would obey nothing, and each order spends counters: the one that steers would not be heard
    if known.greeting is None:
        c.post(known, Ask(c.outside.nonce(), int(What.GREETING)), now + ORDER_LIVES_US, "ask greeting")
        return
    armed, threshold = bool(known.flags & _ARMED), c.thresholds.get(known.target, 0)
    # a generation that a person raised is told at once, by the one order that changes nothing else
    raised = known.generation is not None and GENERATION_FIRST < c.grants.generation > known.generation
    other = raised or armed != known.want_armed or (armed and known.armed_at != threshold)
    if other and known.greeting.abilities & Ability.PAD and known.boot is not None:
        order = Arm(known.boot, c.grants.generation, known.want_armed, threshold)
        c.post(known, order, now + ORDER_LIVES_US, "arm" if known.want_armed else "disarm")
        return
    due = known.reported_us is None or now - known.reported_us >= REPORT_EVERY_US
    if due and not c.searching and now - (known.asked_report_us or -REPORT_EVERY_US) >= ORDER_LIVES_US:
        known.asked_report_us = now
        c.post(known, Ask(c.outside.nonce(), int(What.REPORT)), now + ORDER_LIVES_US, "ask report")
    elif not due:
        c.night.offer(known, now)
