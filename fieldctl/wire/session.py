"""One pure class that plays both ends of a conversation with one target: orders, answers, resends, outcomes.

The controller posts orders; one at a time is under way. It is resent as the same bytes under the same counter until it
is answered or expires; the target answers a repeated one from a cache of one reply and carries it out once. Every order
ends in exactly one outcome. What cannot be believed is counted in `lost`, by kind, and never raises.

A controller's session begins closed: it asks the target, with a nonce, for the highest counter it has taken, and goes
on beyond it. So a restarted or restored controller never guesses a counter, and keeps none on file.

    row  state    what happens                           goes to   what follows
    C1   any      open(nonce)                            asking    the question goes out, sealed, without counter
    C2   asking   counters, our nonce                    open      our counter = theirs + jump; their counter believed
    C3   asking   anything else, tag right               asking    counted "not-open"
    C4   open     post(order)                            open      queued; goes out when nothing is under way
    C5   open     answer to the order under way          open      the order ends: done, late, refused, superseded
    C6   open     token answered                         open      heard
    C7   open     nothing under way, unasked for         open      heard (a strike over MQTT)
    C8   open     expiry                                 open      ends expired (never sent) or lost (sent)
    C9   open     counter seen before                    same      counted "replayed"
    C10  any      tag wrong                              same      counted "bad-tag"
    C11  asking   counters that leave none to go on with asking    counted "counter-spent": rotate the key
    T1   open     token                                  open      answer with status or the oldest strike
    T2   open     order, fresh counter                   open      carry it out, answer, cache the answer
    T3   open     the same counter again                 open      the cached answer again, nothing carried out
    T4   open     counter seen before, not the last      open      counted "replayed"
    T5   any      question for counters                  same      answered with its nonce
    T6   any      all off under the all-off key          same      carried out; not answered (everybody hears it)
    T7   any      tag wrong                              same      counted "bad-tag"

Both ends count what the other end alone may say as "wrong-kind", and what nobody may say in that form as "wrong-form".
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from fieldctl.wire import envelope, messages, seal
from fieldctl.wire.messages import (
    Ask,
    Counters,
    Greeting,
    Message,
    Outcome,
    Reason,
    Report,
    Result,
    Status,
    Strike,
    Trace,
    TraceAsk,
    What,
)

Verdict = Literal["done", "late", "refused", "superseded", "expired", "lost"]

QUEUE_MAX = 16  # orders waiting for one target; more means that somebody posts without looking at outcomes
RESEND_FIRST_US = {"serial": 0, "memory": 0, "mqtt": 400_000}  # on a bus: at its next turn; radio: see facts
RESEND_MAX_US = 5_000_000

_VERDICTS: dict[int, Verdict] = {
    Result.DONE: "done",
    Result.LATE: "late",
    Result.REFUSED: "refused",
    Result.SUPERSEDED: "superseded",
}


@dataclass(slots=True)
class Posted:
    """An order on its way; `handle` is the poster's own name for it."""

    handle: int
    message: Message
    expires_us: int
    counter: int = 0
    payload: bytes = b""
    sends: int = 0
    first_sent_us: int = 0
    due_us: int = 0


@dataclass(frozen=True, slots=True)
class Ended:
    """The one outcome of an order; `answer` is what the target said, if it said anything."""

    order: Posted
    verdict: Verdict
    why: str
    answer: Message | None = None


@dataclass(frozen=True, slots=True)
class Taken:
    """What one payload turned out to be.

    `message` is what was said (None for a token); `asked_us` is when the question that it answers was sent, None where
    there is no clean question (nobody asked, or it was resent); `ended` the order that it ended; `reply` the bytes that
    go out again (a repeated order); `counter` what an answer has to name.
    """

    message: Message | None = None
    counter: int = 0
    asked_us: int | None = None
    question_bytes: int = 0
    ended: Ended | None = None
    reply: bytes | None = None
    opened: bool = False


@dataclass(slots=True)
class _Question:
    """The last token: an answer that names its number gives a clock sample, once."""

    number: int = 0
    sent_us: int = 0
    size: int = 0
    open: bool = False


