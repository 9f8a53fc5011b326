"""The shared vectors, byte for byte: what the Python target says to a script, the C core says too."""

from __future__ import annotations

import json
import struct
from typing import Any

import pytest
from csim import PRESSED, ROOT, Sim

from fieldctl.strikes.features import SAMPLE_US
from fieldctl.wire import adding, seal

FRAMES, SEAL, SESSION = (
    json.loads((ROOT / f"tests/vectors/{name}.json").read_text()) for name in ("frames", "seal", "session")
)
SCRIPTS = {script["name"]: script for script in SESSION["scripts"]}
un = bytes.fromhex


def embody(sim: Sim, body: dict[str, Any]) -> None:
    """Make a core's board what a script says of the body."""
    board, unit = sim.c, sim.c.unit
    unit.abilities = body["abilities"]
    unit.turnaround_us = body["turnaround"]
    unit.awake_ua = unit.sending_ua = 0
    unit.log_max = body["log_max"]
    board.gate_stuck = body["gate_stuck"]
    board.rest_mv, board.load_mv, board.kelvin10 = body["rest_mv"], body["load_mv"], body["kelvin10"]
    unit.weak_mv = unit.low_mv = 1 if body["battery_ok"] else 0xFFFF
    sim.lib.fc_sim_set_body(sim.c, body["noise"], body["charge"])


@pytest.mark.parametrize("name", SCRIPTS)
def test_script(name: str) -> None:
    """Reply, slot and counts of every step."""
    run_script(name)


def run_script(name: str, core: Any = None) -> None:
    """One script of the vectors at a fresh core."""
    script = SCRIPTS[name]
    body = SESSION["body"] | script["body"]
    address = adding.address_of(un(body["hardware"]))
    keys = script["keys"] and seal.derive_keys(un(SESSION["site_key"]), address, script["keys"]["version"])
    sim = Sim(
        hardware=un(body["hardware"]),
        secret=un(body["secret"]),
        firmware=body["firmware"],
        radio=body["window"] == seal.MQTT_WINDOW,
        keys=keys,
        core=core,
    )
    embody(sim, body)
    for number, step in enumerate(script["steps"]):
        match step:
            case {"hear": heard, "ticks": ticks}:
                before = sim.lost()
                nonce = un(step.get("nonce", ""))
                sim.c.nonce_set = bool(nonce)
                sim.c.nonce = nonce.ljust(8, b"\0")
                reply = sim.hear(un(heard), ticks, retained=step.get("retained", False))
                assert reply.hex() == step["reply"], f"step {number}"
                assert sim.lost() - before == step.get("lost", {}), f"step {number}"
                assert sim.delay_us == step.get("delay_us", 0), f"step {number}"
            case {"strike": features, "ticks": ticks}:
                sim.strike(tuple(features), ticks)
            case {"samples": samples, "times": times, "ticks": ticks}:
                data = [n for (n,) in struct.iter_unpack("<h", un(samples))]
                for n in range(times):
                    sim.samples(data, ticks + n * len(data) * SAMPLE_US)
            case {"press": True, "ticks": ticks}:
                sim.step(ticks, PRESSED)
            case {"cut": why}:
                sim.lib.fc_sim_power_off(sim.c)
                sim.power_on(why)
                embody(sim, body)
            case {"set": changes}:
                body = body | changes
                embody(sim, body)
            case _:
                raise AssertionError(f"step {number} of no kind: {step}")


def test_frames() -> None:
    """The deframer finds the same payloads and counts the same losses, one byte at a time."""
    for row in FRAMES["frames"]:
        sim = Sim()
        sim.step(0, 1, un(row["frame"]))
        assert sim.lost()["no-keys"] + sim.lost()["no-form"] + sum(sim.lost().values()) > 0 or len(row["payload"]) > 10
    for row in FRAMES["streams"]:
        sim = Sim()
        for byte in un(row["stream"]):
            sim.step(0, 1, bytes([byte]))
        lost = sim.lost()
        framing = {kind: lost[kind] for kind in ("oversized", "not-cobs", "short", "crc") if lost[kind]}
        assert framing == row["lost"], row["name"]
