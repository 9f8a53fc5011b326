"""Virtual time and chance: a world in which a quarter of an hour passes as fast as its events can be worked off.

    world = World(7)
    world.run(controller.go())              an asyncio program in virtual time
    world.call_at(at_us, callback)          the same timers, for the simulated mountain
    world.rng("hub").random()               one seeded generator for each subsystem
    world.clock.now()                       what the controller sees of it: microseconds since its host booted

Time is whole microseconds and moves only from one timer to the next. Whoever waits for something that can never
happen meets `Standstill`. Threads are refused, since they would run in real time. The same seed leaves the same
`trace_hash()`: nothing here may depend on the wall clock, on addresses of objects or on the order of a set.
"""

from __future__ import annotations

import asyncio
import hashlib
import itertools
from collections import deque
from collections.abc import Callable, Coroutine
from contextvars import Context
from datetime import UTC, datetime, timedelta
from heapq import heapify, heappop, heappush
from random import Random
from typing import Any, NoReturn, Protocol, TypeVar, TypeVarTuple, Unpack

from fieldctl.units import US_PER_S, HostTime, HostUs

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

EPOCH = datetime(2031, 1, 18, 8, 0, 0, tzinfo=UTC)  # invented: an ordinary Saturday morning
HOST_BOOT_US = 20 * US_PER_S  # how old a host's clock is when the first program of ours starts
FOLD_EVERY = 1024  # trace entries hashed in one go
CANCELLED_MAX = 512  # cancelled timers in the heap before it is tidied


class Standstill(RuntimeError):
    """Everybody waits, and nothing is scheduled that could end the waiting."""


class Handle(Protocol):
    """A timer that can be called off."""

    def cancel(self) -> None:
        """Call it off; a timer that ran or was called off already stays so."""


class Scheduler(Protocol):
    """What the simulated mountain needs of time, virtual (`World`) or real (`sims.ptybus.RealScheduler`)."""

    def now_us(self) -> int:
        """True time in whole microseconds."""

    def call_at(self, at_us: int, callback: Callable[..., object], *args: Any) -> Handle:
        """Run a callback at a moment; one for the same moment runs later than those before it."""

    def trace(self, *items: object) -> None:
        """Note what happened, so that two runs of one seed can be compared."""


class _Timer:
    """A timer without a context of its own: an error in it ends the world's run at once."""

    __slots__ = ("_args", "_callback", "_cancelled")

    def __init__(self, callback: Callable[..., object], args: tuple[Any, ...]) -> None:
        self._callback = callback
        self._args = args
        self._cancelled = False

    def cancel(self) -> None:
        self._cancelled = True

    def _run(self) -> None:
        self._callback(*self._args)


class _Task(asyncio.Task[Any]):
    """A task whose hash is its number in this world: TaskGroup and wait keep tasks in sets and go through them."""

    def __init__(self, number: int, coro: Coroutine[Any, Any, Any], **kwargs: Any) -> None:
        self._number = number
        super().__init__(coro, **kwargs)

    def __hash__(self) -> int:
        return self._number

    def __eq__(self, other: object) -> bool:
        return self is other


class VirtualLoop(asyncio.BaseEventLoop):
    """An event loop that goes to the next timer instead of waiting for it."""

    _ready: deque[asyncio.Handle]
    _stopping: bool

    def __init__(self) -> None:
        super().__init__()
        self.now_us = 0
        self._heap: list[tuple[int, int, Any]] = []
        self._seq = itertools.count()
        self._called_off = 0
        numbers = itertools.count(1)
        self.set_task_factory(lambda loop, coro, **kw: _Task(next(numbers), coro, loop=loop, **kw))

    def time(self) -> float:
        """Virtual seconds."""
        return self.now_us / US_PER_S

    def add(self, at_us: int, timer: Any) -> None:
        """Schedule something with `_run()` and `_cancelled`."""
        heappush(self._heap, (at_us, next(self._seq), timer))

    def call_at(
        self, when: float, callback: Callable[[Unpack[Ts]], object], *args: *Ts, context: Context | None = None
    ) -> asyncio.TimerHandle:
        """Run a callback at a moment of virtual time, in seconds."""
        handle = asyncio.TimerHandle(when, callback, args, self, context)
        handle._scheduled = True  # type: ignore[attr-defined]  # so that calling it off is told to us
        self.add(max(self.now_us, round(when * US_PER_S)), handle)
        return handle

    def call_later(
        self, delay: float, callback: Callable[[Unpack[Ts]], object], *args: *Ts, context: Context | None = None
    ) -> asyncio.TimerHandle:
        """Run a callback after some virtual seconds."""
        return self.call_at(self.now_us / US_PER_S + delay, callback, *args, context=context)

    def run_in_executor(self, executor: Any, func: Callable[[Unpack[Ts]], Any], *args: *Ts) -> NoReturn:  # noqa: ARG002
        """Refused: a thread lives in real time."""
        raise RuntimeError("no threads in virtual time: use the inline mode of whatever wants one")

    def _timer_handle_cancelled(self, _handle: asyncio.TimerHandle) -> None:
        self._called_off += 1
        if self._called_off > CANCELLED_MAX:
            self._called_off = 0
            self._heap[:] = [entry for entry in self._heap if not entry[2]._cancelled]
            heapify(self._heap)

    def _run_once(self) -> None:
        ready, heap = self._ready, self._heap
        while not ready and not self._stopping:
            if not heap:
                raise Standstill(f"nothing is scheduled after {self.now_us} µs, and somebody still waits")
            at, _, timer = heappop(heap)
            if not timer._cancelled:
                if at > self.now_us:
                    self.now_us = at
                timer._run()
        for _ in range(len(ready)):
            handle = ready.popleft()
            if not handle._cancelled:
                handle._run()

    def _write_to_self(self) -> None:
        """call_soon_threadsafe wakes a loop that waits; this one never waits."""

    def _process_events(self, _events: object) -> None:
        """There are no descriptors in this world."""

    def __del__(self) -> None:
        """Holds nothing of the system: an unclosed one is no leak."""


