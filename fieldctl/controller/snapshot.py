"""What `status` shows: only what was confirmed, each value with its age; what was not heard lately says so."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fieldctl import __version__
from fieldctl.controller.known import RESTORED_GENERATION, Known
from fieldctl.drill.corrections import in_force
from fieldctl.drill.score import Find, Moment
from fieldctl.drill.state import Exercise
from fieldctl.events import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseStarted,
    QuestionAsked,
    SplitMade,
)
from fieldctl.site.whereabouts import put_elsewhere
from fieldctl.units import BootId, HostUs, PersonId, TargetId, seconds
from fieldctl.wire.messages import Flags

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

SCHEMA = 1
Row = dict[str, Any]


def status(c: Controller) -> Row:
    """The whole field as one JSON-able mapping."""
    now = c.outside.clock.now()
    return {
        "schema": SCHEMA,
        "site": c.site.name,
        "version": __version__,
        "wall": c.outside.clock.wall(),
        "host_us": now,
        "generation": c.grants.generation,
        "steers": steers(c),
        "ledger": _ledger(c, now),
        "day": _day(c),
        "all_off": all_off(c, now),
        "links": [_link(c, name) for name in c.lines],
        "targets": [target(c, known, now) for known in c.known.values()],
        "manual": [
            {"unit": unit, "zone": out.zone, "place": out.place, "says": "cannot be switched off from here"}
            for unit, out in c.day.manual_out.items()
        ],
        "exercises": [exercise(c, e) for e in c.exercises.all.values()],
        "outcomes": dict(c.outcomes),
    }


def steers(c: Controller) -> bool:
    """Whether targets may obey this controller; False after a restore, until a person raises its generation."""
    return c.grants.generation != RESTORED_GENERATION


def _ledger(c: Controller, now: HostUs) -> Row:
    last = c.ledger.last_commit_us
    return {
        "failed": None if c.failed is None else str(c.failed),
        "last_commit_s_ago": None if last is None else round(seconds(now - last), 1),
    }


def _day(c: Controller) -> Row:
    day = c.day
    return {
        "open": day.open,
        "in_charge": person(c, day.in_charge),
        "hazard": day.hazard,
        "snow_m": day.snow_m,
        "fresh_left": day.fresh_left(c.site),
        "barred": dict(day.barred),
        "closed_with": list(day.closed_with),
    }


def all_off(c: Controller, now: HostUs) -> Row:
    """All off: who has confirmed, and who has not, by place, last heard and may send until."""
    state = c.all_off.state
    return {
        "in_force": state.in_force,
        "epoch": state.epoch,
        "confirmed": sorted(state.confirmed),
        "took_s": round(seconds(max(state.confirmed.values())), 3) if state.confirmed else None,
        "unconfirmed": [
            {
                "target": row.known.target,
                "name": label(c, row.known.target),
                "place": place(c, row.known.target),
                "heard_s_ago": _ago(row.known, now),
                "may_send_for_s": may_send_for_s(row.may_send_until_us, now),
                "says": "its gate reads on" if row.says_on else "has not confirmed",
            }
            for row in state.unconfirmed.values()
        ],
    }


def may_send_for_s(until_us: int | None, now: HostUs) -> float:
    """How long a target may still send, counting down; 0 where its last grant has ended."""
    return 0.0 if until_us is None else round(max(0.0, seconds(until_us - now)), 1)


def _link(c: Controller, name: str) -> Row:
    line = c.lines[name]
    counts: Mapping[str, int] = line.link.counts() if line.link else {}
    return {
        "name": name,
        "kind": line.kind,
        "up": line.link is not None,
        "targets": len(line.members),
        "counts": {**dict(counts), **dict(line.counts), **line.frames_lost()},
    }


def target(c: Controller, known: Known, now: HostUs) -> Row:
    """One target as it is known now."""
    report = known.report
    lease = next(iter(c.grants.of(known)), None)
    return {
        "target": known.target,
        "name": label(c, known.target),
        "place": place(c, known.target),
        "link": known.line,
        "life": "barred" if c.hearing.is_barred(known.target) else known.life(now),
        "heard_s_ago": _ago(known, now),
        "heard_before": known.heard_before,
        "signal": signal_word(known, now),
        "granted": None if lease is None else lease.grant,
        "may_send_for_s": may_send_for_s(None if lease is None else lease.until_us, now),
        "armed": bool(known.flags & Flags.ARMED) if known.heard_us is not None else None,
        "plus_minus_ms": plus_minus_ms(known, now),
        "volts_load": None if report is None else report.load_mv / 1000,
        "volts_rest": None if report is None else report.rest_mv / 1000,
        "celsius": None if report is None else round(report.kelvin10 / 10 - 273.15, 1),
        "reported_s_ago": None if known.reported_us is None else round(seconds(now - known.reported_us), 1),
        "battery_low": bool(known.flags & Flags.BATTERY_LOW) if known.heard_us is not None else None,
        "struck": c.day.struck_since_renewed(known.target),
        "odd": {what: fact.detail for (who, what), fact in c.hearing.odd_now.items() if who == known.target},
        "trouble": {**dict(known.trouble), **dict(known.session.lost)},
        "states": c.states.rows(known, now),
    }


def signal_word(known: Known, now: HostUs) -> str:
    """What a target said last of its signal; never more than that."""
    if known.heard_us is None:
        return "not heard"
    if known.flags & Flags.GATE_ON:
        return "sending" if known.flags & Flags.GRANTED else "not quiet: its gate reads on without a grant"
    word = "granted, pausing or not begun" if known.flags & Flags.GRANTED else "says quiet"
    return word if known.life(now) == "online" else f"{word} when last heard"


def plus_minus_ms(known: Known, now: HostUs) -> float | None:
    """The ± of a stamp made now, in ms; None while nothing is known of its clock."""
    width = clock_width_us(known, now)
    return None if width is None else round(width / 1000, 3)


def clock_width_us(known: Known, now: HostUs) -> int | None:
    """The ± of a stamp made now, in µs; None while nothing is known of its clock."""
    if known.boot is None:
        return None
    clock = known.clock.of(BootId(known.boot))
    return None if clock is None else clock.width_now(now)


def _ago(known: Known, now: HostUs) -> float | None:
    return None if known.heard_us is None else round(seconds(now - known.heard_us), 1)


def person(c: Controller, who: str | None) -> str | None:
    """A person's name, or the id where the name is not known or was forgotten."""
    return None if who is None else c.people.get(PersonId(who), who)