class Session:
    """One end of the conversation with one target; see the table above.

    `end` is "controller" or "target", `address` the target's. A target gives the counters that it persisted: `used`
    (its own) and `seen` (the controller's highest), both `StepCounter`s that run ahead of what is on file.
    """

    def __init__(
        self,
        end: Literal["controller", "target"],
        address: int,
        key: bytes,
        *,
        window: int = seal.STRICT,
        resend_first_us: int = 0,
        used: seal.StepCounter | None = None,
        seen: seal.StepCounter | None = None,
        all_off_key: bytes | None = None,
    ) -> None:
        self.end = end
        self.address = address
        self.state: Literal["closed", "asking", "open"] = "closed" if end == "controller" else "open"
        self.lost: Counter[str] = Counter()
        self._sealer = seal.Sealer(key)
        self._all_off = seal.Sealer(all_off_key) if all_off_key else None
        self._used = used or seal.StepCounter(0, lambda _mark: None)
        self._seen = seen or seal.StepCounter(0, lambda _mark: None)
        self._window = seal.ReplayWindow(window, self._seen.value)
        self._resend_first_us = resend_first_us
        self._queue: deque[Posted] = deque()
        self._under_way: Posted | None = None
        self._nonce = b""
        self._asked = (0, 0)  # when the question for counters went out, and its bytes
        self._token = _Question()
        self._cached: tuple[int, Message] | None = None  # the target's last answer, by the order's counter

    # ---- the controller's end: asking ----------------------------------------------------------------------

    def open(self, nonce: bytes, now: int) -> bytes:
        """C1: the question for counters; ask again with a fresh nonce when no answer comes."""
        assert self.end == "controller"
        self.state = "asking"
        self._nonce = nonce
        body = messages.encode(Ask(nonce=nonce, what=int(What.COUNTERS)))
        payload = self._sealer.seal(envelope.ASKED, self.address, 0, body)
        self._asked = (now, len(payload))
        return payload

    def post(self, order: Posted) -> bool:
        """C4: queue an order; False when the queue is full (the caller ends it as expired)."""
        assert self.end == "controller"
        if len(self._queue) >= QUEUE_MAX:
            self.lost["queue-full"] += 1
            return False
        self._queue.append(order)
        return True

    def overtake(self, order: Posted) -> list[Ended]:
        """Post before everything else and end all that waits or is under way: all off outranks every queue."""
        ended = self.drop("all off outranks it")
        self._queue.append(order)
        return ended

    def drop(self, why: str) -> list[Ended]:
        """End every order: expired when it was never sent, lost when it may have arrived."""
        orders = [*([self._under_way] if self._under_way else []), *self._queue]
        self._under_way = None
        self._queue.clear()
        return [Ended(order, "lost" if order.sends else "expired", why) for order in orders]

    def reopen(self, why: str) -> list[Ended]:
        """Close the conversation: the next turn asks for the counters again; what was posted ends."""
        self.state = "closed"
        return self.drop(why)

    def pull(self, now: int) -> bytes | None:
        """The order to send at this target's turn, new or resent; None when a token will do.

        An order whose time has passed is not sent, nor is any behind it until `expire` has ended it.
        """
        if self.state != "open":
            return None
        order = self._under_way
        if order is None:
            if not self._queue or now >= self._queue[0].expires_us:
                return None
            if self._used.value >= seal.COUNTER_MAX:
                self.lost["counter-spent"] += 1
                return None
            order = self._under_way = self._queue.popleft()
            order.counter = self._used.next()
            order.payload = self._sealer.seal(
                envelope.DOWN, self.address, order.counter, messages.encode(order.message)
            )
            order.first_sent_us = now
        elif not order.due_us <= now < order.expires_us:
            return None
        order.sends += 1
        wait = min(self._resend_first_us << (order.sends - 1), RESEND_MAX_US) if self._resend_first_us else 0
        order.due_us = now + wait
        return order.payload

    def token(self, now: int) -> bytes:
        """The payload of a fresh token."""
        question = self._token
        question.number = (question.number + 1) & 0xFF
        question.sent_us = now
        question.open = True
        payload = envelope.token(self.address, question.number)
        question.size = len(payload)
        return payload

    def expire(self, now: int) -> list[Ended]:
        """C8: the orders whose time has passed."""
        ended = []
        order = self._under_way
        if order is not None and now >= order.expires_us:
            ended.append(Ended(order, "lost", f"sent {order.sends} times without an answer"))
            self._under_way = None
        if self._queue:
            late = [order for order in self._queue if now >= order.expires_us]
            for order in late:
                self._queue.remove(order)
                ended.append(Ended(order, "expired", "its time passed before it could be sent"))
        return ended

    @property
    def waiting(self) -> int:
        """How many orders have no outcome yet."""
        return len(self._queue) + (self._under_way is not None)

    @property
    def first_order(self) -> Message | None:
        """The order under way, or the next one."""
        order = self._under_way or (self._queue[0] if self._queue else None)
        return None if order is None else order.message

    def next_deadline(self) -> int | None:
        """When something here expires or has to be resent at the latest."""
        times = [order.expires_us for order in self._queue]
        if self._under_way is not None:
            times.append(self._under_way.expires_us)
            if self._resend_first_us:
                times.append(self._under_way.due_us)
        return min(times) if times else None

    # ---- the target's end: answering -----------------------------------------------------------------------

    def answer(self, message: Message, counter: int = 0) -> bytes:
        """The sealed payload of what a target says; `counter` is the order's that it answers (cached), or 0."""
        assert self.end == "target"
        if counter:
            self._cached = (counter, message)
        return self._sealer.seal(envelope.UP, self.address, self._used.next(), messages.encode(message))

    # ---- both ends: taking ---------------------------------------------------------------------------------

    def take(self, env: envelope.Envelope, now: int) -> Taken | None:
        """Take an envelope that is addressed to this end; None when it is dropped, which is counted."""
        row = _ROWS.get((self.end, env.form))
        if row is None:
            self.lost["wrong-form"] += 1
            return None
        return row(self, env, now)

    def _open_body(self, env: envelope.Envelope, sealer: seal.Sealer) -> Message | None:
        if not sealer.holds(env):
            self.lost["bad-tag"] += 1
            return None
        try:
            message = messages.decode(env.body)
        except messages.Malformed as error:
            self.lost[error.kind] += 1
            return None
        if not isinstance(message, messages.UP if env.form == envelope.UP else messages.DOWN):
            self.lost["wrong-kind"] += 1  # the key is right and the direction is not: a peer that is confused or lies
            return None
        return message

    def _take_up(self, env: envelope.Envelope, _now: int) -> Taken | None:
        message = self._open_body(env, self._sealer)
        if message is None:
            return None
        if self.state != "open":
            return self._take_opening(env, message)
        if not self._window.fresh(env.counter):
            self.lost["replayed"] += 1
            return None
        self._window.take(env.counter)
        re = getattr(message, "re", None)
        if isinstance(message, Status | Strike):
            asked_us = None
            if self._token.open and re == self._token.number:
                asked_us = self._token.sent_us
                self._token.open = False
            return Taken(message, asked_us=asked_us, question_bytes=self._token.size)
        order = self._under_way
        if order is None or re != order.counter:
            return Taken(message)
        if not _answers(message, order.message):
            self.lost["wrong-answer"] += 1  # a greeting does not confirm that a grant was carried out
            return Taken(message)
        self._under_way = None
        verdict, why = _outcome(message)
        return Taken(
            message,
            asked_us=order.first_sent_us if order.sends == 1 else None,  # a resent question gives no sample
            question_bytes=len(order.payload),
            ended=Ended(order, verdict, why, message),
        )

    def _take_opening(self, env: envelope.Envelope, message: Message) -> Taken | None:
        if self.state != "asking" or not isinstance(message, Counters) or message.nonce != self._nonce:
            self.lost["not-open"] += 1
            return None
        goes_on = max(message.down_high + seal.RESTART_JUMP, self._used.value)  # what was sent unheard is used too
        if goes_on >= seal.COUNTER_MAX:
            self.lost["counter-spent"] += 1
            return None
        self.state = "open"
        self._used.advance_to(goes_on)
        self._window = seal.ReplayWindow(self._window.size, env.counter)
        asked_us, question_bytes = self._asked
        return Taken(message, asked_us=asked_us, question_bytes=question_bytes, opened=True)

    def _take_token(self, env: envelope.Envelope, _now: int) -> Taken | None:
        return Taken(counter=env.counter)

    def _take_down(self, env: envelope.Envelope, _now: int) -> Taken | None:
        message = self._open_body(env, self._sealer)
        if message is None:
            return None
        if not self._window.fresh(env.counter):
            if self._cached is not None and self._cached[0] == env.counter:
                return Taken(reply=self.answer(self._cached[1]))
            self.lost["replayed"] += 1
            return None
        self._window.take(env.counter)
        self._seen.advance_to(self._window.high)
        return Taken(message, counter=env.counter)

    def _take_asked(self, env: envelope.Envelope, _now: int) -> Taken | None:
        message = self._open_body(env, self._sealer)
        if not isinstance(message, Ask) or env.counter or message.what != What.COUNTERS:
            if message is not None:
                self.lost["wrong-form"] += 1
            return None
        return Taken(message)

    def _take_all_off(self, env: envelope.Envelope, _now: int) -> Taken | None:
        if self._all_off is None:
            self.lost["no-all-off-key"] += 1
            return None
        message = self._open_body(env, self._all_off)
        if not isinstance(message, messages.AllOff) or message.epoch != env.counter:
            if message is not None:
                self.lost["wrong-form"] += 1
            return None
        return Taken(message)

    @property
    def down_high(self) -> int:
        """The target's highest counter of the controller, as it would be after a power cut at worst."""
        return self._window.high


