"""`/metrics` for a Prometheus server: gauges and counters in base units; read only, no login, no name of anybody.

Whoever searches may read it too, so it holds no hint: nothing of strikes, hits, calls, grants or exercises, and what is
said by target or by link stands still while an exercise goes on (its age goes on, for all alike). How long a target was
silent is told in steps that no polling shows through.

Made at most once a second, a family at a time with the loop let go between two, so that no request holds the field up.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from fastapi import APIRouter
from fastapi.responses import Response
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4, generate_latest
from prometheus_client.metrics_core import Metric

from fieldctl.events import ExerciseEnded, ExerciseInterrupted
from fieldctl.units import US_PER_S, HostUs, TargetId, micros
from fieldctl.web.house import House
from fieldctl.web.metric_families import Told, families, told_by
from fieldctl.web.views import STOP_BACK_S

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

KEPT_US = US_PER_S  # a text is given again for so long, however many ask


class Metrics:
    """The text of one serve, made anew when it is asked for and a second old."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._alone = asyncio.Lock()
        self._made_us: HostUs | None = None
        self._text = b""
        self._told: dict[TargetId, Told] = {}
        self._frames: dict[str, Mapping[str, int]] = {}

    async def text(self) -> bytes:
        """Everything, in the text format of version 0.0.4."""
        async with self._alone:
            now = self._c.outside.clock.now()
            if self._made_us is None or now - self._made_us >= KEPT_US:
                self._look(now)
                parts = []
                for family in families(self._c, now, self._told, self._frames):
                    parts.append(generate_latest(_One(family)))
                    await asyncio.sleep(0)
                self._made_us, self._text = now, b"".join(parts)
            return self._text

    def _look(self, now: HostUs) -> None:
        if goes_on(self._c, now):
            self._told = {target: told for target, told in self._told.items() if target in self._c.known}
            return
        self._told = {known.target: told_by(known, now) for known in self._c.known.values()}
        self._frames = {name: dict(line.frames_lost()) for name, line in self._c.lines.items()}


def goes_on(c: Controller, now: HostUs) -> bool:
    """Whether an exercise goes on, or may yet: its stop can be taken back, or it was interrupted within its limit."""
    for exercise in c.exercises.all.values():
        if exercise.status == "running":
            return True
        for_s = {"stopped": STOP_BACK_S, "interrupted": exercise.drill.limit_s}.get(exercise.status)
        last = next((f for f in reversed(exercise.facts) if isinstance(f, ExerciseEnded | ExerciseInterrupted)), None)
        if for_s is None or last is None or last.at.boot != c.outside.clock.boot:
            continue
        if now - last.at.us <= micros(for_s):
            return True
    return False


class _One:
    """A registry that holds one family."""

    def __init__(self, family: Metric) -> None:
        self._family = family

    def collect(self) -> Iterable[Metric]:
        """See `prometheus_client.registry.Collector`."""
        return (self._family,)


def router(house: House) -> APIRouter:
    """The one route."""
    routes = APIRouter(include_in_schema=False)
    metrics = Metrics(house.controller)

    async def text() -> Response:
        return Response(await metrics.text(), media_type=CONTENT_TYPE_PLAIN_0_0_4)

    routes.add_api_route("/metrics", text, methods=["GET"])
    return routes
