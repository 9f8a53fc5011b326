"""Defects planted in the product, one for each invariant: the swarm has to catch every one of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fieldctl.clock.mapping import TickMap
from fieldctl.controller import verbs_trace
from fieldctl.controller.alloff import AllOffKeeper
from fieldctl.controller.controller import Controller
from fieldctl.controller.exercises import Exercises
from fieldctl.controller.grants import Grants
from fieldctl.controller.strikes import StrikeDesk
from fieldctl.drill import engine
from fieldctl.ledger import pen as ledger_pen
from fieldctl.wire import obey
from fieldctl.wire.messages import Flags, Grant
from fieldctl.wire.trace import join
from sims import node_orders

Plant = Callable[[pytest.MonkeyPatch], None]


def sends_past_its_grant(patch: pytest.MonkeyPatch) -> None:
    """The target's gate does not look at the end of a grant."""
    patch.setattr("sims.gate.sends_at", lambda held, ticks: held is not None and held.from_ <= ticks)
    real = node_orders._permit

    def longer(node: Any, message: Any, before: Any, at_us: int) -> None:
        real(node, message, before, at_us)
        if node.gate.held is not None:
            node.gate.held = replace(node.gate.held, until=node.gate.held.until + 40_000_000, limit=1 << 60)

    patch.setattr(node_orders, "_permit", longer)


def grants_before_the_commit(patch: pytest.MonkeyPatch) -> None:
    """The order goes out while the pen still writes, and what is not committed is lost with the controller."""
    real = Grants.give

    def early(self: Grants, wish: Any, lead_us: int) -> bool:
        before = set(self.leases)
        given = real(self, wish, lead_us)
        for number in set(self.leases) - before:
            lease = self.leases[number]
            order = Grant(lease.boot, self.generation, self.epoch, number + 1000, *_ticks(self, lease), 1000, 100)
            self._post(wish.known, order, self._outside.clock.now() + 4_000_000, "early")
        return given

    patch.setattr(Grants, "give", early)


def _ticks(grants: Grants, lease: Any) -> tuple[int, int, int]:
    clock = lease.wish.known.clock.of(lease.boot)
    begin = clock.to_ticks(lease.wish.known.heard_us + 600_000)[0]
    return begin, begin + 5_000_000, begin + 5_000_000


def sends_again_under_all_off(patch: pytest.MonkeyPatch) -> None:
    """A target takes a grant of an older epoch."""
    rules = dict(obey.RULES)
    rules[Grant] = tuple(rule for rule in rules[Grant] if rule.name != "older epoch")
    patch.setattr(obey, "RULES", rules)
    patch.setattr(Grants, "all_off_in_force", property(lambda _self: False, lambda _self, _value: None), raising=False)
    patch.setattr(Exercises, "all_off", lambda _self, _by: None)


def believes_a_gate_that_reads_on(patch: pytest.MonkeyPatch) -> None:
    """All off counts as confirmed whatever the gate reads."""
    real = AllOffKeeper.heard

    def blind(self: AllOffKeeper, known: Any, epoch: int, flags: int) -> None:
        real(self, known, epoch, (flags | Flags.ALL_OFF) & ~Flags.GATE_ON)

    patch.setattr(AllOffKeeper, "heard", blind)


def confirms_what_was_only_sent(patch: pytest.MonkeyPatch) -> None:
    """All off counts as confirmed by whoever it was sent to."""
    real = AllOffKeeper.order

    def hasty(self: AllOffKeeper, by: Any, via: str) -> int:
        epoch = real(self, by, via)
        for target in list(self.state.unconfirmed):
            self.state.confirmed[target] = 0
        self.state.unconfirmed.clear()
        return epoch

    patch.setattr(AllOffKeeper, "order", hasty)


def acknowledges_before_the_commit(patch: pytest.MonkeyPatch) -> None:
    """A strike is acknowledged when it is heard, and written later, perhaps."""
    real = StrikeDesk.take

    def hasty(self: StrikeDesk, known: Any, strike: Any) -> None:
        self._ack(known, strike.strike_boot, strike.number)
        if strike.number % 3:
            real(self, known, strike)

    patch.setattr(StrikeDesk, "take", hasty)


