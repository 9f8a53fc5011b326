"""The webhook against a real HTTP server that is well, slow, failing or dead: bounded, counted, never in the way."""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from webhook_server import PATH, Taken, free_port, server

from fieldctl.controller import hook as hooks
from fieldctl.controller.controller import Controller
from fieldctl.controller.ports import Keys, Outside
from fieldctl.errors import LedgerFailed, Refused, Unreachable
from fieldctl.events import FIELD, AlarmCleared, AlarmRaised, Fact
from fieldctl.ledger.store import Ledger
from fieldctl.links.link import Link
from fieldctl.links.webhook import post_json
from fieldctl.site.model import Alerts, Site
from fieldctl.units import HostTime, HostUs, PersonId, TargetId

ONE = TargetId("5ee00001")


class Clock:
    boot = "boot-1"

    def now(self) -> HostUs:
        return HostUs(time.monotonic_ns() // 1000)

    def wall(self) -> str | None:
        return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


async def no_link(*_: object) -> Link:
    raise AssertionError("no link in this test")


@pytest.fixture
def taken() -> Iterator[Taken]:
    with server() as found:
        yield found


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hooks, "AGAIN_FIRST_S", 0.05)
    monkeypatch.setattr(hooks, "AGAIN_MOST_S", 0.2)


def controller(ledger: Ledger, url: str) -> Controller:
    site = Site("larch-hollow", "Larch Hollow (invented)", alerts=Alerts(url))
    made = Controller(Outside(site, Path(), Clock(), Keys(b"an invented key."), lambda: b"", no_link), ledger)
    made.names[ONE] = "Larch 1"
    return made


@contextlib.asynccontextmanager
async def running(ledger: Ledger, url: str, within_s: float = 1.0) -> AsyncIterator[Controller]:
    made = controller(ledger, url)

    async def deliver(to: str, body: bytes) -> None:
        await post_json(to, body, within_s)

    task = asyncio.create_task(made.hook.run(deliver))
    try:
        yield made
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        made._unsubscribe()


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.open(tmp_path / "l.db", inline=True) as found:
        yield found


def here() -> HostTime:
    return HostTime("boot-1", 5)


def raised(n: int = 1) -> AlarmRaised:
    return AlarmRaised(ONE, "", "battery", f"Larch 1 says that its battery is low ({n}).", "Change it.", here())


def commit(ledger: Ledger, *facts: Fact) -> None:
    ledger.append(facts, at=here(), wall="2031-01-18T08:00:00Z")


async def until(what: Any, within_s: float = 10.0) -> None:
    deadline = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < deadline
        await asyncio.sleep(0.01)


async def test_raised_and_cleared_go_out_with_no_name_of_a_person_and_no_secret(ledger: Ledger, taken: Taken) -> None:
    ledger.name_person(PersonId("p-1"), "Tove")
    async with running(ledger, taken.url) as c:
        commit(ledger, raised(), AlarmCleared(ONE, "", "battery", PersonId("p-1"), "Tove changed it", here()))
        commit(ledger, AlarmCleared(None, "bus", "link-down", FIELD, "a good reading came", here()))
        await until(lambda: c.hook.state()["delivered"] == 3)
        assert taken.rows[0] == {
            "schema": 1,
            "event": "raised",
            "site": "larch-hollow",
            "title": "Larch Hollow (invented)",
            "at": "2031-01-18T08:00:00Z",
            "entry": 1,
            "alarm": {
                "target": ONE,
                "link": "",
                "name": "Larch 1",
                "what": "battery",
                "says": "Larch 1 says that its battery is low (1).",
                "remedy": "Change it.",
                "cleared_by": None,
            },
        }
        assert [row["alarm"]["cleared_by"] for row in taken.rows] == [None, "a person", "the field"]
        assert "Tove" not in json.dumps(taken.rows)
        assert {h["content-type"] for h in taken.headers} == {"application/json"}
        state = c.hook.state()
        assert (state["delivered"], state["waiting"], state["dropped"], state["failing"]) == (3, 0, 0, False)
        assert state["last_delivered"]
        assert PATH.strip("/") not in json.dumps(state), "the rest of an address often is a secret"


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (500, "it answered 500"),
        (404, "it answered 404"),
        ("redirect", "it answered 302"),
        ("garbage", "what it answers is not HTTP"),
        ("hang", "it did not answer within 0.4 s"),
        ("drip", "it did not answer within 0.4 s"),
    ],
)
async def test_what_fails_is_tried_again_in_order_and_shown(
    ledger: Ledger, taken: Taken, answer: int | str, why: str
) -> None:
    async with running(ledger, taken.url, 0.4) as c:
        taken.answer = answer
        commit(ledger, raised(1), raised(2))
        await until(lambda: c.hook.failed >= 2)
        state = c.hook.state()
        assert (state["failing"], state["delivered"], state["waiting"]) == (True, 0, 2)
        assert state["failing_since"]
        assert state["why"] == f"The webhook took nothing: {why}."
        taken.answer = 204
        await until(lambda: len(taken.rows) == 2)
        assert [row["entry"] for row in taken.rows] == [1, 2]
        assert (c.hook.state()["failing"], c.hook.state()["failing_since"]) == (False, None)


