"""The carry list ticked on a hill without network: kept over a reload, sent once, two phones put before a person."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator

import pytest
from air import Air
from conftest import Phones
from hill import Hill
from measuring import axe_findings, contrasts, controls, narrowest, over_the_edge
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import Page, Route, expect
from thumbs import hold

FIRST, SECOND, THIRD = (f"5ee0000{n}:battery" for n in (1, 2, 3))
PRESSES = ("done", "not_done", "got", "lost", "test", "touch", "send", "Let it send")
QUEUE = "[data-part=queue]"
OF_JON = """() => {
  const entry = { key: "jon-key-1", verb: "retrieval-got", item: "5ee00003", list: "r1", who: "Jon",
    knew_keys: [], args: { retrieval: "r1", target: "5ee00003" } };
  localStorage.setItem("fieldctl-carry", JSON.stringify([entry]));
}"""


@pytest.fixture
def air(hill: Hill) -> Iterator[Air]:
    made = Air(hill.url)
    yield made
    made.end()


def opened(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("fc-live")).to_have_class(re.compile("is-live"))


def tap(page: Page, item: str, what: str) -> None:
    page.locator(f".job[data-item='{item}'] [data-do={what}]").tap()


def state(page: Page, item: str) -> str:
    return page.locator(f".job[data-item='{item}'] [data-part=state]").inner_text()


def of(hill: Hill, item: str) -> dict[str, object]:
    (found,) = [one for one in hill.ask("visit-show")["items"] if one["item"] == item]
    return dict(found)


def fits(page: Page) -> None:
    """What the house asks of every page: contrast, sizes, gaps, width, axe."""
    worst, where = contrasts(page)[0]
    assert worst >= 7.0, where
    assert axe_findings(page) == []
    assert over_the_edge(page) == 0
    live = [one for one in controls(page) if one["where"] == "main" and one["live"] and one["height"] > 0]
    assert all(one["height"] >= 48 and one["width"] >= 48 for one in live), live
    presses = [one for one in live if one["what"] in PRESSES]
    assert presses
    assert all(one["height"] >= 96 for one in presses)
    assert narrowest(presses)[0] >= 24


def test_ticked_in_the_dark_sent_once_and_what_two_phones_say_is_settled(hill: Hill, phones: Phones, air: Air) -> None:
    hill.settled()
    hill.ask("visit-begin", items=(FIRST, SECOND, THIRD), by="Mira")
    page = phones.new(through=air.url)
    opened(page, "/upkeep/carry")
    expect(page.locator(QUEUE)).to_have_text("Everything is sent.")
    fits(page)
    air.dark()
    expect(page.locator("fc-live")).not_to_have_text("Live", timeout=9000)
    tap(page, FIRST, "done")
    tap(page, SECOND, "not_done")
    page.locator(f".job[data-item='{SECOND}'] [data-why='Not found']").tap()
    tap(page, THIRD, "done")
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 3")
    tap(page, THIRD, "undo")
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 2")
    assert "kept on this phone: done" in state(page, FIRST)
    hill.ask("visit-tick", visit="v1", item=SECOND, done=True, by="Jon")  # another phone, which the field hears
    assert of(hill, FIRST)["state"] == "open"
    page.wait_for_timeout(1500)
    air.back()
    expect(page.locator(QUEUE)).to_have_text("Everything is sent.", timeout=15000)
    first, second = of(hill, FIRST), of(hill, SECOND)
    assert (first["state"], second["state"]) == ("done", "conflict")
    (tick,) = first["ticks"]  # type: ignore[misc]
    assert 1.0 <= tick["told_later_s"] <= 30.0, "the moment of the thumb, not of the sending"
    assert 2.0 <= tick["plus_minus_s"] < 5.0
    expect(page.locator("[data-part=conflicts]")).to_contain_text("Jon says done; Mira says not done (Not found)")
    expect(page.locator("[data-part=close]")).to_have_attribute("aria-disabled", "false")
    fits(page)
    tap(page, SECOND, "done")
    expect(page.locator("[data-part=conflicts]")).to_be_hidden()

    def unanswered(route: Route) -> None:
        with contextlib.suppress(PlaywrightError):  # the page that asked may be gone by then
            route.fetch()  # the field takes it, and its answer is lost
            route.abort()

    page.route("**/api/v1/visit-tick", unanswered)
    tap(page, THIRD, "done")
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 1")
    page.reload()
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 1")
    assert "kept on this phone: done" in state(page, THIRD)
    page.unroute("**/api/v1/visit-tick", unanswered)
    expect(page.locator(QUEUE)).to_have_text("Everything is sent.", timeout=12000)
    assert len(of(hill, THIRD)["ticks"]) == 1  # type: ignore[arg-type]
    hold(page, "[data-part=close]")
    expect(page.locator("#carry")).to_contain_text("Visit v1 is closed, signed by Mira.")
    assert hill.ask("visit-show")["signed"] == "Mira"


def test_the_retrieval_in_the_dark(hill: Hill, phones: Phones, air: Air) -> None:
    hill.settled()
    page = phones.new(through=air.url)
    opened(page, "/upkeep/retrieval")
    page.locator("[data-part=begin]").tap()
    expect(page.locator("[data-part=of]")).to_have_text("0 of 7 in the box or given up by name")
    expect(page.locator("fc-live")).to_have_text("Live")
    fits(page)
    air.dark()
    expect(page.locator("fc-live")).not_to_have_text("Live", timeout=9000)
    tap(page, "5ee00001", "got")
    tap(page, "5ee00002", "lost")
    reason = page.locator(".job[data-item='5ee00002'] [data-why]").first
    reason.tap()
    expect(page.locator("[data-part=told]")).to_be_focused()  # nobody was told yet
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 1")
    page.locator("[data-part=told]").fill("Ansel")
    reason.tap()
    expect(page.locator(QUEUE)).to_have_text("Not sent yet: 2")
    air.back()
    expect(page.locator(QUEUE)).to_have_text("Everything is sent.", timeout=15000)
    expect(page.locator("[data-part=of]")).to_have_text("2 of 7 in the box or given up by name")
    row = hill.ask("retrieval-show")
    assert [(one["name"], one["told"]) for one in row["lost"]] == [("Larch 2", "Ansel")]
    page.evaluate(OF_JON)
    expect(page.locator("[data-part=trouble]")).to_contain_text("it waits until Jon signs in here")
    page.wait_for_timeout(6000)  # longer than it looks whether there is something to send
    assert hill.ask("retrieval-show")["n"] == 2, "what Jon pressed is not Mira's word"
    expect(page.locator("[data-part=close]")).to_have_attribute("aria-disabled", "true")
    page.evaluate("localStorage.removeItem('fieldctl-carry')")
    opened(page, "/upkeep/retrieval")
    hold(page, "[data-part=close]")
    expect(page.locator("[data-part=closing-said]")).to_contain_text(re.compile("Still out there: Larch 3, "))


def test_a_target_is_heard_with_a_receiver_while_it_sends_to_be_found(hill: Hill, phones: Phones) -> None:
    hill.settled()
    if hill.ask("status")["day"]["open"]:
        hill.ask("day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing")
    page = phones.new()
    opened(page, "/upkeep/self-test")
    page.locator("[data-do=test]").tap()
    place = page.locator("[data-target='5ee00001']")
    expect(place).to_contain_text("was not heard with a receiver yet")
    fits(page)
    expect(place.locator("[data-do=hear]")).to_be_disabled()
    place.locator("[data-do=send]").tap()
    expect(place.locator("[data-do=hear]")).to_be_enabled()  # the target says that it sends
    assert hill.sending() == {"5ee00001"}
    place.locator("[data-do=hear]").tap()
    expect(place).to_contain_text("Heard sending with a receiver: Mira")
    expect(place).not_to_contain_text("was not heard")
    place.locator("[data-do=end]").tap()
    hill.until(lambda: hill.sending() == set())


def test_who_stands_at_a_target_lets_it_send_only_while_the_field_is_closed(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    if not hill.ask("visit-list")["visits"] or not hill.ask("visit-show")["open"]:
        hill.ask("visit-begin", items=(FIRST,), by="Mira")
    page = phones.new()
    for path in ("/upkeep/carry", "/upkeep/target/5ee00001"):
        opened(page, path)
        place = page.locator("[data-let-send='5ee00001']")
        expect(place.locator("[data-let=send]")).to_be_disabled()
        expect(place).to_contain_text("only while the field is closed")
    hill.ask("day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing")
    if not hill.ask("retrieval-show")["open"]:
        hill.ask("retrieval-begin", by="Mira")
    for path in ("/upkeep/carry", "/upkeep/retrieval", "/upkeep/target/5ee00001"):
        opened(page, path)
        place = page.locator("[data-let-send='5ee00001']")
        expect(place.locator("[data-let=end]")).to_be_hidden()
        place.locator("[data-let=send]").tap()
        expect(place).to_contain_text("It says that it sends. Any other signal is a person until proved otherwise.")
        assert hill.sending() == {"5ee00001"}
        page.reload()  # whoever comes to this page ends it as well
        place.locator("[data-let=end]").tap()
        hill.until(lambda: hill.sending() == set())
        expect(place).not_to_contain_text("It says that it sends")
        fits(page)


def test_it_fits_a_small_phone_in_other_languages_and_by_night(hill: Hill, phones: Phones) -> None:
    hill.settled()
    for locale, scheme in (("de", "dark"), ("fr", "light")):
        page = phones.new(locale=locale, color_scheme=scheme)
        for path in ("/upkeep/carry", "/upkeep/retrieval", "/upkeep/self-test"):
            opened(page, path)
            assert over_the_edge(page) == 0, (locale, path)
            worst, where = contrasts(page)[0]
            assert worst >= 7.0, (path, where)
