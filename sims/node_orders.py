"""What a simulated target does with orders, hails and keys: the product's own rules, with storage and gate behind them.

Functions over a `Node`, apart from it only to keep both readable.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldctl.units import EVERYBODY
from fieldctl.wire import adding, envelope, messages, obey, post
from fieldctl.wire.bus import SLOT_US, slot_of
from fieldctl.wire.messages import Ability, Message, Reason, Result, What
from sims import node_words as words
from sims.storage import StorageBroken

if TYPE_CHECKING:
    from sims.node import Node

_ANSWERS = {int(What.GREETING): words.greeting, int(What.REPORT): words.report}
_NO_ABILITY = obey.Answer(Result.REFUSED, Reason.NO_ABILITY)
_NO_SUCH_TRACE = obey.Answer(Result.REFUSED, Reason.NO_SUCH_TRACE)

# ---- orders ---------------------------------------------------------------------------------------------


def order(node: Node, message: Message, counter: int, at_us: int, retained: bool) -> None:
    """Carry out an order or answer a question, once, and say what became of it."""
    ticks = node.ticks(at_us)
    if isinstance(message, messages.Ask):
        make = _ANSWERS.get(message.what)
        said = make(node, at_us, counter) if make else words.outcome(node, _NO_ABILITY, counter, at_us)
        node.say(said, counter, at_us)
    elif isinstance(message, messages.TraceAsk):
        node.say(_traced(node, message, counter, at_us), counter, at_us)
    elif isinstance(message, messages.Rekey):
        _rekey(node, message, counter, at_us)
    elif isinstance(message, messages.Horn):
        _blow(node, message, counter, at_us, retained)
    else:
        answer = carry_out(node, words.standing(node, ticks, retained), message, at_us)
        node.say(words.outcome(node, answer, counter, at_us), counter, at_us)
        if isinstance(message, messages.Leave) and answer.result is Result.DONE:
            node.make_sessions()  # that was its last word: there are no keys any more


def _traced(node: Node, ask: messages.TraceAsk, counter: int, at_us: int) -> Message:
    if not node.abilities & Ability.TRACES:
        return words.outcome(node, _NO_ABILITY, counter, at_us)
    return words.trace(node, ask, counter, at_us) or words.outcome(node, _NO_SUCH_TRACE, counter, at_us)


def carry_out(node: Node, standing: obey.Standing, message: Message, at_us: int) -> obey.Answer:
    """Obey as the rules say; a standing that has to last is written down before the gate opens."""
    answer, after = obey.obey(standing, message)
    if answer.result is not Result.DONE:
        return answer
    node.settle()
    gate = node.gate
    if after.held is None:
        gate.held = None  # quiet first, whatever the storage says
    try:
        _persist(node, standing, after, message)
    except StorageBroken:
        if isinstance(message, messages.AllOff | messages.Quiet):
            _permit(node, message, standing, at_us)
        return obey.Answer(Result.REFUSED, Reason.STORAGE)
    gate.held = after.held
    node.armed = after.armed
    if isinstance(message, messages.Arm):
        node.threshold = message.threshold
    _permit(node, message, standing, at_us)
    if isinstance(message, messages.Sleep):
        node.settle()
        node.asleep_until = message.until
        node.wake_us = max(1, message.wake) * 1_000_000
    if isinstance(message, messages.Ack):
        node.pusher.soon()
    return answer


def _persist(node: Node, before: obey.Standing, after: obey.Standing, message: Message) -> None:
    stored = node.storage
    if isinstance(message, messages.Ack):
        kept = tuple(s for s in stored.strikes if (s.boot, s.number) != (message.boot, message.number))
        if len(kept) != len(stored.strikes):
            stored.write(strikes=kept)
    elif isinstance(message, messages.Leave):
        stored.write(keys=None, keys_before=None, off=True)
    elif (after.generation, after.epoch, after.off) != (before.generation, before.epoch, before.off):
        stored.write(generation=after.generation, epoch=after.epoch, off=after.off)


def _permit(node: Node, message: Message, before: obey.Standing, at_us: int) -> None:
    """What the orders alone permit, written down apart from what the gate does."""
    gate, clock = node.gate, node.crystal
    match message:
        case messages.Grant():
            if message.epoch >= before.epoch and message.generation >= before.generation:
                gate.permit(message.until, message.limit, clock)
        case messages.Renew():
            if message.epoch >= before.epoch and message.generation >= before.generation:
                gate.renew(message.until, clock, at_us)
        case messages.Quiet() if message.ticks > before.ticks:
            gate.shorten(message.ticks, clock)
        case messages.Quiet() | messages.AllOff() | messages.Leave() | messages.Sleep():
            gate.forbid(at_us)


def _rekey(node: Node, message: messages.Rekey, counter: int, at_us: int) -> None:
    """The new keys hold before the answer goes out, and that under the old one: the order may come again."""
    stored, session = node.storage, node.session
    answer = obey.Answer(Result.DONE)
    if stored.keys is None:
        answer = _NO_ABILITY
    else:
        try:
            stored.write(keys=adding.accept_rekey(stored.keys.own, message), keys_before=stored.keys)
            node.before, node.session = session, node.session_for(stored.keys)
        except StorageBroken:
            answer = obey.Answer(Result.REFUSED, Reason.STORAGE)
    node.say(words.outcome(node, answer, counter, at_us), counter, at_us, session)


def _blow(node: Node, message: messages.Horn, counter: int, at_us: int, retained: bool) -> None:
    """A post's horn; what is obeyed here moves the generation as every order does."""
    answer = post.horn(words.standing(node, node.ticks(at_us), retained), message)
    if answer.result is Result.DONE:
        if message.generation > node.storage.generation:
            node.storage.write(generation=message.generation)
        node.blown.append((at_us, message))
    node.say(words.outcome(node, answer, counter, at_us), counter, at_us)


