"""The contract under fire: requests made from it (schemathesis), right and wrong ones, against a real controller.

No server error, no answer that the contract does not name, nothing wrong taken. In virtual time; each operation is met
by a field that is open, released, with an exercise that goes on, and in what the requests before it made of it.
FIELDCTL_TESTS_LONG makes many more of them.
"""

from __future__ import annotations

import asyncio
import copy
import os
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
import requests
import schemathesis
from api_kit import HOST, NOBODY, Web, web
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks

from fieldctl.drill.corrections import CHANGES

LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))
RIGHT, WRONG = (120, 60) if LONG else (14, 6)  # requests of each operation

WORDS: dict[str, list[str]] = {
    "drill": ["one", "chain", "mixed"],
    "exercise": ["x1", "x2", "x3"],
    "burial": ["A", "B", "N"],
    "target": ["5ee00001", "5ee00002", "Larch 3"],
    "link": ["bus"],
    "zone": ["upper"],
    "change": list(CHANGES),
    "about": ["A", "x1", "x2"],
    "person": ["Mira", "Jon"],
    "until": ["today", "good"],
    "reason": ["seen (invented)"],
    "why": ["seen (invented)"],
    "unit": ["M3"],
    "release": ["w1"],
    "name": ["coarse"],
}
"""What a request has to say to get further than "there is no such thing"."""


def checks() -> list[Any]:
    load_all_checks()
    names = (
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
        "negative_data_rejection",
        "missing_required_header",
    )
    return [CHECKS.get_one(name) for name in names]


def knowing(document: dict[str, Any]) -> dict[str, Any]:
    """The contract with words that mean something on this field, asked by somebody who is signed in already."""
    known = copy.deepcopy(document)
    for name, shape in known["components"]["schemas"].items():
        if name.endswith("Asked"):
            for key, row in shape.get("properties", {}).items():
                if key in WORDS:
                    shape["properties"][key] = {"anyOf": [{"enum": WORDS[key]}, row]}
    for methods in known["paths"].values():
        for operation in methods.values():
            operation.pop("security")
            for parameter in operation.get("parameters", []):
                if parameter["name"] in WORDS:
                    parameter["schema"] = {"anyOf": [{"enum": WORDS[parameter["name"]]}, parameter["schema"]]}
    return known


class Fire:
    """Sends what is generated, and holds every answer to the contract."""

    def __init__(self, w: Web) -> None:
        self.w = w
        self.statuses: Counter[int] = Counter()
        self.good: Counter[str] = Counter()
        self._checks = checks()

    def run(self, document: dict[str, Any], mode: GenerationMode, most: int) -> None:
        for found in schemathesis.openapi.from_dict(document).get_all_operations():
            operation = found.ok()
            self.w.made.world.run(self._tend())

            @settings(
                max_examples=most,
                deadline=None,
                database=None,
                derandomize=True,
                suppress_health_check=list(HealthCheck),
                phases=[Phase.generate] if not LONG else [Phase.generate, Phase.shrink],
            )
            @given(case=operation.as_strategy(mode))
            def each(case: schemathesis.Case) -> None:
                self._one(case)

            try:
                each()
            except Unsatisfiable:  # an operation that takes nothing cannot be given anything wrong
                assert mode.is_negative, operation.label
                assert not operation.headers, operation.label

    def _one(self, case: schemathesis.Case) -> None:
        parts = case.as_transport_kwargs(base_url=f"http://{HOST}")
        wanted = ("method", "url", "headers", "params", "data", "json", "cookies")
        request = requests.Request(**{name: parts[name] for name in wanted if name in parts}).prepare()
        answer = self.w.made.world.run(self._send(request))
        self.statuses[answer.status_code] += 1
        if answer.status_code < 400:
            self.good[case.operation.label] += 1
        case.validate_response(schemathesis.Response.from_any(answer), checks=self._checks)

    async def _send(self, request: requests.PreparedRequest) -> Any:
        assert request.method
        assert request.url
        answer = await self.w.send(
            request.method, request.url, content=request.body or b"", headers=dict(request.headers)
        )
        await asyncio.sleep(0.3)
        return answer

    async def _tend(self) -> None:
        """An open, released field with an exercise that goes on."""
        life = self.w.made.life
        assert life is not None
        if life.controller.all_off.state.in_force:
            await life.desk.ask("all-off-release", {"by": "Ansel", "reason": "the next one (invented)"})
            await asyncio.sleep(1)
        for target in set(life.controller.day.barred) & set(life.controller.known):
            await life.desk.ask("target-clear", {"target": target, "by": "Ansel", "reason": "dug out (invented)"})
        assert await self.w.made.open_day()
        running = [e for e in life.controller.exercises.running() if e.drill.name != "one"]
        if not running:
            await self.w.made.ask("exercise-start", drill="chain", by="Mira", searchers=("Jon",))
            await asyncio.sleep(3)


@pytest.fixture(scope="module")
def fire() -> Iterator[tuple[Fire, dict[str, Any]]]:
    with web(serial=6) as w:
        document = w.made.world.run(w.send("GET", "/api/v1/openapi.json")).json()
        yield Fire(w), document


def test_right_requests_meet_no_fault_and_no_answer_that_is_not_named(fire: tuple[Fire, dict[str, Any]]) -> None:
    sent, document = fire
    sent.run(knowing(document), GenerationMode.POSITIVE, RIGHT)
    assert sent.statuses[200] >= 150, sent.statuses
    assert len(sent.good) >= 30, "too few operations got through for this to mean anything"


def test_wrong_requests_are_refused_and_meet_no_fault(fire: tuple[Fire, dict[str, Any]]) -> None:
    sent, document = fire
    before = sent.statuses[422]
    sent.run(knowing(document), GenerationMode.NEGATIVE, WRONG)
    assert sent.statuses[422] > before + 50


def test_a_stranger_gets_no_further_than_all_off_and_what_is_for_anybody(fire: tuple[Fire, dict[str, Any]]) -> None:
    sent, document = fire
    sent.w.who = NOBODY
    before = sent.statuses[401]
    sent.good.clear()
    sent.run(knowing(document), GenerationMode.POSITIVE, 2)
    assert sent.statuses[401] >= before + 50
    operations = {f"{m.upper()} {p}": row for p, ms in document["paths"].items() for m, row in ms.items()}
    assert {label for label in sent.good if operations[label]["security"]} == set()
