"""Verbs asked for over HTTP: rights, bodies, what is filled in, and the shape of every refusal."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from api_kit import HEADERS, NOBODY, Web, is_problem, somebody, tell, web

from fieldctl.controller.verbs import Verb
from fieldctl.events import AllOffOrdered, ExerciseStarted
from fieldctl.web.api_models import ARGUMENTS, OTHERWISE, asked, by_query, takes
from fieldctl.web.asking import FILLED, OWN_IDS, parameters, reads

ANYBODYS = {200, 422}  # what needs no login is carried out, or told what it lacks


def test_every_verb_of_the_desk_has_a_route_and_no_other_is_there() -> None:
    async def story(w: Web) -> None:
        w.who = NOBODY
        assert w.made.life is not None
        for name, verb in w.made.life.desk.table.items():
            answer = await w.post(name)
            assert answer.status_code in (ANYBODYS if verb.right == "anybody" else {401}), (name, answer.text)
            other = await w.send("GET", f"/api/v1/{name}")
            allowed = (ANYBODYS if verb.right == "anybody" else {401}) if by_query(verb) else {405}
            assert other.status_code in allowed, (name, other.text)
        is_problem(await w.post("watch"), 404, "not-found")

    tell(story)


def test_a_read_verb_is_asked_by_get_and_by_post() -> None:
    async def story(w: Web) -> None:
        w.who = somebody("watch")
        assert (await w.send("GET", "/api/v1/status")).json()["site"] == "larch-hollow"
        assert (await w.ok("status"))["day"]["open"] is True
        bare = await w.send("POST", "/api/v1/status", json={}, headers=HEADERS)
        assert bare.status_code == 200, "reading needs no key"

    tell(story)


def test_who_asks_is_filled_in_and_never_taken_from_outside() -> None:
    async def story(w: Web) -> None:
        row = await w.ok("exercise-start", drill="one", searchers=["Jon"])
        assert (row["by"], row["searchers"]) == ("Mira", ["Jon"])
        assert (await w.ok("exercise-stop", exercise=row["exercise"]))["state"] == "stopped"
        for filled in ("by", "via", "request"):
            bad = is_problem(await w.post("exercise-start", drill="one", **{filled: "Tove"}), 422, "bad-input")
            assert bad["faults"][0]["key"] == filled
        assert len(list(w.made.ledger.facts(kinds=[ExerciseStarted]))) == 1

    tell(story)


def test_nobody_is_told_to_sign_in_and_somebody_what_is_missing() -> None:
    async def story(w: Web) -> None:
        w.who = NOBODY
        row = is_problem(answer := await w.post("exercise-start", drill="one"), 401, "not-signed-in")
        assert "instruct" in row["expected"]
        assert answer.headers["www-authenticate"]
        w.who = somebody("watch", "upkeep")
        row = is_problem(await w.post("exercise-start", drill="one"), 403, "right-missing")
        assert "instruct" in row["expected"]
        assert "Mira" in row["detail"]
        is_problem(await w.raw("exercise-start", b"no json"), 403, "right-missing")

    tell(story)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "drill"),
        (b"[]", "no object"),
        (b'"x"', "no object"),
        (b"{", "cannot be read"),
        (b'{"drill": "one", "drill": "two"}', "twice"),
        (b'{"drill": "one", "targets": {"A": "5ee00001", "A": "5ee00002"}}', "twice"),
        (b'{"drill": "one", "start_in_s": NaN}', "NaN"),
        (b'{"drill": "one", "start_in_s": Infinity}', "Infinity"),
        (b'{"drill": "one", "start_in_s": 1e999}', "1e999"),
        (b'{"drill": "one", "start_in_s": "3"}', "start_in_s"),
        (b'{"drill": "one", "start_in_s": 1.5}', "start_in_s"),
        (b'{"drill": "one", "start_in_s": true}', "start_in_s"),
        (b'{"drill": "one", "seed": 1.5}', "seed"),
        (b'{"drill": "one", "seed": -1}', "seed"),
        (b'{"drill": "one", "seed": ' + b"9" * 400 + b"}", "seed"),
        (b'{"drill": "one", "seed": ' + b"9" * 5000 + b"}", "cannot be read"),
        (b'{"drill": null}', "drill"),
        (b'{"drill": ["one"]}', "drill"),
        (b'{"drill": "one", "searchers": "Jon"}', "searchers"),
        (b'{"drill": "one", "searchers": [1]}', "searchers.0"),
        (b'{"drill": "\\ud800"}', "half a character"),
        (b'{"drill": "' + b"a" * 81 + b'"}', "drill"),
        (b'{"drill": "one\\u0000"}', "drill"),
        (b'{"drill": "\xff"}', "cannot be read"),
        (b'\xef\xbb\xbf{"drill": "one"}', "cannot be read"),
        (b'{"drill": "one"}'.decode().encode("utf-16"), "cannot be read"),
        (b'{"drill": "one", "other": 1}', "other"),
        (b'{"drill": ' + b"[" * 30_000, "cannot be read"),
        (b'{"drill": ' + b"[" * 30_000 + b"]" * 30_000 + b"}", "cannot be read"),
        (b'{"drill": "one", "targets": ' + b'{"a":' * 500 + b"1" + b"}" * 500 + b"}", "recursion"),
    ],
)
def test_a_body_that_cannot_be_used_is_told_what_is_wrong(body: bytes, says: str, shared: Web) -> None:
    answer = shared.made.world.run(shared.raw("exercise-start", body))
    row = is_problem(answer, 422, "bad-input")
    assert says in row["detail"]
    assert row["expected"]


def test_all_faults_of_a_body_come_at_once(shared: Web) -> None:
    row = is_problem(shared.made.world.run(shared.raw("exercise-split", b'{"ago_s": -1, "x": 2}')), 422, "bad-input")
    assert {f["key"] for f in row["faults"]} == {"exercise", "name", "ago_s", "x"}
    assert {f["file"] for f in row["faults"]} == {"request"}
    assert all(f["wrong"] and f["expected"] and f["remedy"] for f in row["faults"])


def test_a_query_is_read_as_strictly(shared: Web) -> None:
    run = shared.made.world.run
    path = "/api/v1/exercise-show"
    is_problem(run(shared.send("GET", path)), 422, "bad-input")
    is_problem(run(shared.send("GET", f"{path}?exercise=x1&exercise=x2")), 422, "bad-input")
    is_problem(run(shared.send("GET", f"{path}?exercise=x1&by=Tove")), 422, "bad-input")
    is_problem(run(shared.send("GET", f"{path}?exercise=x9")), 404, "not-found")
    is_problem(run(shared.send("GET", f"{path}?exercise=%ff")), 404, "not-found")
    is_problem(run(shared.send("GET", "/api/v1/status?x=1")), 422, "bad-input")


def test_what_the_field_refuses_says_why_and_what_helps(shared: Web) -> None:
    async def story() -> None:
        row = is_problem(await shared.post("exercise-start", drill="one"), 409, "refused")
        assert "closed" in row["detail"]
        row = is_problem(await shared.post("exercise-start", drill="none"), 404, "not-found")
        assert "chain" in row["expected"]
        is_problem(await shared.post("target-search", link="none"), 404, "not-found")
        is_problem(await shared.post("exercise-start", drill="\U0001f600" * 60), 404, "not-found")

    shared.made.world.run(story())


def test_the_log_comes_in_pages_whole_and_in_order() -> None:
    async def story(w: Web) -> None:
        x = (await w.ok("exercise-start", drill="one", searchers=["Jon"]))["exercise"]
        for _ in range(60):
            await w.ok("exercise-split", exercise=x, name="coarse")
        await asyncio.sleep(5)
        w.who = NOBODY
        is_problem(await w.send("GET", "/api/v1/log"), 401, "not-signed-in")
        w.who = somebody("watch")
        for limit in (1, 24, 25, 26, 200):
            after, found = 0, []
            while after is not None:
                page = (await w.send("GET", f"/api/v1/log?after={after}&limit={limit}")).json()
                assert len(page["entries"]) == limit or page["next"] is None
                found += page["entries"]
                after = page["next"]
            assert [(e["seq"], e["hash"]) for e in found] == [(e.seq, e.hash) for e in w.made.ledger.entries()], limit
        started = next(e for e in found if e["kind"] == "ExerciseStarted")
        assert page["people"][started["fact"]["searchers"][0]] == "Jon"
        for wrong in (
            "after=-1",
            "limit=0",
            "limit=201",
            "after=x",
            "after=1&after=2",
            "before=1",
            "after=" + "9" * 30,
        ):
            is_problem(await w.send("GET", f"/api/v1/log?{wrong}"), 422, "bad-input")
        is_problem(await w.send("POST", "/api/v1/log", json={}, headers=HEADERS), 405, "method")

    tell(story)


def test_a_wrong_method_names_the_right_ones(shared: Web) -> None:
    run = shared.made.world.run
    for method in ("PUT", "PATCH", "DELETE"):
        answer = run(shared.send(method, "/api/v1/status", json={}, headers=HEADERS))
        is_problem(answer, 405, "method")
        assert answer.headers["allow"] == "GET, POST"
    answer = run(shared.send("OPTIONS", "/api/v1/exercise-start"))
    is_problem(answer, 405, "method")
    assert answer.headers["allow"] == "POST"


def test_all_off_needs_no_login_no_key_and_no_body() -> None:
    async def story(w: Web) -> None:
        w.who = NOBODY
        for body in (b"", b"{", b'{"by": "Tove"}', b"x" * 60_000):
            answer = await w.raw("all-off", body)
            assert answer.status_code == 200, answer.text
            assert answer.json()["in_force"] is True
        await w.settle()
        orders: list[Any] = list(w.made.ledger.facts(kinds=[AllOffOrdered]))
        assert [(o.by, o.via) for o in orders] == [("anybody", "page")] * 4
        w.who = somebody("watch", name="Tove")
        assert (await w.raw("all-off", b"{}")).status_code == 200
        await w.settle()
        orders = list(w.made.ledger.facts(kinds=[AllOffOrdered]))
        assert w.made.ledger.names()[orders[-1].by] == "Tove"

    tell(story)


def test_all_off_goes_out_though_nobody_can_find_out_who_orders_it() -> None:
    def lost(_request: object) -> None:
        raise RuntimeError("the accounts are gone (on purpose)")

    async def story(w: Web) -> None:
        w.app.state.identify = lost
        assert (await w.raw("all-off", b"{}")).status_code == 200
        assert (await w.send("POST", "/all-off")).status_code == 303
        await w.settle()
        assert len(list(w.made.ledger.facts(kinds=[AllOffOrdered]))) == 2

    tell(story)


@pytest.mark.parametrize(
    ("referer", "back"),
    [
        ("", "/"),
        ("http://larch-hollow.test/exercise/x1?full=1", "/exercise/x1?full=1"),
        ("http://elsewhere.test/exercise/x1", "/"),
        ("http://larch-hollow.test//elsewhere.test/", "/"),
        ("http://larch-hollow.test@elsewhere.test/", "/"),
        ("javascript:alert(1)", "/"),
        ("http://[", "/"),
    ],
)
def test_the_plain_form_goes_back_to_a_page_of_ours_only(referer: str, back: str, shared: Web) -> None:
    headers = {"Referer": referer} if referer else {}
    answer = shared.made.world.run(shared.send("POST", "/all-off", headers=headers, data={"any": "thing"}))
    assert (answer.status_code, answer.headers["location"]) == (303, back)


def test_whoever_has_the_right_to_watch_changes_nothing(shared: Web) -> None:
    assert shared.made.life is not None
    table = shared.made.life.desk.table.values()
    assert [verb.name for verb in table if verb.right == "watch" and not reads(verb)] == []
    assert "walkin-start" not in [verb.name for verb in table if reads(verb)]


def test_every_argument_of_a_verb_has_its_row_with_bounds_and_example(shared: Web) -> None:
    assert shared.made.life is not None
    wanted = [(v.name, p.name) for v in shared.made.life.desk.table.values() for p in takes(v)]
    assert [w for w in wanted if w not in OTHERWISE and w[1] not in ARGUMENTS] == []


def test_a_verb_without_rows_is_taken_as_its_signature_says() -> None:
    async def call(count: int, names: tuple[str, ...] = (), by: str = "") -> dict[str, Any]:
        """Something new."""
        return {}

    model = asked(Verb("some-new", "watch", call))
    assert model.model_validate_json('{"count": 3, "names": ["a"]}').model_dump() == {"count": 3, "names": ("a",)}
    for bad in ('{"count": "3"}', '{"count": 3, "by": "Jon"}', "{}"):
        with pytest.raises(ValueError, match="validation error"):
            model.model_validate_json(bad)


def test_a_model_takes_exactly_what_its_verb_takes(shared: Web) -> None:
    assert shared.made.life is not None
    for verb in shared.made.life.desk.table.values():
        fields = asked(verb).model_fields
        assert not {*FILLED} & set(fields), verb.name
        assert set(fields) == set(parameters(verb)) - {*FILLED, OWN_IDS.get(verb.name)}


@pytest.fixture(scope="module")
def shared() -> Any:
    """A field that stays closed: nothing can be started on it."""
    with web() as found:
        yield found