def claims_too_narrow_a_stamp(patch: pytest.MonkeyPatch) -> None:
    """The ± is a third of what is known."""
    real = TickMap.to_host

    def narrow(self: TickMap, ticks: Any) -> Any:
        found = real(self, ticks)
        return None if found is None else (found[0], found[1] // 20)

    patch.setattr(TickMap, "to_host", narrow)


def forgets_an_outcome(patch: pytest.MonkeyPatch) -> None:
    """Renewals that were lost are not counted."""
    real = Controller.order_ended

    def deaf(self: Controller, known: Any, ended: Any) -> None:
        if ended.verdict not in ("lost", "expired"):
            real(self, known, ended)

    patch.setattr(Controller, "order_ended", deaf)


def breaks_the_chain(patch: pytest.MonkeyPatch) -> None:
    """An entry's hash leaves its body out."""
    real = ledger_pen.entry_hash  # type: ignore[attr-defined]

    def weak(*args: Any) -> str:
        return str(real(*args[:-1], "{}"))

    patch.setattr(ledger_pen, "entry_hash", weak)


def scores_by_arrival(patch: pytest.MonkeyPatch) -> None:
    """The live result takes the first strike that arrived, not the first that happened."""
    real = engine.score

    def hasty(drill: Any, facts: Any) -> Any:
        return real(drill, facts[:-1]) if len(facts) > 12 else real(drill, facts)

    patch.setattr(engine, "score", hasty)


def leaves_a_grant_open(patch: pytest.MonkeyPatch) -> None:
    """A grant that ran out is dropped without an entry."""
    real = Grants._over

    def silent(self: Grants, lease: Any, why: str) -> None:
        if why in ("ran-out", "gone", "rebooted", "complete", "stopped"):
            self.leases.pop(lease.grant, None)
        else:
            real(self, lease, why)

    patch.setattr(Grants, "_over", silent)


def believes_its_own_order(patch: pytest.MonkeyPatch) -> None:
    """A signal counts as begun long before its target can have begun."""
    real = Grants._began

    def hasty(self: Grants, lease: Any) -> None:
        lease.wish.known.since_ticks = max(1, lease.wish.known.since_ticks - 3_000_000)
        real(self, lease)

    patch.setattr(Grants, "_began", hasty)


def believes_any_part_of_a_trace(patch: pytest.MonkeyPatch) -> None:
    """The parts of a trace are put together in the order in which they came, from the last one backwards."""
    patch.setattr(verbs_trace, "join", lambda parts: join({len(parts) - 1 - n: part for n, part in parts.items()}))


def goes_on_without_a_ledger(patch: pytest.MonkeyPatch) -> None:
    """A ledger that failed stops nothing, and renewals do not ask for a commit."""
    patch.setattr(Controller, "_ledger_failed", lambda self, error: setattr(self, "failed", error))
    patch.setattr("fieldctl.controller.grants.LEDGER_FRESH_US", 1 << 60)


def says_all_off_once(patch: pytest.MonkeyPatch) -> None:
    """All off is said once and never repeated."""
    patch.setattr(AllOffKeeper, "tick", lambda _self, _now: None)
    patch.setattr("fieldctl.controller.alloff.ORDER_LIVES_US", 1)


def never_opens_a_link_again(patch: pytest.MonkeyPatch) -> None:
    """A link that was lost stays lost."""
    patch.setattr(Controller, "line_lost", lambda _self, _line, _why: None)


PLANTED: tuple[tuple[str, Plant], ...] = (
    ("nothing sends past its grant", sends_past_its_grant),
    ("grants are committed first", grants_before_the_commit),
    ("no grant under all off", sends_again_under_all_off),
    ("confirmed means the gate reads off", believes_a_gate_that_reads_on),
    ("quiet after all off", confirms_what_was_only_sent),
    ("no strike lost or doubled", acknowledges_before_the_commit),
    ("truth inside every ±", claims_too_narrow_a_stamp),
    ("every order has one outcome", forgets_an_outcome),
    ("the ledger's chain holds", breaks_the_chain),
    ("replay gives the same result", scores_by_arrival),
    ("every grant ends once", leaves_a_grant_open),
    ("signals begin when the ledger says so", believes_its_own_order),
    ("traces are what the pad felt", believes_any_part_of_a_trace),
    ("a failed ledger ends sending", goes_on_without_a_ledger),
    ("in the end all off is confirmed", says_all_off_once),
    ("in the end everything settles", never_opens_a_link_again),
)

IN_THE_END = {
    "a failed ledger ends sending",
    "in the end all off is confirmed",
    "in the end everything settles",
}
"""What the swarm asks for in the calm, beside the checkers that watch all the time."""
