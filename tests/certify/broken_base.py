"""What broken targets share: hooks into what a simulated target hears and says, and the list of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from fieldctl.wire import envelope, messages, seal
from fieldctl.wire.messages import Message, Outcome, Result
from fieldctl.wire.session import Session
from sims.node import Node

BROKEN: dict[str, type[Broken]] = {}
"""The broken target for each requirement, by the requirement's id."""

B = TypeVar("B", bound="type[Broken]")


def breaks(requirement: str) -> Callable[[B], B]:
    """Put a broken target into the list."""

    def put(cls: B) -> B:
        assert requirement not in BROKEN, requirement
        BROKEN[requirement] = cls
        return cls

    return put


class Hooked(Session):
    """A session that asks its target what to make of what it heard."""

    node: Broken

    def _open_body(self, env: envelope.Envelope, sealer: seal.Sealer) -> Message | None:
        message = super()._open_body(env, sealer)
        if env.form != envelope.DOWN:
            return message
        if message is None:
            return self.node.not_understood(env) if sealer.holds(env) else None
        changed = self.node.heard(message)
        self.node.last = changed
        return changed


class Broken(Node):
    """A target with hooks; each subclass does one thing wrong."""

    last: Message | None = None  # the order at hand

    def heard(self, message: Message) -> Message | None:
        """What it makes of a sealed order; None: nothing."""
        return message

    def not_understood(self, env: envelope.Envelope) -> Message | None:
        """What it makes of a body that is sealed right and no message."""
        return None

    def done(self, order: Message) -> None:
        """An order was carried out, and its answer goes out now."""

    def said(self, message: Message) -> Message:
        """What it says instead."""
        return message

    def session_for(self, keys: seal.TargetKeys | None) -> Session | None:
        """See `Node`."""
        session = super().session_for(keys)
        if session is not None:
            session.__class__ = Hooked
            cast(Hooked, session).node = self
        return session

    def say(self, message: Message, counter: int, at_us: int, session: Session | None = None) -> None:
        """See `Node`."""
        order, self.last = self.last, None
        if order is not None and isinstance(message, Outcome) and message.result == Result.DONE:
            self.done(order)
        self.last_answered = order
        super().say(self.said(message), counter, at_us, session)

    last_answered: Message | None = None

    @property
    def now_ticks(self) -> int:
        """What its counter reads now."""
        return self.ticks(self.scheduler.now_us())


def kind_of(payload: bytes) -> Any:
    """The message in a payload that was not tampered with; None where there is none."""
    env = envelope.read(payload)
    if env is None or not env.body:
        return None
    try:
        return messages.decode(env.body)
    except messages.Malformed:
        return None
