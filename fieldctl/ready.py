"""What is in the way of an exercise, each with its remedy: pure, over values that the controller gives.

A hindrance `blocks` when nobody may start over it; the others are warnings that a person reads and may start over.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fieldctl.drill.plan import Drill
from fieldctl.site.day import Day
from fieldctl.site.snow import Burial
from fieldctl.units import TargetId

CLOCK_LIMIT_US = {"serial": 2_000, "mqtt": 15_000}  # design, section 9: what a stamp's ± may be at most

CARDS = (
    "This is a training aid, not rescue equipment. Any signal is a person until proved otherwise.",
    "The hazard decision of today and the patrol's rules come first.",
    "Everybody's own unit sends and receives: checked one by one. Who stays on send through the exercise is named.",
    "Bystanders' units are off or far away; phones and radios are kept away from searching units.",
    "In a real alarm: all off and rescue, at the same time.",
    "Installed targets are not dug to; no digging or probing near marked cables.",
    "At the end: head-count, and every own unit back to send.",
)
"""What is read out at the briefing (design, sections 7 and 10). Where local rules say otherwise, they win."""


@dataclass(frozen=True, slots=True)
class TargetView:
    """What the ready check has to know of a target."""

    target: TargetId
    label: str
    kind: str  # of its link: serial or mqtt
    life: str
    not_heard_s: float | None
    clock_us: int | None  # the ± of a stamp made now
    battery_low: bool
    load_mv: int | None
    sends: bool  # has a transmitter
    feels: bool  # has a pad
    sends_unasked: bool
    exercise: str | None  # that it plays in now
    superseded: bool = False  # obeys a controller of a higher generation
    burial: Burial | None = None  # how deep it lies today; None where its place is not trusted or it has none
    probe_m: float = 0.0  # of the probes that searchers carry
    reach_m: float = float("inf")  # how deep those reach
    put_elsewhere_on: str | None = None  # without a survey since


@dataclass(frozen=True, slots=True)
class Hindrance:
    """One thing in the way."""

    key: str
    wrong: str
    remedy: str
    blocks: bool = True


def hindrances(
    drill: Drill,
    picks: Mapping[str, TargetId],
    views: Mapping[TargetId, TargetView],
    day: Day,
    *,
    all_off: bool,
    ledger_failed: bool,
) -> tuple[Hindrance, ...]:
    """Everything in the way of this drill with these targets, what blocks first."""
    found = list(_field(day, all_off=all_off, ledger_failed=ledger_failed))
    for burial in drill.burials:
        target = picks.get(burial.name)
        if target is None:
            continue
        view = views.get(target)
        if view is None:
            found.append(
                Hindrance(
                    f"unknown:{target}",
                    f"{burial.name}: target {target} was never added to this site.",
                    "Add it: fieldctl target add.",
                )
            )
            continue
        found += _target(burial.name, view, day, sends=burial.signal.kind != "never", hit=burial.find == "hit")
    return tuple(sorted(found, key=lambda h: not h.blocks))


def _field(day: Day, *, all_off: bool, ledger_failed: bool) -> Iterable[Hindrance]:
    if ledger_failed:
        yield Hindrance(
            "ledger",
            "The ledger takes no entries, so nothing may send.",
            "Look at the disk (fieldctl doctor), make room, and start serve again.",
        )
    if all_off:
        yield Hindrance(
            "all-off",
            "All off is in force: nothing may send.",
            "When nobody needs it any more, a person in charge releases it: fieldctl all-off release.",
        )
    if not day.open:
        yield Hindrance("closed", "The field is closed.", "A person in charge opens it: fieldctl day open.")


def _target(burial: str, view: TargetView, day: Day, *, sends: bool, hit: bool) -> Sequence[Hindrance]:
    found = []

    def add(key: str, wrong: str, remedy: str, *, blocks: bool = True) -> None:
        found.append(Hindrance(f"{key}:{view.target}", f"{burial}: {view.label} {wrong}", remedy, blocks))

    if not day.usable(view.target):
        add("barred", f"may not be used: {day.why_not(view.target)}.", "Choose another target.")
    if view.sends_unasked:
        add("gate-on", "reads its gate on although nothing was granted.", "All off, then find it with a receiver.")
    if view.exercise is not None:
        add("playing", f"plays in exercise {view.exercise}.", "Wait for its end, or choose another target.")
    if view.superseded:
        remedy = "If this controller is the one that should steer, raise its generation: fieldctl generation raise."
        add("superseded", "obeys a controller of a higher generation.", remedy)
    if view.life != "online":
        since = "" if view.not_heard_s is None else f", last heard {view.not_heard_s:.0f} s ago"
        add("life", f"is {view.life}{since}.", "Look at its link and its battery, or choose another target.")
    elif view.clock_us is None:
        add("clock", "has no settled clock yet.", "Wait a few seconds and try again.")
    elif view.clock_us > CLOCK_LIMIT_US.get(view.kind, CLOCK_LIMIT_US["mqtt"]):
        wait = "Wait until it has settled, or start and live with the wider ±."
        add("clock", f"stamps within ±{view.clock_us / 1000:.0f} ms only.", wait, blocks=False)
    if sends and not view.sends:
        add("no-transmitter", "cannot send.", "Choose another target.")
    if hit and not view.feels:
        add("no-pad", "has no pad that could feel a hit.", "Let the call end this burial, or choose another target.")
    if view.battery_low:
        volts = "" if view.load_mv is None else f" ({view.load_mv / 1000:.2f} V under load)"
        add("battery", f"says its battery is low{volts}.", "Change it, or choose another target.", blocks=sends)
    if view.put_elsewhere_on is not None:
        moved = f"was put elsewhere on {view.put_elsewhere_on} without a survey: nobody knows where it lies."
        add("put-elsewhere", moved, "Survey it, or choose another target.", blocks=False)
    if view.burial is not None and view.burial.depth_m is not None:
        deep, least, most = (f"{each:.1f}" for each in (view.burial.depth_m, view.burial.least_m, view.burial.most_m))
        if view.burial.deeper(view.reach_m) is not None:
            probe = f"a probe of {view.probe_m:g} m reaches {view.reach_m:.1f} m"
            wrong = f"lies about {deep} m deep ({least} to {most} m); {probe}."
            add("too-deep", wrong, "Choose another target, or search with longer probes.", blocks=False)
        if view.burial.shallower(0.0) is not None:
            wrong = f"may lie bare: about {deep} m of snow over it ({least} to {most} m)."
            add("bare", wrong, "Look at its place and cover it, or choose another target.", blocks=False)
    return found
