"""What can be pressed under an assessment's sheet: for whom, when, and what is left out."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from api_kit import EVERYTHING, Web, tell
from debrief_pages_kit import serve
from edge_pages_kit import Node, read

from fieldctl.debrief.assessment import ITEMS, Standing
from fieldctl.units import PersonId
from fieldctl.web.assessment_form import form_of
from fieldctl.web.rights import Who
from sims import pad

ASSESSED = """
title = "Entrance, invented"
limit_min = 5
assessed = true

[[burial]]
name = "A"
"""
JON, MIRA = PersonId("p-jon"), PersonId("p-mira")
NAMES = {JON: "Jon", MIRA: "Mira"}


def a_sheet(**other: Any) -> dict[str, Any]:
    row = {"exercise": "x1", "candidate": JON, "ticks": [], "technical": [], "proposal": "passed"}
    return {**row, "because": ["in-time"], **other}


def form(**other: Any) -> dict[str, Any]:
    sheet = a_sheet(**other)
    return form_of(Standing(sheet, "d" * 64, None, {}, 0, altered=False, now=()), sheet, NAMES, {})


def test_a_technical_fault_leaves_no_way_to_fail() -> None:
    assert [verdict for verdict, _ in form()["verdicts"]] == ["passed", "failed", "repeat"]
    fault = [{"key": "never-on", "about": "A", "says": ""}]
    made = form(technical=fault, proposal="repeat", because=["technical"])
    assert [verdict for verdict, _ in made["verdicts"]] == ["passed", "repeat"]
    assert made["never_failed"]
    assert made["says"] == "something technical went wrong: repeat, never fail (see below)"


def test_every_item_stands_there_with_its_latest_tick() -> None:
    tick = {"item": "airway", "value": "not seen", "why": "", "by": MIRA, "by_hand": False}
    rows = form(ticks=[tick])["items"]
    assert [row["item"] for row in rows] == list(ITEMS)
    assert [(row["item"], row["value"], row["by"]) for row in rows if row["value"]] == [("airway", "not seen", "Mira")]


def test_an_altered_sheet_and_an_exercise_that_goes_on_take_no_press() -> None:
    assert form()["open"]
    assert form()["over"]
    assert not form(proposal="not-over", because=["running"])["over"]
    sheet = a_sheet()
    altered = Standing(sheet, "d" * 64, None, {}, 0, altered=True, now=())
    assert not form_of(altered, sheet, NAMES, {})["open"]


async def got(w: Web, path: str) -> Node:
    answer = await w.send("GET", path)
    assert answer.status_code == 200, answer.text
    return read(answer.text)


def test_who_may_instruct_presses_who_looks_reads_and_nobody_assesses_himself(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        (tmp_path / "drills").mkdir()
        (tmp_path / "drills" / "entrance.toml").write_text(ASSESSED)
        controller = w.made.life.controller  # type: ignore[union-attr]
        controller.outside = replace(controller.outside, folder=tmp_path)
        row = await w.ok("exercise-start", drill="entrance", searchers=("Jon", "Tove"))
        name = row["exercise"]
        page = f"/exercises/{name}/assessment"
        await asyncio.sleep(6)
        assert not (await got(w, f"{page}?candidate=Jon")).every("button", **{"data-do": "tick"})  # it goes on
        target = row["burials"][0]["target"]
        pad.play(w.made.world, w.made.nodes[target], pad.probe(w.made.world.rng("probe")))
        await asyncio.sleep(8)

        choice = await got(w, page)
        assert not choice.every("article")
        assert [a.text for a in choice.every("a") if "candidate=" in a.attrs["href"]] == ["Jon", "Tove"]
        jon = await got(w, f"{page}?candidate=Jon")
        assert len(jon.every("button", **{"data-do": "tick"})) == 3 * len(ITEMS)
        assert len(jon.every("button", **{"data-do": "decide"})) == 3
        assert not jon.every("fc-hold")  # nothing is decided yet

        candidate = jon.one("section", id="assess").attrs["data-candidate"]
        for who in (Who(PersonId("p-x"), "Jon", frozenset({"watch"})), replace(EVERYTHING, person=candidate)):
            w.who = who
            seen = await got(w, f"{page}?candidate=Jon")
            assert seen.one("article")
            assert not [b for b in seen.every("button") if "data-do" in b.attrs]
            assert not seen.every("fc-hold")

    tell(story)
