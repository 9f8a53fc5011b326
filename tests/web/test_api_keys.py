"""One press, one order: the same key twice, at once, after a restart; clients that go away; crowds."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest
from api_kit import HEADERS, HOST, NOBODY, Web, is_problem, somebody, tell, web

from fieldctl.events import CallMade, Corrected, ExerciseStarted, SplitMade
from fieldctl.web.asking import IN_HAND_MAX, SETTLE_S, STRANGERS_MAX, Asking
from fieldctl.web.keys import KEYS_MAX, PHONES_MAX, Keys, checked, own_id
from fieldctl.web.problems import Busy, KeyMissing, KeyReused, NotSignedIn, RightMissing

KEY = "press-0001"


def count(w: Web, kind: Any) -> int:
    return len(list(w.made.ledger.facts(kinds=[kind])))


def test_the_same_key_twice_is_one_exercise_and_one_answer() -> None:
    async def story(w: Web) -> None:
        first = await w.post("exercise-start", KEY, drill="one")
        await asyncio.sleep(20)
        again = await w.post("exercise-start", KEY, drill="one")
        assert first.status_code == again.status_code == 200
        assert first.content == again.content, "the answer of then, not of now"
        assert "idempotency-replayed" not in first.headers
        assert again.headers["idempotency-replayed"] == "true"
        other = await w.ok("exercise-start", "press-0002", drill="one")
        assert other["exercise"] != first.json()["exercise"]
        assert count(w, ExerciseStarted) == 2

    tell(story)


def test_the_same_key_many_times_at_once_is_one_exercise() -> None:
    async def story(w: Web) -> None:
        answers = await asyncio.gather(*(w.post("exercise-start", KEY, drill="one") for _ in range(40)))
        assert {a.status_code for a in answers} == {200}
        assert len({a.content for a in answers}) == 1
        assert count(w, ExerciseStarted) == 1

    tell(story)


def test_a_key_belongs_to_its_phone() -> None:
    async def story(w: Web) -> None:
        first = await w.ok("exercise-start", KEY, drill="one")
        w.who = somebody("instruct", phone="phone-2", name="Tove")
        other = await w.ok("exercise-start", KEY, drill="one")
        assert other["exercise"] != first["exercise"]
        assert other["by"] == "Tove"

    tell(story)


def test_a_key_names_one_request_for_good() -> None:
    async def story(w: Web) -> None:
        x = (await w.ok("exercise-start", KEY, drill="one"))["exercise"]
        is_problem(await w.post("exercise-start", KEY, drill="chain"), 422, "key-reused")
        is_problem(await w.post("exercise-stop", KEY, exercise=x), 422, "key-reused")
        assert count(w, ExerciseStarted) == 1

    tell(story)


@pytest.mark.parametrize("key", [None, "", "short", "x" * 65, "with blank", "with/slash", "ümlaut-1", "new\nline1"])
def test_a_request_that_changes_something_needs_a_usable_key(key: str | None) -> None:
    with pytest.raises(KeyMissing) as said:
        checked(key)
    assert "8 to 64" in said.value.expected
    assert checked("4f1c9a52-7d36-4a0e-9a55-0d6f3c1b7e21")


def test_without_a_key_nothing_is_done() -> None:
    async def story(w: Web) -> None:
        bare = await w.send("POST", "/api/v1/exercise-start", json={"drill": "one"}, headers=HEADERS)
        is_problem(bare, 400, "key-missing")
        is_problem(await w.post("exercise-start", "short", drill="one"), 400, "key-missing")
        assert count(w, ExerciseStarted) == 0

    tell(story)


def test_what_was_refused_stays_refused_under_its_key_and_what_was_wrong_does_not() -> None:
    async def story(w: Web) -> None:
        first = is_problem(await w.post("exercise-start", KEY, drill="one"), 409, "refused")
        is_problem(await w.post("exercise-start", "press-0002", drill=1), 422, "bad-input")
        assert await w.made.open_day()
        assert is_problem(await w.post("exercise-start", KEY, drill="one"), 409, "refused") == first
        await w.ok("exercise-start", "press-0002", drill="one")

    tell(story, opened=False)


def test_a_right_that_was_taken_gives_no_answer_of_before() -> None:
    async def story(w: Web) -> None:
        await w.ok("exercise-start", KEY, drill="one")
        w.who = somebody("watch")
        is_problem(await w.post("exercise-start", KEY, drill="one"), 403, "right-missing")
        w.who = NOBODY
        is_problem(await w.post("exercise-start", KEY, drill="one"), 401, "not-signed-in")

    tell(story)


def test_nobody_gets_past_a_right_by_whatever_way_he_comes() -> None:
    async def story(w: Web) -> None:
        assert w.made.life is not None
        asking = Asking(w.made.life.desk)
        with pytest.raises(NotSignedIn):
            await asking.ask(NOBODY, "exercise-start", {"drill": "one"}, "phone-1", KEY)
        with pytest.raises(RightMissing):
            await asking.ask(somebody("watch"), "exercise-start", {"drill": "one"}, "phone-1", KEY)
        assert count(w, ExerciseStarted) == 0
        assert asking.counts == {"not_signed_in": 1, "right_missing": 1}

    tell(story)


def test_what_makes_something_is_one_order_even_after_a_restart() -> None:
    async def story(w: Web) -> None:
        x = (await w.ok("exercise-start", "key-start", drill="mixed", searchers=["Jon"]))["exercise"]
        await asyncio.sleep(10)
        call = (await w.ok("exercise-call", "key-call", exercise=x, burial="B"))["call"]
        split = (await w.ok("exercise-split", "key-split", exercise=x, name="coarse"))["split"]
        arguments = {"exercise": x, "change": "void", "about": split, "why": "too early"}
        correction = (await w.ok("exercise-correct", "key-correct", **arguments))["correction"]
        await w.made.kill()
        w.made.begin()
        await asyncio.sleep(3)
        w.put_up()
        again = await w.post("exercise-start", "key-start", drill="mixed", searchers=["Jon"])
        assert "idempotency-replayed" not in again.headers, "from the log, not from memory"
        assert again.json()["exercise"] == x
        assert (await w.ok("exercise-call", "key-call", exercise=x, burial="B"))["call"] == call
        assert (await w.ok("exercise-split", "key-split", exercise=x, name="coarse"))["split"] == split
        assert (await w.ok("exercise-correct", "key-correct", **arguments))["correction"] == correction
        assert [count(w, kind) for kind in (ExerciseStarted, CallMade, SplitMade, Corrected)] == [1, 1, 1, 1]

    tell(story)


def test_ids_that_follow_from_a_key_differ_by_phone_verb_and_key() -> None:
    made = {
        own_id(p, v, k) for p in ("a", "ab") for v in ("exercise-call", "exercise-split") for k in ("b" * 8, "c" * 8)
    }
    assert len(made) == 8
    assert own_id("a", "exercise-call", KEY) == own_id("a", "exercise-call", KEY)


def test_the_store_of_keys_is_bounded_and_says_what_it_forgot() -> None:
    async def story() -> None:
        keys = Keys()

        async def done() -> bytes:
            return b"{}"

        task = asyncio.create_task(done())
        for i in range(KEYS_MAX + 3):
            keys.keep("phone", f"key-{i:04d}", b"a", task)
        assert keys.find("phone", "key-0002", b"a") is None
        assert keys.find("phone", "key-0003", b"a") is task
        with pytest.raises(KeyReused):
            keys.find("phone", "key-0003", b"b")
        for i in range(PHONES_MAX):
            keys.keep(f"phone-{i}", KEY, b"a", task)
        assert keys.find("phone", "key-0003", b"a") is None
        assert keys.counts == {"again": 1, "forgotten_keys": 3, "forgotten_phones": 1}
        keys.keep("phone-0", "key-of-now", b"a", task)
        keys.keep("phone-new", KEY, b"a", task)
        assert keys.find("phone-0", KEY, b"a") is task, "the phone that was silent longest is forgotten, not this one"
        assert keys.find("phone-1", KEY, b"a") is None
        await task

    asyncio.run(story())


# ---- clients that go away ----------------------------------------------------------------------------------------


def test_a_verb_that_began_is_carried_to_its_end_though_its_client_goes_away() -> None:
    async def story(w: Web) -> None:
        assert w.made.life is not None
        ledger_waits: asyncio.Event = asyncio.Event()
        desk: Any = w.made.life.desk
        real = desk.ask

        async def slow(name: str, arguments: dict[str, Any]) -> dict[str, Any]:
            await ledger_waits.wait()
            row: dict[str, Any] = await real(name, arguments)
            return row

        desk.ask = slow
        asked = asyncio.create_task(w.post("exercise-start", KEY, drill="one"))
        await asyncio.sleep(1)
        asked.cancel()
        with pytest.raises(asyncio.CancelledError):
            await asked
        assert count(w, ExerciseStarted) == 0
        ledger_waits.set()
        await asyncio.sleep(1)
        assert count(w, ExerciseStarted) == 1
        again = await w.post("exercise-start", KEY, drill="one")
        assert again.json()["exercise"] == "x1"
        assert count(w, ExerciseStarted) == 1

    tell(story)


@pytest.mark.parametrize(("takes_s", "carried"), [(SETTLE_S / 2, 1), (SETTLE_S * 2, 0)])
def test_serve_lets_what_is_in_hand_come_to_its_end_for_a_while(takes_s: float, carried: int) -> None:
    async def story(w: Web) -> None:
        assert w.made.life is not None
        desk: Any = w.made.life.desk
        real = desk.ask

        async def slow(name: str, arguments: dict[str, Any]) -> dict[str, Any]:
            await asyncio.sleep(takes_s)
            row: dict[str, Any] = await real(name, arguments)
            return row

        desk.ask = slow
        async with w.app.router.lifespan_context(w.app):
            asked = asyncio.create_task(w.post("exercise-start", KEY, drill="one"))
            await asyncio.sleep(0.1)
            asked.cancel()
        assert count(w, ExerciseStarted) == carried
        await asyncio.sleep(takes_s * 2)
        assert count(w, ExerciseStarted) == carried, "what was ended does not come back"

    tell(story)


async def _half_sent(w: Web, first: bytes) -> list[dict[str, Any]]:
    """A request whose client goes away in the middle of its body."""
    said: list[dict[str, Any]] = []
    messages = [{"type": "http.request", "body": first, "more_body": True}, {"type": "http.disconnect"}]

    async def receive() -> dict[str, Any]:
        return messages.pop(0)

    async def send(message: Any) -> None:
        said.append(message)

    headers = {**HEADERS, "host": HOST, "content-type": "application/json", "idempotency-key": KEY}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": "/api/v1/exercise-start",
        "raw_path": b"/api/v1/exercise-start",
        "query_string": b"",
        "headers": [(k.lower().encode(), v.encode()) for k, v in headers.items()],
        "client": ("127.0.0.1", 5000),
        "server": (HOST, 80),
    }
    await w.app(scope, receive, send)  # type: ignore[arg-type]
    return said


def test_half_a_request_does_nothing_and_breaks_nothing() -> None:
    async def story(w: Web) -> None:
        said = await _half_sent(w, b'{"drill": "one"}')
        assert said[0]["status"] == 413
        assert count(w, ExerciseStarted) == 0
        assert (await w.post("exercise-start", KEY, drill="one")).status_code == 200

    tell(story)


def test_a_body_without_a_length_is_cut_off_where_it_grows_too_long() -> None:
    async def story(w: Web) -> None:
        async def endless() -> Any:
            for _ in range(100):
                yield b'{"drill": "' + b"a" * 10_000

        headers = {**HEADERS, "Content-Type": "application/json", "Idempotency-Key": KEY}
        is_problem(await w.send("POST", "/api/v1/exercise-start", content=endless(), headers=headers), 413, "too-long")
        answer: httpx.Response = await w.send("POST", "/api/v1/all-off", content=endless(), headers=headers)
        assert answer.status_code == 200, "all off is never refused, whatever else was sent"

    tell(story)


# ---- crowds ------------------------------------------------------------------------------------------------------


def test_all_off_never_waits_for_a_crowd() -> None:
    """A thousand ask; the order is out after at most a few of them, the rest are answered, or told to come again."""

    async def story(w: Web) -> None:
        assert w.made.life is not None
        carried: list[str] = []
        desk: Any = w.made.life.desk
        real = desk.ask

        async def counted(name: str, arguments: dict[str, Any]) -> dict[str, Any]:
            carried.append(name)
            row: dict[str, Any] = await real(name, arguments)
            return row

        desk.ask = counted
        transport = httpx.ASGITransport(app=w.app)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            crowd = [asyncio.create_task(client.get("/api/v1/status")) for _ in range(1000)]
            while not carried:
                await asyncio.sleep(0)
            for _ in range(10):
                await asyncio.sleep(0)
            began = len(carried)
            assert began < 30, "the rest of the crowd still waits"
            off = asyncio.create_task(client.post("/all-off"))
            assert (await off).status_code == 303
            between = carried.index("all-off") - began
            answers = await asyncio.gather(*crowd)
        assert between <= 10, between
        statuses = [a.status_code for a in answers]
        assert statuses.count(200) == IN_HAND_MAX
        assert statuses.count(503) == 1000 - IN_HAND_MAX
        busy = next(a for a in answers if a.status_code == 503)
        is_problem(busy, 503, "busy")
        assert busy.headers["retry-after"] == "1"

    tell(story)


def test_strangers_keep_nobody_out_who_is_signed_in() -> None:
    """More presses by nobody in particular than are taken at once, and from more addresses than are remembered."""

    async def story(w: Web) -> None:
        assert w.made.life is not None
        first = await w.ok("exercise-start", KEY, drill="one")
        asking = Asking(w.made.life.desk)
        await asking.ask(somebody("instruct"), "exercise-stop", {"exercise": first["exercise"]}, "phone-1", "key-stop")
        crowd = [
            asyncio.create_task(asking.ask(NOBODY, "walkin-stop", {"zone": "upper"}, f"192.0.2.{i}", KEY))
            for i in range(STRANGERS_MAX + PHONES_MAX)
        ]
        await asyncio.sleep(0)
        _, again = await asking.ask(
            somebody("instruct"), "exercise-stop", {"exercise": first["exercise"]}, "phone-1", "key-stop"
        )
        assert again, "its key was not forgotten"
        await asking.ask(somebody("watch"), "status", {}, "phone-1")
        outcomes = await asyncio.gather(*crowd, return_exceptions=True)
        assert sum(isinstance(o, Busy) for o in outcomes) == PHONES_MAX
        for i in range(PHONES_MAX * 2):
            await asking.ask(NOBODY, "walkin-stop", {"zone": "upper"}, f"198.51.100.{i}", KEY)
        assert asking.all_counts()["forgotten_phones"] > 0
        _, again = await asking.ask(
            somebody("instruct"), "exercise-stop", {"exercise": first["exercise"]}, "phone-1", "key-stop"
        )
        assert again

    tell(story)


def test_who_came_too_late_may_come_again_with_the_same_key() -> None:
    async def story(w: Web) -> None:
        starts = [w.post("exercise-start", f"key-{i:08d}", drill="none") for i in range(IN_HAND_MAX + 5)]
        answers = await asyncio.gather(*starts)
        busy = [i for i, a in enumerate(answers) if a.status_code == 503]
        assert len(busy) == 5
        is_problem(await w.post("exercise-start", f"key-{busy[0]:08d}", drill="none"), 404, "not-found")

    tell(story)


def test_a_search_for_new_targets_keeps_nobody_waiting() -> None:
    with web() as w:

        async def story() -> None:
            search = asyncio.create_task(w.post("target-search", link="bus"))
            await asyncio.sleep(0.05)
            assert not search.done()
            assert (await w.post("status")).status_code == 200
            assert not search.done()
            assert (await search).status_code == 200

        w.made.world.run(story())