async def test_a_dead_server_costs_the_loop_nothing_and_what_is_too_much_is_dropped_and_counted(ledger: Ledger) -> None:
    port = free_port()
    url = f"http://127.0.0.1:{port}{PATH}"
    late: list[float] = []

    async def lag() -> None:
        loop = asyncio.get_running_loop()
        while True:
            due = loop.time() + 0.005
            await asyncio.sleep(0.005)
            late.append(loop.time() - due)

    async with running(ledger, url) as c:
        for n in range(hooks.WAITING_MAX + 30):
            commit(ledger, raised(n))
            await asyncio.sleep(0)
        measuring = asyncio.create_task(lag())
        failed = c.hook.failed
        await until(lambda: c.hook.failed >= failed + 5)
        measuring.cancel()
        assert (c.hook.waiting, c.hook.dropped) == (hooks.WAITING_MAX, 30)
        with server(port) as taken:
            await until(lambda: len(taken.rows) == hooks.WAITING_MAX)
            assert [row["entry"] for row in taken.rows] == list(range(31, hooks.WAITING_MAX + 31)), "the newest stay"
    assert sorted(late)[len(late) // 2] < 0.02


async def test_a_hanging_server_does_not_keep_the_end_waiting(ledger: Ledger, taken: Taken) -> None:
    taken.answer = "hang"
    async with running(ledger, taken.url, 5.0):
        commit(ledger, raised())
        await until(lambda: taken.attempts == 1)
        began = time.monotonic()
    assert time.monotonic() - began < 0.5


async def test_what_an_earlier_life_left_unsent_is_sent_and_nothing_twice(ledger: Ledger, taken: Taken) -> None:
    commit(ledger, raised(0))  # before there was a webhook: old news
    async with running(ledger, taken.url):
        await until(lambda: ledger.setting(hooks.SENT) == 1)
        commit(ledger, raised(1))
        await until(lambda: ledger.setting(hooks.SENT) == 2)
        taken.answer = 503
        commit(ledger, raised(2))
        await until(lambda: taken.attempts >= 3)
    commit(ledger, raised(3))
    taken.answer = 200
    async with running(ledger, taken.url):
        await until(lambda: len(taken.rows) == 3)
        await asyncio.sleep(0.1)
        assert [row["entry"] for row in taken.rows] == [2, 3, 4]
    async with running(ledger, ""):  # switched off for a while: what comes meanwhile is old news too
        await until(lambda: ledger.setting(hooks.SENT) is None)
        commit(ledger, raised(4))
    async with running(ledger, taken.url):
        await until(lambda: ledger.setting(hooks.SENT) == 5)
        await asyncio.sleep(0.1)
        assert len(taken.rows) == 3


async def test_a_trial_says_whether_it_came_through(ledger: Ledger, taken: Taken, monkeypatch) -> None:
    monkeypatch.setattr(hooks, "AGAIN_FIRST_S", 60.0)
    async with running(ledger, taken.url) as c:
        assert (await c.hook.test())["test"] == "delivered"
        assert taken.rows == [
            {"schema": 1, "event": "test", "site": "larch-hollow", "title": c.site.title, "at": taken.rows[0]["at"]}
        ]
        taken.answer = 500
        row = await c.hook.test()
        assert (row["test"], row["webhook"]["failing"]) == ("waiting", True)
        taken.answer = 200
        assert (await c.hook.test())["test"] == "delivered", "a trial does not wait for the next try"


async def test_a_log_that_fails_is_told_though_it_cannot_be_written_down(ledger: Ledger, taken: Taken) -> None:
    async with running(ledger, taken.url) as c:
        c._ledger_failed(LedgerFailed("The disk is full.", remedy="Make room."))
        await until(lambda: len(taken.rows) == 1)
        assert (taken.rows[0]["entry"], taken.rows[0]["alarm"]["what"]) == (None, "ledger-failed")


async def test_it_is_off_unless_an_address_is_set(ledger: Ledger) -> None:
    async with running(ledger, "") as c:
        commit(ledger, raised())
        with pytest.raises(Refused, match="No webhook is set"):
            await c.hook.test()
        assert c.hook.state()["on"] is False
        assert c.hook.waiting == 0


async def test_an_address_that_resolves_to_nothing_is_said_in_words() -> None:
    with pytest.raises(Unreachable, match=r"took nothing: .*To do: Look at the address"):
        await post_json("http://no-such-host.invalid/hook", b"{}", 5.0)


async def test_a_certificate_of_nobody_is_not_taken(taken: Taken) -> None:
    with pytest.raises(Unreachable, match="TLS"):
        await post_json(taken.url.replace("http:", "https:"), b"{}", 3.0)
