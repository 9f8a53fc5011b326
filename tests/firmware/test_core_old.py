"""A core built from the first contract, frozen beside this test, against the Python of today."""

from __future__ import annotations

from pathlib import Path

import cbor2
import pytest
from csim import Sim
from life import ADDRESS, KEYS, S
from test_core_vectors import SCRIPTS, run_script

from fieldctl.wire import envelope, messages, seal
from fieldctl.wire import messages as m
from fieldctl.wire.session import Posted, Session
from sims import ccore

FIRST = Path(__file__).with_name("contract_1.cddl")
LATER = {"traces of strikes"}  # scripts with kinds that the first contract does not know


@pytest.fixture(scope="module")
def old():
    return ccore.load(contract=str(FIRST))


def test_the_frozen_contract_is_what_the_present_one_began_with() -> None:
    """Keys and kinds are appended, never reused."""
    now = (ccore.FOLDER.parent / "fieldctl/wire/messages.cddl").read_text()
    for line in FIRST.read_text().splitlines():
        if " = " in line and line.rstrip()[-1:].isdigit():
            assert line in now


@pytest.mark.parametrize("name", [name for name in SCRIPTS if name not in LATER])
def test_it_says_what_the_vectors_say(old, name) -> None:
    run_script(name, core=old)


def test_what_a_later_contract_appends_is_passed_over(old) -> None:
    """Orders of tomorrow's Python, with keys behind its own; answered by yesterday's core, read by today's Python."""
    sim = Sim(keys=KEYS, core=old)
    session = Session("controller", ADDRESS, KEYS.own)
    ticks = S
    reply = sim.hear(session.open(b"a nonce.", 0), ticks)
    assert session.take(envelope.read(reply), 1).opened
    sealer = seal.Sealer(KEYS.own)
    orders = (
        m.Grant(1, 1, 0, 9, ticks + S, ticks + 30 * S, ticks + 60 * S, 1000, 100),
        m.Renew(1, 1, 0, 9, ticks + 50 * S),
        m.Arm(1, 1, True, 0),
        m.Quiet(0, 1, 9),
        m.Ask(bytes(8), 1),
    )
    for n, order in enumerate(orders):
        assert session.post(Posted(n, order, expires_us=100 * S))
        payload = session.pull(ticks)
        more = {
            60 + k: value
            for k, value in enumerate(("text", [1, {2: b"x"}], {3: None}, 1.5, -7, True, cbor2.CBORTag(9, 1)))
        }
        body = messages.encode(order)
        pairs = (body[0] & 31) + len(more)
        head = bytes([0xA0 | pairs]) if pairs < 24 else bytes([0xB8, pairs])
        longer = head + body[1:] + cbor2.dumps(more)[1:]
        counter = int.from_bytes(payload[5:9], "big")
        ticks += 1000
        reply = sim.hear(sealer.seal(envelope.DOWN, ADDRESS, counter, longer), ticks)
        taken = session.take(envelope.read(reply), ticks)
        assert taken.ended.verdict == "done", (order, taken)
    assert sim.lost() == {}


@pytest.mark.parametrize("order", [m.Horn(1, 1, 0, S, 1000, 100), m.TraceAsk(1, 1, 0)], ids=["horn", "trace-ask"])
def test_an_order_that_it_has_never_heard_of_is_counted_and_not_answered(old, order) -> None:
    sim = Sim(keys=KEYS, core=old, abilities=385 | 512)
    body = messages.encode(order)
    assert sim.hear(seal.Sealer(KEYS.own).seal(envelope.DOWN, ADDRESS, 1, body), S) == b""
    assert sim.lost() == {"unknown-kind": 1}
