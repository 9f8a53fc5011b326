"""What visits, self-test and retrieval answer over the API is what its document says, and each press is one press."""

from __future__ import annotations

import asyncio
from typing import Any

from api_kit import Web, is_problem, somebody, tell
from test_openapi import told

from fieldctl.events import RetrievalBegun, TargetRetrieved, VisitBegun, VisitTicked
from fieldctl.web.api_answers import ANSWERS


async def answered(w: Web, verb: str, key: str | None = None, **arguments: Any) -> dict[str, Any]:
    row = await w.ok(verb, key, **arguments)
    told(ANSWERS[verb], row)
    return row


def count(w: Web, kind: type) -> int:
    return len(list(w.made.ledger.facts(kinds=(kind,))))


def test_real_answers_are_what_the_contract_says() -> None:
    async def story(w: Web) -> None:
        one, two = "5ee00001:battery", "5ee00002:deaf"
        await answered(w, "visit-begin", items=[one, two], found=[one])
        first = await answered(w, "visit-tick", visit="v1", item=one, done=True, at_us=1, boot="another", day="")
        await w.ok("battery-swapped", target="5ee00003")
        await answered(w, "visit-tick", visit="v1", item="5ee00003:battery", done=True, knew=[])
        await answered(w, "visit-tick", visit="v1", item=two, done=False, why="ice")
        await answered(w, "visit-untick", visit="v1", tick=first["tick"])
        is_problem(await w.post("visit-close", visit="v1", signed="Mira", why="fog"), 409, "refused")
        (swapped,) = [i for i in (await answered(w, "visit-show"))["items"] if i["item"] == "5ee00003:battery"]
        await answered(
            w, "visit-tick", visit="v1", item="5ee00003:battery", done=True, knew=[swapped["ticks"][0]["tick"]]
        )
        await answered(w, "visit-close", visit="v1", signed="Mira", why="fog")
        await answered(w, "visit-list")
        await answered(w, "self-test-show")
        await answered(w, "self-test")
        await w.ok("target-locate", target="5ee00001", send=True)
        await asyncio.sleep(2)
        await answered(w, "self-test-heard", target="5ee00001")
        await answered(w, "retrieval-show")
        await answered(w, "retrieval-begin")
        await answered(w, "retrieval-got", target="5ee00001", note="dry")
        await answered(w, "retrieval-got", target="5ee00001")
        await answered(w, "retrieval-lost", target="5ee00002", told="Ansel", reason="not found")
        await answered(w, "retrieval-undo", target="5ee00002")
        await answered(w, "retrieval-got", target="5ee00002")
        await answered(w, "retrieval-lost", target="5ee00003", told="Ansel", reason="not found", place="by the stake")
        await answered(w, "retrieval-close", signed="Ansel")

    tell(story, opened=False)


def test_a_press_sent_again_after_a_restart_is_the_same_press() -> None:
    async def story(w: Web) -> None:
        for n in range(2):
            assert (await w.ok("visit-begin", "key-begin-1", items=["5ee00001:battery"]))["visit"] == "v1"
            await w.ok("visit-tick", "key-tick-1", visit="v1", item="5ee00001:battery", done=True)
            await w.ok("retrieval-begin", "key-begin-2")
            await w.ok("retrieval-got", "key-got-1", target="5ee00001")
            if n == 0:
                await w.made.kill()
                w.made.begin()
                await asyncio.sleep(5)
                w.put_up()
        assert [count(w, k) for k in (VisitBegun, VisitTicked, RetrievalBegun, TargetRetrieved)] == [1, 1, 1, 1]

    tell(story, opened=False)


def test_ticking_takes_the_right_upkeep_and_signing_the_retrieval_the_one_in_charge() -> None:
    async def story(w: Web) -> None:
        w.who = somebody("instruct", name="Jon")
        is_problem(await w.post("visit-begin", items=[]), 403, "right-missing")
        w.who = somebody("upkeep", name="Tove")
        await w.ok("visit-begin", items=["5ee00001:battery"])
        await w.ok("retrieval-begin")
        is_problem(await w.post("retrieval-close", signed="Tove"), 403, "right-missing")

    tell(story, opened=False)


def test_what_cannot_be_is_told_and_writes_nothing() -> None:
    async def story(w: Web) -> None:
        bad: list[tuple[str, dict[str, Any]]] = [
            ("visit-begin", {"items": ["5ee00001"]}),
            ("visit-begin", {"items": ["5ee00001:x"] * 1025}),
            ("visit-begin", {"items": ["5ee000ff:battery"]}),
            ("visit-begin", {"items": ["5ee00001:\u0000"]}),
            ("visit-tick", {"visit": "v1", "item": "5ee00001:battery", "done": True, "at_us": -1}),
            ("visit-tick", {"visit": "v1", "item": "5ee00001:battery", "done": "yes"}),
        ]
        for verb, arguments in bad:
            is_problem(await w.post(verb, **arguments), 422, "bad-input")
        assert count(w, VisitBegun) == 0
        is_problem(await w.post("visit-show", visit="v9"), 404, "not-found")

    tell(story, opened=False)
