"""A link for the group: nothing of an exercise that goes on, no places while its targets play again."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from api_kit import EVERYTHING, Web, tell
from debrief_pages_kit import serve

from fieldctl.web.rights import NOBODY
from sims import pad


async def started(w: Web, **more: Any) -> tuple[str, str]:
    row = await w.ok("exercise-start", drill="one", searchers=["Jon"], **more)
    await asyncio.sleep(6)
    return row["exercise"], row["burials"][0]["target"]


def probe(w: Web, target: str) -> None:
    pad.play(w.made.world, w.made.nodes[target], pad.probe(w.made.world.rng("probe")))  # type: ignore[index]


async def by_link(w: Web, path: str) -> Any:
    w.who = NOBODY
    answer = await w.send("GET", path)
    w.who = EVERYTHING
    return answer


def test_a_link_to_an_exercise_that_goes_on_is_not_made(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        name, _ = await started(w)
        answer = await w.post("exercise-link", exercise=name)
        assert (answer.status_code, answer.json()["code"]) == (409, "refused")
        assert "would be a hint" in answer.json()["detail"]
        assert answer.json()["remedy"]
        await w.ok("exercise-stop", exercise=name)
        assert (await w.ok("exercise-link", exercise=name))["exercise"] == name

    tell(story)


def test_behind_a_link_nothing_is_seen_again_once_the_end_was_taken_back(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        name, target = await started(w)
        probe(w, target)
        await asyncio.sleep(8)
        link = (await w.ok("exercise-link", exercise=name))["path"]
        seen = await by_link(w, link)
        assert seen.status_code == 200
        assert "<article" in seen.text
        await w.ok("exercise-reopen", exercise=name)
        hidden = await by_link(w, link)
        assert hidden.status_code == 409
        assert "<article" not in hidden.text
        assert "would be a hint" in hidden.text
        await asyncio.sleep(1)
        await w.ok("exercise-stop", exercise=name)
        assert (await by_link(w, link)).status_code == 200

    tell(story)


def test_the_places_are_left_out_while_a_target_of_it_plays_again(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(w: Web) -> None:
        serve(monkeypatch, w)
        name, target = await started(w)
        probe(w, target)
        await asyncio.sleep(8)
        link = (await w.ok("exercise-link", exercise=name))["path"]
        label = w.made.life.controller.names.get(target) or target  # type: ignore[union-attr]
        depth = w.made.site.place(target).depth_m  # type: ignore[arg-type]
        places = ('<figure class="map">', f"{label}: {depth:.1f} m deep")
        page = await by_link(w, link)
        assert [place for place in places if place not in page.text] == []
        again, same = await started(w, targets={"A": target})
        assert same == target
        page = await by_link(w, link)
        assert page.status_code == 200
        assert not any(place in page.text for place in places)
        assert "left out while another exercise" in page.text
        assert '<figure class="timeline">' in page.text
        await w.ok("exercise-stop", exercise=again)
        page = await by_link(w, link)
        assert [place for place in places if place not in page.text] == []

    tell(story)
