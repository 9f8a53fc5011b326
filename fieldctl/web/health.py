"""Whether the server lives (`/health`) and whether it can be worked with (`/ready`): no login, no secrets.

The loop's lag is measured by a small task that asks to be woken and sees how much later it was: what a verb or a page
that blocks the loop costs everybody else, an all off among them.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from fieldctl import __version__
from fieldctl.units import seconds
from fieldctl.web.house import House
from fieldctl.web.problems import plain, words_of

EVERY_S = 0.25
OVER_S = 60.0


class Lag:
    """How late the loop was over the last minute; measured while `run` runs."""

    def __init__(self) -> None:
        self._late_s: deque[float] = deque(maxlen=round(OVER_S / EVERY_S))

    async def run(self) -> None:
        """Measure until cancelled."""
        loop = asyncio.get_running_loop()
        while True:
            due = loop.time() + EVERY_S
            await asyncio.sleep(EVERY_S)
            self._late_s.append(max(0.0, loop.time() - due))

    def row(self) -> dict[str, float] | None:
        """p95 and max in ms, and over how many seconds; None before the first measurement."""
        if not self._late_s:
            return None
        late = sorted(self._late_s)
        p95 = late[int(0.95 * (len(late) - 1))]
        return {"p95": round(p95 * 1000, 2), "max": round(late[-1] * 1000, 2), "over_s": len(late) * EVERY_S}


def router(house: House, lag: Lag, counts: Callable[[], Mapping[str, int]]) -> APIRouter:
    """The two routes; `counts` tells what the API counted, by kind."""
    routes = APIRouter()
    clock = house.controller.outside.clock
    began = clock.now()

    async def health(_request: Request) -> Response:
        uptime_s = round(seconds(clock.now() - began), 1)
        row = {"status": "alive", "version": __version__, "uptime_s": uptime_s, "loop_lag_ms": lag.row()}
        return Response(plain({**row, "counts": counts()}), media_type="application/json")

    async def ready(request: Request) -> Response:
        why = _why_not(house)
        row: dict[str, Any] = {"ready": not why, "why": words_of(request)(why)}
        return Response(plain(row), 503 if why else 200, media_type="application/json")

    routes.add_route("/health", health, ["GET"])
    routes.add_route("/ready", ready, ["GET"])
    return routes


def _why_not(house: House) -> str:
    if not house.controller.ready.is_set():
        return "The controller is still starting."
    if house.controller.failed is not None:
        return "The log takes no entries: nothing may send, and nothing can be ordered but all off."
    return ""
