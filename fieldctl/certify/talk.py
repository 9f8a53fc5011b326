"""The controller's end of the conversation with a target at the bench: it can also say what no controller would.

It believes what it hears as far as that is possible, so that one fault of a target shows in one requirement and not in
all of them: a wrong tag, a counter that came before or an answer to another nonce are kept in `oddities` for the check
whose subject they are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fieldctl.certify.bench import Bench
from fieldctl.clock import Exchange
from fieldctl.units import EVERYBODY, US_PER_S, HostUs, NodeTicks
from fieldctl.wire import envelope, frames, messages, seal
from fieldctl.wire.messages import Ask, Flags, Greeting, Message, Outcome, Reason, Report, Result, Status, Strike, What

M = TypeVar("M", bound=Message)
TRIES = 3
RADIO_LEAD_US = 300_000  # a question and an order may each be 100 ms on their way
JUMP = 64  # beyond what a target says that it has taken
COUNTERS_NEEDED = 100_000  # for a whole certificate, ten times over
WAKES_WITHIN_US = 8 * US_PER_S  # a sleeper of this bench's own, or a target that has just rebooted
STRIKES_MAX = 600


class Failed(Exception):
    """A requirement is not met; the text is what was seen."""


class Silent(Failed):
    """No answer came where one was due."""


class NotTried(Exception):
    """It could not be tried here; the text says why."""


@dataclass(frozen=True, slots=True)
class Said:
    """One thing that the target said."""

    at_us: int
    counter: int
    message: Message


@dataclass(slots=True)
class Talk:
    """One target, its keys, and what it was heard to say."""

    bench: Bench
    address: int
    keys: seal.TargetKeys
    entropy: Callable[[int], bytes]
    secret: bytes | None = None  # the factory secret: only where the bench gave the keys itself
    hardware: bytes = b""
    counter: int = 0
    number: int = 0
    boot: int = 0
    generation: int = 1
    epoch: int = 0
    abilities: int = 0
    said: list[Said] = field(default_factory=list)
    oddities: Counter[str] = field(default_factory=Counter)
    samples: list[tuple[int, Exchange]] = field(default_factory=list)
    ends_us: int = 0  # when whatever was granted here has run out
    grant_id: int = 0x7E57_0000
    _ticks: tuple[int, int] = (0, 0)
    _own: seal.Sealer = field(init=False)
    _all_off: seal.Sealer = field(init=False)

    def __post_init__(self) -> None:
        self.use(self.keys)

    def use(self, keys: seal.TargetKeys) -> None:
        """Speak under these keys from now."""
        self.keys = keys
        self._own, self._all_off = seal.Sealer(keys.own), seal.Sealer(keys.all_off)

    # ---- hearing ----------------------------------------------------------------------------------------------

    def hear(self) -> list[Said]:
        """What the target said since the last time, sealed and in its name."""
        found = []
        for heard in self.bench.ear.heard:
            env = envelope.read(heard.payload)
            if env is None or env.form != envelope.UP:
                self.oddities["unsealed"] += env is None
                continue
            if env.address != self.address:
                self.oddities["foreign-address"] += 1
                continue
            if not self._own.holds(env):
                self.oddities["bad-tag"] += 1
            try:
                message = messages.decode(env.body)
            except messages.Malformed as error:
                self.oddities[error.kind] += 1
                continue
            found.append(Said(heard.at_us, env.counter, message))
            self._learn(heard.at_us, message)
        self.bench.ear.heard.clear()
        self.said += found
        return found

    def _learn(self, at_us: int, message: Message) -> None:
        boot, ticks = getattr(message, "boot", None), getattr(message, "ticks", None)
        if boot is not None and ticks is not None:
            self.boot, self._ticks = boot, (at_us, ticks)

    def ticks(self) -> int:
        """About what its counter reads now."""
        at_us, ticks = self._ticks
        return ticks + self.bench.now() - at_us

    def wait(self, us: int) -> list[Said]:
        """Let time pass in silence; what the target said meanwhile."""
        self.bench.wait(self.bench.now() + us)
        return self.hear()

    def until(self, ticks: int) -> list[Said]:
        """Let time pass until its counter reads about so much."""
        return self.wait(max(0, ticks - self.ticks()))

    # ---- asking and ordering ----------------------------------------------------------------------------------

    def next(self) -> int:
        """A counter that was not used yet."""
        self.counter += 1
        return self.counter

    def sealed(
        self,
        what: Message | bytes,
        *,
        counter: int | None = None,
        form: int = envelope.DOWN,
        sealer: seal.Sealer | None = None,
        tag_over: Mapping[str, Any] | None = None,
    ) -> bytes:
        """The payload of an order; `tag_over` changes what the tag is made of, and not what is sent."""
        body = what if isinstance(what, bytes) else messages.encode(what)
        head = {"form": form, "address": self.address, "counter": self.next() if counter is None else counter}
        tag = (sealer or self._own).seal(**{**head, "body": body, **(tag_over or {})})[-envelope.TAG_BYTES :]
        return envelope.sealed(body=body, tag=tag, **head)

    def all_off_payload(self, epoch: int, *, inside: int | None = None) -> bytes:
        """All off for everybody; `inside` another epoch than the one outside."""
        body = messages.encode(messages.AllOff(epoch if inside is None else inside))
        return self._all_off.seal(envelope.ALL_OFF, EVERYBODY, epoch, body)

    @property
    def all_off_sealer(self) -> seal.Sealer:
        """The all-off key, to try what else it can do."""
        return self._all_off

    def exchange(self, payload: bytes, fits: Callable[[Said], bool], *, retained: bool = False) -> Said | None:
        """Say something once and give the answer to it, if one comes."""
        self.hear()
        fresh: list[Said] = []
        bench = self.bench

        def enough() -> bool:
            fresh.extend(self.hear())
            return any(map(fits, fresh))

        sent_us = bench.say(payload, retained=retained)
        bench.wait(sent_us + bench.answer_us, enough)
        enough()
        answer = next(filter(fits, fresh), None)
        if answer is not None and (ticks := getattr(answer.message, "ticks", None)) is not None:
            more = frames.OVERHEAD if bench.medium == "bus" else 0
            self.samples.append(
                (
                    answer.message.boot,  # type: ignore[attr-defined]
                    Exchange(
                        HostUs(sent_us),
                        HostUs(answer.at_us),
                        NodeTicks(ticks),
                        len(payload) + more,
                        _size(answer.message) + more,
                        bench.byte_us,
                    ),
                )
            )
        return answer

    def open(self, patience_us: int = WAKES_WITHIN_US) -> messages.Counters:
        """Ask for the counters until it answers, and go on beyond them."""
        until = self.bench.now() + patience_us
        while True:
            payload = self.sealed(Ask(self.entropy(8), int(What.COUNTERS)), counter=0, form=envelope.ASKED)
            answer = self.exchange(payload, lambda said: isinstance(said.message, messages.Counters))
            if answer is not None:
                break
            if self.bench.now() >= until:
                raise Silent(f"no answer to the question for counters within {patience_us / 1e6:g} s")
        found = answer.message
        assert isinstance(found, messages.Counters)
        goes_on = max(self.counter, found.down_high) + JUMP
        if goes_on > seal.COUNTER_MAX - COUNTERS_NEEDED:
            raise Failed(f"it says that it has taken counter {found.down_high}: too few are left under this key")
        self.counter = goes_on
        self.generation = max(self.generation, found.generation)
        self.epoch = max(self.epoch, found.epoch)
        return found

    def token(self, tries: int = TRIES) -> Status | Strike:
        """Ask as the bus does; over radio nobody does, and a target answers all the same."""
        for _ in range(tries):
            self.number = (self.number + 1) & 0xFF
            number = self.number
            answer = self.exchange(
                envelope.token(self.address, number),
                lambda said: isinstance(said.message, Status | Strike) and said.message.re == number,  # noqa: B023
            )
            if answer is not None:
                assert isinstance(answer.message, Status | Strike)
                return answer.message
        raise Silent("no answer to a token")

    def flags(self) -> Flags:
        """What it says of itself now."""
        return Flags(self.token().flags)

    def deliver(self, payload: bytes, counter: int, *, tries: int = TRIES, retained: bool = False) -> Message:
        """Say an order that was made before, again and again, until it is answered."""
        for _ in range(tries):
            answer = self.exchange(
                payload, lambda said: getattr(said.message, "re", None) == counter, retained=retained
            )
            if answer is not None and not isinstance(answer.message, Status | Strike):
                return answer.message
        raise Silent("no answer to an order")

    def order(self, message: Message, *, sealer: seal.Sealer | None = None) -> Message:
        """An order or a question, resent until it is answered."""
        counter = self.next()
        try:
            return self.deliver(self.sealed(message, counter=counter, sealer=sealer), counter)
        except Silent:
            raise Silent(f"no answer to {name(message)}") from None

    def outcome(self, message: Message) -> Outcome:
        """As `order`, for what is answered with an outcome."""
        return _as(Outcome, self.order(message), message)

    def greeting(self) -> Greeting:
        """Who it says that it is."""
        ask = Ask(self.entropy(8), int(What.GREETING))
        return _as(Greeting, self.order(ask), ask)

    def report(self) -> Report:
        """How it says that it is."""
        ask = Ask(self.entropy(8), int(What.REPORT))
        return _as(Report, self.order(ask), ask)

    def nothing(self, payload: bytes, what: str, *, everybody: bool = False) -> None:
        """Say something that must not be answered."""
        self.hear()
        self.bench.say(payload, everybody=everybody)
        if answers := [said for said in self.wait(self.bench.answer_us) if is_answer(said.message)]:
            raise Failed(f"{what} was answered: {words(answers[0].message)}")

    # ---- what checks often want -------------------------------------------------------------------------------

    def grant(self, from_s: float = 0.3, until_s: float = 1.5, limit_s: float = 60.0, **changes: Any) -> messages.Grant:
        """A grant from about now, in seconds."""
        self.grant_id += 1
        now = self.ticks() + (0 if self.bench.medium == "bus" else RADIO_LEAD_US)
        given: dict[str, Any] = {
            "boot": self.boot,
            "generation": self.generation,
            "epoch": self.epoch,
            "grant_id": self.grant_id,
            "from_": now + int(from_s * US_PER_S),
            "until": now + int(until_s * US_PER_S),
            "limit": now + int(limit_s * US_PER_S),
            "period": 1000,
            "on": 100,
        }
        made = messages.Grant(**{**given, **changes})
        ends = min(made.until, made.limit)
        if ends - now < 600 * US_PER_S:
            self.ends_us = max(self.ends_us, self.bench.now() + ends - now)
        return made

    def granted(self, from_s: float = 0.3, until_s: float = 1.5, **changes: Any) -> messages.Grant:
        """A grant that was taken."""
        self.token()
        made = self.grant(from_s, until_s, **changes)
        self.expect(self.outcome(made), Result.DONE, what="a lawful grant")
        return made

    def sending(self, until_s: float = 2.0, **changes: Any) -> messages.Grant:
        """A grant that was taken and has begun."""
        made = self.granted(0.3, until_s, **changes)
        self.until(made.from_ + 150_000)
        if not self.flags() & Flags.GATE_ON:
            raise Failed("it does not send 150 ms after the begin of its grant")
        return made

    def renew(self, of: messages.Grant, until: int, **changes: Any) -> messages.Renew:
        """A renewal of a grant."""
        self.ends_us = max(self.ends_us, self.bench.now() + min(until, of.limit) - self.ticks())
        given = {"boot": of.boot, "generation": of.generation, "epoch": of.epoch, "grant_id": of.grant_id}
        return messages.Renew(**{**given, "until": until, **changes})

    def quiet(self, grant_id: int = 0, ticks: int = 0) -> Outcome:
        """End a grant."""
        return self.outcome(messages.Quiet(ticks, self.generation, grant_id))

    def arm(self, armed: bool = True) -> Outcome:
        """Arm the pad, or no longer."""
        return self.outcome(messages.Arm(self.boot, self.generation, armed, 0))

    def expect(
        self, answer: Outcome, result: Result, reason: Reason = Reason.NONE, *, what: str = "the order"
    ) -> Outcome:
        """The answer has to be this one."""
        if (answer.result, answer.reason) != (result, reason):
            wanted = verdict(result, reason)
            raise Failed(f"{what} was answered {words(answer)}, not {wanted}")
        return answer

    def expect_late(self, answer: Outcome, what: str) -> Outcome:
        """The answer has to be late, by whatever."""
        if answer.result != Result.LATE:
            raise Failed(f"{what} was answered {words(answer)}, not late")
        return answer

    def door(self, word: str, *numbers: int) -> tuple[int, ...]:
        """Something through the side door."""
        return self.bench.door.do(word, *numbers)

    # ---- leaving it as it was ---------------------------------------------------------------------------------

    def settle(self) -> None:
        """Bring it back to rest between two requirements: nothing granted, not armed, no strike left."""
        self.open()
        flags = self.flags()
        if flags & (Flags.GRANTED | Flags.GATE_ON):
            self.quiet()
            flags = self.flags()
        if flags & (Flags.GRANTED | Flags.GATE_ON):
            self.outcome(messages.AllOff(self.epoch))
            flags = self.flags()
        if flags & (Flags.GRANTED | Flags.GATE_ON):
            self.wait(max(0, self.ends_us - self.bench.now()) + 1_200_000)
        if flags & Flags.ARMED:
            self.arm(False)
        for _ in range(STRIKES_MAX):
            told = self.token()
            if not isinstance(told, Strike):
                return
            self.outcome(messages.Ack(told.strike_boot, told.number))

    def rest(self) -> bool:
        """All off at the epoch that is latched: whether it answered with its gate read back off."""
        try:
            self.open(2 * US_PER_S)
            answer = self.outcome(messages.AllOff(self.epoch))
        except Failed:
            return False
        return answer.result == Result.DONE and not answer.flags & (Flags.GATE_ON | Flags.GRANTED)


def name(message: Message) -> str:
    """A message's name in words."""
    plain = "".join(f" {c.lower()}" if c.isupper() else c for c in type(message).__name__).strip()
    return f"an order ({plain})" if isinstance(message, messages.DOWN) else f"a message ({plain})"


def verdict(result: int, reason: int = 0, late: int = 0) -> str:
    """An answer's result in words."""
    try:
        said = Result(result).name.lower()
        because = "" if not reason else f" ({Reason(reason).name.lower().replace('_', ' ')})"
    except ValueError:
        said, because = f"result {result}", f" (reason {reason})"
    return said + because + (f" by {late} µs" if late else "")


def words(message: Message) -> str:
    """What was said, in a few words."""
    if isinstance(message, Outcome):
        return verdict(message.result, message.reason, message.late)
    return f"with a {type(message).__name__.lower()}"


def is_answer(message: Message) -> bool:
    """Whether this was said because somebody asked."""
    return isinstance(message, messages.Counters) or getattr(message, "re", None) is not None


def _as(wanted: type[M], answer: Message, to: Message) -> M:
    if not isinstance(answer, wanted):
        raise Failed(f"{name(to)} was answered {words(answer)}, not with a {wanted.__name__.lower()}")
    return answer


def _size(message: Message) -> int:
    return len(messages.encode(message)) + 9 + envelope.TAG_BYTES
