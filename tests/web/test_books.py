"""The season book and the assessment's sheet as pages of the field: with all off, a way back and a file to keep."""

from __future__ import annotations

import asyncio
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from api_kit import EVERYTHING, Web, tell
from debrief_pages_kit import serve
from edge_pages_kit import Node, read

from fieldctl.debrief.assessment_page import SHEET_STYLE
from fieldctl.debrief.season_page import STYLE
from fieldctl.debrief.summary_kept import made
from fieldctl.web.rights import NOBODY
from sims import pad

ASSESSED = """
title = "Entrance, invented"
limit_min = 5
assessed = true

[[burial]]
name = "A"
"""


async def over(w: Web, drill: str, *searchers: str) -> str:
    row = await w.ok("exercise-start", drill=drill, searchers=searchers)
    await asyncio.sleep(6)
    target = row["burials"][0]["target"]
    pad.play(w.made.world, w.made.nodes[target], pad.probe(w.made.world.rng("probe")))
    await asyncio.sleep(8)
    return str(row["exercise"])


def inside(text: str) -> Node:
    """A page, which keeps to the policy of the pages and has all off and the ways on."""
    page = read(text)
    off = page.one("form", action="/all-off")
    assert off.one("button").attrs["type"] == "submit"
    assert page.one("link", rel="icon")
    assert page.every("a", href="/")
    assert not re.search(r"<style|<[^>]* style=|<script(?![^>]*(?:src=|type=.application/json))", text)
    assert page.one("article", **{"class": "book"})
    return page


async def got(w: Web, path: str) -> str:
    answer = await w.send("GET", path)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_the_season_is_a_page_with_all_off_its_people_and_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        await over(w, "one", "Jon")
        page = inside(await got(w, "/season"))
        assert page.one("link", href="/book.css")
        pictures = page.one("article").every("img")
        assert pictures
        assert all(p.attrs["src"].startswith("data:image/svg+xml;base64,") and p.attrs["alt"] for p in pictures)
        (to,) = [a.attrs["href"] for a in page.every("a") if a.text == "Jon"]
        one = inside(await got(w, to))
        assert one.one("h1").text == "Jon"
        assert one.every("a", href="/season")

        (file,) = [a.attrs["href"] for a in page.every("a") if "download" in a.attrs]
        answer = await w.send("GET", file)
        assert answer.headers["content-disposition"] == 'attachment; filename="season.html"'
        assert "<style>" in answer.text
        assert "all-off" not in answer.text
        assert "<img" not in answer.text
        w.who = NOBODY
        assert (await w.send("GET", "/season")).status_code == 303

    tell(story)


def test_the_sheet_is_a_page_that_the_debrief_of_an_assessed_drill_leads_to(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        drills = tmp_path / "drills"
        drills.mkdir()
        for path in (w.made.folder / "drills").glob("*.toml"):
            (drills / path.name).write_text(path.read_text())
        (drills / "entrance.toml").write_text(ASSESSED)
        controller = w.made.life.controller  # type: ignore[union-attr]
        controller.outside = replace(controller.outside, folder=tmp_path)
        name = await over(w, "entrance", "Jon", "Tove")
        plain = await over(w, "one", "Jon")
        links = [
            a for a in read(await got(w, f"/exercises/{name}/debrief")).every("a") if "assessment" in a.attrs["href"]
        ]
        assert [a.text for a in links] == ["Assessment of Jon", "Assessment of Tove"]
        assert "/assessment" not in await got(w, f"/exercises/{plain}/debrief")
        page = inside(await got(w, links[1].attrs["href"]))
        assert page.one("article").one("h1").text == "Assessment: Tove"
        assert page.every("a", href=f"/exercises/{name}/debrief")
        assert page.one("link", href="/sheet.css")
        (file,) = [a.attrs["href"] for a in page.every("a") if "download" in a.attrs]
        answer = await w.send("GET", file)
        assert answer.headers["content-disposition"] == f'attachment; filename="{name}-assessment.html"'
        assert "<h1>Assessment: Tove</h1>" in answer.text
        # a page of nothing has all off as well
        assert 'action="/all-off"' in (await w.send("GET", f"/exercises/{plain}/assessment")).text
        assert w.who == EVERYTHING

    tell(story)


@pytest.mark.parametrize("style", [STYLE, SHEET_STYLE])
def test_the_style_of_a_book_touches_nothing_of_the_page_around_it(style: str) -> None:
    selectors = re.findall(r"^([^@{}\n]+)\{", style, re.MULTILINE)
    assert len(selectors) >= 20
    assert [one for one in selectors if not one.startswith(":where(.book)")] == []


def test_the_styles_are_served(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        for path, style in (("/book.css", STYLE), ("/sheet.css", SHEET_STYLE)):
            answer = await w.send("GET", path)
            assert answer.headers["content-type"].startswith("text/css")
            assert answer.text == style

    tell(story, opened=False)


def test_the_debrief_leads_to_each_figure_and_says_what_an_earlier_version_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        name = await over(w, "one", "Jon")
        page = read(await got(w, f"/exercises/{name}/debrief"))
        ways = [a.attrs["href"] for a in page.every("a") if f"/{name}/debrief." in a.attrs["href"]]
        assert [way.partition("debrief.")[2] for way in ways] == [
            "html", "csv", "json", "timeline.png", "timeline.svg", "map.png", "map.svg",
        ]  # fmt: skip
        for way in ways[3:]:
            assert (await w.send("GET", way)).status_code == 200
        text = await got(w, f"/exercises/{name}/debrief")
        assert "0.0.9+1" not in text
        ledger = w.made.ledger
        old = made(name, list(ledger.entries(exercise=name)))
        body = json.loads(old.body)
        body["burials"][0]["found_s"] = 1.5
        ledger.put_summaries([replace(old, version="0.0.9+1", body=json.dumps(body))])
        text = await got(w, f"/exercises/{name}/debrief")
        assert "Version 0.0.9+1 said otherwise of the same entries: A seconds to the find: 1.5 then" in text
        assert "0.0.9+1" not in await got(w, f"/exercises/{name}/screen")
        assert "0.0.9+1" in (await w.send("GET", f"/exercises/{name}/debrief.csv")).text

    tell(story)
