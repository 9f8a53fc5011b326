"""Raw traces: read out of a target part by part, kept as facts beside the strikes.

Only while nobody searches: each part is a question and an answer more than the quiet bus has, beside people who
listen at 457 kHz, and a target keeps the trace of its last four strikes until then. A part that was lost is asked for
again, a trace that could not be read to its end goes on where it stopped, and says what is missing.
"""

from __future__ import annotations

from collections import OrderedDict
from typing import TYPE_CHECKING, Any

from fieldctl.controller.verbs_target import TargetVerbs
from fieldctl.errors import NotFound, Refused, Unreachable
from fieldctl.events import StrikeRecorded, TraceRead
from fieldctl.strikes.trace import as_row
from fieldctl.units import US_PER_S, BootId, TargetId
from fieldctl.wire.messages import Ability, Trace, TraceAsk
from fieldctl.wire.trace import fits, join

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.known import Known
    from fieldctl.ledger.entry import Entry

Row = dict[str, Any]
Key = tuple[TargetId, int, int]
"""Target, boot and number of a strike."""

TRIES = 3  # unanswered questions before it gives up: each was resent for 4 s
WITHIN_US = 20 * US_PER_S  # a person waits for it; four parts over a bad radio take about 10 s
UNFINISHED_MOST = 64  # traces of which some parts were read: each has at most 4 KiB


class TraceVerbs:
    """The verb about raw traces."""

    def __init__(self, controller: Controller, targets: TargetVerbs) -> None:
        self._c = controller
        self._targets = targets
        self._parts: OrderedDict[Key, dict[int, Trace]] = OrderedDict()
        self._last: dict[TargetId, tuple[int, int]] = {}  # boot and number of the strike that was committed last
        self._reading = False
        controller.watchers.append(self._committed)

    def _committed(self, entries: tuple[Entry, ...]) -> None:
        for entry in entries:
            if isinstance(entry.fact, StrikeRecorded):
                self._last[entry.fact.target] = entry.fact.boot, entry.fact.number

    async def trace(self, target: str, by: str, number: int = 0, boot: int = 0) -> Row:
        """The raw trace of a strike by its number (0: the last one heard) and boot (0: the present one)."""
        known = self._targets.find(target)
        key = self._which(known, number, boot)
        kept = self._kept(key)
        if kept is not None and not kept.missing:
            return self._row(kept, "")
        self._may_ask(known, key)
        parts = self._unfinished(key)
        self._reading = True
        try:
            why = await self._read(known, key, parts)
        finally:
            self._reading = False
        if not parts:
            name, strike = self._name(known), key[2]
            raise Unreachable(
                f"{name} told nothing of the trace of strike {strike}: {why}.",
                remedy="Look whether it is heard well, and ask again.",
            )
        fact = self._fact(key, parts, by)
        if kept is not None and len(fact.missing) >= len(kept.missing):
            return self._row(kept, why)
        await self._c.write(fact)
        if not fact.missing:
            del self._parts[key]
        return self._row(fact, why)

    # ---- which, and whether ------------------------------------------------------------------------------------

    def _which(self, known: Known, number: int, boot: int) -> Key:
        if number:
            return known.target, boot or known.boot or 0, number
        last = self._last.get(known.target)
        if last is None or (boot and boot != last[0]):
            name = self._name(known)
            raise NotFound(
                f"No strike of {name} was heard since this began.",
                expected="the number of a strike",
                remedy="Name its number; the log has it.",
            )
        return known.target, *last

    def _kept(self, key: Key) -> TraceRead | None:
        """What was read of it before; the one with the fewest missing parts."""
        facts = (f for f in self._c.ledger.facts(target=key[0], kinds=(TraceRead,)) if isinstance(f, TraceRead))
        found = [fact for fact in facts if (fact.target, fact.boot, fact.number) == key]
        return min(found, key=lambda fact: len(fact.missing), default=None)

    def _may_ask(self, known: Known, key: Key) -> None:
        name = self._name(known)
        if known.greeting is None or known.boot is None:
            raise Unreachable(f"{name} has not said yet who it is.", remedy="Wait until it is heard.")
        if not known.greeting.abilities & Ability.TRACES:
            raise Refused(
                f"{name} keeps no raw traces.",
                expected="a target with that ability",
                remedy="What its firmware measured of each strike is in the log.",
            )
        if key[1] != known.boot:
            raise NotFound(
                f"{name} has rebooted since that strike, and forgot its trace.",
                expected=f"a strike of boot {known.boot}",
                remedy="Read a trace while the target keeps its power.",
            )
        if self._c.exercises.searching:
            raise Refused(
                "Somebody searches, and the bus keeps quiet.",
                remedy="Ask again when the search is over; the traces of the last four strikes are kept.",
            )
        if self._reading:
            raise Refused("Another trace is being read.", remedy="Wait some seconds, and ask again.")

    def _unfinished(self, key: Key) -> dict[int, Trace]:
        parts = self._parts.setdefault(key, {})
        self._parts.move_to_end(key)
        while len(self._parts) > UNFINISHED_MOST:
            self._parts.popitem(last=False)
        return parts

    # ---- reading -----------------------------------------------------------------------------------------------

    async def _read(self, known: Known, key: Key, parts: dict[int, Trace]) -> str:
        """Read what is missing; "" when nothing is missing any more, or why it stopped."""
        _, boot, number = key
        until = self._c.outside.clock.now() + WITHIN_US
        vain = 0
        while (part := _missing(parts)) is not None:
            if self._c.exercises.searching:
                return "somebody began to search"
            if vain == TRIES or self._c.outside.clock.now() >= until:
                return "it does not answer"
            ended = await self._c.ask(known, TraceAsk(number, boot, part), "ask trace")
            if isinstance(ended.answer, Trace):
                if parts and not fits(next(iter(parts.values())), ended.answer):
                    parts.clear()  # another strike under that number: nothing of the two belongs together
                parts[part] = ended.answer
            elif ended.verdict == "refused" and not parts:
                name = self._name(known)
                raise NotFound(
                    f"{name} keeps no trace of strike {number}.",
                    expected="one of the last four strikes that it noticed since its power came",
                    remedy="Name one of these.",
                )
            elif ended.verdict == "refused":
                return ended.why
            else:
                vain += 1
        return ""

    def _fact(self, key: Key, parts: dict[int, Trace], by: str) -> TraceRead:
        target, boot, number = key
        whole = join(parts)
        return TraceRead(
            target,
            BootId(boot),
            number,
            whole.every_us,
            whole.before,
            whole.begins,
            whole.scale,
            tuple(step or 0 for step in whole.samples),
            whole.parts,
            whole.size,
            whole.missing,
            self._c.person(by),
            self._c.outside.here(),
        )

    # ---- saying ------------------------------------------------------------------------------------------------

    def _name(self, known: Known) -> str:
        return self._c.names.get(known.target, known.target)

    def _row(self, fact: TraceRead, why: str) -> Row:
        return as_row(fact, self._c.names.get(fact.target, fact.target), why)


def _missing(parts: dict[int, Trace]) -> int | None:
    """The first part that is not there; None when all are."""
    count = next(iter(parts.values())).parts if parts else 1
    return next((n for n in range(count) if n not in parts), None)
