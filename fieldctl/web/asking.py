"""A verb asked for over HTTP: who asks, with which right, once for each key, carried to its end.

    asked = Asking(desk)
    body, again = await asked.ask(who, "exercise-start", {"drill": "three"}, phone, key)   its JSON, or a FieldctlError
    body = await asked.all_off(who)                                             at once, past everything that waits

What began is carried to its end though its client goes away. At most IN_HAND_MAX requests are in hand, and one begins
in each round of the loop: a crowd of them keeps an all off waiting for one verb, never for the crowd. Whoever is not
signed in has room and keys apart: he keeps nobody out who is, and makes no phone's keys forgotten.
"""

from __future__ import annotations

import asyncio
import inspect
import json
import logging
from collections import Counter
from collections.abc import Mapping
from typing import Any, NoReturn

from fieldctl.controller.socket import fault_of_ours
from fieldctl.controller.verbs import Desk, Verb
from fieldctl.errors import BadInput, FieldctlError, NotFound
from fieldctl.web import keys
from fieldctl.web.keys import Keys, Outcome
from fieldctl.web.pressed import NEVER_LATE, Pressed
from fieldctl.web.problems import Busy, NotSignedIn, RightMissing, TooLate, plain
from fieldctl.web.rights import Who

ALL_OFF = "all-off"
IN_HAND_MAX = 256  # twenty phones ask for one thing each; searching for new targets takes a minute
STRANGERS_MAX = 64  # of those who are not signed in: the walk-in's presses
SETTLE_S = 2.0

FILLED = ("by", "via", "pressed_us", "plus_minus_us")  # said by us, never by whoever asks
READS = ("status", "list", "check", "show")
"""The last words of the names of verbs that change nothing: asking twice is asking twice."""

OWN_IDS = {
    "exercise-start": "request",
    "exercise-call": "call",
    "exercise-split": "split",
    "exercise-correct": "correction",
    "assessment-tick": "tick",
    "visit-begin": "request",
    "visit-tick": "tick",
    "retrieval-begin": "request",
    "retrieval-got": "tick",
    "retrieval-lost": "tick",
}
"""Arguments that name what a verb makes: they follow from the key."""

_log = logging.getLogger(__name__)


