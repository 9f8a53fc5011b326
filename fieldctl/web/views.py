"""What each audience may see, row by row: taken from the controller as it stands, never more than was confirmed.

    everybody    open or closed, all off with whoever has not confirmed, and   no login
                 the walk-in of each zone
    watch        the whole field and every exercise                            the right to watch
    searching    the clock and what was called: no hint before the call        no login (spectators, searchers)

A row holds no "seconds ago": it would change without anything having happened. Moments are host time in µs, and the
stream's beat says what host time it is. `ages` gives the age of each target's last word beside the rows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from fieldctl.controller import snapshot
from fieldctl.controller.known import Known
from fieldctl.drill.state import Exercise
from fieldctl.events import ExerciseEnded
from fieldctl.units import HostUs, TargetId, micros
from fieldctl.wire.messages import Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]
Rows = dict[str, Row]
View = Callable[["Controller"], Rows]

SHOWN = 24  # exercises: a class of six pairs, four times over
STOP_BACK_S = 10.0  # for so long a stop can be taken back by one tap (design: gestures)


def everybody(c: Controller) -> Rows:
    """What whoever reaches the site may see."""
    row = _field(c)
    if not row["all_off"]["in_force"]:  # where one lies would be a hint; under all off it has to be told
        row["manual"] = []
    return {"field": row, **_walk_in(c)}


def watch(c: Controller) -> Rows:
    """What somebody with the right to watch may see: the field, its targets, its exercises."""
    now = c.outside.clock.now()
    rows: Rows = {"field": {**_field(c), **_day(c)}, "alarms": {"alarms": c.alarms.rows()}, **_walk_in(c)}
    for known in c.known.values():
        rows[f"target:{known.target}"] = target(c, known, now)
    for e in list(c.exercises.all.values())[-SHOWN:]:
        rows[f"exercise:{e.id}"] = exercise(c, e)
    return rows


def searching(c: Controller) -> Rows:
    """What searchers and those who look on may see: nothing that tells where, how many, or what a probe touched."""
    rows = everybody(c)
    for e in list(c.exercises.all.values())[-SHOWN:]:
        rows[f"exercise:{e.id}"] = _called(c, e)
    return rows


VIEWS: Mapping[str, View] = {"everybody": everybody, "watch": watch, "searching": searching}


def _walk_in(c: Controller) -> Rows:
    return {f"walkin:{zone}": row for zone, row in c.edge.walkins.rows().items()}


def _field(c: Controller) -> Row:
    now = c.outside.clock.now()
    off = snapshot.all_off(c, now)
    for row, kept in zip(off["unconfirmed"], c.all_off.state.unconfirmed.values(), strict=True):
        row["heard_us"] = kept.known.heard_us
        row["may_send_until_us"] = kept.may_send_until_us
        del row["heard_s_ago"], row["may_send_for_s"]
    return {
        "site": c.site.title,
        "open": c.day.open,
        "all_off": off if off["in_force"] else {"in_force": False},
        "manual": [{"unit": unit, "zone": out.zone, "place": out.place} for unit, out in c.day.manual_out.items()],
        "failed": None if c.failed is None else str(c.failed),
    }


def _day(c: Controller) -> Row:
    day = c.day
    return {
        "in_charge": snapshot.person(c, day.in_charge),
        "hazard": day.hazard,
        "snow_m": day.snow_m,
        "fresh_left": day.fresh_left(c.site),
        "steers": snapshot.steers(c),
        "links": [{"name": name, "kind": line.kind, "up": line.link is not None} for name, line in c.lines.items()],
    }


def target(c: Controller, known: Known, now: HostUs) -> Row:
    """One target: its state as one word, and what that rests on."""
    row = snapshot.target(c, known, now)
    lease = next(iter(c.grants.of(known)), None)
    for ageing in ("heard_s_ago", "reported_s_ago", "may_send_for_s", "trouble", "plus_minus_ms"):
        del row[ageing]
    zone = next((place.zone for place in c.site.places if place.target == known.target), None)
    at = next((place for place in c.site.places if place.target == known.target), None)
    return {
        **row,
        "state": state(c, known, now),
        "also": states(c, known, now)[1:],
        "zone": zone,
        "x_m": None if at is None else at.x_m,
        "y_m": None if at is None else at.y_m,
        "may_send_until_us": None if lease is None else lease.until_us,
        "fresh": not c.day.struck_since_renewed(known.target),
        "reported_us": known.reported_us,
    }


def state(c: Controller, known: Known, now: HostUs) -> str:
    """A target's state: sending, barred, faulty, asleep, not-heard, found, weak or quiet; the first that holds.

    Sending comes first, whatever else is the matter with it: that is what a receiver hears.
    """
    return next(iter(states(c, known, now)), "quiet")


def states(c: Controller, known: Known, now: HostUs) -> list[str]:
    """Everything that holds of a target now, what matters most first; empty for one that is quiet and well."""
    life = known.life(now)
    table: tuple[tuple[str, bool], ...] = (
        ("sending", life == "online" and not known.says_quiet()),
        ("barred", c.hearing.is_barred(known.target) or bool(c.day.why_not(known.target))),
        ("faulty", c.states.faulty(known)),
        ("asleep", life == "asleep"),
        ("not-heard", life != "online"),
        ("found", known.target in _found(c)),
        ("weak", bool(known.flags & Flags.BATTERY_LOW)),
    )
    return [word for word, holds in table if holds]


def _found(c: Controller) -> set[TargetId]:
    """The targets whose burial is found in an exercise that goes on."""
    return {
        b.target for e in c.exercises.running() if e.result is not None for b in e.result.burials if b.find is not None
    }


def ages(c: Controller) -> dict[str, int | None]:
    """Whole seconds since each target said anything; None where it never did in this life of the controller."""
    now = c.outside.clock.now()
    return {k.target: None if k.heard_us is None else (now - k.heard_us) // 1_000_000 for k in c.known.values()}


def exercise(c: Controller, e: Exercise) -> Row:
    """One exercise as instructors see it."""
    row = snapshot.exercise(c, e)
    for burial in row["burials"]:
        lease = c.grants.lease_of(e.id, burial["burial"])
        burial["may_send_until_us"] = None if lease is None else lease.until_us
        burial["says_quiet"] = _says_quiet(c, e, burial["target"])
        del burial["may_send_for_s"]
    return {**row, **_clock(c, e)}


def _says_quiet(c: Controller, e: Exercise, target: TargetId) -> bool:
    """Whether a target has said since the exercise ended that its gate is off, and is still heard."""
    known = c.known.get(target)
    ended = next((f.at for f in reversed(e.facts) if isinstance(f, ExerciseEnded)), None)
    if known is None or known.heard_us is None or ended is None or ended.boot != c.outside.clock.boot:
        return False
    return known.heard_us > ended.us and known.life(c.outside.clock.now()) == "online" and known.says_quiet()


def _clock(c: Controller, e: Exercise) -> Row:
    """The clock of an exercise: where its zero lies on the host's clock, or where it stood when it ended."""
    boot = c.outside.clock.boot
    zero = None if e.times is None else e.times.host(boot, 0)
    ended = next((f for f in reversed(e.facts) if isinstance(f, ExerciseEnded)), None)
    stood = None if e.status == "running" else snapshot.clock_us(c, e)
    back = e.status == "stopped" and ended is not None and ended.at.boot == boot
    return {
        "clock_s": None if stood is None else stood / 1_000_000,
        "zero_us": zero if e.status == "running" else None,
        "shift_s": 0.0 if e.result is None else e.result.shift_us / 1_000_000,
        "take_back_until_us": ended.at.us + micros(STOP_BACK_S) if back and ended is not None else None,
    }


def _called(c: Controller, e: Exercise) -> Row:
    """One exercise without a hint: the clock and the calls, in the order in which they were made.

    A title may say how many lie there, so it comes with the result, and both only when no stop can be taken back.
    """
    clock = _clock(c, e)
    back_until = clock["take_back_until_us"]
    over = e.status not in ("running", "interrupted") and (back_until is None or back_until < c.outside.clock.now())
    calls = sorted(m.at_us for b in (e.result.burials if e.result else ()) for m in b.calls)
    return {
        "exercise": e.id,
        "title": e.drill.title if over else None,
        "state": e.status,
        "limit_s": e.drill.limit_s,
        "called_s": [at / 1_000_000 for at in calls],
        "found": None if not over or e.result is None else sum(b.find is not None for b in e.result.burials),
        "of": len(e.burials) if over else None,
        **clock,
    }
