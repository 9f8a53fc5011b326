"""Requests made from the contract (schemathesis), each answer held to it: what the tests of the contract stand on."""

from __future__ import annotations

import copy
import os
from collections import Counter
from collections.abc import Callable
from typing import Any

import httpx
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import CHECKS, load_all_checks

LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))

Words = dict[str, list[str]]
Send = Callable[[requests.PreparedRequest], httpx.Response]


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


def knowing(document: dict[str, Any], words: Words, only: Callable[[str], bool]) -> dict[str, Any]:
    """The contract's paths that count, with words that mean something, asked by somebody who is signed in already."""
    known = copy.deepcopy(document)
    known["paths"] = {path: methods for path, methods in known["paths"].items() if only(path)}
    for name, shape in known["components"]["schemas"].items():
        if name.endswith("Asked"):
            for key, row in shape.get("properties", {}).items():
                if key in words:
                    shape["properties"][key] = {"anyOf": [{"enum": words[key]}, row]}
    for methods in known["paths"].values():
        for operation in methods.values():
            operation.pop("security")
            for parameter in operation.get("parameters", []):
                if parameter["name"] in words:
                    parameter["schema"] = {"anyOf": [{"enum": words[parameter["name"]]}, parameter["schema"]]}
    return known


class Fire:
    """Sends what is generated, and holds every answer to the contract."""

    def __init__(self, host: str, send: Send, tend: Callable[[], None] = lambda: None) -> None:
        self._base = f"http://{host}"
        self._send = send
        self._tend = tend
        self._checks = checks()
        self.statuses: Counter[int] = Counter()
        self.good: Counter[str] = Counter()

    def run(self, document: dict[str, Any], mode: GenerationMode, most: int) -> None:
        """So many requests of each operation, right ones or wrong ones."""
        contract = schemathesis.openapi.from_dict(document)
        contract.config.checks.negative_data_rejection.expected_statuses.append("413")  # wrong, and too long as well
        for found in contract.get_all_operations():
            operation = found.ok()
            self._tend()

            @settings(
                max_examples=most,
                deadline=None,
                database=None,
                derandomize=True,
                suppress_health_check=list(HealthCheck),
                phases=[Phase.generate, Phase.shrink] if LONG else [Phase.generate],
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
        parts = case.as_transport_kwargs(base_url=self._base)
        wanted = ("method", "url", "headers", "params", "data", "json", "cookies")
        request = requests.Request(**{name: parts[name] for name in wanted if name in parts}).prepare()
        answer = self._send(request)
        self.statuses[answer.status_code] += 1
        if answer.status_code < 400:
            self.good[case.operation.label] += 1
        case.validate_response(schemathesis.Response.from_any(answer), checks=self._checks)
