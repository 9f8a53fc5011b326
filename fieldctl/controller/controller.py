"""The controller: where links, targets, exercises, grants and the ledger meet.

Everything that happens is one of: a target said something (`heard`), an order has its outcome (`order_ended`), a fact
was committed (`_committed`), the clock moved (`_beat`), or a person asked for something (`verbs`).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldctl import __version__
from fieldctl.controller.air_line import AirLine
from fieldctl.controller.alarm_keeper import AlarmKeeper
from fieldctl.controller.alloff import AllOffKeeper
from fieldctl.controller.asking import ask_what_is_due
from fieldctl.controller.bus_line import BusLine
from fieldctl.controller.edge import Edge
from fieldctl.controller.exercises import Exercises
from fieldctl.controller.grants import Grants
from fieldctl.controller.hearing import Hearing
from fieldctl.controller.hook import Hook
from fieldctl.controller.keep_link import keep_link
from fieldctl.controller.keeping import Keeping
from fieldctl.controller.known import Known
from fieldctl.controller.line import Line, window_of
from fieldctl.controller.memory import Memory, remember
from fieldctl.controller.night import Night
from fieldctl.controller.pen import Pen
from fieldctl.controller.people import PeopleBook
from fieldctl.controller.ports import LinkConfig, Outside
from fieldctl.controller.snow_book import SnowBook
from fieldctl.controller.states import States
from fieldctl.controller.strikes import StrikeDesk
from fieldctl.controller.upkeep_book import UpkeepBook
from fieldctl.errors import BadInput, FieldctlError, LinkDown, Refused
from fieldctl.events import (
    FIELD,
    ControllerStarted,
    ControllerStopped,
    ExerciseInterrupted,
    ExerciseResumed,
    Fact,
    GenerationRaised,
    LinkChanged,
    TargetAdded,
    TargetBarred,
)
from fieldctl.site.day import Day
from fieldctl.site.day import step as day_step
from fieldctl.site.model import MqttLink, SerialLink
from fieldctl.units import US_PER_S, HostUs, PersonId, TargetId
from fieldctl.wire import bus
from fieldctl.wire.messages import Ack, AllOff, Arm, Message, Quiet, Sleep
from fieldctl.wire.session import RESEND_FIRST_US, Ended, Posted, Session

if TYPE_CHECKING:  # the ledger brings SQLAlchemy along
    from fieldctl.ledger.entry import Entry
    from fieldctl.ledger.store import Ledger

BEAT_S = 0.2  # the pace of renewals, repeats and due signals; the lead of an order is longer
ALIVE_EVERY_US = 4 * US_PER_S  # the ledger is touched so often, so that a renewal always has a fresh commit behind it
ORDER_LIVES_US = 4 * US_PER_S
STOP_WAITS_S = 2.0
REOPEN_AFTER_LOST = 3  # orders lost in a row by a target that is heard: its counters are asked for again


class Controller:
    """One field's controller; `run()` until cancelled, `stop()` to switch off and leave."""

    def __init__(self, outside: Outside, ledger: Ledger) -> None:
        self.outside = outside
        self.ledger = ledger
        self.site = outside.site
        self.pen = Pen(ledger, outside, self._ledger_failed)
        self.known: dict[TargetId, Known] = {}
        self.lines: dict[str, Line] = {}
        self.grants = Grants(outside, self.pen, self.post, lambda: ledger.last_commit_us)
        self.exercises = Exercises(outside, self.pen, self.grants, self.known)
        self.all_off = AllOffKeeper(
            outside,
            self.pen,
            self.grants,
            self.lines.values,
            self.known.values,
            self.post_first,
            self.exercises.all_off,
        )
        self.hearing = Hearing(self)
        self.hook = Hook(self)
        self.alarms = AlarmKeeper(self)
        self.states = States(self)
        self.exercises.barred = self.hearing.is_barred
        self.edge = Edge(self)
        self.night = Night(self)
        self.upkeep_book = UpkeepBook()
        self.strikes = StrikeDesk(outside, self.pen, self.exercises.part_of, self._acknowledge, self.hearing.odd)
        self.day = Day()
        self.snow = SnowBook(self)
        self.book = PeopleBook(outside, ledger, self.pen.write)
        self.people = self.book.names
        self.keeping = Keeping(ledger, self.exercises, self.book)
        self.names: dict[TargetId, str] = {}
        self.thresholds: dict[TargetId, int] = {}  # of the pads that a person tuned, in tenths of the noise
        self.added: dict[TargetId, TargetAdded] = {}
        self.outcomes: Counter[str] = Counter()
        self.exercise_count = 0
        self.requests: dict[str, str] = {}  # a client's own id of a start -> the exercise that it became
        self._taps = 0
        self.order_waiters: dict[int, asyncio.Future[Ended]] = {}
        self.watchers: list[Callable[[tuple[Entry, ...]], None]] = []
        self.ready = asyncio.Event()
        self.posted = 0  # orders so far; each one has or will have one outcome
        self.highest = 1  # generation that the ledger knows of
        self._zone_of = self.site.zone_of()
        self._alive_us = 0
        self.searching = False  # whether a signal is searched for anywhere, as of the last beat
        self._pace: tuple[frozenset[TargetId], frozenset[TargetId], bool] = (frozenset(), frozenset(), False)
        self._unsubscribe = ledger.subscribe(self._committed)
        self.failed: FieldctlError | None = None

    # ---- life ------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Load what the ledger knows, open the links, keep everything going until cancelled."""
        memory = remember(self.ledger)
        self._load(memory)
        async with asyncio.TaskGroup() as group:
            group.create_task(self.pen.run(), name="pen")
            self.pen.write(ControllerStarted(__version__, self.outside.here(), self.grants.generation, memory.closed))
            self._take_up(memory)
            for config in self.outside.links:
                group.create_task(keep_link(self, config), name=f"link {config.name}")
            group.create_task(self._beats(), name="beat")
            self.ready.set()

    async def stop(self, why: str) -> None:
        """Switch everything off, see it confirmed as far as may be, and close the book; then cancel `run`."""
        here = self.outside.here()
        for exercise in list(self.exercises.running()):
            self.pen.write(ExerciseInterrupted(exercise.id, here, here, why))
        for lease in list(self.grants.leases.values()):
            self.grants.end(lease, "stopped")
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(STOP_WAITS_S):
                while self.grants.leases:
                    await asyncio.sleep(0.02)
        self.pen.write(ControllerStopped(why, self.outside.here()))
        await self.pen.settle()

    def _load(self, memory: Memory) -> None:
        """What the ledger knows, before any link opens; all off first."""
        for place in self.site.places:
            self.names[place.target] = place.name
        for added in memory.added.values():
            self.admit(added)
        self.names.update(memory.names)
        self.thresholds.update(memory.thresholds)
        self.exercise_count = memory.exercises
        self.requests = dict(memory.requests)
        self.grants.next_id = memory.next_grant
        self.grants.generation, self.highest = memory.generation, memory.highest
        may_send = {g.target: memory.grant_until(g, self.outside) for g in memory.open_grants.values()}
        self.all_off.load(memory.epoch, in_force=memory.all_off, may_send=may_send)
        self.day = memory.day(self._zone_of)
        self.snow.now = memory.snow
        for fact in memory.exercise_facts:
            self.exercises.committed(fact, live=False)
        self.edge.load(memory.day_facts)
        for fact in memory.day_facts:
            self.upkeep_book.take(fact)
        self.alarms.load(memory.alarms)
        self.states.load()
        for target, heard in memory.heard.items():
            if target in self.known:
                self.known[target].heard_before = heard

    def _take_up(self, memory: Memory) -> None:
        """Exercises that went on when the last controller went away: on with them, or interrupted."""
        here = self.outside.here()
        going_on = set()
        for exercise in list(self.exercises.running()):
            gap = memory.gap_us(here)
            if gap is None or gap > self.grants.lease_us:
                why = "the host was rebooted" if gap is None else f"the controller was away for {gap / 1e6:.0f} s"
                why = "the site was restored from a backup" if memory.restored else why
                self.pen.write(ExerciseInterrupted(exercise.id, memory.last_known or here, here, why))
                continue
            going_on.add(exercise.id)
            self.pen.write(ExerciseResumed(exercise.id, gap, FIELD, here))
            for fact in memory.open_grants.values():
                known = self.known.get(fact.target)
                if fact.exercise == exercise.id and known is not None:
                    until = memory.grant_until(fact, self.outside)
                    self.grants.restore(fact, known, began=fact.grant in memory.began, until_us=until)
        self.grants.close_unknown(memory.open_grants.values())
        self.exercises.after_restart(going_on)

    def admit(self, added: TargetAdded) -> Known:
        """Begin to speak to a target that has keys of this site."""
        config = next((c for c in self.outside.links if c.name == added.link), None)
        if config is None:
            raise BadInput(
                f"Target {added.target} was added on link {added.link!r}, which {self.site.name} no longer names.",
                remedy="Name that link in site.toml again, or take the target out.",
            )
        self.added[added.target] = added
        kind = "mqtt" if isinstance(config, MqttLink) else "serial"
        keys = self.outside.keys.of(added.target, added.key_version)
        session = Session(
            "controller",
            int(added.target, 16),
            keys.own,
            window=window_of(kind),
            resend_first_us=RESEND_FIRST_US[kind],
        )
        known = Known(added.target, int(added.target, 16), session)
        self.known[added.target] = known
        if added.name:
            self.names[added.target] = added.name
        self.line_of(config).join(known)
        self.all_off.joined(known)
        return known

    def part_with(self, target: TargetId) -> None:
        """Speak to a target no more; all off still lists it while it has not confirmed."""
        known = self.known.pop(target, None)
        self.added.pop(target, None)
        if known is not None:
            self.lines[known.line].leave(known)

    def rejoin(self, target: TargetId, key_version: int) -> None:
        """Speak to a target under its new keys."""
        old = self.added[target]
        self.part_with(target)
        self.admit(replace(old, key_version=key_version))

    def line_of(self, config: LinkConfig) -> Line:
        """The line that uses the link of this configuration."""
        line = self.lines.get(config.name)
        if line is None:
            if isinstance(config, SerialLink):
                polling = self.site.polling
                pace = bus.Pace(
                    exercise_us=round(polling.exercise_s * US_PER_S),
                    idle_us=round(polling.idle_s * US_PER_S),
                    quiet_exercise_us=round(polling.quiet_s * US_PER_S),
                    quiet_idle_us=round(4 * polling.idle_s * US_PER_S),
                )
                line = BusLine(config.name, self.outside, self, pace)
            else:
                line = AirLine(config.name, self.outside, self)
            self.lines[config.name] = line
        return line

    async def _beats(self) -> None:
        while True:
            await asyncio.sleep(BEAT_S)
            await self._beat()

    async def _beat(self) -> None:
        now = self.outside.clock.now()
        self.all_off.tick(now)
        self.grants.tick(now)
        self.exercises.tick(now)
        self.edge.tick()
        self.states.beat(now)
        self._set_pace()
        for known in self.known.values():
            ask_what_is_due(self, known, now)
        if now - self._alive_us >= ALIVE_EVERY_US:
            self._alive_us = now
            wall = self.outside.clock.wall() or ""
            if await self.pen.beat({k.target: wall for k in self.known.values() if k.life(now) == "online"}):
                await self.keeping.tick()

    def _set_pace(self) -> None:
        """Tell the lines who is in an exercise: asked often; and whether somebody searches: then the bus is quiet."""
        playing, searching = frozenset(self.exercises.playing()), self.exercises.searching
        self.searching = searching
        often, armed = playing | self.edge.often(), playing | self.edge.armed(self.outside.clock.now())
        if (often, armed, searching) == self._pace:
            return
        self._pace = (often, armed, searching)
        addresses = {int(target, 16) for target in often}
        for line in self.lines.values():
            line.pace(addresses, searching=searching)
        for known in self.known.values():
            known.want_armed = known.target in armed

    # ---- what verbs use --------------------------------------------------------------------------------------

    async def write(self, *facts: Fact) -> None:
        """Commit facts before going on; LedgerFailed when they could not be."""
        self.pen.write(*facts)
        await self.settle()

    async def settle(self) -> None:
        """Wait until what was written is committed and has had its effect."""
        await self.pen.settle()
        if self.pen.broken is not None:
            raise self.pen.broken

    def person(self, name: str) -> PersonId:
        """The id of a person by name or id; a new name gets an id, so that the ledger never holds a name."""
        return self.book.person(name)

    def next_tap(self) -> str:
        """A name for something tapped that is unique in this ledger."""
        self._taps += 1
        return f"{self.ledger.head()[0]}-{self._taps}"

    async def ask(self, known: Known, message: Message, what: str) -> Ended:
        """Post an order and wait for its outcome."""
        handle = self.post(known, message, self.outside.clock.now() + ORDER_LIVES_US, what)
        if handle is None:
            raise Refused(f"Too many orders wait for {known.target}.", remedy="Wait a moment, and try again.")
        waiter: asyncio.Future[Ended] = asyncio.get_running_loop().create_future()
        self.order_waiters[handle] = waiter
        return await waiter

    async def raise_generation(self, by: PersonId, reason: str) -> int:
        """Raise the generation above every one that a target was heard to obey."""
        self.highest = max([self.highest, *(k.generation or 0 for k in self.known.values())]) + 1
        await self.write(GenerationRaised(self.highest, by, reason))
        self.grants.generation = self.highest
        for known in self.known.values():
            self.hearing.well(known, "superseded")
        return self.highest

    # ---- orders ----------------------------------------------------------------------------------------------

    def post(self, known: Known, message: Message, expires_us: int, _what: str) -> int | None:
        """Queue an order; its handle, or None when the target's queue is full."""
        self.posted += 1
        order = Posted(self.posted, message, expires_us)
        if not self.lines[known.line].post(known, order):
            self.outcomes["queue-full"] += 1
            return None
        return order.handle

    def post_first(self, known: Known, message: Message, expires_us: int, _what: str) -> int | None:
        """An order that ends all others of its target and goes first."""
        self.posted += 1
        self.lines[known.line].overtake(known, Posted(self.posted, message, expires_us))
        return self.posted

    def _acknowledge(self, known: Known, ack: Ack, expires_us: int) -> int | None:
        if known.obeys_another(self.grants.generation):
            return None  # it keeps the strike for the controller that steers it
        return self.post(known, ack, expires_us, f"acknowledge {ack.number}")

    def order_ended(self, known: Known, ended: Ended) -> None:
        """See `Ear`: an order has its one outcome."""
        kind = type(ended.order.message).__name__
        self.outcomes[f"{kind}.{ended.verdict}"] += 1
        known.talk.resent += max(0, ended.order.sends - 1)
        if ended.verdict == "lost":
            known.talk.orders_lost += 1
            known.lost_orders += 1
            most = 1 if isinstance(ended.order.message, AllOff) else REOPEN_AFTER_LOST  # nobody waits thrice for that
            if known.lost_orders >= most and known.session.state == "open":
                self.open_again(known)
        else:
            known.lost_orders = 0
        if ended.verdict == "superseded":
            self.hearing.superseded(known)
        match ended.order.message:
            case Ack() as ack:
                self.strikes.ack_ended(known, ack)
            case Arm(boot=boot, threshold=threshold) if ended.verdict == "done" and boot == known.boot:
                known.armed_at = threshold
            case Sleep() as sleep if ended.verdict == "done":
                self.night.ended(known, sleep)
        self.grants.order_ended(known, ended)
        waiter = self.order_waiters.pop(ended.order.handle, None)
        if waiter is not None and not waiter.done():
            waiter.set_result(ended)

    def open_again(self, known: Known) -> None:
        """Ask a target for its counters and for who it is, anew."""
        known.lost_orders = 0
        known.trouble["reopened"] += 1
        for gone in known.session.reopen("its counters are asked for again"):
            self.order_ended(known, gone)

    # ---- what the lines bring ----------------------------------------------------------------------------------

    def opened(self, known: Known, message: Message, at: HostUs) -> None:
        """See `Ear`: the conversation is open."""
        self.hearing.opened(known, message)
        ask_what_is_due(self, known, at)

    def heard(self, known: Known, message: Message, at: HostUs) -> None:
        """See `Ear`: a target said something that can be believed."""
        self.hearing.heard(known, message, at)

    def disbelieved(self, known: Known) -> None:
        """See `Ear`: nothing under this id can be believed any more."""
        self.open_again(known)

    def clock_odd(self, known: Known, finding: object) -> None:
        """See `Ear`: a target's clock cannot be right."""
        self.hearing.clock_odd(known, finding)

    def misaddressed(self, line: Line, known: Known, said: int) -> None:
        """See `Ear`: an answer came under another address than the one that was asked."""
        line.counts["misaddressed"] += 1
        self.hearing.misaddressed(known, said)

    def line_lost(self, line: Line, why: LinkDown) -> None:
        """See `Ear`: a link is gone; its task opens the next one."""
        self.pen.write(LinkChanged(line.name, False, str(why), self.outside.here()))
        line.lost.set()

    # ---- what was committed -------------------------------------------------------------------------------------

    def _committed(self, entries: tuple[Entry, ...]) -> None:
        for entry in entries:
            fact = entry.fact
            if entry.known:
                continue  # a strike that was on file already
            self.day = day_step(self.day, fact, self._zone_of)
            self.snow.committed(entry)
            if isinstance(fact, TargetBarred):
                self.hearing.barred(fact.target)
            self.exercises.committed(fact)
            self.edge.committed(fact)
            self.upkeep_book.take(fact)
            self.keeping.committed(fact)
            self.alarms.committed(entry)
        if entries:
            self._set_pace()
        for watch in self.watchers:
            watch(entries)

    def _ledger_failed(self, error: FieldctlError) -> None:
        """The ledger takes no entries: nothing may send any more, and everybody is told."""
        now = self.outside.clock.now()
        for known in self.known.values():
            order = Quiet(0, self.grants.generation, 0)
            self.post_first(known, order, now + self.grants.lease_us, "the ledger failed")
        self.grants.leases.clear()
        self.exercises.ledger_failed(self.outside.here())
        self.failed = error
        self.hook.ledger_failed()
