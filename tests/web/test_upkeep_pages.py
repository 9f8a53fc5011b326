"""The upkeep pages over a real controller: most urgent first, where it lies, what is left, fresh cells by one press."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import re
from collections.abc import Awaitable, Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from edge_pages_kit import NOBODY, Node, Pages, pages, read, somebody

from fieldctl.errors import Refused
from fieldctl.events import BatterySwapped
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.site.model import Battery, UpkeepRules
from fieldctl.units import HostTime, TargetId
from fieldctl.upkeep.curves import rest_v
from fieldctl.upkeep.estimate import load_v
from fieldctl.web import upkeep_kept, upkeep_pages, words
from fieldctl.web.upkeep_kept import FIRST_AFTER_S, OLD_US, Kept
from sims import pad
from sims.field import Field

DAYS = 60
BATTERY = Battery("alkaline", 3, 8.0, 0.12, 2.7)
LOW, FULL, SILENT = TargetId("5ee00001"), TargetId("5ee00002"), TargetId("5ee00009")
USED_AH_A_DAY = {LOW: 0.118, FULL: 0.004}  # invented: one is nearly empty, the other would do for years
WATCHES, KEEPS = somebody("watch", name="Tove"), somebody("upkeep", name="Siv")
EVERY_S = 100.0  # a third of an hour takes long with a field beside it
LANGUAGES = ("en", "de", "fr", "it")


def site_of(made: Field) -> None:
    today = datetime.date.fromisoformat((made.world.clock.wall() or "")[:10])
    rules = UpkeepRules(closing_day=today + datetime.timedelta(days=40), expected_c=-5.0)
    silent = replace(made.site.places[0], target=SILENT, name="Larch 9")
    made.site = replace(made.site, usual_battery=BATTERY, upkeep=rules, places=(*made.site.places, silent))


def begun(made: Field, monkeypatch: pytest.MonkeyPatch) -> None:
    """The site, and a log with two months of readings; what the simulated targets measure themselves is left out."""
    site_of(made)
    made.ledger.put_telemetry(readings(made))
    made.ledger.flush_telemetry()
    monkeypatch.setattr(made.ledger, "put_telemetry", lambda samples: None)


def readings(made: Field) -> list[Telemetry]:
    """Sixty invented days of two targets, one reading in each of three hours; none in the week before the last ten."""
    now = datetime.datetime.fromisoformat(made.world.clock.wall() or "")
    rows = []
    for back in range(DAYS, 0, -1):
        if 10 < back <= 17:
            continue
        for target, ah in USED_AH_A_DAY.items():
            used = ah * (DAYS - back)
            share = np.array(1.0 - used / BATTERY.capacity_ah)
            for hour in (9, 11, 13):
                at = (now - datetime.timedelta(days=back)).replace(hour=hour, minute=0, second=0, microsecond=0)
                us = int((at.timestamp() - now.timestamp() + (DAYS + 2) * 86_400) * 1e6)
                rest = BATTERY.cells * float(rest_v(BATTERY.chemistry, share))
                load = float(load_v(BATTERY, share, np.array(-5.0), 1.0))
                extra = {"charge_mas": int(used * 3.6e6), "bad_frames": 0}
                label = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
                rows.append(Telemetry(target, HostTime("before", us), label, rest, load, -5.0, 4.0, extra))
    return rows


async def whole_page(found: Pages, who: Any = None) -> Node:
    """The page with a list that knows all that was said, as a phone comes to see it by itself."""
    await found.page("/upkeep", who)
    for _ in range(40):
        if (await found.send("GET", "/upkeep/coming")).json()["coming"] != "said":
            break
        await asyncio.sleep(0.1)
    return await found.page("/upkeep", who)


Story = Callable[[Pages], Awaitable[None]]


def tell(story: Story, monkeypatch: pytest.MonkeyPatch, *, opened: bool = False) -> None:
    """A field whose log has two months of readings, its list worked out in this process."""
    with pages(lambda made: begun(made, monkeypatch), serial=2) as found:
        made = found.made
        monkeypatch.setattr(Reader, "read", lambda _where: contextlib.nullcontext(made.ledger))
        house = found.app.state.house
        house.upkeep = Kept()
        house.worked = []

        async def run(work: Any, *given: Any) -> Any:
            house.worked.append(work.__name__)
            await asyncio.sleep(0.5)  # another process takes its time
            return work(*given)

        house.elsewhere = SimpleNamespace(run=run)
        found.app.include_router(upkeep_pages.router())

        async def whole() -> None:
            if opened:
                assert await made.open_day()
            keeping = asyncio.create_task(house.upkeep.run(house))
            try:
                await story(found)
            finally:
                keeping.cancel()
                await asyncio.gather(keeping, return_exceptions=True)

        made.world.run(whole())


def listed(page: Node) -> list[Node]:
    return [li for li in page.every("li") if li.attrs.get("id", "").startswith("t-")]


def swaps(found: Pages) -> list[BatterySwapped]:
    return [f for f in found.made.ledger.facts(kinds=(BatterySwapped,)) if isinstance(f, BatterySwapped)]


def test_most_urgent_first_with_state_place_charge_and_age(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        page = await whole_page(found, KEEPS)
        rows = listed(page)
        assert [row.attrs["id"] for row in rows] == [f"t-{LOW}", f"t-{SILENT}", f"t-{FULL}"]
        assert [row.attrs["data-state"] for row in rows] == ["now", "unknown", "holds"]
        low, silent, full = rows
        state = low.every("span", **{"class": "state is-cell-now"})[0]
        assert state.text == "change now"
        assert state.one("use").attrs["href"] == "#s-cell-now"
        assert page.one("symbol", id="s-cell-now")
        assert re.search(r"\d+\.\d m from red, \d{3}° clockwise from the site's y, ±", low.text)
        assert re.search(r"Left: \d+ to \d+ %", low.text)
        assert "5 to 95 of 100" in low.text
        day = (datetime.datetime.fromisoformat(found.made.world.clock.wall() or "") - datetime.timedelta(days=1)).date()
        times = low.one("p", **{"class": "age"}).every("time")
        assert [t.attrs["datetime"][:13] for t in times] == [f"{day.isoformat()}T13"]
        assert "Left: not known (no percentage: no volts were read)" in silent.text
        assert "It has reported nothing yet." in silent.text
        assert "To do: Start fieldctl serve" in " ".join(silent.text.split())
        assert "Leave it" in full.text
        assert "1 to change now, 0 soon, 0 later, 1 hold, 1 not known." in page.text
        assert re.search(r"\(40 days\): 1 of 3 last, 1 to be changed before, 1 not known\.", page.text)
        assert "3 cells alkaline, for" in page.text
        assert page.every("a", href="/upkeep/carry")
        assert page.one("a", href="/upkeep", **{"aria-current": "page"})

    tell(story, monkeypatch)


def test_each_row_says_in_which_states_its_target_is_and_since_when(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        await found.ok("target-bar", target=LOW, reason="heard though it says quiet")
        await asyncio.sleep(12)
        since = found.made.world.clock.wall() or ""
        for path in ("/upkeep", f"/upkeep/target/{LOW}"):
            page = await (whole_page(found, KEEPS) if path == "/upkeep" else found.page(path, KEEPS))
            low = page if path != "/upkeep" else listed(page)[0]
            line = low.one("p", **{"class": "states-now"})
            assert [span.text for span in line.every("span")] == ["barred", "answers"]
            assert [use.attrs["href"] for use in line.every("use")] == ["#s-barred", "#s-found"]
            times = [time.attrs["datetime"] for time in line.every("time")]
            assert len(times) == 2
            assert all(time[:16] <= since[:16] for time in times)
        await found.ok("target-clear", target=LOW, reason="dug out, silent on the bench")
        await asyncio.sleep(12)
        line = listed(await whole_page(found))[0].one("p", **{"class": "states-now"})
        assert [span.text for span in line.every("span")] == ["answers"]

    tell(story, monkeypatch)


def test_who_sees_it_and_who_may_say_that_cells_were_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        paths = ("/upkeep", f"/upkeep/target/{LOW}")
        for path in paths:
            found.who = NOBODY
            assert (await found.send("GET", path)).status_code == 303
            found.who = replace(NOBODY, person=WATCHES.person)
            assert (await found.send("GET", path)).status_code == 403
        assert found.app.state.house.worked == [], "nothing is worked out for whoever may not see it"
        await whole_page(found, WATCHES)
        for path in paths:
            assert (await found.page(path, WATCHES)).every("fc-hold", data_do="swap") == []
            assert (await found.page(path, KEEPS)).every("fc-hold", data_do="swap")
        found.who = WATCHES
        assert (await found.post("battery-swapped", target=LOW)).status_code == 403
        assert swaps(found) == []

    tell(story, monkeypatch)


def test_fresh_cells_are_on_the_page_that_follows_and_once_in_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        await whole_page(found, KEEPS)
        row = await found.ok("battery-swapped", "press-0001", target=LOW, day="")
        assert await found.ok("battery-swapped", "press-0001", target=LOW, day="") == row
        assert [fact.target for fact in swaps(found)] == [LOW]
        begun = found.made.world.clock.now()
        page = await found.page("/upkeep")
        assert found.made.world.clock.now() - begun < 300_000, "the list of before at once"
        assert page.one("p", data_coming="said").text.startswith("Something was said since that this list does not")
        assert page.one("p", data_coming="said").every("a", href="/upkeep"), "without scripts too"
        assert next(li for li in listed(page) if li.attrs["id"] == f"t-{LOW}").attrs["data-state"] == "now"
        page = await whole_page(found)
        assert not page.every("p", data_coming="said")
        mine = next(li for li in listed(page) if li.attrs["id"] == f"t-{LOW}")
        assert f"Fresh cells since {row['day']}" in mine.text
        assert mine.attrs["data-state"] == "unknown"
        assert "nothing was read of them yet." in mine.text
        history = await found.page(f"/upkeep/target/{LOW}")
        assert "Fresh cells put in, as Siv said." in history.one("ol", **{"class": "moments"}).text

    tell(story, monkeypatch)


def test_the_list_is_kept_for_a_minute_and_says_how_old_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        monkeypatch.setattr(upkeep_kept, "EVERY_S", EVERY_S)
        worked = found.app.state.house.worked
        clock = found.made.world.clock
        await asyncio.sleep(FIRST_AFTER_S + 1)
        assert worked == ["_list"], "some seconds after its begin"
        begun = clock.now()
        first = await found.page("/upkeep", KEEPS)
        assert clock.now() - begun < 50_000, "nothing was waited for"
        await found.page("/upkeep")
        assert worked == ["_list"]
        await asyncio.sleep(OLD_US / 1e6)
        begun = clock.now()
        old = await found.page("/upkeep")
        assert clock.now() - begun < 200_000, "the list that there is, after a moment"
        assert [t.attrs["datetime"] for t in old.every("p", **{"class": "age"})[0].every("time")] == [
            t.attrs["datetime"] for t in first.every("p", **{"class": "age"})[0].every("time")
        ]
        assert "Newer readings are being worked out." in old.text
        await asyncio.sleep(1)
        assert "Newer readings" not in (await found.page("/upkeep")).text
        assert worked == ["_list"] * 2
        await asyncio.sleep(EVERY_S)
        assert len(worked) == 3, "by itself"

    tell(story, monkeypatch)


def test_the_very_first_opening_is_given_a_page_at_once_that_fills_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        clock = found.made.world.clock
        begun = clock.now()
        page = await found.page("/upkeep", KEEPS)
        assert clock.now() - begun < 300_000
        assert listed(page) == []
        said = page.one("p", data_coming="said")
        assert said.text.startswith("The list is being worked out.")
        assert said.every("a", href="/upkeep")
        assert found.app.state.house.worked == ["_list"], "and it is begun with the opening"
        assert (await found.send("GET", "/upkeep/coming")).json() == {"coming": "said"}
        await asyncio.sleep(1)
        assert (await found.send("GET", "/upkeep/coming")).json() == {"coming": ""}
        page = await found.page("/upkeep")
        assert len(listed(page)) == 3
        assert not page.every("p", data_coming="said")
        found.who = NOBODY
        assert (await found.send("GET", "/upkeep/coming")).status_code == 403

    tell(story, monkeypatch)


@pytest.mark.parametrize("language", LANGUAGES)
def test_where_it_was_put_elsewhere_is_a_sentence_that_ends_once(
    language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def story(found: Pages) -> None:
        found.who = KEEPS
        await found.ok("target-moved", target=FULL)
        await whole_page(found)
        page = await found.page("/upkeep", None, **{"Accept-Language": language})
        place = next(li for li in listed(page) if li.attrs["id"] == f"t-{FULL}").one("p", **{"class": "place"}).text
        assert ". " in place
        assert ".;" not in place

    tell(story, monkeypatch)


@pytest.mark.parametrize(
    "error", [Refused("The process that works pages out ended.", remedy="Try again; look at the log."), KeyError("x")]
)
def test_a_list_that_cannot_be_worked_out_says_so_and_takes_nothing_along(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def story(found: Pages) -> None:
        async def fails(*_given: Any) -> Any:
            raise error

        house = found.app.state.house
        right, house.elsewhere = house.elsewhere, SimpleNamespace(run=fails)
        found.who = KEEPS
        answer = await found.send("GET", "/upkeep")
        assert answer.status_code == 409
        assert "The process that works pages out ended." in answer.text
        house.elsewhere = right
        assert listed(await whole_page(found))
        house.elsewhere = SimpleNamespace(run=fails)
        await asyncio.sleep(OLD_US / 1e6 + 1)
        assert listed(await found.page("/upkeep")), "what there is stays"
        await found.ok("battery-swapped", target=LOW, day="")
        page = await found.page("/upkeep")
        assert listed(page)
        assert page.one("p", data_coming="failed").text.startswith("A list that knows what was said last could not be")
        assert (await found.send("GET", "/upkeep/coming")).json() == {"coming": "failed"}

    tell(story, monkeypatch)


def test_a_history_has_pictures_with_gaps_their_words_and_the_log(monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        page = await found.page(f"/upkeep/target/{LOW}", KEEPS)
        charts = page.every("svg", **{"class": "chart"})
        assert [chart.one("title").text for chart in charts][:3] == [
            "Charge left, %", "Volts of the battery", "Temperature, °C",
        ]  # fmt: skip
        for chart in charts:
            named = chart.attrs["aria-labelledby"].split()
            assert [chart.one(id=name).tag for name in named] == ["title", "desc"]
            assert chart.one("desc").text
        volts = charts[1]
        assert len(volts.every("polyline", **{"class": "line-0"})) == 2, "the week without readings parts the line"
        assert "Days in between of which nothing is known: 7." in volts.one("desc").text
        assert len(page.every("table")) >= 4
        moments = page.one("ol", **{"class": "moments"}).text
        assert "Added on link" in moments
        assert "It began anew" in moments
        missing = await found.send("GET", "/upkeep/target/0badc0de")
        assert missing.status_code == 404
        assert "Choose one from the upkeep page." in missing.text

    tell(story, monkeypatch)


def test_nothing_of_an_exercise_that_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whose pad is struck tells who plays: until the end it is left out, and counted."""

    async def story(found: Pages) -> None:
        started = await found.ok("exercise-start", drill="chain", searchers=["Jon"])
        target = started["burials"][0]["target"]
        await asyncio.sleep(6)
        before = await found.page(f"/upkeep/target/{target}")
        pad.play(found.made.world, found.made.nodes[target], pad.probe(found.made.world.rng("probe")))
        await asyncio.sleep(6)
        during = await found.page(f"/upkeep/target/{target}")
        assert "Left out until it has ended, strikes of an exercise that goes on: 1." in during.text
        assert "taken for a probe" not in during.text
        told = [one.text for one in during.every("svg", **{"class": "chart"})]
        assert told == [one.text for one in before.every("svg", **{"class": "chart"})]
        for page in (during, await found.page("/upkeep")):
            assert started["exercise"] not in page.one("main").text.split()
            assert "sending" not in page.one("main").text
        await found.ok("exercise-stop", exercise=started["exercise"])
        await asyncio.sleep(3)
        after = await found.page(f"/upkeep/target/{target}")
        assert "The last touch that was taken for a probe." in after.text
        assert "left out" not in after.text

    tell(story, monkeypatch, opened=True)


