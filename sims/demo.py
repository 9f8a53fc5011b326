"""`fieldctl demo`: the real controller on a real pseudo-terminal and a real broker, with a simulated mountain behind.

Three invented burials, one switched on by the first find, all keep sending; then all off and the result. The truth is
read from the mountain's process only when everything is over, and compared in `sims.demo_result`, outside `fieldctl`.

Whoever ends it early (Ctrl-C, SIGTERM, a closed terminal) ends it as a field is ended: all off first, seen confirmed,
then out. The mountain and the broker have process groups of their own, so that Ctrl-C does not take them first.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import secrets
import shutil
import signal
import sys
import tempfile
from collections.abc import AsyncIterator, Callable, Coroutine
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Any

from fieldctl.errors import EXIT_FAILURE, EXIT_OK, FieldctlError, Unreachable
from fieldctl.units import PersonId, TargetId
from sims import demo_result
from sims.broker import Broker, start_broker
from sims.targets import EMULATED, maker

DRILL = "demo"
SEARCHER = "Mira"
READY_WITHIN_S = 60.0
FOUND_WITHIN_S = 120.0
OFF_WITHIN_S = 20.0
ENDS_WITHIN_S = 20.0
LEAVES_WITHIN_S = 5.0
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
    strikes: list[Any] = field(default_factory=list)  # as they are committed, for the view

    async def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        """Ask for a verb, as a person would."""
        answer: dict[str, Any] = await self.desk.ask(verb, arguments)
        return answer

    def committed(self, entries: tuple[Any, ...]) -> None:
        """Entries of the ledger, just committed."""
        from fieldctl.events import StrikeRecorded

        self.strikes += [e.fact for e in entries if isinstance(e.fact, StrikeRecorded) and not e.known]


def main(*, seed: int, headless: bool, as_json: bool, keep: Path | None, targets: str = "python") -> int:
    """Run the demo; 0 only when everything that it promises held. What failed is on stderr."""
    image: Path | None = None
    try:
        if targets == EMULATED:
            from sims.board import build_image

            image = asyncio.run(build_image())
        else:
            maker(targets, emulated_too=True)
    except FieldctlError as error:
        _said(str(error))
        return error.exit_code
    folder = keep or Path(tempfile.mkdtemp(prefix="fieldctl-demo-"))
    try:
        view, pages = _view(headless, as_json), not (headless or as_json)
        row = asyncio.run(_until_told(_run(folder, seed, view, targets, image, pages=pages)))
    except FieldctlError as error:
        _said(str(error))
        return EXIT_FAILURE
    finally:
        if keep is None:
            shutil.rmtree(folder, ignore_errors=True)
    if row is None:
        return EXIT_FAILURE
    failed = demo_result.what_failed(row)
    print(json.dumps(row) if as_json else "\n".join(demo_result.as_lines(row)))
    for line in failed:
        _said(f"not as promised: {line}")
    return EXIT_FAILURE if failed else EXIT_OK


def _said(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


async def _until_told(work: Coroutine[Any, Any, dict[str, Any]]) -> dict[str, Any] | None:
    """Carry it out; None when a signal ended it. Later signals change nothing: each wait on the way out is bounded."""
    task = asyncio.create_task(work, name="demo")
    told = asyncio.Event()

    def tell() -> None:
        if not told.is_set():
            told.set()
            task.cancel()

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        asyncio.get_running_loop().add_signal_handler(number, tell)
    try:
        return await task
    except asyncio.CancelledError:
        return None


async def _run(folder: Path, seed: int, view: Any, targets: str, image: Path | None, *, pages: bool) -> dict[str, Any]:
    from fieldctl.cli.outside import make_key, read_key
    from fieldctl.ledger.store import Ledger
    from fieldctl.site.files import load_site
    from fieldctl.site.new import new_site

    rng = Random(f"demo {seed}")
    new_site(folder)
    make_key(folder)
    site = load_site(folder)
    serial = [p.target for p in site.places if p.link == "bus"]
    mqtt = [p.target for p in site.places if p.link == "broker"]
    kinds: dict[str, str] = {**dict.fromkeys(serial, "serial"), **dict.fromkeys(mqtt, "mqtt")}
    first, third = rng.sample(serial, 2)
    picks: dict[str, str] = {"A": first, "B": rng.choice(mqtt), "C": third}
    (folder / "drills" / f"{DRILL}.toml").write_text(DRILL_TEXT.format(**picks), encoding="utf-8")
    key = read_key(folder)
    broker = await start_broker(site.name, mqtt)
    truth = folder / "truth.json"
    try:
        async with _mountain(seed, key, site.name, serial, mqtt, picks, broker, truth, targets, image) as port:
            outside = _outside(folder, site, key, port, broker)
            with Ledger.open(folder / "ledger.sqlite", inline=False, who="fieldctl demo") as ledger:
                _provision(ledger, outside, serial, mqtt)
                async with _pages(outside, ledger, shown=pages) as field:
                    row = await _carry_out(field, picks, view, kinds)
                facts = list(ledger.facts())
    finally:
        await broker.stop()
    try:
        said = json.loads(truth.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise Unreachable(
            "The simulated targets' process ended without saying what really happened.",
            remedy="Look at what it said above, and run the demo again.",
        ) from None
    return {**row, **demo_result.compare(facts, said, kinds)}


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
    targets: str,
    image: Path | None,
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
        "targets": targets,
        "image": str(image),
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
        process_group=0,
    )
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        child.stdin.write(json.dumps(order).encode() + b"\n")
        await child.stdin.drain()
        line = b""
        with contextlib.suppress(TimeoutError):
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
                await asyncio.wait_for(child.wait(), ENDS_WITHIN_S)
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


@dataclass
class Kept:
    """The controller that keeps the simulated field, and how many look at its pages."""

    controller: Any
    desk: Any
    lookers: Callable[[], int] = lambda: 0


@contextlib.asynccontextmanager
async def _pages(outside: Any, ledger: Any, *, shown: bool) -> AsyncIterator[Kept]:
    """A controller; with its pages on loopback where somebody sits before the demo."""
    from fieldctl.controller.controller import Controller
    from fieldctl.controller.verbs import Desk

    controller = Controller(outside, ledger)
    field = Kept(controller, Desk(controller))
    if not shown:
        yield field
        return
    from fieldctl.cli.serving_pages import run_pages
    from fieldctl.site.model import Pages
    from fieldctl.web.listening import address, listen

    config = Pages("127.0.0.1", 0)
    listener = listen(config)
    _said(f"The same field on pages, for as long as somebody looks at them: {address(listener, config)}")

    def looking(board: Any) -> None:
        field.lookers = lambda: int(board.followers)

    serving = run_pages(controller, field.desk, outside.folder, config, listener, _said, looking)
    task = asyncio.create_task(serving, name="pages")
    try:
        yield field
    finally:
        task.cancel()
        await asyncio.wait([task])


async def _carry_out(field: Kept, picks: dict[str, str], view: Any, kinds: dict[str, str]) -> dict[str, Any]:
    controller = field.controller
    running = asyncio.create_task(controller.run(), name="controller")
    demo = Demo(controller, field.desk, picks)
    controller.watchers.append(demo.committed)
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
            await _until(lambda: _fetched(controller), OFF_WITHIN_S, demo, show, running)
            await show(demo)
            while field.lookers():
                await asyncio.sleep(STEP_S)
        shown = await demo.ask("exercise-show", exercise=demo.exercise)
        return demo_result.result(shown, await demo.ask("status"), kinds)
    except asyncio.CancelledError:
        await _leave(demo, running)
        raise
    finally:
        await controller.stop("the demo is over")
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running


async def _leave(demo: Demo, running: asyncio.Task[None]) -> None:
    """All off, and a while for everybody to confirm it."""
    controller = demo.controller
    if not controller.ready.is_set():
        return  # no link was opened yet: nothing can have been granted
    await demo.ask("all-off", by="Ansel", via="demo")
    off = controller.all_off.state
    await _until(lambda: not off.unconfirmed, LEAVES_WITHIN_S, demo, _shows_nothing, running)
    names = ", ".join(off.unconfirmed)
    tail = f"; not confirmed: {names}" if names else ""
    _said(f"Told to leave: all off, confirmed by {len(off.confirmed)} of {len(controller.known)} targets{tail}.")


async def _shows_nothing(_demo: Demo) -> None:
    pass


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


def _fetched(controller: Any) -> bool:
    """Whether no pad is armed any more and no target still holds a strike: a vehicle may pass until the very end."""
    from fieldctl.wire.messages import Flags

    return not any(known.flags & (Flags.ARMED | Flags.STRIKES) for known in controller.known.values())


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


def _view(headless: bool, as_json: bool) -> Any:
    from sims.demo_view import Live, Quiet

    return Quiet(_said) if headless else Live(to_stderr=as_json)
