"""Visits, the self-test and the retrieval from the command line, on a served site."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from served import TARGETS, Served, served

pytestmark = pytest.mark.timeout(180)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("carry") / "site", seed=9) as made:
        made.start()
        made.until(lambda s: all(t["life"] == "online" for t in s["targets"]), 30)
        yield made


def row(site: Served, *words: str, code: int = 0) -> dict[str, Any]:
    done = site.cli("upkeep", *words, "--json")
    assert "Traceback" not in done.stderr
    assert done.returncode == code, done.stdout + done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_a_visit_from_its_list_to_its_signature(site: Served) -> None:
    assert row(site, "visit", "show", code=4)["error"]["what"] == "Nobody has gone up yet."
    barred = site.cli("target", "bar", TARGETS[1], "--reason", "heard on the walk", "--by", "Ansel")
    assert barred.returncode == 0
    begun = row(site, "visit", "begin", "--by", "Tove")
    assert [item["item"] for item in begun["items"]] == [f"{TARGETS[1]}:barred"]
    ticked = row(site, "visit", "tick", "Larch 1", "--by", "Tove")
    assert [item["state"] for item in ticked["items"]] == ["open", "done"], "changed on the way"
    row(site, "visit", "untick", "Larch 1", "--by", "Tove")
    assert "reason" in row(site, "visit", "tick", "Larch 2", "--what", "barred", "--not-done", code=2)["error"]["what"]
    row(site, "visit", "tick", "Larch 2", "--what", "barred", "--not-done", "--why", "ice", "--by", "Tove")
    shown = site.cli("upkeep", "visit", "show").stdout
    assert "Larch 2 (barred): not done" in shown
    assert "Not done: ice" in shown
    assert row(site, "visit", "close", "--signed", "Tove", "--by", "Tove", "--why", "fog")["signed"] == "Tove"
    assert "What nobody ticked was left: fog" in site.cli("upkeep", "visit", "show").stdout
    assert row(site, "visit", "close", "--signed", "Tove", code=5)["error"]["what"].endswith("already.")
    assert "v1" in site.cli("upkeep", "visit", "list").stdout
    assert row(site, "visit", "tick", "Spruce 9", code=4)["error"]["expected"]


def test_fresh_cells_that_were_said_of_the_wrong_target_are_taken_back(site: Served) -> None:
    said = row(site, "swapped", "Larch 2", "--day", "2026-01-24", "--by", "Tove")
    assert row(site, "swapped", "Larch 2", "--day", "2026-01-24", "--undo", "--by", "Tove") == said
    again = row(site, "swapped", "Larch 2", "--day", "2026-01-24", "--undo", "--by", "Tove", code=4)["error"]
    assert again["what"] == "Nobody said that Larch 2 was given fresh cells on 2026-01-24."
    assert "no note" in row(site, "swapped", "Larch 2", "--undo", "--notes", "x", code=2)["error"]["what"]


def test_the_self_test_says_who_lacks_what_and_prints(site: Served, tmp_path: Path) -> None:
    made = row(site, "self-test", "run", "--by", "Tove")
    assert made["round"] == 1
    assert {"pad", "receiver"} <= set(made["targets"][0]["lacks"])
    assert "person until proved otherwise" in row(site, "self-test", "heard", "Larch 1", code=5)["error"]["remedy"]
    shown = site.cli("upkeep", "self-test", "show").stdout
    assert "was not touched yet" in shown
    sheet = tmp_path / "self-test.html"
    assert site.cli("upkeep", "self-test", "show", "--html", str(sheet)).stdout == f"written: {sheet}\n"
    text = sheet.read_text(encoding="utf-8")
    assert "Heard sending with a receiver" in text
    assert "Larch 4 was not touched yet" in text


def test_the_retrieval_closes_at_n_of_n(site: Served, tmp_path: Path) -> None:
    row(site, "retrieval", "begin", "--by", "Ansel")
    for target in TARGETS[:3]:
        row(site, "retrieval", "got", target, "--by", "Tove")
    assert row(site, "retrieval", "close", "--by", "Ansel", code=5)["error"]["what"] == "Still out there: Larch 4."
    row(site, "retrieval", "undo", "Larch 3", "--by", "Tove")
    assert row(site, "retrieval", "got", "Larch 3", "--by", "Tove")["n"] == 3
    row(site, "retrieval", "lost", "Larch 4", code=2)
    row(site, "retrieval", "lost", "Larch 4", "--reason", "probed, nothing", "--told", "Ansel", "--by", "Tove")
    sheet = tmp_path / "spring.html"
    row(site, "retrieval", "show", "--html", str(sheet))
    assert "probed, nothing" in sheet.read_text(encoding="utf-8")
    assert row(site, "retrieval", "close", "--signed", "Ansel", "--by", "Ansel")["signed"] == "Ansel"
    carry = row(site, "carry")
    assert [one["name"] for one in carry["in_box"]] == ["Larch 1", "Larch 2", "Larch 3"]
    assert {TARGETS[0], TARGETS[1], TARGETS[2]}.isdisjoint({stop["target"] for stop in carry["stops"]})
    assert "In the box since" in site.cli("upkeep", "carry").stdout
    shown = site.cli("upkeep", "retrieval", "show").stdout
    assert "Lost, for ever on this list" in shown
    assert "Any signal is a person until proved otherwise." in shown
