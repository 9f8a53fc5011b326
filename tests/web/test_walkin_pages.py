"""The public page of the walk-in: a button a zone, no name, no hint before the end; and the panel that releases it."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from typing import Any

import pytest
from edge_pages_kit import ANSEL, NOBODY, Node, Pages, somebody, tell

from fieldctl.events import ExerciseStarted, WalkInReleased
from fieldctl.web.views import VIEWS
from sims import pad
from sims.field import Field


def two_zones(made: Field) -> None:
    zones = ("upper", "lower")
    made.site = replace(made.site, places=tuple(replace(p, zone=zones[i % 2]) for i, p in enumerate(made.site.places)))


def section(page: Node, zone: str = "upper") -> Node:
    return page.one("section", data_zone=zone)


def shown(node: Node) -> bool:
    return "hidden" not in node.attrs


async def released(w: Pages, **more: Any) -> None:
    w.who = ANSEL
    await w.ok("walkin-release", **{"drill": "one", "zones": ["upper"], "ends_in_min": 120.0, **more})
    w.who = NOBODY


def test_anybody_starts_a_party_and_sees_what_it_found_only_at_its_end() -> None:
    async def story(w: Pages) -> None:
        w.who = NOBODY
        page = await w.page("/walk-in")
        assert "No walk-in is released now." in page.one("p", id="none").text
        assert not shown(section(page))
        await released(w)
        page = await w.page("/walk-in")
        assert not shown(page.one("p", id="none"))
        zone = section(page)
        assert shown(zone)
        assert not shown(section(page, "lower"))
        assert "One burial (invented)" in zone.text
        assert "It ends by itself after 15 min." in zone.text
        start = zone.one("fc-hold", data_part="start")
        assert (shown(start), start.attrs["ms"]) == (True, "700")
        answer = await w.ok("walkin-start", zone="upper")
        assert answer["did"] == "started"
        await asyncio.sleep(6)
        zone = section(await w.page("/walk-in"))
        assert "A party is out." in zone.text
        assert not shown(zone.one("fc-hold", data_part="start"))
        assert shown(zone.one("button", data_part="stop"))
        assert "found" not in zone.text
        (target,) = list(w.made.ledger.facts(kinds=(ExerciseStarted,)))[-1].picks.values()
        pad.play(w.made.world, w.made.nodes[target], pad.probe(w.made.world.rng("probe")))
        await asyncio.sleep(5)
        zone = section(await w.page("/walk-in"))
        assert "The last party found 1 of 1." in zone.text
        assert "A pause after the last party." in zone.text

    tell(story, opened=True)


def test_the_page_has_neither_names_nor_targets_nor_survival() -> None:
    async def story(w: Pages) -> None:
        await released(w)
        await w.ok("walkin-start", zone="upper")
        await asyncio.sleep(5)
        text = (await w.send("GET", "/walk-in")).text
        for word in ("Ansel", "Mira", "Larch 1", "Larch 2", "Larch 3", *w.made.site.targets, "surviv"):
            assert word not in text, word

    tell(story, opened=True)


def test_the_cautions_stand_on_it_and_what_to_do_at_the_end() -> None:
    async def story(w: Pages) -> None:
        text = (await w.page("/walk-in", NOBODY)).text
        for said in (
            "A training aid, not rescue equipment. Any signal is a person until proved otherwise.",
            "back to send after it",
            "all off and rescue, at the same time",
            "Keep phones and radios away",
            "near marked cables",
            "Every own unit back to send.",
        ):
            assert said in text

    tell(story)


def test_a_child_presses_start_forty_times() -> None:
    async def story(w: Pages) -> None:
        await released(w)
        answers = await asyncio.gather(*(w.ok("walkin-start", zone="upper") for _ in range(40)))
        assert sorted(a["did"] for a in answers) == ["goes-on"] * 39 + ["started"]
        assert len(list(w.made.ledger.facts(kinds=(ExerciseStarted,)))) == 1

    tell(story, opened=True)


@pytest.mark.parametrize("right", [None, "watch", "instruct", "upkeep"])
def test_only_the_one_in_charge_releases_and_ends(right: Any) -> None:
    async def story(w: Pages) -> None:
        await released(w)
        w.who = NOBODY if right is None else somebody(right, name="Jon")
        page = await w.page("/walk-in")
        assert not page.every("section", id="release")
        wanted = 401 if right is None else 403
        assert (await w.post("walkin-release", drill="one", zones=["lower"], ends_in_min=60.0)).status_code == wanted
        assert (await w.post("walkin-end")).status_code == wanted

    tell(story, opened=True)


def test_the_panel_releases_with_what_is_chosen_already() -> None:
    async def story(w: Pages) -> None:
        page = await w.page("/walk-in", ANSEL)
        form = page.one("form", id="releasing")
        drills = [one.attrs["value"] for one in form.every("input", name="drill")]
        assert drills == ["chain", "one"], "a drill with a find by call needs somebody beside it"
        given: dict[str, Any] = {
            "drill": next(i.attrs["value"] for i in form.every("input", name="drill") if "checked" in i.attrs),
            "zones": [i.attrs["value"] for i in form.every("input", name="zones") if "checked" in i.attrs],
        }
        for name in ("hours", "pause_s", "limit_min"):
            given[name] = float(next(i.attrs["value"] for i in form.every("input", name=name) if "checked" in i.attrs))
        given["ends_in_min"] = 60 * given.pop("hours")
        answer = await w.ok("walkin-release", **given)
        assert answer["zones"] == ["upper", "lower"]
        assert answer["in_the_way_now"] == {}
        page = await w.page("/walk-in")
        assert "120 min left" in page.text
        assert "Upper hollow, Lower hollow" in page.text
        assert all("disabled" in i.attrs for i in page.every("input", name="zones"))
        await w.ok("walkin-end", release=page.one("button", data_end="w1").attrs["data-end"])
        assert not (await w.page("/walk-in")).every("button", data_end="w1")

    tell(story, opened=True, change=two_zones, serial=4)


def test_a_release_says_what_is_in_the_way_now_and_stands() -> None:
    async def story(w: Pages) -> None:
        for target in w.made.site.targets:
            w.made.nodes[target].die()
        await asyncio.sleep(70)
        w.who = ANSEL
        answer = await w.ok("walkin-release", drill="one", zones=["upper"], ends_in_min=60.0)
        assert answer["in_the_way_now"]["upper"]
        refused = await w.post("walkin-start", zone="upper")
        assert refused.status_code == 409
        assert refused.json()["remedy"]

    tell(story, opened=True)


def test_closed_or_all_off_the_panel_says_why_it_cannot() -> None:
    async def story(w: Pages) -> None:
        page = await w.page("/walk-in", ANSEL)
        assert "when the field is open" in page.one("section", id="release").text
        assert not page.every("form", id="releasing")
        assert "The field is closed." in page.one("p", id="none").text
        refused = await w.post("walkin-start", zone="upper")
        assert refused.status_code == 409

    tell(story)


def test_a_zone_of_another_site_is_not_found_and_nothing_is_started() -> None:
    async def story(w: Pages) -> None:
        await released(w)
        for verb in ("walkin-start", "walkin-stop"):
            assert (await w.post(verb, zone="middle")).status_code == 404
        assert (await w.post("walkin-start")).status_code == 422
        assert list(w.made.ledger.facts(kinds=(ExerciseStarted,))) == []
        assert len(list(w.made.ledger.facts(kinds=(WalkInReleased,)))) == 1

    tell(story, opened=True)


def test_without_a_wall_clock_only_hours_from_now_are_offered() -> None:
    async def story(w: Pages) -> None:
        assert (await w.page("/walk-in", ANSEL)).every("input", type="time")
        w.made.world.clock.wall_known = False
        page = await w.page("/walk-in")
        assert not page.every("input", type="time")
        assert "Nobody knows what time it is here" in page.text

    tell(story, opened=True)


def test_the_rows_that_everybody_follows_hold_no_hint_and_no_name() -> None:
    async def story(w: Pages) -> None:
        await released(w)
        await w.ok("walkin-start", zone="upper")
        await asyncio.sleep(6)
        assert w.made.life is not None
        for name in ("everybody", "watch", "searching"):
            row = VIEWS[name](w.made.life.controller)["walkin:upper"]
            assert (row["state"], row["found"], row["of"], row["over_us"]) == ("goes-on", None, None, None)
            assert not any(str(target) in json.dumps(row) for target in w.made.site.targets)
            assert not {"by", "searchers", "picks", "burials"} & set(row)

    tell(story, opened=True)