# ---- being found and added -------------------------------------------------------------------------------


def hear_hail(node: Node, env: envelope.Envelope, at_us: int, _retained: bool) -> None:
    """Answer in the slot that hardware id and nonce choose: who has no keys, or was pressed just now."""
    message = _unsealed(node, env)
    if not isinstance(message, messages.Hail):
        return
    if env.address == EVERYBODY and node.storage.keys is not None and not words.pressed(node, at_us):
        return
    slot = 0
    if env.address == EVERYBODY:
        slot = slot_of(node.storage.hardware, message.nonce, message.salt, max(1, message.slots))
    mine = node.rng.randbytes(messages.NONCE_BYTES)
    node.hailed = (message.nonce, mine)
    body = messages.encode(
        messages.HailAnswer(mine, node.storage.hardware, messages.CONTRACT, node.abilities, words.pressed(node, at_us))
    )
    node.send(envelope.bare(envelope.HAIL_ANSWER, node.address, body), at_us + slot * SLOT_US)


def hear_add(node: Node, env: envelope.Envelope, at_us: int, _retained: bool) -> None:
    """Take the keys of a site: after a press, wrapped for us and for the nonces of the last hail."""
    message = _unsealed(node, env)
    if not isinstance(message, messages.Add) or node.hailed is None or not words.pressed(node, at_us):
        return
    stored = node.storage
    keys = adding.accept_add(stored.secret, stored.hardware, *node.hailed, message)
    if keys is None:
        node.junk += 1
        return
    if keys == stored.keys:
        return
    node.settle()
    node.gate.held = None
    node.gate.forbid(at_us)
    stored.write(keys=keys, keys_before=None, generation=0, epoch=0, off=True, strikes=())
    node.make_sessions()


def _unsealed(node: Node, env: envelope.Envelope) -> Message | None:
    try:
        return messages.decode(env.body)
    except messages.Malformed:
        node.junk += 1
        return None
