"""What must never happen, whatever the weather: one small checker each, over the truth and what the product claims.

`watch` runs all the time (once a virtual second and at every life's end), `finish` once at the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from random import Random
from typing import TYPE_CHECKING, TypeVar

from fieldctl.clock.evidence import ClockEvidence, restamp
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.score import score
from fieldctl.events import (
    AllOffConfirmed,
    AllOffOrdered,
    AllOffReleased,
    ExerciseStarted,
    Fact,
    GrantEnded,
    GrantGiven,
    SignalOn,
    StrikeRecorded,
    TraceRead,
)
from fieldctl.ledger.verify import verify
from fieldctl.strikes.trace import of_fact
from fieldctl.units import HostTime
from fieldctl.wire.trace import in_steps
from sims import board_pad
from sims.node import Node

if TYPE_CHECKING:
    from sims.field import Field

F = TypeVar("F", bound=Fact)

SETTLE_US = 1_000  # a gate is read, a fact committed and a check made one after the other
STAMPED_BY_CLOCK = 1  # at least one number of evidence: the target's own clock made the stamp


class Checker:
    """Base: `broken` gathers what was seen, in words."""

    name = ""

    def __init__(self, field: Field) -> None:
        self.field = field
        self.broken: list[str] = []

    def watch(self) -> None:
        """Look now."""

    def finish(self) -> None:
        """Look at the whole."""

    def facts(self, kind: type[F]) -> Iterator[F]:
        """All facts of one kind."""
        for fact in self.field.ledger.facts(kinds=(kind,)):
            assert isinstance(fact, kind)
            yield fact

    def say(self, detail: str) -> None:
        """Something is broken; the first few are enough."""
        if len(self.broken) < 5:
            self.broken.append(detail)


def _obedient(node: Node) -> bool:
    """Whether a target does what it is told: a gate that is stuck or lies is a broken target, not a broken promise."""
    return not (node.gate.stuck or node.gate.lies or getattr(node, "was_broken", False))


class NothingPastItsGrant(Checker):
    """A target sends only inside a grant that ends at a named tick, never past its hard limit."""

    name = "nothing sends past its grant"

    def finish(self) -> None:
        for node in self.field.nodes.values():
            node.settle()
            if _obedient(node) and node.past_grant_us > SETTLE_US:
                self.say(f"{node.target} sent {node.past_grant_us} µs past its grant")


class GrantsCommittedFirst(Checker):
    """What a target holds was in the ledger before it was on the wire."""

    name = "grants are committed first"

    def watch(self) -> None:
        held = {n.gate.held.grant_id for n in self.field.nodes.values() if n.gate.held is not None}
        if held:
            given = {f.grant for f in self.facts(GrantGiven)}
            for grant in sorted(held - given):
                self.say(f"grant {grant} is held and was never committed")


class QuietAfterAllOff(Checker):
    """A target that confirmed all off does not send until it is released; confirmed means latched, gate off."""

    name = "quiet after all off"

    def watch(self) -> None:
        field = self.field
        life = field.life
        if life is None:
            return
        state = life.controller.all_off.state
        if not state.in_force:
            return
        for target in state.confirmed:
            node = field.nodes[target]
            if node.storage.epoch < state.epoch:
                self.say(f"{target} counts as confirmed and has latched epoch {node.storage.epoch} only")
            if _obedient(node) and node.on and node.gate.ordered(node.ticks(field.world.now_us())):
                self.say(f"{target} confirmed all off {state.epoch} and sends")


class NothingAfterAllOff(Checker):
    """No grant is given between the order of all off and its release."""

    name = "no grant under all off"

    def finish(self) -> None:
        off = False
        for fact in self.field.ledger.facts(kinds=(AllOffOrdered, AllOffReleased, GrantGiven)):
            match fact:
                case AllOffOrdered():
                    off = True
                case AllOffReleased():
                    off = False
                case GrantGiven() if off:
                    self.say(f"grant {fact.grant} was given under all off")


class ConfirmedIsConfirmed(Checker):
    """`quiet` in a confirmation is never claimed for a gate that reads on."""

    name = "confirmed means the gate reads off"

    def finish(self) -> None:
        for fact in self.facts(AllOffConfirmed):
            node = self.field.nodes.get(fact.target)
            if node is not None and fact.quiet and node.gate.stuck and self._after_stuck(node, fact.at):
                self.say(f"{fact.target} was confirmed quiet with its gate stuck on")

    def _after_stuck(self, node: Node, at: HostTime) -> bool:
        since = getattr(node, "stuck_since_us", None)
        if since is None:
            return False
        stuck = self.field.world.clock.of(since + 1_000_000)
        return stuck.boot == at.boot and at.us > stuck.us


class NoStrikeLost(Checker):
    """Every strike that a target logged is in the ledger once, or still waits in the log of one that is not heard."""

    name = "no strike lost or doubled"

    def __init__(self, field: Field) -> None:
        super().__init__(field)
        self.lost = 0

    def finish(self) -> None:
        recorded = Counter((f.target, f.boot, f.number) for f in self.facts(StrikeRecorded))
        for key, times in recorded.items():
            if times > 1:
                self.say(f"strike {key} is in the ledger {times} times")
        for node in self.field.nodes.values():
            if node.faults.repeats_numbers or getattr(node, "has_twin", False):
                continue  # two strikes under one number: refused and shown by name
            waiting = {(s.boot, s.number) for s in node.storage.strikes}
            for made in node.made:
                if (node.target, made.boot, made.number) not in recorded and (made.boot, made.number) not in waiting:
                    self.lost += 1
                    self.say(f"strike {made.number} of boot {made.boot} of {node.target} is nowhere")


class TruthInsideEveryPlusMinus(Checker):
    """Every stamp that a target's clock made holds the truth, and can be made again from its evidence."""

    name = "truth inside every ±"

    def finish(self) -> None:
        clock = self.field.world.clock
        truth = {
            (n.target, m.boot, m.number): m.true_us
            for n in self.field.nodes.values()
            for m in n.made
            if not n.faults.repeats_numbers and not getattr(n, "has_twin", False)
        }
        for entry in self.field.ledger.entries(kinds=(StrikeRecorded,)):
            fact = entry.fact
            assert isinstance(fact, StrikeRecorded)
            true_us = truth.get((fact.target, fact.boot, fact.number))
            if true_us is None or len(fact.clock) < STAMPED_BY_CLOCK:
                continue
            jumps = getattr(self.field.nodes[fact.target], "jumps", [])
            if any(true_us <= j <= clock.true_us(entry.at) for j in jumps):
                continue  # its counter leapt between the strike and the stamp, and nobody was there to see it
            off = fact.at.at.us - clock.reading(fact.at.at.boot, true_us)
            if abs(off) > fact.at.plus_minus_us:
                self.say(f"strike {fact.number} of {fact.target} is off by {off} µs, ±{fact.at.plus_minus_us}")
            again = restamp(ClockEvidence.from_ints(fact.clock), fact.ticks)
            if again != (fact.at.at.us, fact.at.plus_minus_us):
                self.say(f"the stamp of strike {fact.number} of {fact.target} cannot be made again: {again}")


