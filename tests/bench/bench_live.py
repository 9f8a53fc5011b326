"""The controller in real time on real links (design, section 9); the targets are in a process of their own.

crowd   256 targets on 8 pseudo-terminals, one status a second, 50 strikes a second: this process alone holds the
        controller and its ledger on disk, so its share of a core, its memory and its loop calls are the product's own
drill   32 targets on one bus and 4 on a Mosquitto, 4 and 2 of them in an exercise: from the pad to the committed
        entry (from there to the phone's screen comes with the pages), ± with its coverage, all off again and again

Figures depend on the machine and on what else it does. Loopback has no radio's jitter: the ± over MQTT with 5 to 100
ms each way is in bench_clock and bench_field.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import resource
import secrets
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldctl.cli.outside import SystemClock
from fieldctl.controller.controller import Controller
from fieldctl.controller.ports import Keys, Outside
from fieldctl.controller.verbs import Desk
from fieldctl.events import StrikeRecorded, TargetAdded
from fieldctl.ledger.store import Ledger
from fieldctl.links.mqtt import open_mqtt
from fieldctl.links.serial_bus import open_serial_bus
from fieldctl.site.model import Axis, MqttLink, Place, SerialLink, Site, Zone
from fieldctl.units import PersonId, TargetId, target_from_address
from fieldctl.wire.messages import Flags
from sims.broker import Broker, start_broker

MOUNTAIN = Path(__file__).with_name("live_mountain.py")
NAME = "larch-hollow"  # invented
KEY = b"an invented key."
FIRST = 0x5EE0_0001
WITHIN_S = 60.0
ALL_OFFS = 10
BURIAL = '[[burial]]\nname = "{name}"\nsignal = "start"\nfind = "call"\ntarget = "{target}"\n'
Row = tuple[str, float, float, str]
"""What, figure, limit, unit."""


@dataclass
class Live:
    """A controller on its links, and the targets' process."""

    controller: Controller
    desk: Desk
    child: asyncio.subprocess.Process
    truth: Path
    committed: list[tuple[StrikeRecorded, int]] = field(default_factory=list)

    async def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        return await self.desk.ask(verb, arguments)

    async def until(self, holds: Callable[[], bool], what: str) -> None:
        deadline = time.monotonic() + WITHIN_S
        while not holds():
            if time.monotonic() > deadline:
                raise TimeoutError(f"not within {WITHIN_S:g} s: {what}")
            await asyncio.sleep(0.05)

    async def heard(self) -> None:
        """Every target has said who and how it is, and nothing waits for it."""
        await self.controller.ready.wait()
        known = self.controller.known.values()
        await self.until(lambda: all(k.report is not None for k in known), "every target reports")

    async def touch(self, targets: list[TargetId], every_s: float, seconds: float) -> None:
        """Have pads touched for a while, and all of it fetched."""
        assert self.child.stdin is not None
        self.child.stdin.write(
            json.dumps({"targets": targets, "every_s": every_s, "seconds": seconds}).encode() + b"\n"
        )
        await asyncio.sleep(seconds)

    async def fetched(self) -> None:
        known = self.controller.known.values()
        await asyncio.sleep(1.5)  # whoever is asked once a second has been asked since the last touch
        await self.until(lambda: not any(k.flags & Flags.STRIKES for k in known), "every strike is fetched")


@contextlib.asynccontextmanager
async def live(folder: Path, buses: list[list[TargetId]], mqtt: list[TargetId]) -> AsyncIterator[Live]:
    """A field with so many buses, and targets on a broker; `truth` is written when it is left."""
    broker = await start_broker(NAME, mqtt) if mqtt else None
    truth = folder / "truth.json"
    child = await asyncio.create_subprocess_exec(
        sys.executable, str(MOUNTAIN), stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
    )
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        logins = {t: _login(broker, t) for t in mqtt if broker is not None}
        order = {"site": NAME, "site_key": KEY.hex(), "buses": buses, "mqtt": logins, "truth": str(truth)}
        child.stdin.write(json.dumps(order).encode() + b"\n")
        ports = json.loads(await asyncio.wait_for(child.stdout.readline(), WITHIN_S))["ports"]
        outside = _outside(folder, buses, mqtt, ports, broker)
        with Ledger.open(folder / "ledger.sqlite", inline=False, who="bench") as ledger:
            of = {t: f"bus{n}" for n, bus in enumerate(buses) for t in bus} | dict.fromkeys(mqtt, "broker")
            ledger.append(
                [TargetAdded(t, "", link, 1, PersonId("p-ansel")) for t, link in of.items()], at=outside.here()
            )
            controller = Controller(outside, ledger)
            made = Live(controller, Desk(controller), child, truth)
            controller.watchers.append(
                lambda entries: made.committed.extend(
                    (e.fact, outside.clock.now()) for e in entries if isinstance(e.fact, StrikeRecorded) and not e.known
                )
            )
            running = asyncio.create_task(controller.run(), name="controller")
            try:
                yield made
            finally:
                await controller.stop("measured")
                running.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await running
    finally:
        child.stdin.close()
        await asyncio.wait_for(child.wait(), WITHIN_S)
        if broker is not None:
            await broker.stop()