_ROWS: dict[tuple[str, int], Callable[[Session, envelope.Envelope, int], Taken | None]] = {
    ("controller", envelope.UP): Session._take_up,
    ("target", envelope.TOKEN): Session._take_token,
    ("target", envelope.DOWN): Session._take_down,
    ("target", envelope.ASKED): Session._take_asked,
    ("target", envelope.ALL_OFF): Session._take_all_off,
}


_ASKED_FOR: dict[int, type[Message]] = {What.GREETING: Greeting, What.REPORT: Report}


def _answers(answer: Message, order: Message) -> bool:
    """Whether this is an answer to that order at all: an outcome, or what a question asked for."""
    if isinstance(order, TraceAsk) and isinstance(answer, Trace):
        return (answer.strike_boot, answer.number, answer.part) == (order.strike_boot, order.number, order.part)
    return isinstance(answer, Outcome) or (isinstance(order, Ask) and type(answer) is _ASKED_FOR.get(order.what))


def _outcome(answer: Message) -> tuple[Verdict, str]:
    """The verdict in an answer: what is no `Outcome` (a greeting, a report) is what was asked for, so done."""
    if not isinstance(answer, Outcome):
        return "done", ""
    verdict = _VERDICTS.get(answer.result, "refused")
    if verdict == "late":
        return verdict, f"late by {answer.late / 1000:.1f} ms"
    if verdict == "refused":
        return verdict, reason_in_words(answer.reason)
    if verdict == "superseded":
        return verdict, f"the target obeys generation {answer.generation}"
    return verdict, ""


_REASONS: dict[int, str] = {
    Reason.OLDER_EPOCH: "all off was ordered after it",
    Reason.OTHER_BOOT: "the target has rebooted since",
    Reason.RETAINED: "it arrived as a retained message",
    Reason.KEYING: "the pulse pattern is outside EN 300 718-1",
    Reason.LIMIT: "it passes the hard limit of the grant",
    Reason.LEASE_TOO_LONG: "it lets the target send for longer than the target accepts unrenewed",
    Reason.NO_SUCH_GRANT: "the target holds no such grant any more",
    Reason.BATTERY: "the battery is too weak to send",
    Reason.NO_ABILITY: "the target cannot do that",
    Reason.GATE_STUCK: "the gate reads back on although nothing was granted",
    Reason.STORAGE: "the target could not write to its storage",
    Reason.EMPTY: "its end is not after its start",
    Reason.NO_SUCH_TRACE: "the target keeps no such trace",
}


def reason_in_words(reason: int) -> str:
    """A target's reason code as a sentence part."""
    return _REASONS.get(reason, f"reason {reason}, which this version does not know")
