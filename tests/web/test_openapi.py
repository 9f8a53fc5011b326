"""The contract: complete, valid by itself, its examples are taken, and real answers are what it says."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Iterator
from typing import Any

import httpx
import people_kit
import pytest
from api_kit import Web, is_problem, somebody, tell, web
from jsonschema_rs import Draft202012Validator
from pydantic import BaseModel

from fieldctl.web.api_answers import ANSWERS, Alive, Log, Meaning, Problem, Ready, Verbs
from fieldctl.web.api_models import asked
from fieldctl.web.app import make_app
from fieldctl.web.openapi import example
from fieldctl.web.openapi_examples import PROBLEMS
from fieldctl.web.openapi_ways import WAYS
from fieldctl.web.problems import KINDS, MEDIA
from sims import pad


@pytest.fixture(scope="module")
def whole() -> Iterator[tuple[Web, dict[str, Any]]]:
    with web() as found:
        yield found, found.made.world.run(found.send("GET", "/api/v1/openapi.json")).json()


Whole = tuple[Web, dict[str, Any]]


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def verbs(w: Web) -> list[Any]:
    assert w.made.life is not None
    return list(w.made.life.desk.table.values())


def test_every_verb_is_in_it_with_right_summary_and_an_answer_of_named_shape(whole: Whole) -> None:
    w, document = whole
    for verb in verbs(w):
        operation = document["paths"][f"/api/v1/{verb.name}"]["post"]
        assert operation["x-right"] == verb.right
        assert operation["summary"].rstrip(".") in " ".join((verb.call.__doc__ or "").split())
        assert operation["security"] == ([] if verb.right == "anybody" else [{"session": []}])
        assert verb.name in ANSWERS, f"what {verb.name} answers is not described"


def test_what_it_refers_to_is_there_and_every_operation_has_a_name_of_its_own(whole: Whole) -> None:
    _, document = whole

    def refs(value: Any) -> Iterator[str]:
        if isinstance(value, dict):
            if isinstance(value.get("$ref"), str):
                yield value["$ref"]
            for inner in value.values():
                yield from refs(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from refs(inner)

    for ref in set(refs(document)):
        _, _, kind, name = ref.split("/")
        assert name in document["components"][kind], ref
    ids = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(ids) == len(set(ids))
    for name, schema in document["components"]["schemas"].items():
        Draft202012Validator({**schema, "components": document["components"]})
        assert schema.get("description") or name in ("Keying", "Apart", "Cue", "Scene", "Signal"), name


def test_every_operation_names_the_problems_that_it_can_meet(whole: Whole) -> None:
    w, document = whole
    for path, method, operation in operations(document):
        codes = set(operation["responses"])
        assert {"421", "500"} <= codes, path
        if method == "post" and "x-right" in operation and not path.endswith("all-off"):
            assert {"403", "413", "415", "422", "503", "504", "404", "409"} <= codes, path
            assert "refused" in operation["responses"]["409"]["$ref"], path
        if operation["security"]:
            assert "401" in codes, path
        if operation.get("x-right", "anybody") != "anybody":
            assert {"401", "403"} <= codes, path
    for verb in verbs(w):
        names = {p["name"] for p in document["paths"][f"/api/v1/{verb.name}"]["post"].get("parameters", [])}
        key = "Idempotency-Key" in names
        assert key == (verb.name.rpartition("-")[2] not in ("status", "list", "check", "show", "off")), verb.name
        assert ("X-Fieldctl" in names) == (verb.name != "all-off")


def test_every_example_is_taken_and_names_every_argument(whole: Whole) -> None:
    w, document = whole
    for verb in verbs(w):
        model = asked(verb)
        body = document["paths"][f"/api/v1/{verb.name}"]["post"].get("requestBody")
        if verb.name == "all-off":
            assert body is None
            continue
        given = body["content"]["application/json"]["examples"]["usual"]["value"]
        assert given == example(verb)
        shape = {"$ref": f"#/components/schemas/{model.__name__}", "components": document["components"]}
        assert Draft202012Validator(shape).is_valid(given), verb.name
        answer = w.made.world.run(w.raw(verb.name, httpx.Request("POST", "http://x", json=given).content))
        if answer.status_code == 422:
            assert answer.json()["faults"] == [], (verb.name, answer.text)


def test_the_list_of_verbs_is_for_people_and_for_programs(whole: Whole) -> None:
    w, _ = whole
    row = w.made.world.run(w.send("GET", "/api/v1/")).json()
    told(Verbs, row)
    assert [v["verb"] for v in row["verbs"]] == [v.name for v in verbs(w)]
    assert next(v for v in row["verbs"] if v["verb"] == "exercise-show")["takes"] == ["exercise"]
    answer = w.made.world.run(w.send("GET", "/api/v1/", headers={"Accept": "text/html,*/*"}))
    assert answer.headers["content-type"].startswith("text/html")
    assert "<script" not in answer.text
    assert "style=" not in answer.text
    for verb in verbs(w):
        assert f"<code>{verb.name}</code>" in answer.text


def test_every_problem_has_an_example_of_each_of_its_kinds_and_every_short_answer_one_that_fits(whole: Whole) -> None:
    _, document = whole
    responses = document["components"]["responses"]
    assert len(responses) > 20
    for name, response in responses.items():
        examples = response["content"][MEDIA]["examples"]
        assert set(examples) == set(name.partition("-")[2].split("-or-")), name
        for code, row in examples.items():
            told(Problem, row["value"])
            assert (row["value"]["code"], row["value"]["status"]) == (code, int(name[:3]))
            assert row["value"]["remedy"], code
            assert row["value"]["faults"] or code not in ("bad-input", "file-faults")
    assert set(PROBLEMS) == set(KINDS)
    found = 0
    for path, method, operation in operations(document):
        for answer in operation["responses"].values():
            shown = answer.get("content", {}).get("application/json", {})
            for row in shown.get("examples", {}).values():
                shape = {**shown["schema"], "components": document["components"]}
                assert Draft202012Validator(shape).is_valid(row["value"]), (path, method)
                found += 1
    assert found >= 8


def test_neither_by_nor_via_nor_an_id_of_ours_can_be_given(whole: Whole) -> None:
    _, document = whole
    for name, schema in document["components"]["schemas"].items():
        if name.endswith("Asked"):
            assert schema["additionalProperties"] is False
            assert not {"by", "via", "request", "correction"} & set(schema.get("properties", {})), name


# ---- real answers ------------------------------------------------------------------------------------------------


def told(model: type[BaseModel], value: Any) -> None:
    """Check that a real answer fits its model, and has no field that the model does not describe."""
    model.model_validate_json(json.dumps(value), strict=True, extra="forbid")


def test_told_finds_what_is_missing_and_what_is_more() -> None:
    good = {"type": "a", "title": "b", "status": 404, "means": "c"}
    told(Meaning, good)
    for bad in ({**good, "more": 1}, {k: v for k, v in good.items() if k != "means"}, {**good, "status": "404"}):
        with pytest.raises(ValueError, match="validation error"):
            told(Meaning, bad)


async def _answered(w: Web, verb: str, **arguments: Any) -> dict[str, Any]:
    row = await w.ok(verb, **arguments)
    told(ANSWERS[verb], row)
    return row


def test_real_answers_are_what_the_contract_says() -> None:
    """A day with nearly every verb in it, each answer held to its model."""

    async def story(w: Web) -> None:
        ask, made = _answered, w.made
        await ask(w, "day-check")
        problems = (await ask(w, "day-check", touched=["5ee00001"]))["problems"]
        await ask(
            w,
            "day-open",
            hazard="low (invented)",
            snow_m=1.9,
            touched=["5ee00001"],
            stray_sweep="Tove, nothing (invented)",
            exceptions=[p["key"] for p in problems if p["may_sign"]],
        )
        await ask(w, "manual-out", unit="M3", zone="upper", place="by the third stake")
        await ask(w, "status")
        await ask(w, "manual-in", unit="M3", seen_off=True)
        await ask(w, "drill-list")
        await ask(w, "drill-show", drill="mixed")
        await ask(w, "exercise-check", drill="mixed")
        await ask(w, "exercise-check", drill="mixed", targets={"A": "5ee00001", "B": "5ee00001"})
        row = await ask(w, "exercise-start", drill="mixed", searchers=["Jon"])
        x, b = row["exercise"], {r["burial"]: r["target"] for r in row["burials"]}
        await ask(w, "exercise-check", drill="one")
        await asyncio.sleep(30)
        node = made.nodes[b["A"]]
        pad.play(made.world, node, pad.probe(made.world.rng("probe")))
        await asyncio.sleep(6)
        call = (await ask(w, "exercise-call", exercise=x, burial="B", searcher="Jon", ago_s=1.0))["call"]
        await ask(w, "exercise-split", exercise=x, name="coarse")
        await ask(w, "exercise-split", exercise=x, name="airway", burial="A")
        found = await ask(w, "exercise-show", exercise=x)
        assert {r["burial"] for r in found["burials"] if r["find"]} == {"A", "B"}
        done = await ask(w, "exercise-correct", exercise=x, change="void", about=call, why="not heard")
        await ask(w, "exercise-correct", exercise=x, change="add-hit", about="A", value=20.5, why="seen")
        await ask(w, "exercise-correct", exercise=x, change="undo", about=done["correction"], why="heard after all")
        await asyncio.sleep(6)
        await ask(w, "exercise-stop", exercise=x)
        await asyncio.sleep(1)
        await ask(w, "exercise-reopen", exercise=x)
        await asyncio.sleep(1)
        await ask(w, "all-off")
        await asyncio.sleep(6)
        await ask(w, "status")
        await ask(w, "all-off-release", reason="everybody back")
        await ask(w, "exercise-list")
        await ask(w, "exercise-link", exercise=x)
        await ask(w, "target-list")
        await ask(w, "target-trace", target=b["A"])
        await ask(w, "target-name", target="5ee00001", name="By the gate")
        await ask(w, "target-bar", target="By the gate", reason="heard on the walk")
        await ask(w, "target-clear", target="5ee00001", reason="dug out, quiet")
        await ask(w, "target-locate", target="5ee00001")
        await ask(w, "snow-measured", snow_m=1.9, zone="upper")
        await ask(w, "snow-import", csv="date,snow_m\n2031-01-02,1.7\n", file="winter.csv")
        await ask(w, "snow-list")
        await ask(w, "target-moved", target="5ee00001", notes="out of the cornice (invented)")
        await ask(w, "target-search", link="bus")
        await ask(w, "target-rotate", target="5ee00002")
        await ask(w, "generation-raise", reason="a twin was heard (invented)")
        await ask(w, "day-renewed", how="tilled")
        await asyncio.sleep(10)
        closing = (await ask(w, "day-check"))["problems"]
        await ask(
            w,
            "day-close",
            signed="Ansel",
            own_units_back=True,
            listening_walk="Tove, the whole field, quiet (invented)",
            exceptions=[p["key"] for p in closing if p["may_sign"]],
        )
        await ask(w, "target-locate", target="5ee00003", send=True)
        await ask(w, "status")
        await ask(w, "target-locate-end", target="5ee00003")
        await ask(w, "target-take-out", target="5ee00003", reason="to the workshop", lost=False)
        told(Alive, (await w.send("GET", "/health")).json())
        told(Ready, (await w.send("GET", "/ready")).json())
        told(Problem, is_problem(await w.post("exercise-show", exercise="x9"), 404, "not-found"))
        told(Problem, is_problem(await w.raw("exercise-show", b'{"exercise": 9}'), 422, "bad-input"))
        after = 0
        while after is not None:
            page = (await w.send("GET", f"/api/v1/log?after={after}&limit=20")).json()
            told(Log, page)
            after = page["next"]

    tell(story, opened=False, serial=4)


def test_real_answers_about_people_and_the_walk_in_are_what_the_contract_says() -> None:
    async def story(w: Web) -> None:
        ask = _answered
        await ask(w, "right-list")
        await ask(w, "right-give", person="Jon", right="instruct")
        await ask(w, "right-give", person="Tove", right="watch", until="good")
        await ask(w, "phone-code", person="Jon")
        await ask(w, "right-take", person="Jon", right="instruct")
        await ask(w, "phone-end-all", person="Jon")
        await ask(w, "first-code")
        await ask(w, "right-list")
        await ask(w, "person-list")
        await ask(w, "person-rename", person="Tove", name="Tove R")
        await ask(w, "person-forget", person="Tove R")
        await ask(w, "person-list")
        await ask(w, "walkin-release", drill="one", zones=["upper"], ends_in_min=60.0)
        await ask(w, "walkin-status")
        await ask(w, "walkin-start", zone="upper")
        await asyncio.sleep(10)
        await ask(w, "walkin-start", zone="upper")
        await ask(w, "walkin-stop", zone="upper")
        await ask(w, "walkin-status")
        await ask(w, "walkin-end")

    tell(story)


async def test_real_answers_of_the_ways_in_are_what_the_contract_says() -> None:
    ways = {way.name: way for way in WAYS}
    async with people_kit.there() as t:
        boss, other = people_kit.Phone(t), people_kit.Phone(t)

        async def held(phone: people_kit.Phone, way: str, /, **arguments: Any) -> dict[str, Any]:
            row = await phone.ok(way, **arguments) if ways[way].asked is not None else await phone.row()
            fits = []
            for model in ways[way].answers:
                with contextlib.suppress(ValueError):
                    told(model, row)
                    fits.append(model)
            assert len(fits) == 1, (way, row)
            return row

        code = t.accounts.first_code()
        await held(boss, "first", code=code, name="Ansel", password=people_kit.PASSWORD)
        await held(boss, "own")
        made = await held(boss, "own-phone-code")
        await held(other, "pair", code=made["code"])
        await held(other, "own-password", old=people_kit.PASSWORD, new=people_kit.PASSWORD + " again")
        await held(boss, "own-phone-end", phone=(await held(other, "own"))["this_phone"])
        await held(boss, "own-phone-end", phone=(await held(boss, "own"))["this_phone"])
        await held(other, "sign-in", name="Ansel", password=people_kit.PASSWORD + " again")
        await held(other, "sign-out")
        is_problem(await other.client.get("/api/v1/own"), 401, "not-signed-in")


async def test_whatever_the_contract_names_is_there_in_the_whole_application() -> None:
    """In the app as serve puts it together: the API's answer for what it does not know hides nothing."""
    async with people_kit.there() as t:
        t.app = make_app(t.app.state.house)
        phone = people_kit.Phone(t)
        document = (await phone.client.get("/api/v1/openapi.json")).json()
        for path, method, operation in operations(document):
            if path not in ("/api/v1/live", "/qr.svg", "/metrics"):
                content = (
                    {"content": b"{}", "headers": {"Content-Type": "application/json"}} if method == "post" else {}
                )
                answer = await phone.client.request(method, path.replace("{code}", "refused"), **content)
                assert answer.status_code not in (404, 405), (method, path, answer.text)
                assert str(answer.status_code) in operation["responses"], (method, path, answer.text)
        live = document["paths"]["/api/v1/live"]["get"]
        wrong = await phone.client.get("/api/v1/live")  # it lacks its browser; a whole request has no end
        held(document, live, wrong, MEDIA)
        assert is_problem(wrong, 422, "bad-input")["remedy"]
        barred = await phone.client.get("/api/v1/live?audience=watch&browser=browser-0001")
        held(document, live, barred, MEDIA)
        assert "Sign in" in is_problem(barred, 403, "right-missing")["remedy"]
        held(document, document["paths"]["/metrics"]["get"], await phone.client.get("/metrics"), "text/plain")
        drawn = document["paths"]["/qr.svg"]["get"]
        held(document, drawn, await phone.client.get("/qr.svg?to=/now"), MEDIA)
        boss = await t.in_charge()
        held(document, drawn, await boss.client.get("/qr.svg?to=/now"), "image/svg+xml")
        held(document, drawn, await boss.client.get("/qr.svg?to=//elsewhere"), MEDIA)
        t.app.state.identify = lambda _request: somebody()
        less = await phone.client.get("/api/v1/live?audience=watch&browser=browser-0002")
        assert "in charge" in is_problem(less, 403, "right-missing")["remedy"]


def held(document: dict[str, Any], operation: dict[str, Any], answer: httpx.Response, media: str) -> None:
    """Check that the contract names this answer's status and that it comes in the form that it names."""
    row = operation["responses"][str(answer.status_code)]
    if "$ref" in row:
        row = document["components"]["responses"][row["$ref"].rpartition("/")[2]]
    assert list(row["content"]) == [media], answer.text
    assert answer.headers["content-type"].partition(";")[0] == media


def test_every_way_in_is_in_it_with_an_example_that_its_model_takes(whole: Whole) -> None:
    _, document = whole
    for way in WAYS:
        (operation,) = document["paths"][f"/api/v1/{way.name}"].values()
        assert operation["summary"] == way.says
        if way.asked is not None:
            way.asked.model_validate_json(json.dumps(dict(way.example)))
            assert set(way.example) <= set(way.asked.model_fields)