class HostClock:
    """What the controller's host knows of time: the raw monotonic clock of a boot, and a wall clock that may err."""

    def __init__(self, loop: VirtualLoop, rng: Random) -> None:
        self._loop = loop
        self._rng = rng
        self._boots: list[tuple[int, str, int]] = []  # true µs of the boot's begin, its id, true µs of its zero
        self.wall_known = True
        self.wall_offset_us = 0  # set to -3_600_000_000 to set the wall clock back an hour
        self.boot = ""
        self._zero = 0
        self.begin_boot(rng.randrange(60 * US_PER_S, 3600 * US_PER_S))

    def now(self) -> HostUs:
        """Microseconds since the host booted."""
        return HostUs(self._loop.now_us - self._zero)

    def wall(self) -> str | None:
        """The wall clock as an RFC 3339 label in UTC; None where the host has none."""
        if not self.wall_known:
            return None
        moment = EPOCH + timedelta(microseconds=self._loop.now_us + self.wall_offset_us)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def begin_boot(self, age_us: int) -> None:
        """A new boot id, and a clock that reads `age_us` now."""
        self.boot = f"{self._rng.getrandbits(128):032x}"
        self._zero = self._loop.now_us - age_us
        self._boots.append((self._loop.now_us, self.boot, self._zero))

    def reading(self, boot: str, true_us: int) -> int:
        """What the clock of a boot would have read at a moment of true time, before or after that boot too."""
        return next(true_us - zero for _, known, zero in self._boots if known == boot)

    def true_us(self, at: HostTime) -> int:
        """When the clock read this."""
        return next(at.us + zero for _, known, zero in self._boots if known == at.boot)

    def of(self, true_us: int) -> HostTime:
        """What the host's clock read at a moment of true time: for comparing with the truth afterwards."""
        for begin, boot, zero in reversed(self._boots):
            if true_us >= begin:
                return HostTime(boot, true_us - zero)
        raise ValueError(f"{true_us} µs lies before the world began")


class World:
    """Virtual time, one generator for each subsystem, a trace; implements `Scheduler`."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.loop = VirtualLoop()
        self.loop.set_exception_handler(self._unhandled)
        self._rngs: dict[str, Random] = {}
        self._pending: list[tuple[object, ...]] = []
        self._hash = hashlib.sha256()
        self._errors: list[BaseException] = []
        self.clock = HostClock(self.loop, self.rng("host"))

    def now_us(self) -> int:
        """True time in whole microseconds."""
        return self.loop.now_us

    def call_at(self, at_us: int, callback: Callable[..., object], *args: Any) -> Handle:
        """Run a callback at a moment of true time (at once when it has passed)."""
        timer = _Timer(callback, args)
        self.loop.add(at_us, timer)
        return timer

    def run(self, coro: Coroutine[Any, Any, T]) -> T:
        """Run a coroutine to its end in virtual time; an error that nobody handled is raised here."""
        try:
            result = self.loop.run_until_complete(coro)
        except BaseException:
            self._end_tasks()
            raise
        if self._errors:
            raise self._errors.pop(0)
        return result

    def run_for(self, us: int) -> None:
        """Let the world go on for so many microseconds."""
        self.run(_sleep(us))

    def rng(self, name: str) -> Random:
        """The generator of one subsystem: the same object for the same name."""
        found = self._rngs.get(name)
        if found is None:
            digest = hashlib.sha256(f"{self.seed}/{name}".encode()).digest()
            found = self._rngs[name] = Random(int.from_bytes(digest, "big"))
        return found

    def trace(self, *items: object) -> None:
        """Fold what happened into the trace; numbers, bytes and text only, whose repr is the same in every process."""
        pending = self._pending
        pending.append(items)
        if len(pending) >= FOLD_EVERY:
            self._fold()

    def trace_hash(self) -> str:
        """The hash of all that was traced so far."""
        self._fold()
        return self._hash.hexdigest()

    def reboot_host(self) -> None:
        """The controller's host starts anew: another boot id, a clock that begins again."""
        self.clock.begin_boot(HOST_BOOT_US)

    def close(self) -> None:
        """End what still runs."""
        if not self.loop.is_closed():
            self._end_tasks()
            self.loop.close()

    def __enter__(self) -> World:
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def _fold(self) -> None:
        if self._pending:  # one entry a line: where the folds fall makes no difference
            self._hash.update("".join(f"{items!r}\n" for items in self._pending).encode())
            self._pending.clear()

    def _unhandled(self, _loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        self._errors.append(context.get("exception") or RuntimeError(context["message"]))

    def _end_tasks(self) -> None:
        tasks = sorted(asyncio.all_tasks(self.loop), key=hash)
        for task in tasks:
            task.cancel()
        if tasks:
            self.loop.run_until_complete(asyncio.wait(tasks))


async def _sleep(us: int) -> None:
    await asyncio.sleep(us / US_PER_S)
