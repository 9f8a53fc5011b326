"""What a simulated target says of itself: flags, standing, and the messages made from them.

Functions over a `Node`, apart from it only to keep both readable.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fieldctl.wire import messages, obey
from fieldctl.wire.adding import PRESS_COUNTS_US
from fieldctl.wire.messages import Flags, Message
from sims.cell import LOW_MV, WEAK_MV
from sims.storage import Logged

if TYPE_CHECKING:
    from sims.node import Node

TURNAROUND_US = 200  # declared: from the last byte of a question to the first of the answer at least
FIRMWARE = "simulated 1"
GATE_ON, GRANTED, ARMED, STRIKES, ALL_OFF, BATTERY_LOW, ASLEEP_SOON, PRESSED = map(int, Flags)  # plain: a sum is quick


def pressed(node: Node, at_us: int) -> bool:
    """Whether its button was pressed lately enough to count."""
    return at_us - node.pressed_us <= PRESS_COUNTS_US


def held_now(node: Node, ticks: int) -> obey.Held | None:
    """The grant in force at a tick; one that has run out is forgotten."""
    held = node.gate.held
    if held is not None and ticks >= min(held.until, held.limit):
        node.settle()
        node.gate.held = None
        return None
    return held


def flags_now(node: Node, ticks: int, at_us: int) -> int:
    """The flags that go with every answer."""
    held = held_now(node, ticks)
    return (
        GATE_ON * node.gate.reads_on(ticks)
        + GRANTED * (held is not None)
        + ARMED * node.armed
        + STRIKES * bool(node.storage.strikes)
        + ALL_OFF * node.storage.off
        + BATTERY_LOW * (node.cell.load_mv < LOW_MV)
        + ASLEEP_SOON * bool(node.asleep_until)
        + PRESSED * pressed(node, at_us)
    )


def standing(node: Node, ticks: int, retained: bool) -> obey.Standing:
    """What it knows when an order arrives."""
    held = held_now(node, ticks)
    stored = node.storage
    return obey.Standing(
        boot=stored.boot,
        ticks=ticks,
        generation=stored.generation,
        epoch=stored.epoch,
        off=stored.off,
        held=held,
        armed=node.armed,
        abilities=node.abilities,
        battery_ok=node.cell.load_mv >= WEAK_MV,
        gate_ok=not node.gate.reads_on(ticks) or node.gate.ordered(ticks),
        retained=retained,
    )


def status(node: Node, number: int, at_us: int) -> Message:
    """The answer to a token: the oldest strike that nobody acknowledged, else the short status."""
    stored = node.storage
    ticks = node.ticks(at_us)
    flags = flags_now(node, ticks, at_us)
    if stored.strikes:
        return strike_message(node, stored.strikes[0], ticks, flags, number)
    return short_status(node, ticks, flags, number)


def short_status(node: Node, ticks: int, flags: int, number: int | None) -> Message:
    """The short status: what it holds, and how often its button was pressed."""
    held, presses = node.gate.held, node.presses
    said = messages.Status(node.storage.boot, ticks, flags, number)
    if held is not None:
        said = replace(said, grant_id=held.grant_id, since=held.from_ if ticks >= held.from_ else 0)
    if presses.any:
        said = replace(said, presses=presses.short, holds=presses.held, press_ticks=presses.ticks)
    return said


def strike_message(node: Node, logged: Logged, ticks: int, flags: int, number: int | None) -> Message:
    """One strike of the log."""
    stored = node.storage
    return messages.Strike(
        stored.boot,
        ticks,
        flags,
        logged.number,
        logged.features,
        len(stored.strikes),
        stored.dropped,
        logged.boot,
        logged.ticks,
        number,
    )


def outcome(node: Node, answer: obey.Answer, counter: int, at_us: int) -> Message:
    """Its word on an order."""
    stored = node.storage
    ticks = node.ticks(at_us)
    flags = flags_now(node, ticks, at_us)
    held = node.gate.held
    return messages.Outcome(
        stored.boot,
        ticks,
        flags,
        stored.generation,
        stored.epoch,
        held.grant_id if held is not None else 0,
        int(answer.result),
        int(answer.reason),
        min(answer.late, 0xFFFF_FFFF),
        counter,
    )


def greeting(node: Node, at_us: int, counter: int) -> Message:
    """Who it is."""
    stored = node.storage
    ticks = node.ticks(at_us)
    return messages.Greeting(
        stored.boot,
        ticks,
        flags_now(node, ticks, at_us),
        stored.hardware,
        "simulated 1",
        messages.CONTRACT,
        node.abilities,
        int(node.why),
        TURNAROUND_US,
        stored.keys.version if stored.keys else 0,
        counter or None,
    )


def counters(node: Node, at_us: int, nonce: bytes, down_high: int) -> Message:
    """The highest counter that it has taken, and what is latched."""
    stored = node.storage
    ticks = node.ticks(at_us)
    return messages.Counters(
        stored.boot,
        ticks,
        flags_now(node, ticks, at_us),
        stored.generation,
        stored.epoch,
        nonce,
        stored.keys.version if stored.keys else 0,
        down_high,
    )


def trace(node: Node, ask: messages.TraceAsk, counter: int, at_us: int) -> Message | None:
    """One part of a raw trace; None when there is none."""
    ticks = node.ticks(at_us)
    return node.traces.told(ask, node.storage.boot, ticks, flags_now(node, ticks, at_us), counter)


def report(node: Node, at_us: int, counter: int) -> Message:
    """How it is."""
    node.settle()
    stored, cell = node.storage, node.cell
    ticks = node.ticks(at_us)
    flags = flags_now(node, ticks, at_us)
    held = node.gate.held
    lost = node.session.lost if node.session is not None else {}
    return messages.Report(
        stored.boot,
        ticks,
        flags,
        stored.generation,
        stored.epoch,
        held.grant_id if held is not None else 0,
        stored.dropped,
        cell.rest_mv,
        cell.load_mv,
        cell.kelvin10,
        3 + node.rng.randrange(3),
        cell.charge_mas,
        node.junk + sum(node.deframer.lost.values()) + sum(lost.values()),
        counter or None,
        node.moisture,
    )