class OneOutcomeEach(Checker):
    """Every order ends in exactly one counted outcome."""

    name = "every order has one outcome"

    def watch(self) -> None:
        life = self.field.life
        if life is None:
            return
        c = life.controller
        waiting = sum(k.session.waiting for k in c.known.values())
        ended = c.outcomes.total()
        if ended + waiting != c.posted:
            self.say(f"{c.posted} orders were posted, {ended} ended, {waiting} wait")


class LedgerHolds(Checker):
    """The chain of the ledger verifies."""

    name = "the ledger's chain holds"

    def finish(self) -> None:
        verdict = verify(self.field.ledger)
        if not verdict.ok:
            self.say(str(verdict.flaws[0]))


class ReplayGivesTheSame(Checker):
    """The result of each exercise is the same function of its facts in any order, live or replayed."""

    name = "replay gives the same result"

    def finish(self) -> None:
        facts_of: dict[str, list[Fact]] = {}
        for fact in self.field.ledger.facts():
            name = getattr(fact, "exercise", None)
            if name:
                facts_of.setdefault(name, []).append(fact)
        live = self.field.life.controller.exercises.all if self.field.life else {}
        shuffle = Random(1)
        for name, facts in facts_of.items():
            started = next((f for f in facts if isinstance(f, ExerciseStarted)), None)
            if started is None:
                continue
            drill = drill_from_plan(started.plan)
            first = score(drill, facts)
            mixed = list(facts)
            shuffle.shuffle(mixed)
            if score(drill, mixed) != first:
                self.say(f"{name}: another order of the same facts gives another result")
            if name in live and live[name].result != first and not self.field.full:
                self.say(f"{name}: the live result is not what its facts give")


