"""What those who search or look on are told: no hint before the call; and that others are told all of it."""

from __future__ import annotations

import asyncio
import json
from random import Random
from typing import Any

import pytest
from api_kit import Web
from edge_pages_kit import Pages, tell

from fieldctl.controller.controller import Controller
from fieldctl.web.views import STOP_BACK_S, VIEWS, everybody, searching, watch
from sims import pad
from sims.field import DRILLS

CALL = {"called_s"}
RESULT = {"state", "clock_s", "zero_us", "take_back_until_us", "found", "of", "title"}


def controller(w: Web) -> Controller:
    assert w.made.life is not None
    return w.made.life.controller


async def started(w: Web, drill: str = "mixed") -> str:
    name: str = (await w.ok("exercise-start", drill=drill, searchers=["Tove", "Jon"]))["exercise"]
    await asyncio.sleep(25)
    return name


def burials(w: Web, name: str) -> dict[str, str]:
    return {n: str(b.target) for n, b in controller(w).exercises.all[name].burials.items()}  # type: ignore[index]


def probe(w: Web, target: str, *, steps: bool = False) -> None:
    play = pad.steps if steps else pad.probe
    pad.play(w.made.world, w.made.nodes[target], play(Random("a hand")))  # type: ignore[index]


def said(rows: dict[str, Any]) -> str:
    return json.dumps(rows, ensure_ascii=False)


def test_nothing_that_happens_before_the_call_changes_a_row_or_tells_anything() -> None:
    async def story(w: Pages) -> None:
        await w.ok("manual-out", unit="M1", zone="upper", place="by the third larch")
        name = await started(w)
        c = controller(w)
        looking, inside = searching(c), watch(c)
        target = burials(w, name)
        probe(w, target["A"])  # found by its pad: it falls quiet
        await asyncio.sleep(3)
        probe(w, target["B"])  # a hit, and a call that has to come
        probe(w, target["N"], steps=True)  # somebody walks past
        await w.ok("exercise-split", exercise=name, burial="B", name="signal")
        await asyncio.sleep(8)
        row = watch(c)[f"exercise:{name}"]
        assert [b["find"] is not None for b in row["burials"]] == [True, False, False]
        assert [len(b["hits"]) for b in row["burials"]] == [1, 1, 0]
        assert searching(c) == looking
        assert watch(c) != inside  # whoever may watch is told
        assert looking[f"exercise:{name}"] == {
            "exercise": name,
            "title": None,
            "state": "running",
            "limit_s": 900.0,
            "called_s": [],
            "found": None,
            "of": None,
            "clock_s": None,
            "zero_us": row["zero_us"],
            "shift_s": 0.0,
            "take_back_until_us": None,
        }
        for hint in (
            *target.values(),
            "Larch 1",
            "Larch 2",
            "Larch 3",
            "by the third larch",
            "M1",
            "Tove",
            "One delayed",
        ):
            assert hint not in said(looking), hint
            assert hint in said(watch(c)), hint

    tell(story, opened=True)


@pytest.mark.parametrize("drill", [name for name in DRILLS if name != "one"])
def test_how_many_lie_there_is_not_told(drill: str) -> None:
    seen: dict[str, dict[str, Any]] = {}

    def of(drill: str) -> None:
        async def story(w: Pages) -> None:
            name = await started(w, drill)
            row = searching(controller(w))[f"exercise:{name}"]
            seen[drill] = {key: value for key, value in row.items() if key != "zero_us"}

        tell(story, opened=True)

    of("one")
    of(drill)
    assert seen[drill] == seen["one"]


def test_after_the_call_only_the_call_is_told() -> None:
    async def story(w: Pages) -> None:
        name = await started(w)
        c, key = controller(w), f"exercise:{name}"
        before = searching(c)
        await w.ok("exercise-call", exercise=name, burial="B")
        await asyncio.sleep(1)
        after = searching(c)
        assert {k for k in after if after[k] != before[k]} == {key}
        assert {k for k in after[key] if after[key][k] != before[key][k]} == CALL
        assert len(after[key]["called_s"]) == 1

    tell(story, opened=True)


def test_the_result_is_told_once_the_stop_cannot_be_taken_back() -> None:
    async def story(w: Pages) -> None:
        name = await started(w)
        c, key = controller(w), f"exercise:{name}"
        probe(w, burials(w, name)["A"])
        await asyncio.sleep(3)
        before = searching(c)[key]
        await w.ok("exercise-stop", exercise=name)
        await asyncio.sleep(STOP_BACK_S - 2)
        stopped = searching(c)[key]
        assert (stopped["state"], stopped["found"], stopped["of"], stopped["title"]) == ("stopped", None, None, None)
        await w.ok("exercise-reopen", exercise=name)
        assert searching(c)[key]["of"] is None
        await asyncio.sleep(1)
        await w.ok("exercise-stop", exercise=name)
        await asyncio.sleep(STOP_BACK_S + 1)
        after = searching(c)[key]
        assert (after["found"], after["of"]) == (1, 3)
        assert after["title"].startswith("One delayed")
        assert {k for k in after if after[k] != before[k]} <= RESULT | {"shift_s"}

    tell(story, opened=True)


def test_where_a_hand_buried_unit_lies_is_told_to_everybody_under_all_off_only() -> None:
    async def story(w: Pages) -> None:
        await w.ok("manual-out", unit="M1", zone="upper", place="by the third larch")
        c = controller(w)
        for view in (everybody, searching):
            assert view(c)["field"]["manual"] == []
        assert watch(c)["field"]["manual"] == [{"unit": "M1", "zone": "upper", "place": "by the third larch"}]
        await w.ok("all-off")
        await asyncio.sleep(2)
        for view in VIEWS.values():
            assert view(c)["field"]["manual"] == [{"unit": "M1", "zone": "upper", "place": "by the third larch"}]
            assert view(c)["field"]["all_off"]["in_force"]

    tell(story, opened=True)


def test_everybody_is_told_of_no_exercise_and_no_target() -> None:
    async def story(w: Pages) -> None:
        name = await started(w)
        rows = everybody(controller(w))
        assert set(rows) == {"field"}
        assert name not in said(rows)
        assert "Larch 1" not in said(rows)

    tell(story, opened=True)


def test_a_state_is_what_was_confirmed_and_sending_goes_before_found() -> None:
    async def story(w: Pages) -> None:
        name = await started(w)
        c, target = controller(w), burials(w, name)
        states = {t: watch(c)[f"target:{t}"]["state"] for t in target.values()}
        assert (states[target["A"]], states[target["N"]]) == ("sending", "quiet")
        await w.ok("exercise-call", exercise=name, burial="B")
        probe(w, target["A"])
        await asyncio.sleep(4)
        assert watch(c)[f"target:{target['A']}"]["state"] == "found"  # it fell quiet, and said so
        w.made.hub.cut(w.made.nodes[target["A"]])  # type: ignore[index]
        await asyncio.sleep(60)
        assert watch(c)[f"target:{target['A']}"]["state"] == "not-heard"

    tell(story, opened=True)
