"""What a phone pressed while the air was dark, and what becomes of it when the air is back."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
from air import Air
from conftest import Phones
from hill import Hill
from playwright.sync_api import Page, expect
from thumbs import hold, running, start

NOT_LIVE_MS = 12_000
LATE = "late and was not carried out"
RELEASE = "fc-alloff-state fc-hold"


@pytest.fixture
def air(hill: Hill) -> Iterator[Air]:
    hill.open_day()
    made = Air(hill.url)
    yield made
    made.end()


def live(page: Page) -> None:
    expect(page.locator("fc-live")).to_have_text("Live", timeout=15_000)


def seen_dark(page: Page) -> None:
    expect(page.locator("fc-live")).to_contain_text("Not live since", timeout=NOT_LIVE_MS)


def epoch(hill: Hill) -> int:
    return int(hill.ask("status")["all_off"]["epoch"])


def test_a_start_that_comes_late_starts_nothing_and_says_so(hill: Hill, phones: Phones, air: Air) -> None:
    before = hill.exercise().get("exercise")
    page = phones.new(through=air.url)
    page.goto("/drills/pair")
    live(page)
    air.dark()
    hold(page, "#start")
    seen_dark(page)
    page.wait_for_timeout(4000)  # past the page's own patience with an answer
    expect(page.locator("#said")).to_contain_text("asked about again")
    air.back()
    expect(page.locator("#said")).to_contain_text(LATE, timeout=15_000)
    expect(page.locator("#said")).to_contain_text("press again")
    assert hill.exercise().get("exercise") == before
    assert hill.sending() == set()
    hold(page, "#start")  # in time: it is a press of its own
    page.wait_for_url("**/exercises/*")
    assert hill.exercise()["exercise"] != before


def test_a_start_whose_answer_was_lost_is_followed(hill: Hill, phones: Phones, air: Air) -> None:
    page = phones.new(through=air.url)
    page.goto("/drills/pair")
    live(page)
    done = []
    page.route("**/api/v1/exercise-start", lambda route: (done.append(route.fetch()), route.abort())[1] if not done
               else route.continue_())  # fmt: skip
    hold(page, "#start")
    page.wait_for_url("**/exercises/*", timeout=15_000)
    assert page.url.rpartition("/")[2] == hill.exercise()["exercise"]
    assert [row["state"] for row in hill.ask("exercise-list")["exercises"]].count("running") == 1


@pytest.mark.parametrize(("more_ms", "said"), [(0, "ordered again since this was pressed"), (3500, LATE)])
def test_a_release_that_comes_late_lifts_no_newer_all_off(
    hill: Hill, phones: Phones, air: Air, more_ms: int, said: str
) -> None:
    page = phones.new(through=air.url)
    other = phones.new(signed_in=False)
    other.goto("/")
    live(other)
    other.locator("#all-off").tap()
    page.goto("/")
    live(page)
    hill.until(lambda: not hill.ask("status")["all_off"]["unconfirmed"])
    page.wait_for_timeout(1500)  # until the list of who has not confirmed is gone, and the hold stays where it is
    page.locator("fc-alloff-state input[type=radio]").last.check()
    air.dark()
    hold(page, RELEASE, 3200)
    seen_dark(page)  # some 2 s after the press
    page.wait_for_timeout(more_ms)
    seen = epoch(hill)
    other.locator("#all-off").tap()
    newest = hill.until(lambda: found if (found := epoch(hill)) > seen else None)
    air.back()
    expect(page.locator("fc-alloff-state .said")).to_contain_text(said, timeout=15_000)
    page.wait_for_timeout(1500)
    off = hill.ask("status")["all_off"]
    assert off["in_force"]
    assert off["epoch"] == newest
    expect(other.locator("fc-alloff-state")).to_contain_text("All off is in force")


def test_a_hold_that_began_under_an_older_all_off_does_not_release_the_newer(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    hill.ask("all-off", by="Ansel")
    page.goto("/")
    live(page)
    page.locator("fc-alloff-state input[type=radio]").last.check()
    page.locator(RELEASE).scroll_into_view_if_needed()
    box = page.locator(RELEASE).bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.wait_for_timeout(1500)
    hill.ask("all-off", by="Ansel")
    page.wait_for_timeout(2500)
    page.mouse.up()
    page.wait_for_timeout(500)
    assert hill.ask("status")["all_off"]["in_force"]


def test_a_stop_is_carried_out_however_late_it_comes(hill: Hill, phones: Phones, air: Air) -> None:
    page = phones.new(through=air.url)
    name = start(page, "pair")
    running(page)
    air.dark()
    page.locator("#stop").tap()
    seen_dark(page)
    assert hill.exercise(name)["state"] == "running"
    air.back()
    hill.until(lambda: hill.exercise(name)["state"] == "stopped")
    hill.until(lambda: hill.sending() == set())


def test_a_call_and_a_split_keep_the_moment_of_their_tap(hill: Hill, phones: Phones, air: Air) -> None:
    page = phones.new(through=air.url)
    name = start(page, "pair")
    running(page)
    air.dark()
    page.wait_for_timeout(300)
    before = hill.exercise(name)["clock_s"]
    page.locator("#call").tap()
    after = hill.exercise(name)["clock_s"]
    page.wait_for_timeout(1300)  # longer than a thumb trembles
    page.locator("#split").tap()
    split_by = hill.exercise(name)["clock_s"]
    page.wait_for_timeout(8500)
    air.back()
    a, b = hill.until(lambda: rows if (rows := hill.exercise(name)["burials"])[0]["calls"] else None)
    call = a["calls"][0]
    within_s = call["plus_minus_ms"] / 1000
    assert 1.0 <= within_s < 1.5  # a thumb's, and the page clock's own
    assert before - within_s <= call["at_s"] <= after + within_s
    assert len(a["calls"]) == 1, "asked again, it is still one tap"
    splits = hill.until(lambda: [s for row in hill.exercise(name)["burials"] for s in row["splits"]])
    assert abs(splits[0]["at_s"] - split_by) <= splits[0]["plus_minus_ms"] / 1000 + 0.5
    assert b["calls"] == []
    expect(page.locator("#orders")).not_to_contain_text("No answer", timeout=15_000)
    assert hill.exercise(name)["clock_s"] > after + 8


def test_a_call_that_comes_after_the_end_of_its_exercise_is_for_a_person(hill: Hill, phones: Phones, air: Air) -> None:
    page = phones.new(through=air.url)
    name = start(page, "pair")
    running(page)
    air.dark()
    page.wait_for_timeout(300)
    hill.ask("exercise-stop", exercise=name, by="Ansel")
    time.sleep(0.5)
    page.locator("#call").tap()  # the dark phone still shows it as running
    page.wait_for_timeout(1000)
    air.back()
    doubtful = hill.until(lambda: hill.exercise(name)["to_judge"])
    assert [(row["burial"], row["why"]) for row in doubtful] == [("A", "after the end")]
    assert [row["find"] for row in hill.exercise(name)["burials"]] == [None, None]
    expect(page.locator("#ask")).to_contain_text("after the end", timeout=15_000)
