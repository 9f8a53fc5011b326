"""What `/metrics` tells, family by family; names and units by Prometheus' own rules, which tests/published holds it to.

`Told` is what one target said, as it stood when no exercise went on; the rest is told as it is now.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from prometheus_client.metrics_core import CounterMetricFamily, GaugeMetricFamily, InfoMetricFamily, Metric

from fieldctl import __version__
from fieldctl.controller import snapshot
from fieldctl.controller.alarms import RULES, UPKEEP
from fieldctl.controller.states import STATES
from fieldctl.units import HostUs, TargetId, seconds

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.known import Known

SILENCE_STEP_S = 10  # a quiet bus asks an idle target every 4 s, one in an exercise five times a second
COMMIT_STEP_S = 5  # the ledger is touched every 4 s; what is committed between is nobody's business here


@dataclass(frozen=True, slots=True)
class Told:
    """What one target said, as it stood when nothing went on."""

    volts: Mapping[str, float]
    celsius: float | None
    moisture: float | None
    reported_us: HostUs | None
    clock_s: float | None
    resent: int
    lost: int


def told_by(known: Known, now: HostUs) -> Told:
    """What a target said as of now."""
    report, width = known.report, snapshot.clock_width_us(known, now)
    return Told(
        {} if report is None else {"rest": report.rest_mv / 1000, "load": report.load_mv / 1000},
        None if report is None else round(report.kelvin10 / 10 - 273.15, 1),
        None if report is None or report.moisture is None else report.moisture / 100,
        known.reported_us,
        None if width is None else seconds(width),
        known.talk.resent,
        known.talk.orders_lost,
    )


Values = Iterable[tuple[tuple[str, ...], float]]


def _gauge(name: str, says: str, labels: tuple[str, ...], values: Values) -> Metric:
    family = GaugeMetricFamily(f"fieldctl_{name}", says, labels=labels)
    for words, value in values:
        family.add_metric(words, value)
    return family


def _counter(name: str, says: str, labels: tuple[str, ...], values: Values) -> Metric:
    family = CounterMetricFamily(f"fieldctl_{name}", says, labels=labels)
    for words, value in values:
        family.add_metric(words, value)
    return family


def families(
    c: Controller, now: HostUs, told: Mapping[TargetId, Told], frames: Mapping[str, Mapping[str, int]]
) -> Iterator[Metric]:
    """Every family, one at a time."""
    yield InfoMetricFamily("fieldctl_build", "The program's version.", {"version": __version__})
    yield from _field(c, now)
    yield from _targets(c, now)
    yield from _by_target(now, told)
    yield from _links(c, frames)
    yield from _webhook(c)


def _field(c: Controller, now: HostUs) -> Iterator[Metric]:
    last = c.ledger.last_commit_us
    age = [] if last is None else [((), float(int(seconds(now - last)) // COMMIT_STEP_S * COMMIT_STEP_S))]
    size = [] if c.ledger.where == ":memory:" else [((), float(_size(Path(c.ledger.where))))]
    alarms: dict[str, int] = {}
    for alarm in c.alarms.latched.in_force.values():
        word = alarm_word(alarm.fact.what)
        alarms[word] = alarms.get(word, 0) + 1
    yield _gauge("field_open", "1 while the field is open.", (), [((), float(c.day.open))])
    yield _gauge("all_off_in_force", "1 while all off is in force.", (), [((), float(c.all_off.state.in_force))])
    yield _gauge(
        "all_off_unconfirmed_targets", "Targets that have not confirmed all off while it is in force.", (),
        [((), float(len(c.all_off.state.unconfirmed) if c.all_off.state.in_force else 0))],
    )  # fmt: skip
    yield _gauge(
        "ledger_failed", "1 when the log takes no entries: nothing may send.", (), [((), float(c.failed is not None))]
    )
    yield _gauge(
        "ledger_commit_age_seconds", f"Since the last commit to the log, in steps of {COMMIT_STEP_S} s.", (), age
    )
    yield _gauge("ledger_size_bytes", "Size of the log's file.", (), size)
    yield _gauge(
        "alarms_in_force", "Alarms in force by kind; each stays until a good reading comes.", ("alarm",),
        [((what,), float(n)) for what, n in sorted(alarms.items())],
    )  # fmt: skip


def alarm_word(what: str) -> str:
    """An alarm's word as anybody may read it: what is found about pads and strikes has no word of its own."""
    if what.startswith(UPKEEP):
        return "upkeep"
    return what.replace("-", "_") if what in RULES and what != "repeats-numbers" else "other"


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _targets(c: Controller, now: HostUs) -> Iterator[Metric]:
    counts = dict.fromkeys(STATES, 0)
    silent = []
    for known in c.known.values():
        for state in c.states.now(known, now):
            counts[state] += 1
        if known.heard_us is not None:
            age_s = int(seconds(now - known.heard_us)) // SILENCE_STEP_S * SILENCE_STEP_S
            silent.append(((str(known.target),), float(age_s)))
    yield _gauge(
        "targets", "Targets by state; one may be in several, such as weak and online.", ("state",),
        [((state.replace(" ", "_"),), float(n)) for state, n in counts.items()],
    )  # fmt: skip
    yield _gauge(
        "target_heard_age_seconds",
        f"Since a target was last heard in this life of the controller, in steps of {SILENCE_STEP_S} s.",
        ("target",),
        silent,
    )


