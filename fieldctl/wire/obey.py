"""Which order a target carries out: one table of rules by kind of order, first match decides.

Pure: `obey(standing, order) -> (answer, standing)`. The firmware's core follows the same table; shared vectors hold the
two together. A grant is permission between two ticks of one boot; whether the target sends at a tick is `sends_at`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from fieldctl.keying import Keying
from fieldctl.wire.messages import (
    Ability,
    Ack,
    AllOff,
    Arm,
    Grant,
    Leave,
    Message,
    Quiet,
    Reason,
    Renew,
    Result,
    Sleep,
)

LEASE_MAX_US = 120_000_000  # no target sends longer than this without being renewed, whatever the site says
LIMIT_MAX_US = 4 * 3_600_000_000  # no burial sends longer than this at all


@dataclass(frozen=True, slots=True)
class Held:
    """The grant that a target holds."""

    grant_id: int
    from_: int
    until: int
    limit: int
    keying: Keying
    level: int = 100
    drop_on: int = 0
    drop_off: int = 0


@dataclass(frozen=True, slots=True)
class Standing:
    """What a target knows when an order arrives: boot, ticks, what it latched, what it holds, what it can do."""

    boot: int
    ticks: int = 0
    generation: int = 0
    epoch: int = 0
    off: bool = False  # all off is latched and no newer order has been accepted
    held: Held | None = None
    armed: bool = False
    abilities: int = int(Ability.PAD | Ability.TRANSMITTER | Ability.LEVELS)
    battery_ok: bool = True
    gate_ok: bool = True
    retained: bool = False  # the order at hand arrived as a retained message


@dataclass(frozen=True, slots=True)
class Answer:
    """A target's word on an order."""

    result: Result
    reason: Reason = Reason.NONE
    late: int = 0


@dataclass(frozen=True, slots=True)
class Rule:
    """When `holds`, the answer is `result` with `reason`; the name is what tests and certificates call it."""

    name: str
    holds: Callable[[Standing, Any], bool]
    result: Result
    reason: Reason = Reason.NONE


_SUPERSEDED = Rule("older generation", lambda s, o: o.generation < s.generation, Result.SUPERSEDED)
_RETAINED = Rule("retained", lambda s, o: s.retained, Result.REFUSED, Reason.RETAINED)
_OTHER_BOOT = Rule("other boot", lambda s, o: o.boot != s.boot, Result.REFUSED, Reason.OTHER_BOOT)
_OLDER_EPOCH = Rule("older epoch", lambda s, o: o.epoch < s.epoch, Result.REFUSED, Reason.OLDER_EPOCH)

RULES: dict[type[Message], tuple[Rule, ...]] = {
    Grant: (
        _RETAINED,
        _SUPERSEDED,
        _OLDER_EPOCH,
        _OTHER_BOOT,
        Rule(
            "no transmitter",
            lambda s, o: not s.abilities & Ability.TRANSMITTER,
            Result.REFUSED,
            Reason.NO_ABILITY,
        ),
        Rule("gate stuck", lambda s, o: not s.gate_ok, Result.REFUSED, Reason.GATE_STUCK),
        Rule("battery", lambda s, o: not s.battery_ok, Result.REFUSED, Reason.BATTERY),
        Rule("keying", lambda s, o: not Keying(o.period, o.on).legal, Result.REFUSED, Reason.KEYING),
        Rule("empty", lambda s, o: o.until <= o.from_, Result.REFUSED, Reason.EMPTY),
        Rule(
            "limit",
            lambda s, o: o.until > o.limit or o.limit - o.from_ > LIMIT_MAX_US,
            Result.REFUSED,
            Reason.LIMIT,
        ),
        Rule(
            "lease too long",
            lambda s, o: o.until - max(o.from_, s.ticks) > LEASE_MAX_US,
            Result.REFUSED,
            Reason.LEASE_TOO_LONG,
        ),
        Rule("late", lambda s, o: o.from_ < s.ticks, Result.LATE),
    ),
    Renew: (
        _RETAINED,
        _SUPERSEDED,
        _OLDER_EPOCH,
        _OTHER_BOOT,
        Rule(
            "no such grant",
            lambda s, o: s.held is None or s.held.grant_id != o.grant_id or s.ticks >= s.held.until,
            Result.REFUSED,
            Reason.NO_SUCH_GRANT,
        ),
        Rule("limit", lambda s, o: s.held is not None and o.until > s.held.limit, Result.REFUSED, Reason.LIMIT),
        Rule("lease too long", lambda s, o: o.until - s.ticks > LEASE_MAX_US, Result.REFUSED, Reason.LEASE_TOO_LONG),
        Rule("late", lambda s, o: o.until <= s.ticks, Result.LATE),
    ),
    Quiet: (
        _RETAINED,
        _SUPERSEDED,
        Rule(
            "no such grant",
            lambda s, o: o.grant_id != 0 and (s.held is None or s.held.grant_id != o.grant_id),
            Result.REFUSED,
            Reason.NO_SUCH_GRANT,
        ),
    ),
    AllOff: (),  # whoever may say it is obeyed at once, whatever the generation
    Arm: (
        _RETAINED,
        _SUPERSEDED,
        _OTHER_BOOT,
        Rule("no pad", lambda s, o: not s.abilities & Ability.PAD, Result.REFUSED, Reason.NO_ABILITY),
    ),
    Sleep: (
        _RETAINED,
        _SUPERSEDED,
        _OTHER_BOOT,
        Rule("cannot sleep", lambda s, o: not s.abilities & Ability.SLEEP, Result.REFUSED, Reason.NO_ABILITY),
    ),
    Leave: (_RETAINED, _SUPERSEDED, _OTHER_BOOT),
    Ack: (),
}


