"""`fieldctl sim faults`: the real controller against the simulated mountain, damage first and calm after.

    run(plan)          one seed's plan, once: what broke, what struck, the trace
    run_faults(seeds)  many seeds, each twice, on all workers; one JSON-able answer

Safety ("must never") is watched while everything goes wrong; liveness ("must in the end") is asked for in the calm:
what waits in a living target's log reaches the ledger, all off is confirmed by whoever hears, an exercise completes.
"""

from __future__ import annotations

import asyncio
import functools
import logging
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from fieldctl.errors import FieldctlError
from fieldctl.units import US_PER_S
from fieldctl.wire.messages import Why
from sims.calm import calm
from sims.field import SECRET, SITE_KEY, Field, drills_folder, make_field
from sims.invariants import CHECKERS, Checker, NoStrikeLost, past_grant_ms
from sims.network import KINDS, Network
from sims.node import Node
from sims.people import People
from sims.plan import EVENTS, Happening, Plan, as_script, draw
from sims.storage import Storage
from sims.world import World

SCHEMA = 1
WATCH_EVERY_S = 1.0
BEGIN_AGAIN_S = (0.3, 6.0)  # how soon somebody starts serve again
AWAY_LONG_S = (10.0, 45.0)  # … when nobody noticed for a while
WORKERS = 2


@dataclass
class Outcome:
    """What became of one run."""

    seed: int
    broken: list[tuple[str, str]] = field(default_factory=list)
    struck: Counter[str] = field(default_factory=Counter)
    lost_strikes: int = 0
    past_grant_ms: float = 0.0
    strikes: int = 0
    exercises: int = 0
    trace: str = ""


@functools.cache
def _drills() -> Any:
    return drills_folder()


def run(plan: Plan, *, change: Callable[[Field], None] | None = None, targets: str = "python") -> Outcome:
    """Carry out a plan once; `change` may alter the field before it begins (for planted bugs)."""
    out = Outcome(plan.seed)
    with World(plan.seed) as world:
        network = Network(world.rng("network"))
        made = make_field(
            world,
            network,
            serial=plan.serial,
            air=plan.air,
            grant_s=plan.grant_s,
            folder=_drills(),
            targets=targets,
        )
        if change is not None:
            change(made)
        checkers = [cls(made) for cls in CHECKERS]
        try:
            world.run(_whole(plan, made, checkers, out))
        except Exception as error:  # a crash of anything is a finding of its own, with its seed
            out.broken.append(("nothing crashes", f"{type(error).__name__}: {error}"))
        for crash in made.crashed:
            out.broken.append(("nothing crashes", f"{type(crash).__name__}: {crash}"))
        for checker in checkers:
            out.broken += [(checker.name, detail) for detail in checker.broken]
        out.lost_strikes = sum(c.lost for c in checkers if isinstance(c, NoStrikeLost))
        out.past_grant_ms = past_grant_ms(made.nodes.values())
        out.strikes = sum(len(n.made) for n in made.nodes.values())
        out.struck.update(network.struck)
        seq, chain = made.ledger.head()
        out.trace = f"{world.trace_hash()} {seq} {chain}"
        made.ledger.close()
    return out


async def _whole(plan: Plan, made: Field, checkers: list[Checker], out: Outcome) -> None:
    people = People(made, made.world.rng("people"))
    made.begin()
    await asyncio.sleep(4)
    made.network.set_weather(plan.weather)
    tasks = [
        asyncio.create_task(people.instruct(), name="instructor"),
        asyncio.create_task(people.search(), name="searchers"),
        asyncio.create_task(_watch(made, checkers), name="watch"),
        asyncio.create_task(people.look(made.world.rng("look")), name="upkeep"),
    ]
    script = _Script(plan, made, people, out.struck)
    await script.carry_out()
    await calm(made, people, out.broken, tasks)
    for task in tasks:
        task.cancel()
    for checker in checkers:
        checker.watch()
        checker.finish()
    out.exercises = people.started
    await made.kill()


async def _watch(made: Field, checkers: list[Checker]) -> None:
    while True:
        await asyncio.sleep(WATCH_EVERY_S)
        for checker in checkers:
            checker.watch()
        life = made.life
        if life is not None and life.task.done() and not life.task.cancelled():
            error = life.task.exception()
            if error is not None:
                made.crashed.append(error)
                made.life = None