def _login(broker: Broker, target: TargetId) -> dict[str, Any]:
    at = broker.login(target)
    return {"host": at.host, "port": at.port, "user": at.user, "password": at.password}


def _outside(
    folder: Path, buses: list[list[TargetId]], mqtt: list[TargetId], ports: list[str], broker: Broker | None
) -> Outside:
    clock = SystemClock()
    ids = [t for bus in buses for t in bus] + mqtt
    places = tuple(Place(t, t, "upper", 5.0 * i, 0.0, 1.0, Axis(5.0 * i % 360, 80.0)) for i, t in enumerate(ids))
    site = Site(
        NAME,
        "Larch Hollow (invented)",
        zones=(Zone("upper", "Upper hollow"),),
        places=places,
        serial=tuple(SerialLink(f"bus{n}", port) for n, port in enumerate(ports)),
        mqtt=(MqttLink("broker", "127.0.0.1"),) if mqtt else (),
    )

    async def open_link(config: Any, receiver: Any) -> Any:
        if isinstance(config, SerialLink):
            return await open_serial_bus(config.port, receiver, now=clock.now, site=NAME, notes=folder)
        assert broker is not None
        return await open_mqtt(NAME, broker.login("controller"), receiver, now=clock.now)

    return Outside(site, folder, clock, Keys(KEY), lambda: secrets.token_bytes(8), open_link)


class LoopCalls:
    """How long each call of the loop takes, by the wall and by this thread's own time."""

    def __init__(self) -> None:
        self.count = 0
        self.wall_ms = 0.0
        self.own_ms = 0.0
        self.over = 0
        self._run = asyncio.Handle._run

    def __enter__(self) -> LoopCalls:
        run = self._run

        def timed(handle: asyncio.Handle) -> None:
            own, wall = time.thread_time_ns(), time.perf_counter_ns()
            run(handle)
            wall_ms, own_ms = (time.perf_counter_ns() - wall) / 1e6, (time.thread_time_ns() - own) / 1e6
            self.count += 1
            self.over += wall_ms > 20
            self.wall_ms, self.own_ms = max(self.wall_ms, wall_ms), max(self.own_ms, own_ms)

        asyncio.Handle._run = timed  # type: ignore[method-assign]
        return self

    def __exit__(self, *_exc: object) -> None:
        asyncio.Handle._run = self._run  # type: ignore[method-assign]


def ids(first: int, count: int) -> list[TargetId]:
    return [target_from_address(FIRST + first + i) for i in range(count)]


def at(values: list[float], share: float) -> float:
    rows = sorted(values)
    return rows[min(len(rows) - 1, int(share * len(rows)))]


async def crowd(folder: Path) -> list[Row]:
    seconds = 15.0
    buses = [ids(32 * n, 32) for n in range(8)]
    everybody = [t for bus in buses for t in bus]
    async with live(folder, buses, []) as field:
        await field.heard()
        known = field.controller.known.values()
        for k in known:
            k.want_armed = True
        await field.until(lambda: all(k.flags & Flags.ARMED for k in known), "every pad is armed")
        sends = sum(_sends(field, n) for n in range(8))
        own, wall = time.process_time(), time.perf_counter()
        with LoopCalls() as calls:
            await field.touch(everybody, 1 / 50, seconds)
        share = (time.process_time() - own) / (time.perf_counter() - wall)
        turns = sum(_sends(field, n) for n in range(8)) - sends
        await field.fetched()
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    made = {(t, b, n) for t, rows in json.loads(field.truth.read_text()).items() for b, n, _ in rows}
    recorded = {(f.target, f.boot, f.number) for f, _ in field.committed}
    print(f"crowd: {len(made)} strikes in {seconds:g} s, {turns / seconds:.0f} turns a second")
    print(f"crowd: {calls.count} loop calls, the longest by the wall {calls.wall_ms:.1f} ms")
    return [
        ("256 targets, 50 strikes a second, share of a core", share, 0.4, ""),
        ("resident memory", memory, 200, "MiB"),
        ("longest loop call, its own time", calls.own_ms, 20, "ms"),
        ("loop calls over 20 ms by the wall, in 10 000", 1e4 * calls.over / calls.count, 1, ""),
        ("strikes lost or doubled", len(made ^ recorded), 0, ""),
    ]


