"""What a post at the field's edge does besides: it counts the presses of its button, and blows its horn when ordered.

A press is told as a count, never as an event: `presses` (short ones) and `holds` (held ones) since the boot go with
every status, with the ticks of the latest. So no press is lost with a frame, none is counted twice, and a press that
happened while nobody listened is told late, with its age. Held is the safe choice: a press counts as short when it ends
before HOLD_US, and as held when it has lasted that long, whatever follows; one press is never both.

A horn's order has an end in ticks like any other. It grants no sending and is none of the rules in `obey`: a target
without the ability HORN need not know its kind.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fieldctl.wire.messages import Ability, Horn, Reason, Result
from fieldctl.wire.obey import Answer, Rule, Standing

HOLD_US = 2_000_000  # a press held so long is no slip of a glove, and no child's play at the start button
HORN_MAX_US = 10_000_000  # no horn blows longer than this, whatever is ordered
PERIOD_MS = (200, 2_000)  # a blast and its pause, as a horn can follow


@dataclass(frozen=True, slots=True)
class Presses:
    """The counts of one boot: short presses, held ones, and the ticks of the latest of either."""

    short: int = 0
    held: int = 0
    ticks: int = 0
    down_at: int | None = None  # pressed since this tick and not yet counted
    let_go: bool = True

    def down(self, ticks: int) -> Presses:
        """The button goes down; again while it is down changes nothing."""
        return replace(self, down_at=ticks, let_go=False) if self.let_go else self

    def due(self) -> int | None:
        """When a press that goes on counts as held; None while none does."""
        return None if self.down_at is None else self.down_at + HOLD_US

    def at(self, ticks: int) -> Presses:
        """A tick goes by: a press that has lasted long enough is a held one, now."""
        due = self.due()
        if due is None or ticks < due:
            return self
        return replace(self, held=self.held + 1, ticks=due, down_at=None)

    def up(self, ticks: int) -> Presses:
        """The button is let go: a press that was not held is a short one."""
        now = self.at(ticks)
        if now.down_at is not None:
            now = replace(now, short=now.short + 1, ticks=ticks, down_at=None)
        return replace(now, let_go=True)

    @property
    def any(self) -> bool:
        """Whether there is anything to tell."""
        return self.short > 0 or self.held > 0


RULES: tuple[Rule, ...] = (
    Rule("retained", lambda s, o: s.retained, Result.REFUSED, Reason.RETAINED),
    Rule("older generation", lambda s, o: o.generation < s.generation, Result.SUPERSEDED),
    Rule("other boot", lambda s, o: o.boot != s.boot, Result.REFUSED, Reason.OTHER_BOOT),
    Rule("no horn", lambda s, o: not s.abilities & Ability.HORN, Result.REFUSED, Reason.NO_ABILITY),
    Rule("empty", lambda s, o: o.until <= o.from_, Result.REFUSED, Reason.EMPTY),
    Rule("too long", lambda s, o: o.until - max(o.from_, s.ticks) > HORN_MAX_US, Result.REFUSED, Reason.LIMIT),
    Rule(
        "pattern",
        lambda s, o: not (PERIOD_MS[0] <= o.period <= PERIOD_MS[1] and 0 < o.on <= o.period),
        Result.REFUSED,
        Reason.KEYING,
    ),
    Rule("late", lambda s, o: o.until <= s.ticks, Result.LATE),
)


def horn(standing: Standing, order: Horn) -> Answer:
    """A post's word on an order to blow; done means that it blows from `from_` (or now) until `until`."""
    for rule in RULES:
        if rule.holds(standing, order):
            late = max(0, standing.ticks - order.until) if rule.result is Result.LATE else 0
            return Answer(rule.result, rule.reason, late)
    return Answer(Result.DONE)


def blows_at(order: Horn | None, ticks: int) -> bool:
    """Whether a horn that was told so sounds at a tick."""
    if order is None or not order.from_ <= ticks < order.until:
        return False
    return (ticks - order.from_) % (order.period * 1000) < order.on * 1000
