"""The shared vectors: on file as `make.py` makes them, complete, and enough by themselves to hold a target to."""

from __future__ import annotations

import json
import re
from pathlib import Path

import make
import pytest
from target import Body, Kept, Target

from fieldctl.strikes.features import SAMPLE_US
from fieldctl.wire import adding, envelope, frames, messages, obey, seal, session
from fieldctl.wire.bus import SLOT_US, slot_of
from fieldctl.wire.messages import Reason, Result, Why

HERE = Path(__file__).parent
FRAMES, SEAL, SESSION = (json.loads((HERE / f"{name}.json").read_text()) for name in ("frames", "seal", "session"))
SCRIPTS = {script["name"]: script for script in SESSION["scripts"]}
un = bytes.fromhex


@pytest.mark.parametrize("name", make.FILES)
def test_on_file_as_made(name, tmp_path):
    """A change of the contract shows as a change of these files: make them anew with make.py and say why."""
    make.main(tmp_path)
    assert (HERE / name).read_bytes() == (tmp_path / name).read_bytes()


@pytest.mark.parametrize("name", SCRIPTS)
def test_script(name):
    """The target, built from nothing but the file, says what the file says."""
    script = SCRIPTS[name]
    as_bytes = {"hardware", "secret"}
    body = Body(**{k: un(v) if k in as_bytes else v for k, v in (SESSION["body"] | script["body"]).items()})
    address = adding.address_of(body.hardware)
    keys = script["keys"] and seal.derive_keys(un(SESSION["site_key"]), address, script["keys"]["version"])
    one = Target(body, Kept(keys))
    for number, step in enumerate(script["steps"]):
        match step:
            case {"hear": heard, "ticks": ticks}:
                before = one.lost.copy()
                one.nonce = un(step.get("nonce", ""))
                reply = one.hear(un(heard), ticks, retained=step.get("retained", False))
                assert (reply or b"").hex() == step["reply"], f"step {number}"
                assert one.lost - before == step.get("lost", {})
                assert one.delay_us == step.get("delay_us", 0)
            case {"strike": features, "ticks": ticks}:
                one.strike(tuple(features), ticks)
            case {"samples": samples, "times": times, "ticks": ticks}:
                data = make.as_samples(samples)
                for n in range(times):
                    one.samples(data, ticks + n * len(data) * SAMPLE_US)
            case {"press": True, "ticks": ticks}:
                one.press(ticks)
            case {"cut": why}:
                one.power_cut(Why(why))
            case {"set": changes}:
                for field, value in changes.items():
                    setattr(body, field, value)
            case _:
                raise AssertionError(f"step {number} of no kind: {step}")


def steps():
    return [step for script in SCRIPTS.values() for step in script["steps"]]


def test_every_row_and_every_rule_is_covered():
    covered = {what for step in steps() for what in step.get("covers", [])}
    rows = set(re.findall(r"^    (T\d+) ", session.__doc__, re.MULTILINE))
    rules = {f"{cls.__name__}: {rule.name}" for cls, rules in obey.RULES.items() for rule in rules}
    done = {f"{cls.__name__}: done" for cls in obey.RULES}
    assert rows | rules | done <= covered
    assert {"all off heard", "all off of a recording", "hail", "added", "Rekey: done"} <= covered
    assert {f"TraceAsk: {what}" for what in ("told", "no such trace", "no ability")} <= covered
    assert {f"Ask: {what}" for what in (1, 2, 3, 0)} <= covered


def replies():
    for step in steps():
        if step.get("reply"):
            env = envelope.read(un(step["reply"]))
            yield messages.decode(env.body)


def test_every_message_result_reason_and_flag_of_a_target_is_said():
    said = list(replies())
    assert {type(message) for message in said} == {*messages.UP, messages.HailAnswer}
    outcomes = [message for message in said if isinstance(message, messages.Outcome)]
    assert {outcome.result for outcome in outcomes} == set(Result)
    assert {outcome.reason for outcome in outcomes} == set(Reason) - {Reason.STORAGE}  # a script has no storage to fail
    flags = 0
    for message in said:
        flags |= getattr(message, "flags", 0)
    assert flags == sum(messages.Flags) - messages.Flags.ASLEEP_SOON  # sleep is the port's


def test_every_count_of_what_is_dropped_is_there():
    lost = {kind for step in steps() for kind in step.get("lost", {})}
    assert lost == {
        *("bad-tag", "replayed", "wrong-form", "wrong-kind", "no-form", "no-keys", "not-for-everybody"),
        *("not-cbor", "no-map", "surplus", "unknown-kind", "missing-key", "bad-key", "ill-typed", "not-deterministic"),
        *("not-pressed", "wrong-proof"),
    }


def test_frames():
    for row in FRAMES["frames"]:
        assert frames.encode(un(row["payload"])).hex() == row["frame"]
        assert frames.Deframer().feed(un(row["frame"])) == [un(row["payload"])]
    for row in FRAMES["streams"]:
        deframer = frames.Deframer()
        assert [payload.hex() for payload in deframer.feed(un(row["stream"]))] == row["payloads"]
        assert deframer.lost == row["lost"]
    assert {kind for row in FRAMES["streams"] for kind in row["lost"]} == {"oversized", "not-cobs", "short", "crc"}


def test_seal():
    for row in SEAL["tags"]:
        assert seal.Sealer(un(row["key"])).holds(envelope.read(un(row["payload"])))
    for row in SEAL["windows"]:
        window = seal.ReplayWindow(row["size"], row["start"])
        for counter, fresh in zip(row["counters"], row["fresh"], strict=True):
            assert window.fresh(counter) == fresh
            if fresh:
                window.take(counter)
    marks: list[int] = []
    counter = seal.StepCounter(SEAL["step_counter"]["start"], marks.append)
    for row in SEAL["step_counter"]["steps"]:
        counter.advance_to(row["value"])
        assert marks[-1] == row["on_file"]
    for row in SEAL["derived"]:
        keys = seal.derive_keys(un(row["site_key"]), row["address"], row["version"])
        assert (keys.own.hex(), keys.all_off.hex()) == (row["own"], row["all_off"])
    add = {name: un(value) for name, value in SEAL["add"].items()}
    message = messages.decode(add["body"])
    keys = adding.accept_add(add["secret"], add["hardware"], add["asker"], add["theirs"], message)
    assert keys.own == add["own"]
    rekey = {name: un(value) for name, value in SEAL["rekey"].items()}
    assert adding.accept_rekey(rekey["own"], messages.decode(rekey["body"])).own == rekey["new"]
    for row in SEAL["slots"]:
        assert slot_of(un(row["hardware"]), un(row["nonce"]), row["salt"], row["slots"]) == row["slot"]
    assert {step.get("delay_us", 0) % SLOT_US for step in steps()} == {0}


def test_replies_fit_and_their_counters_rise():
    """No reply is longer than a frame holds, and each is sealed with a counter above the one before."""
    for script in SCRIPTS.values():
        high = 0
        for step in script["steps"]:
            if step.get("reply"):
                env = envelope.read(un(step["reply"]))
                assert len(frames.encode(un(step["reply"]))) <= frames.FRAME_MAX
                if env.form == envelope.UP:
                    assert env.counter > high
                    high = env.counter