def _sends(field: Live, n: int) -> int:
    link = field.controller.lines[f"bus{n}"].link
    return 0 if link is None else int(link.counts()["sends"])


async def drill(folder: Path) -> list[Row]:
    bus, mqtt = ids(0, 32), ids(32, 4)
    playing = [*bus[:4], *mqtt[:2]]
    (folder / "drills").mkdir()
    text = "".join(BURIAL.format(name="ABCDEF"[i], target=t) for i, t in enumerate(playing))
    (folder / "drills" / "six.toml").write_text('title = "Six (invented)"\nlimit_min = 15\n' + text, encoding="utf-8")
    took: list[float] = []
    async with live(folder, [bus], mqtt) as field:
        await field.heard()
        signed = tuple(p["key"] for p in (await field.ask("day-check"))["problems"] if p["may_sign"])
        day = {"hazard": "low (invented)", "snow_m": 1.9, "stray_sweep": "nothing heard (invented)"}
        await field.ask("day-open", by="Ansel", exceptions=signed, **day)
        await field.ask("exercise-start", drill="six", by="Ansel", searchers=("Mira",))
        known = [field.controller.known[t] for t in playing]
        await field.until(lambda: all(k.flags & Flags.ARMED and k.flags & Flags.GRANTED for k in known), "all send")
        await field.touch(list(playing), 0.15, 25.0)
        await field.fetched()
        for _ in range(ALL_OFFS):
            await field.ask("all-off", by="Ansel", via="bench")
            state = field.controller.all_off.state
            await field.until(lambda s=state: not s.unconfirmed, "all off is confirmed")  # type: ignore[misc]
            took.append(max(state.confirmed.values()) / 1e6)
            await field.ask("all-off-release", by="Ansel", reason="measured (invented)")
            await asyncio.sleep(0.3)
    made = {(t, b, n): us for t, rows in json.loads(field.truth.read_text()).items() for b, n, us in rows}
    outside = 0
    widths: dict[bool, list[float]] = {True: [], False: []}
    late: dict[bool, list[float]] = {True: [], False: []}
    for fact, committed in field.committed:
        true_us = made.pop((fact.target, fact.boot, fact.number))
        wired = fact.target in bus
        outside += abs(fact.at.at.us - true_us) > fact.at.plus_minus_us
        widths[wired].append(fact.at.plus_minus_us / 1000)
        late[wired].append((committed - true_us) / 1000)
    stamped = len(field.committed)
    for kind, wired in (("bus", True), ("broker", False)):
        middle, longest = statistics.median(late[wired]), max(late[wired])
        print(
            f"drill: {len(late[wired])} strikes on the {kind}, committed after {middle:.0f} ms, at most {longest:.0f}"
        )
        print(f"drill: ± on the {kind}: median {statistics.median(widths[wired]):.2f} ms")
    return [
        ("strike to committed entry, 32 on a bus, 4 of them playing, p95", at(late[True], 0.95), 300, "ms"),
        ("strike to committed entry, over a broker, p95", at(late[False], 0.95), 300, "ms"),
        (f"stamps outside their ±, of {stamped}", outside, 0, ""),
        ("strikes lost", len(made), 0, ""),
        ("± on the bus, widest", max(widths[True]), 2, "ms"),
        ("± on the bus, median of its widest", statistics.median(widths[True]) / max(widths[True]), 0.9, ""),
        ("± over the broker on loopback, widest", max(widths[False]), 15, "ms"),
        ("± over the broker, median of its widest", statistics.median(widths[False]) / max(widths[False]), 0.9, ""),
        (f"all off, 32 on a bus and 4 on a broker, slowest of {ALL_OFFS}", max(took), 0.5, "s"),
    ]


def main() -> int:
    """Print figure | limit | ratio; 1 when anything is over its limit."""
    bad = 0
    for part in (crowd, drill):  # the crowd first: memory is the most that this process ever held
        with tempfile.TemporaryDirectory(prefix="fieldctl-bench-") as scratch:
            rows = asyncio.run(part(Path(scratch)))
        for what, figure, limit, unit in rows:
            ratio = figure / limit if limit else 2.0 * figure  # none allowed: one is over
            print(f"{what}: {figure:.3g} {unit}".rstrip() + f" | {limit:g} {unit}".rstrip() + f" | {ratio:.3f}")
            bad += ratio > 1
    return int(bad > 0)


if __name__ == "__main__":
    raise SystemExit(main())
