"""Whose turn it is on a multi-drop bus, and the search for new targets: pure, `now` given.

The controller is the only master. A turn is one question and its answer; nobody else may speak. Targets in an exercise
have a ring of their own and are asked often, the others once a round; a target that does not answer is asked once a
round like any other, so a dead one costs one probe a round. While a signal is being searched for the bus is quiet:
chatter is a radio source beside people who search at 457 kHz, so polling drops to what the ± and the display need.

The first row with anybody in it has the next turn, and within a row whoever has waited longest. So neither a target
that always has more to say nor an exercise with many targets keeps the others from their turns:

    row  who
    B1   an order was posted for it, and it answers
    B2   it is in an exercise and its time has come, or it answered and another order still waits for it;
         after four of these in a row B3 goes first
    B3   its time has come, or it said that it has more strikes
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from hashlib import blake2s

BAUD = 115_200
BYTE_US = 10 * 1_000_000 / BAUD  # 86.8 µs: one start, eight data, one stop bit
SILENT_AFTER = 3  # unanswered turns in a row before a target counts as not heard

RUN_MAX = 4  # turns of B2 in a row while B3 waits

SLOT_US = 12_000  # a whole hail answer and a margin
SLOTS_FIRST = 4
SLOTS_MAX = 64
CALM_ROUNDS = 2  # rounds in a row without anything new or garbled that end the search
WAKE_US = 2_000_000  # a sleeper listens once in so long …
LISTENS_US = 250_000  # … for so long, up to a moment that is a whole number of times before the end of its sleep

VAIN_ROUNDS = 10  # or without anything new though garbled: 20 answers in 64 slots hide one in a round at 0.26


@dataclass(frozen=True, slots=True)
class Pace:
    """How often targets are asked, in µs."""

    exercise_us: int = 75_000  # with three others, an idle turn and an order before it, a ring still ends in 100 ms
    idle_us: int = 1_000_000
    quiet_exercise_us: int = 200_000  # with a signal searched for: p95 of strike to screen stays under 300 ms
    quiet_idle_us: int = 4_000_000


@dataclass(slots=True)
class Member:
    """A target on this bus; `due_us` is when its next turn falls due."""

    address: int
    in_exercise: bool = False
    urgent: bool = False  # an order was posted: next turn as soon as the bus is free
    due_us: int = 0
    waits: bool = False  # it answered, and another order still waits for it
    more_us: int | None = None  # since when there has been more, of orders or of strikes
    misses: int = 0
    pressing: bool = False  # all off is not confirmed yet: it is asked on and on
    asleep_until_us: int | None = None  # until then it is asked only when it listens, and only if somebody wants it

    @property
    def silent(self) -> bool:
        """Whether it left several turns in a row unanswered; nobody counts as silent while something is pressing."""
        return self.misses >= SILENT_AFTER and not self.pressing


class Bus:
    """The poll schedule of one bus."""

    def __init__(self, pace: Pace | None = None) -> None:
        self.pace = pace or Pace()
        self.quiet = False
        self._members: dict[int, Member] = {}
        self._run = 0  # turns of B2 in a row

    def join(self, address: int, now: int) -> Member:
        """Take a target into the schedule."""
        return self._members.setdefault(address, Member(address, due_us=now))

    def leave(self, address: int) -> None:
        """Take a target out of the schedule."""
        self._members.pop(address, None)

    def __getitem__(self, address: int) -> Member:
        return self._members[address]

    def __contains__(self, address: int) -> bool:
        return address in self._members

    def __len__(self) -> int:
        return len(self._members)

    def set_exercise(self, addresses: Iterable[int], now: int) -> None:
        """Name the targets that are in an exercise now; newcomers are due at once."""
        wanted = set(addresses)
        for member in self._members.values():
            joins = member.address in wanted
            if joins and not member.in_exercise:
                member.due_us = now
            member.in_exercise = joins

    def want(self, address: int, now: int) -> None:
        """An order waits for this target; one that sleeps is asked when it listens next."""
        member = self._members[address]
        member.urgent = True
        member.due_us = min(member.due_us, _listens_at(member, now))

    def sleeps(self, address: int, until_us: int) -> None:
        """It said that it sleeps until then; nothing is asked meanwhile unless somebody wants it."""
        member = self._members[address]
        member.asleep_until_us = member.due_us = until_us
        member.waits, member.more_us = False, None

    def press(self, pressing: bool, now: int) -> None:
        """Ask on and on, also whoever does not answer; or no longer."""
        for member in self._members.values():
            member.pressing = pressing
            if pressing and member.asleep_until_us is not None:
                member.due_us = min(member.due_us, _listens_at(member, now))

    def next(self, now: int) -> Member | None:
        """Whose turn it is now, by the table above; None when nobody is due."""
        first: dict[int, tuple[int, Member]] = {}
        for member in self._members.values():
            due, more = member.due_us, member.more_us
            since = due if more is None or due < more else more
            if since > now:
                continue
            row = _row(member, now)
            if row not in first or since < first[row][0]:
                first[row] = (since, member)
        rows = (1, 3, 2) if self._run >= RUN_MAX else (1, 2, 3)
        return next((first[row][1] for row in rows if row in first), None)

    def next_due(self) -> int | None:
        """When the next turn falls due; None with nobody on the bus."""
        return min(map(_waits_since, self._members.values()), default=None)

    def answered(self, member: Member, now: int, *, more: bool, strikes: bool = False) -> None:
        """A turn was answered; `more` when an order still waits for it, `strikes` when it says that it has more."""
        self._count(member, now)
        member.misses = 0
        member.urgent = False
        member.asleep_until_us = None
        member.waits = more
        member.more_us = now if more or strikes else None
        member.due_us = self._after(member, now)

    def missed(self, member: Member, now: int) -> None:
        """A turn was not answered; an order is tried again soon, unless the target counts as silent."""
        self._count(member, now)
        member.more_us = None
        if member.asleep_until_us is not None and now < member.asleep_until_us:
            member.due_us = _listens_at(member, now + LISTENS_US)
            return
        member.asleep_until_us = None
        member.misses += 1
        again = (member.urgent or member.waits) and not member.silent
        member.due_us = now if again else self._after(member, now)

    def _count(self, member: Member, now: int) -> None:
        row = _row(member, now)
        self._run = self._run + 1 if row == 2 else 0 if row == 3 else self._run

    def _after(self, member: Member, now: int) -> int:
        if member.due_us > now:  # its turn came before its time, since it had more to say
            return member.due_us
        return max(member.due_us + self._period(member), now)  # from when it was due: turns do not lengthen the ring

    def _period(self, member: Member) -> int:
        pace = self.pace
        if member.in_exercise and not member.silent:
            return pace.quiet_exercise_us if self.quiet else pace.exercise_us
        if member.in_exercise:
            return pace.idle_us
        return pace.quiet_idle_us if self.quiet else pace.idle_us


def _listens_at(member: Member, now: int) -> int:
    """When it may be asked: now, or in the middle of the next time at which a sleeper listens."""
    until = member.asleep_until_us
    if until is None or now >= until:
        return now
    middle = until - LISTENS_US // 2
    return until if now > middle else middle - (middle - now) // WAKE_US * WAKE_US


def _waits_since(member: Member) -> int:
    return member.due_us if member.more_us is None else min(member.due_us, member.more_us)


def _row(member: Member, now: int) -> int:
    if member.urgent and not member.silent:  # a silent target never goes before one that answers
        return 1
    if member.waits and not member.silent:
        return 2
    return 2 if member.in_exercise and member.due_us <= now else 3


def slot_of(hardware: bytes, nonce: bytes, salt: int, slots: int) -> int:
    """The slot in which a new target answers a hail: differs from round to round, so that two part sooner or later."""
    return int.from_bytes(blake2s(hardware + nonce + bytes([salt]), digest_size=4).digest(), "big") % slots


class Search:
    """The search for new targets: rounds of hails, with more slots after every collision.

    Several new targets may answer at once; what overlaps is garbled and heard as bytes without a frame.
    """

    def __init__(self, nonce: Callable[[], bytes]) -> None:
        self._nonce = nonce
        self.slots = SLOTS_FIRST
        self.round = 0
        self.found: dict[bytes, bytes] = {}  # hardware id -> its last nonce
        self._calm = 0
        self._vain = 0

    @property
    def over(self) -> bool:
        """Whether enough rounds in a row brought nothing new."""
        return self._calm >= CALM_ROUNDS or self._vain >= VAIN_ROUNDS

    def hail(self) -> tuple[bytes, int, int]:
        """Nonce, slots and salt of the next hail."""
        self.round += 1
        return self._nonce(), self.slots, self.round & 0xFF

    def round_over(self, answers: Iterable[tuple[bytes, bytes]], *, garbled: bool) -> None:
        """What a round brought: (hardware id, nonce) of each answer, and whether anything was garbled."""
        new = False
        for hardware, nonce in answers:
            new |= hardware not in self.found
            self.found[hardware] = nonce
        if garbled:
            self.slots = min(self.slots * 2, SLOTS_MAX)
        self._calm = 0 if garbled or new else self._calm + 1
        self._vain = 0 if new else self._vain + 1

    @property
    def listens_us(self) -> int:
        """How long a round has to listen for answers."""
        return self.slots * SLOT_US
