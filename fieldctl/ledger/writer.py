"""Jobs for the one writer, and the one thread that does them in groups: each group is one transaction, one fsync."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fieldctl.errors import LedgerFailed
from fieldctl.ledger.entry import Entry
from fieldctl.ledger.pen import Pen

GROUP_MAX = 64  # entries in one transaction: more would keep the first waiting
GATHER_S = 0.005  # a burst from one bus round comes together; leaves 15 of the 20 ms to the disk
QUEUE_MAX = 4_096  # entries waiting: half a minute of the worst hail of strikes on a slow card


@dataclass(slots=True, eq=False)
class Job:
    """Work inside a transaction; afterwards `result` or `error` is set, then `ended`."""

    run: Callable[[Pen], Any]
    weight: int = 1
    urgent: bool = False  # somebody stands still until it is done: no gathering
    after: Callable[[Pen], None] | None = None  # once it is committed, outside the transaction
    waiter: Any = None  # an asyncio future of the loop, where a coroutine waits
    result: Any = None
    error: Exception | None = None
    ended: threading.Event = field(default_factory=threading.Event)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """What it committed newly."""
        return tuple(each for each in self._all() if not each.known)

    @property
    def known(self) -> int:
        """Strikes that it found on file."""
        return sum(each.known for each in self._all())

    def _all(self) -> tuple[Entry, ...]:
        return self.result if self.error is None and isinstance(self.result, tuple) else ()


class Writer:
    """Takes jobs from any thread in order and hands them on in groups, on a thread of its own."""

    def __init__(self, commit_group: Callable[[list[Job]], None]) -> None:
        self._commit_group = commit_group
        self._queue: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._waiting = 0
        self._stopped = False
        self._thread = threading.Thread(target=self._work, name="ledger writer", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """Entries that are queued and not yet committed."""
        return self._waiting

    def put(self, job: Job) -> None:
        """Queue a job; LedgerFailed where the queue is full or closed: then nothing of it will be written."""
        with self._lock:
            if self._stopped:
                raise LedgerFailed("The ledger is closed.", expected="an open ledger", remedy="Start fieldctl again.")
            if self._waiting and self._waiting + job.weight > QUEUE_MAX:
                raise LedgerFailed(
                    f"The ledger cannot keep up: {self._waiting} entries wait for the disk.",
                    expected=f"at most {QUEUE_MAX}",
                    remedy="Use a faster disk or card (`fieldctl doctor` measures it); end the exercise.",
                )
            self._waiting += job.weight
            self._queue.put(job)

    def stop(self) -> None:
        """Do what is queued, then end the thread."""
        with self._lock:
            self._stopped = True
        self._queue.put(None)
        self._thread.join()

    def _work(self) -> None:
        go_on = True
        while go_on:
            first = self._queue.get()
            if first is None:
                return
            group, go_on = self._gather(first)
            self._commit_group(group)
            with self._lock:
                self._waiting -= sum(job.weight for job in group)

    def _gather(self, first: Job) -> tuple[list[Job], bool]:
        group, weight = [first], first.weight
        until = time.monotonic() + GATHER_S
        while weight < GROUP_MAX:
            left = 0.0 if group[-1].urgent else until - time.monotonic()
            try:
                job = self._queue.get(timeout=left) if left > 0 else self._queue.get_nowait()
            except queue.Empty:
                break
            if job is None:
                return group, False
            group.append(job)
            weight += job.weight
        return group, True
