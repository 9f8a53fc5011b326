"""`fieldctl demo`: the real controller on a real pseudo-terminal and a real broker, with a simulated mountain behind.

Three invented burials, one switched on by the first find, all keep sending; then all off and the result. The truth is
read from the mountain's process only when everything is over, and compared here, outside `fieldctl`.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import shutil
import sys
import tempfile
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from fieldctl.errors import EXIT_FAILURE, EXIT_OK, FieldctlError, Unreachable
from fieldctl.units import PersonId, TargetId
from sims.broker import Broker, start_broker

DRILL = "demo"
SEARCHER = "Mira"
READY_WITHIN_S = 60.0
FOUND_WITHIN_S = 120.0
OFF_WITHIN_S = 20.0
STEP_S = 0.1
SERIAL_LIMIT_US = 2_000
MQTT_LIMIT_US = 15_000

DRILL_TEXT = """
title = "Three burials, the second switched on by the first find (invented)"
limit_min = 15

[[burial]]
name = "A"
signal = "start"
target = "{A}"

[[burial]]
name = "B"
signal = "after-find"
after = "A"
target = "{B}"

[[burial]]
name = "C"
signal = "start"
target = "{C}"
"""


@dataclass
class Demo:
    """Everything of one demo while it goes on."""

    controller: Any
    desk: Any
    picks: dict[str, str]
    exercise: str = ""

    async def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        """Ask for a verb, as a person would."""
        answer: dict[str, Any] = await self.desk.ask(verb, arguments)
        return answer


def main(*, seed: int, headless: bool, as_json: bool, keep: Path | None) -> int:
    """Run the demo; 0 only when everything that it promises held."""
    folder = keep or Path(tempfile.mkdtemp(prefix="fieldctl-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    try:
        row = asyncio.run(_run(folder, seed, _said if headless else None))
    except KeyboardInterrupt:
        return EXIT_FAILURE
    except FieldctlError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    finally:
        if keep is None:
            shutil.rmtree(folder, ignore_errors=True)
    failed = _what_failed(row)
    if as_json:
        print(json.dumps(row))
    elif headless:
        print("\n".join(_as_lines(row)))
    for line in failed:
        print(f"not as promised: {line}", file=sys.stderr)
    return EXIT_FAILURE if failed else EXIT_OK


def _said(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


async def _run(folder: Path, seed: int, say: Callable[[str], None] | None) -> dict[str, Any]:
    from fieldctl.ledger.store import Ledger
    from fieldctl.site.files import load_site
    from fieldctl.site.new import new_site

    rng = Random(f"demo {seed}")
    if not (folder / "site.toml").exists():
        new_site(folder)
    site = load_site(folder)
    serial = [p.target for p in site.places if p.link == "bus"]
    mqtt = [p.target for p in site.places if p.link == "broker"]
    first, third = rng.sample(serial, 2)
    picks: dict[str, str] = {"A": first, "B": rng.choice(mqtt), "C": third}
    (folder / "drills" / f"{DRILL}.toml").write_text(DRILL_TEXT.format(**picks), encoding="utf-8")
    key = secrets.token_bytes(16)
    broker = await start_broker(site.name, mqtt)
    truth = folder / "truth.json"
    view = _view(say)
    try:
        async with _mountain(seed, key, site.name, serial, mqtt, picks, broker, truth) as port:
            outside = _outside(folder, site, key, port, broker)
            with Ledger.open(folder / "ledger.sqlite", inline=False, who="fieldctl demo") as ledger:
                _provision(ledger, outside, serial, mqtt)
                row = await _carry_out(outside, ledger, picks, view)
                facts = list(ledger.facts())
    finally:
        await broker.stop()
    _compare(row, facts, json.loads(truth.read_text(encoding="utf-8")), set(serial))
    return row


@contextlib.asynccontextmanager
async def _mountain(
    seed: int,
    key: bytes,
    site: str,
    serial: list[TargetId],
    mqtt: list[TargetId],
    picks: dict[str, str],
    broker: Broker,
    truth: Path,
) -> AsyncIterator[str]:
    """The targets' process; gives the bus's path, and ends it with its truth written."""
    logins = {}
    for target in mqtt:
        at = broker.login(target)
        logins[target] = {
            "host": at.host,
            "port": at.port,
            "user": at.user,
            "password": at.password,
            "version": at.version,
        }
    order = {
        "seed": seed,
        "site_key": key.hex(),
        "site": site,
        "serial": serial,
        "mqtt": logins,
        "plays": [picks["A"], picks["C"], picks["B"]],
        "walked_past": picks["C"],
        "driven_past": picks["B"],
        "truth": str(truth),
    }
    child = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "sims.demo_targets",
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
    )
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        child.stdin.write(json.dumps(order).encode() + b"\n")
        await child.stdin.drain()
        line = await asyncio.wait_for(child.stdout.readline(), READY_WITHIN_S)
        if not line:
            raise Unreachable("The simulated targets did not start.", remedy="Look at what they said above.")
        yield str(json.loads(line)["port"])
    finally:
        if child.returncode is None:
            with contextlib.suppress(ConnectionError):
                child.stdin.write(b"end\n")
                await child.stdin.drain()
            try:
                await asyncio.wait_for(child.wait(), OFF_WITHIN_S)
            except TimeoutError:
                child.kill()
                await child.wait()


def _outside(folder: Path, site: Any, key: bytes, port: str, broker: Broker) -> Any:
    """What the controller is given: the real links, to a simulated mountain."""
    from fieldctl.cli.outside import SystemClock
    from fieldctl.controller.ports import Keys, Outside
    from fieldctl.links.mqtt import open_mqtt
    from fieldctl.links.serial_bus import open_serial_bus
    from fieldctl.site.model import SerialLink

    clock = SystemClock()
    here = replace(
        site,
        serial=(replace(site.serial[0], port=port),),
        mqtt=(replace(site.mqtt[0], port=broker.port),),
    )

    async def open_link(config: Any, receiver: Any) -> Any:
        if isinstance(config, SerialLink):
            return await open_serial_bus(config.port, receiver, now=clock.now, site=site.name)
        return await open_mqtt(site.name, broker.login("controller"), receiver, now=clock.now)

    return Outside(here, folder, clock, Keys(key), lambda: secrets.token_bytes(8), open_link)


def _provision(ledger: Any, outside: Any, serial: list[TargetId], mqtt: list[TargetId]) -> None:
    """The targets were added on another day: their keys are in them, and the ledger knows it."""
    from fieldctl.events import TargetAdded

    by = PersonId("p-demo")
    ledger.name_person(by, "Ansel")
    facts = [TargetAdded(t, f"696e7664{t}", "bus", 1, by) for t in serial]
    facts += [TargetAdded(t, f"696e7664{t}", "broker", 1, by) for t in mqtt]
    ledger.append(facts, at=outside.here(), wall=outside.clock.wall())


async def _carry_out(outside: Any, ledger: Any, picks: dict[str, str], view: Any) -> dict[str, Any]:
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.verbs import Desk

    controller = Controller(outside, ledger)
    running = asyncio.create_task(controller.run(), name="controller")
    demo = Demo(controller, Desk(controller), picks)
    try:
        with view as show:
            await _until(
                lambda: controller.ready.is_set() and _settled(controller), READY_WITHIN_S, demo, show, running
            )
            await _open_day(demo)
            row = await demo.ask(
                "exercise-start", drill=DRILL, by="Ansel", searchers=(SEARCHER,), targets=picks, start_in_s=2.0
            )
            demo.exercise = row["exercise"]
            await _until(lambda: _over(demo), FOUND_WITHIN_S, demo, show, running)
            await demo.ask("all-off", by="Ansel", via="demo")
            await _until(lambda: not controller.all_off.state.unconfirmed, OFF_WITHIN_S, demo, show, running)
            await show(demo)
            return _result(demo, await demo.ask("exercise-show", exercise=demo.exercise), await demo.ask("status"))
    finally:
        await controller.stop("the demo is over")
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


async def _until(
    holds: Callable[[], bool], within_s: float, demo: Demo, show: Any, running: asyncio.Task[None]
) -> None:
    """Wait for something, bounded, showing the field meanwhile; what did not come shows in the result."""
    deadline = asyncio.get_running_loop().time() + within_s
    while not holds():
        if running.done():
            await running
        if asyncio.get_running_loop().time() > deadline:
            return
        await show(demo)
        await asyncio.sleep(STEP_S)


def _settled(controller: Any) -> bool:
    """Whether every target is heard, has said who it is, and stamps within what is promised."""
    from fieldctl.controller.snapshot import clock_width_us

    now = controller.outside.clock.now()
    for known in controller.known.values():
        width = clock_width_us(known, now)
        limit = SERIAL_LIMIT_US if controller.lines[known.line].kind == "serial" else MQTT_LIMIT_US
        if known.life(now) != "online" or known.greeting is None or width is None or width > limit:
            return False
    return True


def _over(demo: Demo) -> bool:
    return bool(demo.controller.exercises.all[demo.exercise].status != "running")


async def _open_day(demo: Demo) -> None:
    """An invented person in charge opens the field; plates that nobody touched are signed for."""
    found = await demo.ask("day-check")
    signed = tuple(p["key"] for p in found["problems"] if p["may_sign"])
    await demo.ask(
        "day-open",
        by="Ansel",
        hazard="low, decided with the patrol (invented)",
        snow_m=1.9,
        stray_sweep="Tove walked the field, nothing heard (invented)",
        exceptions=signed,
    )


def _result(demo: Demo, shown: dict[str, Any], status: dict[str, Any]) -> dict[str, Any]:
    kinds = {k.target: demo.controller.lines[k.line].kind for k in demo.controller.known.values()}
    burials = []
    for b in shown["burials"]:
        find = b["find"] or {}
        burials.append(
            {
                "burial": b["burial"],
                "target": b["target"],
                "link": kinds[b["target"]],
                "sent_from_s": b["sent"][0]["from_s"] if b["sent"] else None,
                "found_at_s": find.get("at_s"),
                "plus_minus_ms": find.get("plus_minus_ms"),
                "searcher": find.get("searcher"),
            }
        )
    off = status["all_off"]
    return {
        "schema": 1,
        "exercise": {"id": shown["exercise"], "drill": shown["drill"], "state": shown["state"], "burials": burials},
        "all_off": {
            "confirmed": off["confirmed"],
            "unconfirmed": [u["target"] for u in off["unconfirmed"]],
            "took_s": off["took_s"],
        },
    }


def _compare(row: dict[str, Any], facts: list[Any], truth: dict[str, Any], serial: set[str]) -> None:
    """Put the truth beside what was recorded: strikes lost, stamps outside their ±."""
    from collections import Counter

    from fieldctl.events import StrikeRecorded

    made = {(t, boot, number): us for t, said in truth.items() for boot, number, us in said["made"]}
    recorded = {(f.target, f.boot, f.number): f for f in facts if isinstance(f, StrikeRecorded)}
    outside = 0
    widths: dict[str, list[float]] = {"serial": [], "mqtt": []}
    for key, fact in recorded.items():
        widths["serial" if fact.target in serial else "mqtt"].append(fact.at.plus_minus_us / 1000)
        if key not in made or abs(made[key] - fact.at.at.us) > fact.at.plus_minus_us:
            outside += 1
    row["strikes"] = {
        "made": len(made),
        "recorded": len(recorded),
        "lost": len(made.keys() - recorded.keys()),
        "taken_for": dict(Counter(f.taken_for for f in recorded.values())),
    }
    row["stamps"] = {
        "outside": outside,
        "plus_minus_ms": {
            kind: {"p50": _median(found), "max": max(found, default=None)} for kind, found in widths.items()
        },
    }
    row["past_grant_us_max"] = max((said["past_grant_us"] for said in truth.values() if said["sent"]), default=0)


def _median(values: list[float]) -> float | None:
    rows = sorted(values)
    return rows[len(rows) // 2] if rows else None


def _what_failed(row: dict[str, Any]) -> list[str]:
    exercise, strikes, off = row["exercise"], row["strikes"], row["all_off"]
    table = (
        (exercise["state"] == "complete", f"the exercise is {exercise['state']}"),
        (all(b["found_at_s"] is not None for b in exercise["burials"]), "a burial was not found"),
        ({b["link"] for b in exercise["burials"]} == {"serial", "mqtt"}, "not both kinds of link were in use"),
        (strikes["lost"] == 0 and strikes["made"] == strikes["recorded"], f"strikes were lost: {strikes}"),
        (row["stamps"]["outside"] == 0, f"{row['stamps']['outside']} stamps lie outside their ±"),
        (not off["unconfirmed"] and len(off["confirmed"]) == 12, f"all off: {off['unconfirmed']} did not confirm"),
        (row["past_grant_us_max"] <= 0, f"something sent {row['past_grant_us_max']} µs past its grant"),
    )
    return [line for holds, line in table if not holds]


def _as_lines(row: dict[str, Any]) -> list[str]:
    exercise = row["exercise"]
    lines = [f"{exercise['id']} {exercise['drill']}: {exercise['state']}"]
    for b in exercise["burials"]:
        lines.append(
            f"  {b['burial']} on {b['target']} ({b['link']}): sent from {b['sent_from_s']:.3f} s, "
            f"found at {b['found_at_s']:.3f} s ±{b['plus_minus_ms']:.1f} ms by {b['searcher']}"
            if b["found_at_s"] is not None and b["sent_from_s"] is not None
            else f"  {b['burial']} on {b['target']} ({b['link']}): not found"
        )
    lines.append(f"strikes {row['strikes']}, stamps {row['stamps']}")
    lines.append(f"all off: {len(row['all_off']['confirmed'])} confirmed in {row['all_off']['took_s']} s")
    return lines


def _view(say: Callable[[str], None] | None) -> Any:
    from sims.demo_view import Live, Quiet

    return Live() if say is None else Quiet(say)