def _lateness(standing: Standing, order: Message) -> int:
    due = order.from_ if isinstance(order, Grant) else getattr(order, "until", standing.ticks)
    return max(0, standing.ticks - due)


def _carried_out(standing: Standing, order: Message) -> Standing:
    """The standing after an order that no rule stopped."""
    match order:
        case Grant():
            held = Held(
                order.grant_id,
                order.from_,
                order.until,
                order.limit,
                Keying(order.period, order.on),
                order.level,
                order.drop_on,
                order.drop_off,
            )
            return replace(standing, held=held, generation=order.generation, epoch=order.epoch, off=False)
        case Renew():
            assert standing.held is not None  # the rule "no such grant" stands before this
            until = max(order.until, standing.held.until)  # a renewal overtaken by a later one shortens nothing
            return replace(standing, held=replace(standing.held, until=until), generation=order.generation)
        case Quiet():
            if order.ticks <= standing.ticks or standing.held is None:
                return replace(standing, held=None, generation=order.generation)
            end = min(standing.held.until, order.ticks)
            return replace(standing, held=replace(standing.held, until=end, limit=end), generation=order.generation)
        case AllOff():
            return replace(standing, held=None, epoch=max(standing.epoch, order.epoch), off=True)
        case Arm():
            return replace(standing, armed=order.armed, generation=order.generation)
        case Leave():
            return replace(standing, held=None, off=True)
        case Sleep():
            return replace(standing, held=None, armed=False, generation=order.generation)
        case _:
            return standing


def obey(standing: Standing, order: Message) -> tuple[Answer, Standing]:
    """A target's word on an order and its standing afterwards; an order that is stopped changes nothing."""
    for rule in RULES.get(type(order), ()):
        if rule.holds(standing, order):
            late = _lateness(standing, order) if rule.result is Result.LATE else 0
            return Answer(rule.result, rule.reason, late), standing
    return Answer(Result.DONE), _carried_out(standing, order)


def table_as_text() -> str:
    """The table of rules as Markdown, in the order in which they are tried; printed in DEVELOPERS.md."""
    lines = ["| order | if | the answer is | because |", "|---|---|---|---|"]
    for order, rules in RULES.items():
        for rule in rules:
            because = "" if rule.reason is Reason.NONE else _word(rule.reason)
            lines.append(f"| {order.__name__} | {rule.name} | {_word(rule.result)} | {because} |")
        lines.append(f"| {order.__name__} | nothing above | {_word(Result.DONE)} | |")
    return "\n".join(lines) + "\n"


def _word(value: Result | Reason) -> str:
    return value.name.lower().replace("_", " ")


def broadcast_counts(standing: Standing, order: AllOff) -> bool:
    """Whether an all off heard by everybody is new: a repeat of one that was released is a recording."""
    return order.epoch > standing.epoch or (order.epoch == standing.epoch and standing.off)


def sends_at(held: Held | None, ticks: int) -> bool:
    """Whether a grant lets the target send at a tick (the keying's pauses apart)."""
    if held is None or not held.from_ <= ticks < min(held.until, held.limit):
        return False
    if held.drop_off == 0:
        return True
    cycle = (held.drop_on + held.drop_off) * 100_000  # the fields are tenths of a second
    return (ticks - held.from_) % cycle < held.drop_on * 100_000