@pytest.mark.parametrize("language", LANGUAGES)
def test_in_every_language_and_by_the_policy_of_the_pages(language: str, monkeypatch: pytest.MonkeyPatch) -> None:
    async def story(found: Pages) -> None:
        found.who = KEEPS
        for path in ("/upkeep", f"/upkeep/target/{LOW}", "/upkeep"):  # the first is given before there is a list
            answer = await found.send("GET", path, headers={"Accept-Language": language})
            assert answer.status_code == 200
            assert not re.search(r"<style|<[^>]* style=|<script(?![^>]*(?:src=|type=.application/json))", answer.text)
            page = read(answer.text)
            assert "(en)" not in page.text
            assert words.words(language)("upkeep.title") in page.text
            assert page.one("form", action="/all-off")

    tell(story, monkeypatch)


def test_the_day_that_the_machine_does_not_know(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a clock the last day that the log knows stands for today, and no age is told."""

    async def story(found: Pages) -> None:
        found.made.world.clock.wall_known = False
        page = await whole_page(found, KEEPS)
        assert "The base station has no clock set: ages cannot be told." in page.text
        assert listed(page)[0].attrs["id"] == f"t-{LOW}"
        answer = await found.post("battery-swapped", target=LOW, day="")
        assert answer.status_code == 422
        assert "no clock set" in answer.text
        assert upkeep_kept.day_of_wall(None) is None

    tell(story, monkeypatch)