class _Script:
    """Carries out a plan's happenings at their moments."""

    def __init__(self, plan: Plan, made: Field, people: People, struck: Counter[str]) -> None:
        self._plan = plan
        self._field = made
        self._people = people
        self._struck = struck
        self._rng = made.world.rng("script")
        self._begins: list[asyncio.Task[None]] = []

    async def carry_out(self) -> None:
        """Until the damage is over."""
        world = self._field.world
        for happening in self._plan.script:
            await self._until(happening.at_us)
            node = list(self._field.nodes.values())[happening.who]
            world.trace("script", happening.kind, happening.who)
            if await _HAPPENINGS[happening.kind](self, node, happening):
                self._struck[happening.kind] += 1
        await self._until(self._plan.damage_us)
        for task in self._begins:
            await task

    async def _until(self, at_us: int) -> None:
        await asyncio.sleep(max(0, at_us - self._field.world.now_us()) / US_PER_S)

    def _begin_again(self, amount: float) -> None:
        low, high = AWAY_LONG_S if amount > 0.6 else BEGIN_AGAIN_S
        wait = low + (high - low) * self._rng.random()

        async def later() -> None:
            await asyncio.sleep(wait)
            if self._field.life is None:
                self._field.begin()

        self._begins.append(asyncio.create_task(later(), name="begins again"))

    # ---- the controller and its host -------------------------------------------------------------------------

    async def kill(self, _node: Node, h: Happening) -> bool:
        if self._field.life is None:
            return False
        await self._field.kill()
        self._begin_again(h.amount)
        return True

    async def terminate(self, _node: Node, h: Happening) -> bool:
        if self._field.life is None:
            return False
        await self._field.stop()
        self._begin_again(h.amount)
        return True

    async def host_reboot(self, _node: Node, h: Happening) -> bool:
        await self._field.kill()
        self._field.world.reboot_host()
        self._begin_again(h.amount)
        return True

    async def wall_back(self, _node: Node, _h: Happening) -> bool:
        self._field.world.clock.wall_offset_us -= 3600 * US_PER_S
        return True

    async def disk_full(self, _node: Node, _h: Happening) -> bool:
        if self._field.life is None or self._field.full:
            return False
        self._field.ledger.limit_pages(0)
        self._field.full = True
        return True

    # ---- links -----------------------------------------------------------------------------------------------

    async def unplug(self, _node: Node, h: Happening) -> bool:
        self._field.unplug(round(h.amount * 20 * US_PER_S))
        return bool(self._field.site.serial)

    async def branch_cut(self, node: Node, h: Happening) -> bool:
        if node.target not in self._on_bus():
            return False
        now = self._field.world.now_us()
        until = now + round(h.amount * 40 * US_PER_S)
        for way in ("up", "down"):
            self._field.network.line(f"{node.name}/{way}", ordered=True).cut(now, until)
        return True

    async def broker_stop(self, _node: Node, h: Happening) -> bool:
        self._field.air.stop_broker(round(h.amount * 20 * US_PER_S))
        return bool(self._field.site.mqtt)

    async def air_drop(self, node: Node, h: Happening) -> bool:
        if node.target in self._on_bus():
            return False
        self._field.air.drop(node, round(h.amount * 20 * US_PER_S))
        return True

    async def link_drop(self, _node: Node, _h: Happening) -> bool:
        self._field.air.drop_link()
        return bool(self._field.site.mqtt)

    async def retained(self, _node: Node, _h: Happening) -> bool:
        self._field.air.retains = True
        return bool(self._field.site.mqtt)

    def _on_bus(self) -> list[Any]:
        return [p.target for p in self._field.site.places[: self._plan.serial]]

    # ---- targets ---------------------------------------------------------------------------------------------

    async def reboot(self, node: Node, _h: Happening) -> bool:
        if not node.on:
            return False
        node.reboot(Why.WATCHDOG)
        return True

    async def power_cut(self, node: Node, h: Happening) -> bool:
        if not node.on:
            return False
        node.power_off()
        again = self._field.world.now_us() + round((0.2 + h.amount * 30) * US_PER_S)
        self._field.world.call_at(again, node.power_on, Why.POWER)
        return True

    async def write_cut(self, node: Node, h: Happening) -> bool:
        node.storage.cut_at_write(1 + int(h.amount * 6), before=h.amount < 0.5)
        return True

    async def die(self, node: Node, _h: Happening) -> bool:
        if node.dead:
            return False
        node.die()
        return True

    async def clock_jump(self, node: Node, h: Happening) -> bool:
        node.jump_clock(round((h.amount - 0.3) * 10 * US_PER_S))
        node.jumps = [*getattr(node, "jumps", []), self._field.world.now_us()]  # type: ignore[attr-defined]
        return True

    async def gate_stuck(self, node: Node, _h: Happening) -> bool:
        node.break_gate(stuck=True)
        node.was_broken = True  # type: ignore[attr-defined]
        node.stuck_since_us = self._field.world.now_us()  # type: ignore[attr-defined]
        return True

    async def gate_lies(self, node: Node, _h: Happening) -> bool:
        node.break_gate(lies=True)
        node.was_broken = True  # type: ignore[attr-defined]
        return True

    async def repeats_numbers(self, node: Node, _h: Happening) -> bool:
        node.faults.repeats_numbers = True
        return True

    async def foreign_address(self, node: Node, h: Happening) -> bool:
        others = [n for n in self._field.nodes.values() if n is not node]
        node.faults.foreign_address = others[int(h.amount * len(others))].address if others else 0x0BAD_0BAD
        return True

    async def twin(self, node: Node, _h: Happening) -> bool:
        """A second unit under the same id, with the same keys: the worst case of two with one id."""
        if node.target not in self._on_bus():
            return False
        from fieldctl.controller.ports import Keys

        field = self._field
        storage = Storage(b"twin" + bytes.fromhex(node.target), SECRET, Keys(SITE_KEY).of(node.target, 1))
        other = type(node)(field.world, field.world.rng(f"twin {node.target}"), storage)
        field.hub.attach(other)
        node.has_twin = True  # type: ignore[attr-defined]
        return True

    # ---- people in the worst moment --------------------------------------------------------------------------

    async def all_off(self, _node: Node, _h: Happening) -> bool:
        return not isinstance(await self._field.ask("all-off"), FieldctlError)

    async def stop_exercise(self, _node: Node, h: Happening) -> bool:
        life = self._field.life
        for exercise in list(life.controller.exercises.running()) if life else ():
            await self._field.ask("exercise-stop", exercise=exercise.id, by="Mira")
            if h.amount < 0.5:
                await asyncio.sleep(2)
                await self._field.ask("exercise-reopen", exercise=exercise.id, by="Mira")
            return True
        return False

    async def void(self, _node: Node, _h: Happening) -> bool:
        return await self._people.void_a_find()


