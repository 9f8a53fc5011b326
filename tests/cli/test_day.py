"""A day from the command line, on a served site: opened, hand-buried units, all off with one unheard, closed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from served import TARGETS, Served, served

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("day") / "site", seed=8) as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 20)
        yield made


def row(site: Served, *words: str, code: int = 0) -> dict[str, Any]:
    done = site.cli(*words, "--json")
    assert "Traceback" not in done.stderr
    assert done.returncode == code, done.stdout + done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    assert found["schema"] == 1
    return found


OPEN = ("day", "open", "--by", "Ansel", "--hazard", "low (invented)", "--snow", "1.9", "--sweep", "Tove, nothing")
SIGNED = [w for t in TARGETS for w in ("--exception", f"touch:{t}")]


def test_opening(site: Served) -> None:
    checked = row(site, "day", "check")
    assert checked["open"] is False
    assert {p["key"] for p in checked["problems"]} >= {"hazard", "snow", "stray-sweep", f"touch:{TARGETS[0]}"}
    assert checked["heard"] == list(TARGETS)
    for snow, code, said in (("nan", 2, "nan is no snow m"), ("1e400", 2, "inf is no"), ("-1", 5, "cannot be right")):
        done = site.cli(*OPEN[:6], "--snow", snow, *OPEN[8:], *SIGNED)
        assert done.returncode == code
        assert said in done.stderr
    assert row(site, *OPEN, *SIGNED)["in_charge"] == "Ansel"
    again = site.cli(*OPEN, *SIGNED)
    assert again.returncode == 5
    assert "with Ansel in charge" in again.stderr
    assert row(site, "day", "renewed", "tilled", "--zone", "upper")["fresh_left"]["upper"] == 4
    assert row(site, "day", "renewed", "tilled", "--zone", "nowhere", code=2)["error"]["expected"] == "upper"


def test_hand_buried_units(site: Served) -> None:
    assert row(site, "manual", "out", "hand-3", "upper", "below the lone larch", "--by", "Jon")["out"] == ["hand-3"]
    assert "hand-3" in row(site, "manual", "out", "hand-3", "upper", "x", code=5)["error"]["what"]
    status = row(site, "status")
    assert [(m["unit"], m["says"]) for m in status["manual"]] == [("hand-3", "cannot be switched off from here")]
    assert "hand-3 (below the lone larch): cannot be switched off from here" in site.cli("all-off").stdout
    assert row(site, "all-off", "release", "--reason", "a look at it", "--by", "Ansel")["in_force"] is False
    assert row(site, "manual", "in", "nothing", code=2)
    assert row(site, "manual", "in", "hand-3")["not_seen_off"] == ["hand-3"]
    assert row(site, "manual", "in", "hand-3", "--seen-off")["not_seen_off"] == []


@pytest.mark.parametrize(
    "words",
    [
        ("exercise", "show", "x9"), ("exercise", "stop", "x9"), ("exercise", "call", "x9"),
        ("exercise", "split", "x9", "airway"), ("exercise", "answer", "x9", "q", "keep"), ("exercise", "resume", "x9"),
        ("exercise", "correct", "x9", "void", "y"), ("exercise", "start", "nothing"), ("exercise", "check", "../site"),
        ("target", "find", "nobody"), ("target", "name", "nobody", "x"), ("target", "search", "nothing"),
    ],
)  # fmt: skip
def test_nothing_of_that_name(words: tuple[str, ...], site: Served) -> None:
    error = row(site, *words, code=4)["error"]
    assert error["code"] == "not-found"
    assert error["expected"]
    assert error["remedy"]


def test_a_controller_that_steers_from_now_on(site: Served) -> None:
    assert row(site, "generation", "raise", "--reason", "the old base burnt out", "--by", "Ansel")["generation"] == 2
    assert site.cli("generation", "raise").returncode == 2


def test_closing_is_refused_until_everything_was_done(site: Served) -> None:
    error = row(site, "day", "close", "--by", "Ansel", code=5)["error"]["what"]
    for key in ("own-units", "listening-walk", "signature"):
        assert f"[{key}]" in error
    close = ("day", "close", "--by", "Ansel", "--signed", "Ansel", "--own-units-back", "--walk", "Tove, upper zone")
    heard = row(site, *close, "--heard", TARGETS[3], code=5)["error"]["what"]
    assert f"[heard:{TARGETS[3]}]" in heard
    assert TARGETS[3] in row(site, "status")["day"]["barred"]  # barred already, whether or not it closes
    closed = row(site, *close, "--heard", TARGETS[3], "--exception", f"heard:{TARGETS[3]}")
    assert closed["exceptions"] == [f"heard:{TARGETS[3]}"]
    assert site.cli("exercise", "start", "three").returncode == 5
    barred = next(t for t in row(site, "target", "list")["targets"] if t["target"] == TARGETS[3])
    assert barred["life"] == "barred"


def test_all_off_with_nobody_there_any_more_is_done_in_part(site: Served) -> None:
    site.end()
    off = row(site, "all-off", "--wait", "1", code=3)["all_off"]
    assert off["in_force"]
    assert {u["target"] for u in off["unconfirmed"]} == set(TARGETS)
    assert all(u["place"].startswith("upper") and u["heard_s_ago"] >= 0 for u in off["unconfirmed"])
    people = site.cli("all-off", "--wait", "0")
    assert people.returncode == 3
    assert people.stdout.count("NOT confirmed") == 4
    assert site.terminate() == 0