def label(c: Controller, who: TargetId) -> str:
    """A target's name for people."""
    return c.names.get(who) or str(who)


def place(c: Controller, who: TargetId) -> str:
    """Where a target lies, in words."""
    post = next((post for post in c.site.posts if post.target == who), None)
    if post is not None:
        return f"a post at the edge of {post.zone}"
    try:
        found = c.site.place(who)
    except KeyError:
        return "place not surveyed"
    words = f"{found.zone}, x {found.x_m:g} m, y {found.y_m:g} m, {found.depth_m:g} m deep"
    moved = put_elsewhere(found, c.snow.now.moved.get(who))
    return words if moved is None else f"put elsewhere on {moved.day} without a survey; before: {words}"


def exercise(c: Controller, e: Exercise) -> Row:
    """One exercise with its result so far."""
    since = clock_us(c, e)
    started = next((f for f in e.facts if isinstance(f, ExerciseStarted)), None)
    rows = []
    for name, b in e.burials.items():
        result = e.result.burial(name) if e.result else None
        lease = c.grants.lease_of(e.id, name)
        rows.append(
            {
                "burial": name,
                "target": b.target,
                "name": label(c, b.target),
                "phase": b.phase,
                "sent": [] if result is None else [_span(s) for s in result.sent],
                "may_send_for_s": may_send_for_s(None if lease is None else lease.until_us, now_us(c)),
                "signal": b.plan.signal.kind,
                "find_by": b.plan.find,
                "hits": [] if result is None else [_moment(m) for m in result.hits],
                "calls": [] if result is None else [_moment(m) for m in result.calls],
                "splits": [] if result is None else [{"name": name, **_moment(m)} for name, m in result.splits],
                "find": None if result is None or result.find is None else _find(c, result.find),
                "in_time": None if result is None else result.in_time,
            }
        )
    return {
        "exercise": e.id,
        "drill": e.drill.name,
        "title": e.drill.title,
        "assessed": e.drill.assessed,
        "state": e.status,
        "clock_s": None if since is None else round(seconds(since), 3),
        "limit_s": e.drill.limit_s,
        "searchers": [] if started is None else [person(c, who) for who in started.searchers],
        "by": None if started is None else person(c, started.by),
        "seed": None if started is None else started.seed,
        "burials": rows,
        "splits": [] if e.result is None else [{"name": name, **_moment(m)} for name, m in e.result.splits],
        "corrections": [_correction(c, e, f) for f in e.facts if isinstance(f, Corrected)],
        "to_judge": []
        if e.result is None
        else [
            {
                "source": j.source,
                "kind": _kind(e, j.source),
                "burial": j.burial,
                "at_s": None if j.at_us is None else seconds(j.at_us),
                "why": j.why,
            }
            for j in e.result.to_judge
        ],
        "questions": [
            {"question": f.question, "what": f.what, "choices": list(f.choices)}
            for f in e.facts
            if isinstance(f, QuestionAsked) and f.question in e.asked
        ],
        "anomalies": [] if e.result is None else list(e.result.anomalies),
    }


