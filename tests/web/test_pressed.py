"""Orders that say when they were pressed: what comes late is not carried out, all off and stop always are."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest
from api_kit import HEADERS, Web, is_problem, tell

from fieldctl.errors import BadInput
from fieldctl.events import CallMade, ExerciseStarted
from fieldctl.units import US_PER_S, HostTime
from fieldctl.web.pressed import HEADER, LATE_US, read_pressed

HERE = HostTime("boot-1", 100 * US_PER_S)


def count(w: Web, kind: Any) -> int:
    return len(list(w.made.ledger.facts(kinds=[kind])))


def moment(w: Web, ago_s: float, plus_minus_us: int = 20_000, boot: str = "") -> str:
    assert w.made.life is not None
    here = w.made.life.controller.outside.here()
    return f"{here.us - round(ago_s * US_PER_S)};{plus_minus_us};{boot or here.boot}"


async def press(w: Web, verb: str, said: str, key: str, **arguments: Any) -> httpx.Response:
    return await w.send(
        "POST", f"/api/v1/{verb}", json=arguments, headers={**HEADERS, "Idempotency-Key": key, HEADER: said}
    )


async def counted(w: Web) -> int:
    return int((await w.send("GET", "/health")).json()["counts"].get("late", 0))


def test_an_order_that_comes_late_is_refused_with_words_and_its_key_is_free_for_the_next_press() -> None:
    async def story(w: Web) -> None:
        row = is_problem(await press(w, "exercise-start", moment(w, 20), "press-0001", drill="one"), 409, "late")
        assert row["detail"] == "It came 20 s late and was not carried out."
        assert "press again" in row["remedy"]
        assert count(w, ExerciseStarted) == 0
        assert await counted(w) == 1
        again = await press(w, "exercise-start", moment(w, 1), "press-0001", drill="one")
        assert again.status_code == 200, again.text
        assert count(w, ExerciseStarted) == 1

    tell(story)


def test_what_was_carried_out_is_answered_however_late_it_is_asked_again() -> None:
    async def story(w: Web) -> None:
        said = moment(w, 1)
        first = await press(w, "exercise-start", said, "press-0001", drill="one")
        await asyncio.sleep(30)
        again = await press(w, "exercise-start", said, "press-0001", drill="one")
        assert again.content == first.content
        assert count(w, ExerciseStarted) == 1

    tell(story)


@pytest.mark.parametrize("verb", ["exercise-resume", "exercise-reopen", "exercise-answer", "exercise-correct"])
def test_every_other_order_is_held_to_its_moment_too(verb: str) -> None:
    async def story(w: Web) -> None:
        arguments: dict[str, Any] = {"exercise": "x1"}
        if verb == "exercise-answer":
            arguments |= {"question": "q1", "answer": "send-again"}
        if verb == "exercise-correct":
            arguments |= {"change": "void", "about": "5ee00001-1-1", "why": "a step"}
        is_problem(await press(w, verb, moment(w, 6), "press-0001", **arguments), 409, "late")

    tell(story)


def test_a_release_of_all_off_that_comes_late_is_refused() -> None:
    async def story(w: Web) -> None:
        epoch = (await w.ok("all-off"))["epoch"]
        await asyncio.sleep(2)
        said = moment(w, 12)
        late = await press(w, "all-off-release", said, "press-0001", reason="everybody back", epoch=epoch)
        is_problem(late, 409, "late")
        assert (await w.ok("status"))["all_off"]["in_force"]
        assert not (await w.ok("all-off-release", reason="everybody back", epoch=epoch))["in_force"]

    tell(story)


@pytest.mark.parametrize("said", ["late", "of another boot", "nonsense"])
def test_a_stop_and_all_off_are_carried_out_whatever_is_said_of_their_moment(said: str) -> None:
    async def story(w: Web) -> None:
        x = (await w.ok("exercise-start", drill="one"))["exercise"]
        text = {"late": moment(w, 3000), "of another boot": moment(w, 1, boot="another"), "nonsense": "soon"}[said]
        stopped = await press(w, "exercise-stop", text, "press-0001", exercise=x)
        assert stopped.json()["state"] == "stopped"
        off = await press(w, "all-off", text, "press-0002")
        assert off.json()["in_force"]

    tell(story)


def test_a_call_keeps_the_moment_of_its_tap_and_one_of_another_boot_is_refused() -> None:
    async def story(w: Web) -> None:
        x = (await w.ok("exercise-start", drill="one"))["exercise"]
        await asyncio.sleep(8)
        said = moment(w, 1)
        await asyncio.sleep(9)
        assert (await press(w, "exercise-call", said, "press-0001", exercise=x, burial="A")).status_code == 200
        (fact,) = w.made.ledger.facts(kinds=[CallMade])
        assert isinstance(fact, CallMade)
        assert fact.at.at.us == int(said.partition(";")[0])
        assert fact.at.plus_minus_us == US_PER_S + 20_000
        other = await press(w, "exercise-call", moment(w, 1, boot="another"), "press-0002", exercise=x, burial="A")
        assert "began anew" in is_problem(other, 409, "late")["detail"]
        assert count(w, CallMade) == 1

    tell(story)


@pytest.mark.parametrize(
    "text", ["", "now", "1;2", "1;2;", "-1;2;b", "1;2;b;c", "1.5;2;b", "1;2;b\n", "٣;2;b", f"{10**15};0;b", "1;2;b b"]
)
def test_a_header_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match=HEADER):
        read_pressed(text, HERE)


def test_a_moment_that_has_yet_to_come_is_refused_unless_its_plus_minus_reaches_back() -> None:
    with pytest.raises(BadInput, match="yet to come"):
        read_pressed(f"{HERE.us + 2};1;{HERE.boot}", HERE)
    found = read_pressed(f"{HERE.us + 2};2;{HERE.boot}", HERE)
    assert found is not None
    found.in_time()


@pytest.mark.parametrize(
    ("ago_us", "plus_minus_us", "late"), [(LATE_US, 0, False), (LATE_US + 1, 0, True), (0, LATE_US + 1, True)]
)
def test_what_is_late(ago_us: int, plus_minus_us: int, late: bool) -> None:
    found = read_pressed(f"{HERE.us - ago_us};{plus_minus_us};{HERE.boot}", HERE)
    assert found is not None
    if late:
        with pytest.raises(Exception, match="late and was not carried out"):
            found.in_time()
    else:
        found.in_time()
    assert read_pressed(None, HERE) is None