class Room:
    """What is in hand for the ones who are signed in, or for the others: at most so much at once."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.keys = Keys()
        self.tasks: set[asyncio.Task[Outcome]] = set()


class Asking:
    """The desk's verbs for whoever asks over HTTP.

    Counts: asked, not_signed_in, right_missing, busy, late, failed (errors with a remedy), faults (ours).
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._by = frozenset(name for name, verb in desk.table.items() if "by" in parameters(verb))
        self._known, self._strangers = Room(IN_HAND_MAX), Room(STRANGERS_MAX)
        self._turn = asyncio.Lock()
        self.counts: Counter[str] = Counter()

    def all_counts(self) -> dict[str, int]:
        """Everything that was counted, by kind."""
        return dict(self.counts + self._known.keys.counts + self._strangers.keys.counts)

    @property
    def verbs(self) -> Mapping[str, Verb]:
        """Every verb by its name."""
        return self._desk.table

    def allowed(self, who: Who, verb: Verb) -> None:
        """NotSignedIn or RightMissing unless this one has the right that a verb needs."""
        if who.may(verb.right):
            return
        if who.person is None:
            self.counts["not_signed_in"] += 1
            raise NotSignedIn(
                f"{verb.name} needs the right {verb.right!r}, and nobody is signed in.",
                expected=f"somebody with the right {verb.right!r}",
                remedy="Sign in, or pair this phone with the code that a person in charge shows.",
            )
        self.counts["right_missing"] += 1
        raise RightMissing(
            f"{verb.name} needs the right {verb.right!r}, which {who.name or 'this person'} does not have.",
            expected=f"somebody with the right {verb.right!r}",
            remedy="Ask a person in charge to grant it, for today or for longer.",
        )

    async def ask(
        self,
        who: Who,
        name: str,
        arguments: Mapping[str, Any],
        phone: str,
        key: str | None = None,
        pressed: Pressed | None = None,
    ) -> tuple[bytes, bool]:
        """Carry a verb out for somebody; its JSON, and whether it is the answer of the same key before.

        What was carried out is answered however late it is asked again; what is begun late is refused, and its key
        stays free for the next press.
        """
        verb = self._desk.table.get(name)
        if verb is None:
            raise NotFound(
                f"There is no verb {name!r}.", expected=", ".join(self._desk.table), remedy="Use one of these."
            )
        self.allowed(who, verb)
        if name == ALL_OFF:
            return await self.all_off(who), False
        room = self._strangers if who.person is None else self._known
        given = {**arguments, **({"by": who.name or "anybody"} if name in self._by else {})}
        if reads(verb):
            return await self._outcome(self._begin(room, name, given)), False
        key = keys.checked(key)
        named = plain([name, arguments])
        task = room.keys.find(phone, key, named)
        if task is not None:
            return await self._outcome(task), True
        if name in OWN_IDS:
            given[OWN_IDS[name]] = keys.own_id(phone, name, key)
        given.update(self._moment(verb, pressed))
        task = self._begin(room, name, given)
        room.keys.keep(phone, key, named, task)
        return await self._outcome(task), False

    def _moment(self, verb: Verb, pressed: Pressed | None) -> dict[str, int]:
        """What a verb is told of the press, where it places it itself; TooLate for every other that came late."""
        if pressed is None or verb.name in NEVER_LATE:
            return {}
        try:
            if "pressed_us" in parameters(verb):
                pressed.can_be_dated()
                return {"pressed_us": pressed.at_us, "plus_minus_us": pressed.plus_minus_us}
            pressed.in_time()
        except TooLate:
            self.counts["late"] += 1
            raise
        return {}

    async def all_off(self, who: Who) -> bytes:
        """Switch everything off: the order is out before this waits for anything."""
        self.counts["asked"] += 1
        return plain(await self._desk.ask(ALL_OFF, {"by": who.name or "anybody", "via": "page"}))

    def _begin(self, room: Room, name: str, arguments: Mapping[str, Any]) -> asyncio.Task[Outcome]:
        if len(room.tasks) >= room.most:
            self.counts["busy"] += 1
            raise Busy(
                f"{room.most} requests are in hand already.",
                remedy="Ask again after a moment. All off is never kept waiting.",
            )
        self.counts["asked"] += 1
        task = asyncio.get_running_loop().create_task(self._carry(name, arguments), name=f"asked {name}")
        room.tasks.add(task)
        task.add_done_callback(room.tasks.discard)
        return task

    async def _carry(self, name: str, arguments: Mapping[str, Any]) -> Outcome:
        async with self._turn:
            await asyncio.sleep(0)
        try:
            return plain(await self._desk.ask(name, arguments))
        except FieldctlError as error:
            self.counts["failed"] += 1
            return error
        except Exception as error:  # a fault of ours: whoever asked is told, and the field goes on
            self.counts["faults"] += 1
            _log.exception("the verb %r failed", name)
            return fault_of_ours(error)

    async def _outcome(self, task: asyncio.Task[Outcome]) -> bytes:
        outcome = await asyncio.shield(task)
        if isinstance(outcome, FieldctlError):
            raise outcome.with_traceback(None)
        return outcome

    async def settle(self, within_s: float = SETTLE_S) -> None:
        """Let what is in hand come to its end, and end what has not by then: serve is going away."""
        left = self._known.tasks | self._strangers.tasks
        if left:
            _, late = await asyncio.wait(left, timeout=within_s)
            for task in late:
                task.cancel()


def reads(verb: Verb) -> bool:
    """Whether a verb changes nothing."""
    return verb.name.rpartition("-")[2] in READS


def parameters(verb: Verb) -> Mapping[str, inspect.Parameter]:
    """What a verb takes, by name."""
    return inspect.signature(verb.call).parameters


def strict_json(raw: bytes) -> dict[str, Any]:
    """A request's JSON object, {} for nothing; BadInput for doubled keys, numbers that are none, too deep nesting."""
    if not raw.strip():
        return {}
    try:
        found = json.loads(raw.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_number, parse_float=_finite)
        json.dumps(found, ensure_ascii=False).encode()
    except RecursionError:
        raise _no_json("it is nested too deeply") from None
    except UnicodeEncodeError:
        raise _no_json("a text holds half a character") from None
    except ValueError as error:
        raise _no_json(str(error)) from None
    if not isinstance(found, dict):
        raise _no_json("it is no object")
    return found


def _no_json(why: str) -> BadInput:
    return BadInput(
        f"The body cannot be read: {why}.",
        expected="one JSON object in UTF-8, each key once",
        remedy="Send such an object; the list of verbs says what each one takes.",
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands in it twice")
    return found


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def _finite(text: str) -> float:
    value = float(text)
    if value - value != 0:
        raise ValueError(f"{text} is out of bounds")
    return value