def clock_us(c: Controller, e: Exercise) -> int | None:
    """What the clock of an exercise shows, in µs: now, or where it stood at its end; a shifted start counts."""
    over = e.status not in ("running", "interrupted")
    ended = next((f.at for f in reversed(e.facts) if isinstance(f, ExerciseEnded)), None) if over else None
    cut = next((f.last_known for f in reversed(e.facts) if isinstance(f, ExerciseInterrupted)), None)
    at = ended if over else cut if e.status == "interrupted" else c.outside.here()
    since = None if e.times is None or at is None else e.times.since_start(at)
    return None if since is None else since - (0 if e.result is None else e.result.shift_us)


def now_us(c: Controller) -> HostUs:
    """The host's clock now."""
    return c.outside.clock.now()


def _span(span: tuple[int, int | None]) -> Row:
    return {"from_s": seconds(span[0]), "until_s": None if span[1] is None else seconds(span[1])}


def _kind(e: Exercise, source: str) -> str:
    """Whether what is to be judged is a strike, a call or a split."""
    for fact in e.facts:
        match fact:
            case CallMade() if fact.call == source:
                return "call"
            case SplitMade() if fact.split == source:
                return "split"
    return "strike"


def _moment(moment: Moment) -> Row:
    return {
        "at_s": seconds(moment.at_us),
        "plus_minus_ms": moment.plus_minus_us / 1000,
        "source": moment.source,
    }


def _find(c: Controller, find: Find) -> Row:
    return {
        **_moment(find.moment),
        "kind": find.kind,
        "searcher": " + ".join(person(c, who) or who for who in find.searcher.split(" + ")),
    }


def _correction(c: Controller, e: Exercise, fact: Corrected) -> Row:
    undone = e.times is not None and fact.change != "undo" and fact not in in_force(_corrections(e), e.times)
    return {
        "correction": fact.correction,
        "change": fact.change,
        "about": fact.about,
        "value": person(c, str(fact.value)) if fact.change == "give" else fact.value,
        "by": person(c, fact.by),
        "why": fact.why,
        "undone": undone,
    }


def _corrections(e: Exercise) -> list[Corrected]:
    return [f for f in e.facts if isinstance(f, Corrected)]
