"""`Ledger`: the record with its one pen. Facts are committed first and told to subscribers afterwards.

Two ways to run: with a thread that commits in groups and never holds the loop up (`commit`), or inline for virtual
time and small commands, where every call commits before it returns. A ledger that could not write stays failed until
it is opened again: each later call raises the first cause.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from fieldctl.errors import FieldctlError, LedgerFailed, Refused
from fieldctl.events import Fact
from fieldctl.ledger import forgetting, opening
from fieldctl.ledger.beside import Kept
from fieldctl.ledger.codec import encode, kind_of
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.failing import in_words
from fieldctl.ledger.lock import WriterLock
from fieldctl.ledger.pen import Pen
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.standing import Key as StateKey
from fieldctl.ledger.standing import Standing
from fieldctl.ledger.telemetry import MINUTE_US, Key, Telemetry
from fieldctl.ledger.writer import Job, Writer
from fieldctl.units import HostTime, HostUs, PersonId

Subscriber = Callable[[tuple[Entry, ...]], None]
TELEMETRY_MAX = 1_024  # rows held back: four minutes of 256 targets; then they are written at once

_log = logging.getLogger(__name__)


def host_us() -> HostUs:
    """Host time of this machine, in microseconds."""
    return HostUs(time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) // 1000)


class Ledger(Reader):
    """The ledger with its pen; `counts` tells by kind what happened, `failed` the first cause of a failure."""

    def __init__(
        self, engine: Engine, where: str, lock: WriterLock | None, *, inline: bool, clock: Callable[[], HostUs]
    ) -> None:
        self._in_memory = where == opening.MEMORY
        self._alone = threading.RLock()  # held during a transaction
        self._held = engine.connect()
        opening.prepare(self._held, where)
        self._pen = Pen(self._held)
        super().__init__(engine if self._in_memory else opening.reading_engine(Path(where)), where)
        self._writing_engine = engine
        self._lock = lock
        self._clock = clock
        self._loop: asyncio.AbstractEventLoop | None = None
        self._loop_thread: int | None = None
        self._done: deque[Job] = deque()
        self._telling = False
        self._closed = False
        self._subscribers: list[Subscriber] = []
        self._samples: dict[Key, Telemetry] = {}
        self._samples_since: HostTime | None = None
        self.counts: Counter[str] = Counter()
        self.failed: LedgerFailed | None = None
        self.last_commit_us: HostUs | None = None
        self._forgotten: set[PersonId] = set()
        self.log_left = False  # a forgotten name may still stand in the log: somebody read at that moment
        if not self._in_memory:
            self._forget_again(Path(where))
        self._writer = None if inline else Writer(self._commit_group)

    @classmethod
    def open(
        cls,
        path: str | Path,
        *,
        inline: bool,
        durable: bool = True,
        clock: Callable[[], HostUs] = host_us,
        who: str = "fieldctl",
    ) -> Ledger:
        """Open a file, or ":memory:", as its one writer.

        InUse says who writes it already; Refused that it is newer or not ours; LedgerBroken that it is damaged;
        LedgerFailed that it cannot be written. `durable=False` leaves out the fsync: for simulations only.
        """
        where = str(path)
        lock = None if where == opening.MEMORY else WriterLock(Path(where), who)
        engine = opening.writing_engine(where, durable=durable)
        try:
            return cls(engine, where, lock, inline=inline, clock=clock)
        except BaseException as bad:
            engine.dispose()
            if lock is not None:
                lock.release()
            if isinstance(bad, DBAPIError | OSError):
                raise in_words(bad, where) from bad
            raise

    def close(self) -> None:
        """Write what is queued, tell subscribers, let go of the file; a second call does nothing."""
        if self._closed:
            return
        with contextlib.suppress(FieldctlError):  # a failed ledger was told of when it failed
            self.flush_telemetry()
        self._closed = True
        if self._writer is not None:
            self._writer.stop()
        self._tell()
        self._held.close()
        super().close()
        self._writing_engine.dispose()
        if self._lock is not None:
            self._lock.release()

    # ---- facts ---------------------------------------------------------------------------------------------------

    def append(self, facts: Sequence[Fact], *, at: HostTime, wall: str | None = None) -> tuple[Entry, ...]:
        """Commit facts, tell subscribers, return their entries; a strike that is on file returns its first entry.

        All or none. LedgerFailed: nothing of it was written, and nothing will be until the ledger is opened again.
        BadInput: a value cannot be written down; the ledger goes on.
        """
        entries: tuple[Entry, ...] = self._do(self._facts_job(facts, at, wall, urgent=True))
        return entries

    async def commit(self, facts: Sequence[Fact], *, at: HostTime, wall: str | None = None) -> tuple[Entry, ...]:
        """As `append`, without holding the loop up: returns after the group that it is part of is on the disk."""
        entries: tuple[Entry, ...] = await self._wait(self._facts_job(facts, at, wall, urgent=False))
        return entries

    def subscribe(self, callback: Subscriber) -> Callable[[], None]:
        """Have new entries told after each commit, in order, on the loop's thread; returns what ends it."""
        self._subscribers.append(callback)
        return lambda: self._subscribers.remove(callback)

    # ---- people, settings, telemetry -----------------------------------------------------------------------------

    def put_settings(self, values: Mapping[str, Any]) -> None:
        """Commit machine-owned settings (JSON values), all or none."""
        self._do(Job(lambda pen: pen.settings(dict(values)), urgent=True))

    async def commit_settings(self, values: Mapping[str, Any]) -> None:
        """As `put_settings`, without holding the loop up; counts as a commit for `last_commit_us`."""
        kept = dict(values)
        await self._wait(Job(lambda pen: pen.settings(kept)))

    def name_person(self, person: PersonId, name: str) -> None:
        """Give a person a name, or another one; entries hold the id alone. Refused for somebody who was forgotten."""
        if person in self._forgotten:
            raise Refused(
                f"{person} was forgotten.", expected="an id of its own", remedy="Name the person anew: by name, not id."
            )
        self._do(Job(lambda pen: pen.name_person(person, name), urgent=True))

    def forget_person(self, person: PersonId, day: str | None = None) -> bool:
        """As `forget_people`, one person; whether there was a name."""
        return person in self.forget_people((person,), day)

    def forget_people(self, people: Sequence[PersonId], day: str | None = None) -> set[PersonId]:
        """Take names away for good, out of file and log; entries keep the ids. Who had a name.

        Where somebody reads at that moment it may stay in the log: `log_left` says so, `empty_log` tries again.
        """
        gone = dict.fromkeys(people, day)
        if not self._in_memory:
            new = {who: day for who in people if who not in self._forgotten}
            forgetting.write_side_file(Path(self.where), new)
        had: set[PersonId] = self._do(Job(lambda pen: pen.forget_people(gone), urgent=True, after=self._empty_log))
        self._forgotten |= gone.keys()
        return had

    def empty_log(self) -> bool:
        """Try again to cut the log, where a forgotten name may stand; whether it is done."""
        self._do(Job(lambda _: None, urgent=True, after=self._empty_log))
        return not self.log_left

    def see_people(self, days: Mapping[PersonId, str]) -> None:
        """Note the last day on which people were named."""
        kept = dict(days)
        if kept:
            self._do(Job(lambda pen: pen.see_people(kept), urgent=True))

    def put_summaries(self, rows: Sequence[Kept]) -> None:
        """Keep summaries of exercises beside the entries."""
        kept = list(rows)
        if kept:
            self._do(Job(lambda pen: pen.summaries(kept), urgent=True))

    async def commit_summaries(self, rows: Sequence[Kept]) -> None:
        """As `put_summaries`, without holding the loop up."""
        kept = list(rows)
        if kept:
            await self._wait(Job(lambda pen: pen.summaries(kept)))

    def throw_away_summaries(self) -> int:
        """Forget every summary: they are made again from the entries. How many there were."""
        gone: int = self._do(Job(lambda pen: pen.throw_away_summaries(), urgent=True))
        return gone

    def put_telemetry(self, samples: Sequence[Telemetry]) -> None:
        """Take samples; a minute of them is written at a time, and a crash may lose that minute: it is not ledger."""
        for sample in samples:
            earlier = self._samples.get(sample.key)
            self._samples[sample.key] = sample if earlier is None else sample.over(earlier)
            self._samples_since = self._samples_since or sample.at
            since = self._samples_since
            aged = since.boot != sample.at.boot or sample.at.us - since.us >= MINUTE_US
            if aged or len(self._samples) >= TELEMETRY_MAX:
                self._submit(self._samples_job())

    def flush_telemetry(self) -> None:
        """Write the samples that are held back."""
        if self._samples:
            self._do(self._samples_job())

    def thin_telemetry(self, now: HostTime, wall: str | None = None) -> int:
        """One row an hour of what is older than a week, none of what is older than two winters; rows taken away."""
        self.flush_telemetry()
        gone: int = self._do(Job(lambda pen: pen.thin(now, wall), urgent=True))
        self.counts["telemetry thinned"] += gone
        return gone

    def put_states(self, begun: Collection[Standing], ended: Collection[StateKey]) -> None:
        """Keep which states of targets began and ended, without waiting for it."""
        began, gone = tuple(begun), tuple(ended)
        if began or gone:
            self._submit(Job(lambda pen: pen.states(began, gone)))

    def limit_pages(self, more: int) -> None:
        """Rehearse a full disk: let the file grow by so many pages of 4 KiB and no further."""
        self._do(Job(lambda pen: pen.limit_pages(more), urgent=True))

    # ---- the way of a job ----------------------------------------------------------------------------------------

    def _facts_job(self, facts: Sequence[Fact], at: HostTime, wall: str | None, *, urgent: bool) -> Job:
        drafts = [(fact, kind_of(fact), encode(fact)) for fact in facts]
        return Job(lambda pen: pen.facts(drafts, at, wall), weight=max(1, len(drafts)), urgent=urgent)

    def _samples_job(self) -> Job:
        rows = list(self._samples.values())
        self._samples, self._samples_since = {}, None
        return Job(lambda pen: pen.telemetry(rows))

    def _empty_log(self, pen: Pen) -> None:
        self.log_left = not self._in_memory and not pen.empty_log()

    def _forget_again(self, path: Path) -> None:
        """A backup that was restored may still hold names of people who were forgotten since it was made."""
        beside = forgetting.read_side_file(path)
        here = forgetting.forgotten(self._held)
        self._forgotten = {*beside, *here}
        forgetting.write_side_file(path, {who: day for who, day in here.items() if who not in beside})
        again = {who: day for who, day in beside.items() if who not in here}
        if again:
            self._pen.begin()
            had = self._pen.forget_people(again)
            self._pen.commit()
            self._empty_log(self._pen)
            self.counts["names forgotten again"] += len(had)

    def _submit(self, job: Job) -> None:
        if self.failed is not None:
            raise _again(self.failed)
        if self._closed:
            raise LedgerFailed("The ledger is closed.", expected="an open ledger", remedy="Start fieldctl again.")
        if self._writer is None:
            self._commit_group([job])
            self._tell()
            return
        try:
            self._writer.put(job)
        except LedgerFailed:
            self.counts["refused: queue full"] += 1
            raise

    def _do(self, job: Job) -> Any:
        self._submit(job)
        job.ended.wait()
        if self._loop is None or self._loop.is_closed() or self._loop_thread == threading.get_ident():
            self._tell()
        if job.error is not None:
            raise job.error
        return job.result

    async def _wait(self, job: Job) -> Any:
        if self._writer is None:
            return self._do(job)
        self._loop, self._loop_thread = asyncio.get_running_loop(), threading.get_ident()
        job.waiter = self._loop.create_future()
        self._submit(job)
        return await job.waiter

    def _commit_group(self, group: list[Job]) -> None:
        """One transaction; runs on the writer's thread, or inline."""
        with self._alone:
            try:
                if self.failed is not None:
                    raise self.failed
                self._pen.begin()
                for job in group:
                    job.result = job.run(self._pen)
                self._pen.commit()
                for job in group:
                    if job.after is not None:
                        job.after(self._pen)
            except Exception as bad:  # whatever it was, nothing more is written until the ledger is opened again
                self._fail(bad, group)
            else:
                self.last_commit_us = self._clock()
                self.counts["commits"] += 1
        self._done.extend(group)
        for job in group:
            job.ended.set()
        if self._writer is not None and self._loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
                self._loop.call_soon_threadsafe(self._tell)

    def _fail(self, bad: Exception, group: list[Job]) -> None:
        with contextlib.suppress(Exception):  # the disk that failed may fail once more; the file is whole either way
            self._pen.rollback()
        if self.failed is None:
            words = in_words(bad, self.where)
            self.failed = LedgerFailed(words.what, expected=words.expected, remedy=words.remedy)
            _log.error("%s", self.failed)
        for job in group:
            job.error = _again(self.failed)

    def _tell(self) -> None:
        """Tell what was committed, then let go on who waited for it; in order, on the loop's thread."""
        if self._telling:  # a subscriber wrote: the round that is under way tells that as well, after this
            return
        self._telling = True
        try:
            while self._done:
                job = self._done.popleft()
                self._publish(job.entries)
                self.counts["strikes known already"] += job.known
                if job.waiter is not None and not job.waiter.done() and not job.waiter.get_loop().is_closed():
                    if job.error is not None:
                        job.waiter.set_exception(job.error)
                    else:
                        job.waiter.set_result(job.result)
        finally:
            self._telling = False

    def _publish(self, entries: tuple[Entry, ...]) -> None:
        if not entries:
            return
        self.counts["entries"] += len(entries)
        for callback in tuple(self._subscribers):
            try:
                callback(entries)
            except Exception:  # what is committed stays committed, and the others are told
                self.counts["subscriber errors"] += 1
                _log.exception("a subscriber failed on entries %d to %d", entries[0].seq, entries[-1].seq)

    @contextlib.contextmanager
    def connection(self) -> Iterator[Connection]:
        """As in `Reader`; in memory there is but one connection, and it is asked between two transactions."""
        if not self._in_memory:
            with super().connection() as connection:
                yield connection
            return
        with self._alone:
            yield self._held


def _again(first: LedgerFailed) -> LedgerFailed:
    return LedgerFailed(first.what, expected=first.expected, remedy=first.remedy)