def _by_target(now: HostUs, told: Mapping[TargetId, Told]) -> Iterator[Metric]:
    held = "as it stood when no exercise went on"
    yield _gauge(
        "target_battery_volts", f"Battery at rest and under the test load, {held}.", ("target", "condition"),
        [((t, condition), volts) for t, one in told.items() for condition, volts in one.volts.items()],
    )  # fmt: skip
    plain: tuple[tuple[str, str, Callable[[Told], float | None]], ...] = (
        ("target_temperature_celsius", f"Temperature at the target's board, {held}.", lambda one: one.celsius),
        (
            "target_moisture_ratio",
            f"Relative moisture inside the housing, of targets with a sensor for it, {held}.",
            lambda one: one.moisture,
        ),
        (
            "target_report_age_seconds",
            "Age of the report that volts, temperature and moisture are from.",
            lambda one: None if one.reported_us is None else seconds(now - one.reported_us),
        ),
        ("target_clock_error_seconds", f"The ± of a stamp made now, {held}.", lambda one: one.clock_s),
    )
    for name, says, value in plain:
        yield _gauge(name, says, ("target",), [((t,), v) for t, one in told.items() if (v := value(one)) is not None])
    yield _counter(
        "target_resends", f"Orders sent again for want of an answer, {held}.", ("target",),
        [((t,), float(one.resent)) for t, one in told.items()],
    )  # fmt: skip
    yield _counter(
        "target_orders_lost", f"Orders that were never answered, {held}.", ("target",),
        [((t,), float(one.lost)) for t, one in told.items()],
    )  # fmt: skip


def _links(c: Controller, frames: Mapping[str, Mapping[str, int]]) -> Iterator[Metric]:
    up = [((name,), float(line.link is not None)) for name, line in c.lines.items()]
    lost = [((name, kind), float(n)) for name, kinds in frames.items() for kind, n in sorted(kinds.items())]
    yield _gauge("link_up", "1 while a link is open.", ("link",), up)
    yield _counter(
        "link_frames_lost", "What came over a link and was no frame, as it stood when no exercise went on.",
        ("link", "kind"), lost,
    )  # fmt: skip


def _webhook(c: Controller) -> Iterator[Metric]:
    hook = c.hook
    table = (
        ("webhook_deliveries", "Alerts that the webhook took.", hook.delivered),
        ("webhook_failures", "Tries at which the webhook took nothing.", hook.failed),
        ("webhook_dropped", "Alerts pushed out of a full queue.", hook.dropped),
    )
    for name, says, n in table:
        yield _counter(name, says, (), [((), float(n))])
    yield _gauge("webhook_waiting", "Alerts that wait for the webhook.", (), [((), float(hook.waiting))])
    yield _gauge("webhook_failing", "1 while the webhook takes nothing.", (), [((), float(hook.failing))])
