"""Every error of the tree over HTTP: a status, a title, a remedy, and an address that says what it means."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import Any

import pytest
from api_kit import HEADERS, Web, is_problem, tell, web
from starlette.requests import Request

from fieldctl import errors
from fieldctl.errors import (
    BadInput,
    Fault,
    FieldctlError,
    FileFaults,
    InUse,
    LedgerBroken,
    LedgerFailed,
    LinkDown,
    NotFound,
    Refused,
    TimedOut,
    Unreachable,
)
from fieldctl.web import problems


def kin(cls: type[FieldctlError]) -> Iterator[type[FieldctlError]]:
    yield cls
    for child in cls.__subclasses__():
        yield from kin(child)


def request(path: str = "/api/v1/status") -> Request:
    return Request(
        {"type": "http", "method": "GET", "path": path, "query_string": b"", "headers": [], "server": ("x", 1)}
    )


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (BadInput("w", remedy="r"), 422),
        (FileFaults([Fault("a.toml", 3, "k", "w", "e", "r")]), 422),
        (NotFound("w", remedy="r"), 404),
        (Refused("w", remedy="r"), 409),
        (InUse("w", remedy="r"), 409),
        (Unreachable("w", remedy="r"), 503),
        (TimedOut("w", remedy="r"), 504),
        (LinkDown("w", remedy="r"), 503),
        (LedgerFailed("w", remedy="r"), 503),
        (LedgerBroken("w", remedy="r"), 503),
        (FieldctlError("w", remedy="r"), 500),
    ],
)
def test_each_error_has_its_status(error: FieldctlError, status: int) -> None:
    row = problems.problem(request(), error)
    assert row["status"] == status
    assert row["code"] == type(error).code
    assert row["detail"] == error.what
    assert row["remedy"] == error.remedy


def test_every_error_of_the_tree_has_a_kind_of_its_own() -> None:
    tree = [cls for cls in kin(FieldctlError) if cls.__module__ == errors.__name__]
    assert len(tree) == 12
    for cls in tree:
        assert cls.code in problems.KINDS, cls


def test_an_error_that_the_table_does_not_name_counts_as_its_kin() -> None:
    class Odd(Refused):
        """A refusal of somebody else's."""

        code = "odd"

    assert problems.kind_of(Odd("w", remedy="r")) == ("refused", problems.KINDS["refused"])


def test_faults_of_a_file_come_whole() -> None:
    faults = [Fault("a.toml", 3, "k", "w", "e", "r"), Fault("b.toml", 4, "l", "v", "d", "q")]
    rows = problems.problem(request(), FileFaults(faults))["faults"]
    assert rows == [{name: getattr(f, name) for name in Fault.__slots__} for f in faults]


def test_every_sentence_passes_through_the_readers_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(problems, "words_of", lambda _request: lambda text: f"<{text}>")
    row = problems.problem(request(), problems.WrongRequest("w", [Fault("request", 0, "k", "a", "b", "c")], "r"))
    for name in ("title", "detail", "expected", "remedy"):
        assert row[name].startswith("<")
        assert row[name].endswith(">")
    assert row["faults"][0] == {
        "file": "request",
        "line": 0,
        "key": "k",
        "wrong": "<a>",
        "expected": "<b>",
        "remedy": "<c>",
    }
    for name in ("type", "code", "instance"):
        assert "<" not in row[name]


def test_a_fault_of_ours_is_told_and_logged_and_the_field_goes_on(caplog: pytest.LogCaptureFixture) -> None:
    async def story(w: Web) -> None:
        async def broken(name: str, arguments: dict[str, Any]) -> None:
            raise ZeroDivisionError("on purpose")

        assert w.made.life is not None
        desk: Any = w.made.life.desk
        whole, desk.ask = desk.ask, broken
        row = is_problem(await w.post("status"), 500, "failed")
        assert "ZeroDivisionError" in row["detail"]
        desk.ask = whole
        assert (await w.post("status")).status_code == 200

    with caplog.at_level(logging.ERROR):
        tell(story)
    assert "on purpose" in caplog.text


def test_a_fault_before_a_verb_is_told_and_logged_too(caplog: pytest.LogCaptureFixture) -> None:
    def lost(_request: object) -> None:
        raise RuntimeError("the accounts are gone (on purpose)")

    async def story(w: Web) -> None:
        w.app.state.identify = lost
        for method, path in (("GET", "status"), ("POST", "exercise-start"), ("GET", "log")):
            answer = await w.send(method, f"/api/v1/{path}", headers=HEADERS, json={} if method == "POST" else None)
            is_problem(answer, 500, "failed")

    with caplog.at_level(logging.ERROR):
        tell(story)
    assert caplog.text.count("on purpose") >= 3


def test_every_kind_has_an_address_that_says_what_it_means() -> None:
    with web() as w:
        run = w.made.world.run
        for code, kind in problems.KINDS.items():
            row = run(w.send("GET", problems.TYPES + code)).json()
            assert row == {
                "type": problems.TYPES + code,
                "title": kind.title,
                "status": kind.status,
                "means": kind.means,
            }
            page = run(w.send("GET", problems.TYPES + code, headers={"Accept": "text/html"}))
            assert page.headers["content-type"].startswith("text/html")
            assert kind.title in page.text
        is_problem(run(w.send("GET", problems.TYPES + "none")), 404, "not-found")
        is_problem(
            run(w.send("GET", problems.TYPES + "%3Cscript%3E", headers={"Accept": "text/html"})), 404, "not-found"
        )


def test_what_the_door_refuses_is_a_problem_of_the_same_shape() -> None:
    with web() as w:
        run = w.made.world.run

        def post(status: int, code: str, headers: dict[str, str], content: bytes = b"{}") -> None:
            is_problem(run(w.send("POST", "/api/v1/exercise-start", headers=headers, content=content)), status, code)

        json_type = {"Content-Type": "application/json"}
        post(421, "other-host", {**HEADERS, **json_type, "Host": "elsewhere.test"})
        post(415, "not-json", HEADERS)
        post(403, "header-missing", json_type)
        post(403, "foreign-page", {**HEADERS, **json_type, "Origin": "http://elsewhere.test"})
        post(413, "too-long", {**HEADERS, **json_type}, b"x" * 70_000)
