"""Whether it lives and whether it is ready: for anybody, without a secret, whatever else is the matter."""

from __future__ import annotations

import asyncio

from api_kit import NOBODY, Web, tell, web

from fieldctl import __version__
from fieldctl.errors import LedgerFailed
from fieldctl.web.health import EVERY_S, OVER_S, Lag
from sims.world import World


def test_it_says_that_it_lives_and_how_late_the_loop_is() -> None:
    async def story(w: Web) -> None:
        w.who = NOBODY
        async with w.app.router.lifespan_context(w.app):
            await asyncio.sleep(2.1)
            row = (await w.send("GET", "/health")).json()
        assert row == {
            "status": "alive",
            "version": __version__,
            "uptime_s": 2.1,
            "loop_lag_ms": {"p95": 0.0, "max": 0.0, "over_s": 2.0},
            "counts": {},
        }
        await w.post("status")
        assert (await w.send("GET", "/health")).json()["counts"] == {"not_signed_in": 1}

    tell(story)


def test_the_lag_is_what_others_were_kept_waiting() -> None:
    """In virtual time nothing is late by itself: the lateness that is found is the one that was put in."""
    with World(1) as world:
        lag = Lag()
        loop = world.loop

        async def story() -> None:
            measuring = asyncio.create_task(lag.run())
            await asyncio.sleep(EVERY_S * 9.5)
            loop.now_us += 400_000  # a call that holds the loop: due in half a period, late by the rest
            await asyncio.sleep(EVERY_S * 3)
            row = lag.row()
            assert row is not None
            assert row["max"] == 275.0
            assert row["p95"] < row["max"]
            await asyncio.sleep(OVER_S + 1)
            assert lag.row() == {"p95": 0.0, "max": 0.0, "over_s": OVER_S}, "an old lateness is forgotten"
            measuring.cancel()

        assert lag.row() is None
        world.run(story())


def test_it_is_not_ready_before_the_controller_is() -> None:
    with web() as found:
        assert found.made.life is not None
        controller = found.made.life.controller

        async def story() -> None:
            controller.ready.clear()
            answer = await found.send("GET", "/ready")
            assert (answer.status_code, answer.json()["ready"]) == (503, False)
            assert answer.json()["why"]
            assert (await found.send("GET", "/health")).status_code == 200
            controller.ready.set()
            answer = await found.send("GET", "/ready")
            assert (answer.status_code, answer.json()) == (200, {"ready": True, "why": ""})

        found.made.world.run(story())


def test_it_is_not_ready_while_the_ledger_takes_nothing_and_still_lives() -> None:
    async def story(w: Web) -> None:
        w.who = NOBODY
        assert w.made.life is not None
        w.made.life.controller._ledger_failed(LedgerFailed("The disk is full at /secret/place.", remedy="Make room."))
        answer = await w.send("GET", "/ready")
        assert answer.status_code == 503
        assert "secret" not in answer.text
        assert (await w.send("GET", "/health")).status_code == 200

    tell(story)


def test_it_tells_no_secret() -> None:
    """A field whose every text is a secret: none of them comes out."""

    async def story(w: Web) -> None:
        text = (await w.send("GET", "/health")).text + (await w.send("GET", "/ready")).text
        for word in ("larch", "Larch", "5ee0", "Ansel", str(w.made.folder)):
            assert word not in text

    tell(story)
