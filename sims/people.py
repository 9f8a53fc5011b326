"""Invented people on the simulated field: an instructor who asks for exercises, searchers who probe, passers-by."""

from __future__ import annotations

import asyncio
import contextlib
from random import Random

from fieldctl.errors import FieldctlError
from sims import pad
from sims.field import DRILLS, Field
from sims.node import Node

INSTRUCTOR_EVERY_S = 2.5
SEARCHER_EVERY_S = 3.0
LOOKER_EVERY_S = 6.0
LOOKS_FOR_S = 40.0  # longer than any reading


class People:
    """Everybody; `busy` is what they do while something is damaged or calm."""

    def __init__(self, field: Field, rng: Random) -> None:
        self._field = field
        self._rng = rng
        self.started = 0
        self.asked = 0

    async def instruct(self) -> None:
        """Keep exercises going, as an instructor would who does not give up."""
        while True:
            await asyncio.sleep(INSTRUCTOR_EVERY_S * self._rng.uniform(0.5, 1.5))
            await self._instruct_once()

    async def _instruct_once(self) -> None:
        field = self._field
        if field.life is None or field.life.controller.pen.broken is not None:
            return
        status = await field.ask("status")
        if isinstance(status, FieldctlError):
            return
        self.asked += 1
        if status["all_off"]["in_force"]:
            if self._rng.random() < 0.5:
                await field.ask("all-off-release", by="Ansel", reason="looked at, nobody needs it (invented)")
            return
        if not await field.open_day():
            return
        going = [e for e in status["exercises"] if e["state"] in ("running", "interrupted")]
        for exercise in going:
            if exercise["state"] == "interrupted":
                verb = "exercise-resume" if self._rng.random() < 0.7 else "exercise-stop"
                await field.ask(verb, exercise=exercise["exercise"], by="Mira")
                continue
            for question in exercise["questions"]:
                answer = self._rng.choice(question["choices"])
                await field.ask(
                    "exercise-answer",
                    exercise=exercise["exercise"],
                    question=question["question"],
                    answer=answer,
                    by="Mira",
                )
            for row in exercise["burials"]:
                if row["find"] is None and self._rng.random() < 0.15:
                    await field.ask(
                        "exercise-call", exercise=exercise["exercise"], burial=row["burial"], by="Mira", searcher="Jon"
                    )
        if not any(e["state"] == "running" for e in going) and self._rng.random() < 0.8:
            await self.start()

    async def start(self) -> str | None:
        """Start an exercise of any drill that can be staffed; its name."""
        names = sorted(DRILLS)
        self._rng.shuffle(names)
        for name in names:
            row = await self._field.ask(
                "exercise-start", drill=name, by="Mira", searchers=("Tove", "Jon"), seed=self._rng.randrange(10_000)
            )
            if not isinstance(row, FieldctlError):
                self.started += 1
                return str(row["exercise"])
        return None

    async def void_a_find(self) -> bool:
        """Take back a find of a running exercise."""
        status = await self._field.ask("status")
        if isinstance(status, FieldctlError):
            return False
        for exercise in status["exercises"]:
            for row in exercise["burials"]:
                if exercise["state"] == "running" and row["find"] is not None and row["find"]["kind"] != "by-hand":
                    done = await self._field.ask(
                        "exercise-correct",
                        exercise=exercise["exercise"],
                        change="void",
                        about=row["find"]["source"],
                        by="Mira",
                        why="it was a ski pole",
                    )
                    return not isinstance(done, FieldctlError)
        return False

    async def search(self) -> None:
        """Probe where somebody lies; step beside pads and drive past now and then."""
        while True:
            await asyncio.sleep(SEARCHER_EVERY_S * self._rng.uniform(0.3, 1.7))
            nodes = [n for n in self._field.nodes.values() if n.on and n.armed]
            if not nodes:
                continue
            node = self._rng.choice(nodes)
            self._touch(node)

    async def look(self, rng: Random) -> None:
        """Read the raw trace of somebody's last strike now and then: refused while anybody searches."""
        while True:
            await asyncio.sleep(LOOKER_EVERY_S * rng.uniform(0.3, 1.7))
            target = rng.choice(sorted(self._field.nodes))
            with contextlib.suppress(TimeoutError):  # whoever was asked is gone
                async with asyncio.timeout(LOOKS_FOR_S):
                    await self._field.ask("target-trace", target=target, by="Ansel")

    def _touch(self, node: Node) -> None:
        draw = self._rng.random()
        if draw < 0.75:
            pad.play(self._field.world, node, pad.probe(self._rng))
        elif draw < 0.9:
            pad.play(self._field.world, node, pad.steps(self._rng))
        else:
            pad.play(self._field.world, node, pad.vehicle(self._rng))