_HAPPENINGS = {kind: getattr(_Script, kind.replace("-", "_")) for kind in EVENTS}


# ---- many seeds ---------------------------------------------------------------------------------------------


def twice(seed: int, targets: str = "python") -> tuple[Outcome, bool]:
    """A seed run twice: its outcome, and whether both left the same trace."""
    logging.getLogger("fieldctl").setLevel(logging.CRITICAL)  # a full disk is part of the play
    plan = draw(seed)
    first, second = run(plan, targets=targets), run(plan, targets=targets)
    return first, first.trace == second.trace


def run_faults(
    seeds: range,
    *,
    workers: int = WORKERS,
    progress: Callable[[int, int], None] | None = None,
    targets: str = "python",
) -> dict[str, Any]:
    """All seeds, each twice; a JSON-able answer with what broke, what really struck and whether traces repeat."""
    broken: list[dict[str, Any]] = []
    struck: Counter[str] = Counter(dict.fromkeys((*EVENTS, *(k for k in KINDS if k != "cut")), 0))
    lost = strikes = exercises = 0
    worst = 0.0
    same = True
    seen_any = False
    with ProcessPoolExecutor(max_workers=workers) as pool:
        for done, (outcome, repeats) in enumerate(
            pool.map(functools.partial(twice, targets=targets), seeds, chunksize=4), start=1
        ):
            struck.update(outcome.struck)
            lost += outcome.lost_strikes
            strikes += outcome.strikes
            exercises += outcome.exercises
            if outcome.past_grant_ms and (not seen_any or outcome.past_grant_ms > worst):
                worst, seen_any = outcome.past_grant_ms, True
            if not repeats:
                same = False
                broken.append({"seed": outcome.seed, "invariant": "the same trace twice", "detail": ""})
            broken += [{"seed": outcome.seed, "invariant": n, "detail": d} for n, d in outcome.broken]
            if progress is not None:
                progress(done, len(seeds))
    return {
        "schema": SCHEMA,
        "seeds": f"{seeds.start}:{seeds.stop}",
        "broken": broken,
        "lost_strikes": lost,
        "past_grant_ms_max": worst,
        "same_trace_twice": same,
        "never_struck": sorted(kind for kind, times in struck.items() if times == 0),
        "struck": dict(sorted(struck.items())),
        "strikes": strikes,
        "exercises": exercises,
    }


def script_of(seed: int) -> str:
    """The script of a seed, as text."""
    return as_script(draw(seed))