class GrantsEnd(Checker):
    """Every grant that was given ended once in the ledger, apart from those that are held now."""

    name = "every grant ends once"

    def finish(self) -> None:
        given: set[int] = set()
        ended: Counter[int] = Counter()
        for fact in self.field.ledger.facts(kinds=(GrantGiven, GrantEnded)):
            if isinstance(fact, GrantGiven):
                if fact.grant in given:
                    self.say(f"grant {fact.grant} was given twice")
                given.add(fact.grant)
            elif isinstance(fact, GrantEnded):
                ended[fact.grant] += 1
        held = set(self.field.life.controller.grants.leases) if self.field.life else given
        for grant in sorted(given - held):
            if ended[grant] != 1 and self.field.life is not None and not self.field.full:
                self.say(f"grant {grant} ended {ended[grant]} times")


class SignalsAreTrue(Checker):
    """A signal that the ledger says began was really on, inside its ±."""

    name = "signals begin when the ledger says so"

    def finish(self) -> None:
        clock = self.field.world.clock
        for fact in self.facts(SignalOn):
            node = self.field.nodes[fact.target]
            if not _obedient(node) or getattr(node, "has_twin", False) or getattr(node, "jumps", []):
                continue
            node.settle()
            at = fact.at
            reach = at.plus_minus_us + SETTLE_US
            near = any(
                clock.reading(at.at.boot, begin) - reach <= at.at.us <= clock.reading(at.at.boot, end) + reach
                for begin, end in node.sent
            )
            if not near:
                self.say(f"{fact.target} did not send when grant {fact.grant} is said to have begun")


class TracesAreWhatThePadFelt(Checker):
    """A raw trace that was read is that of its strike, in every part that is there."""

    name = "traces are what the pad felt"

    def finish(self) -> None:
        for fact in self.facts(TraceRead):
            node = self.field.nodes[fact.target]
            if node.faults.repeats_numbers or getattr(node, "has_twin", False):
                continue
            felt = [made.features for made in node.made if (made.boot, made.number) == (fact.boot, fact.number)]
            raw = board_pad.raw(felt[0], f"{node.name} {fact.boot} {fact.number}") if felt else None
            steps = in_steps(raw.samples, raw.scale) if raw is not None else ()
            told = of_fact(fact).samples
            if len(told) != len(steps) or any(a not in (None, b) for a, b in zip(told, steps, strict=True)):
                self.say(f"the trace of strike {fact.number} of {fact.target}, boot {fact.boot}, is another one's")


CHECKERS: tuple[type[Checker], ...] = (
    NothingPastItsGrant,
    GrantsCommittedFirst,
    QuietAfterAllOff,
    NothingAfterAllOff,
    ConfirmedIsConfirmed,
    NoStrikeLost,
    TruthInsideEveryPlusMinus,
    OneOutcomeEach,
    LedgerHolds,
    ReplayGivesTheSame,
    GrantsEnd,
    SignalsAreTrue,
    TracesAreWhatThePadFelt,
)


def past_grant_ms(nodes: Iterable[Node]) -> float:
    """The worst of all obedient targets, in ms; 0 or less is well."""
    worst = [n.past_grant_us for n in nodes if _obedient(n) and n.sent]
    return round(max(worst) / 1000, 3) if worst else 0.0
