"""The day opened and closed by thumb, and the walk-in: from a phone that is nobody's, and at the post by a child."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import pytest
from conftest import Phones
from hill import Hill, a_hill
from playwright.sync_api import Page, expect
from thumbs import hold

GATE = "5ee000a1"
TAPS_AT_MOST = 6
UPPER, LOWER = "section[data-zone=upper]", "section[data-zone=lower]"
SUBMIT = "[data-part=submit]"


@pytest.fixture(scope="module")
def gate_hill(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hill]:
    with a_hill(tmp_path_factory.mktemp("gate") / "site", serial=3, mqtt=1, posts=(GATE,)) as made:
        made.start()
        yield made


@pytest.fixture
def hill(gate_hill: Hill) -> Iterator[Hill]:
    """A field with a post at its edge, instead of everybody's."""
    yield gate_hill
    gate_hill.ask("walkin-end", by="Ansel")
    gate_hill.calm()


class Thumb:
    """Counts what it does: a tap, a press that is held, a field tapped and typed into."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0

    def tap(self, selector: str) -> None:
        self.taps += 1
        self.page.locator(selector).tap()

    def hold(self, selector: str) -> None:
        self.taps += 1
        hold(self.page, selector)

    def types(self, selector: str, text: str) -> None:
        self.taps += 1
        self.page.locator(selector).fill(text)


def live(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("fc-live")).to_have_text("Live")


def released(hill: Hill) -> None:
    hill.open_day()
    hill.ask("walkin-release", drill="short", zones=("upper", "lower"), ends_in_min=60.0, pause_s=10.0, by="Ansel")


def begun(hill: Hill) -> int:
    """How many exercises were ever begun here."""
    return max([int(row["exercise"][1:]) for row in hill.ask("exercise-list")["exercises"]], default=0)


def test_a_day_by_thumb_in_at_most_six_taps_each(hill: Hill, phones: Phones) -> None:
    hill.settled()
    page = phones.new()
    live(page, "/day")
    opening = Thumb(page)
    opening.tap("[data-touch]")
    hill.until(lambda: len(hill.ask("day-check")["armed"]) == 4)
    for target in (*hill.serial, "5ee00101"):
        hill.do("probe", target)
    hill.do("press", GATE)
    expect(page.locator("[data-part=plates]")).to_have_text(re.compile(r"^5 of 5:"))
    hold(page, SUBMIT)  # too early, on purpose: refused, line by line
    expect(page.locator("[data-part=said]")).to_contain_text("3 lines above stand in the way")
    expect(page.locator("[data-part=lines]")).to_contain_text("Nobody swept the field for stray signals.")
    opening.tap("text=2 moderate")
    opening.types("[name=snow_cm]", "190")
    opening.tap("text=Swept: nothing heard")
    expect(page.locator("[data-part=nothing]")).to_be_visible()
    opening.hold(SUBMIT)
    expect(page.locator("#day")).to_contain_text("The field is open, Mira in charge.")
    closing = Thumb(page)
    expect(page.locator("fc-live")).to_have_text("Live")
    closing.tap("text=Heads counted")
    closing.tap("text=Walked: nothing heard")
    expect(page.locator("[data-part=nothing]")).to_be_visible()
    closing.hold(SUBMIT)
    expect(page.locator("#day")).to_contain_text("The field is closed")
    assert (opening.taps, closing.taps) == (5, 3)
    assert max(opening.taps, closing.taps) <= TAPS_AT_MOST
    assert hill.sending() == set()


def test_what_is_not_there_is_named_and_signed_for_by_one_tap(hill: Hill, phones: Phones) -> None:
    if hill.ask("status")["day"]["open"]:
        hill.ask("day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing")
    hill.settled()
    page = phones.new()
    live(page, "/day")
    for tapped in ("text=1 low", "text=Swept: nothing heard", "[data-part=sign-all]"):
        page.locator(tapped).tap()
    page.locator("[name=snow_cm]").fill("190")
    expect(page.locator("[data-part=signed]")).to_contain_text("The plate of Larch 1 (Upper hollow)")
    expect(page.locator("[data-part=nothing]")).to_be_visible()
    page.locator("[data-unsign]").first.tap()
    expect(page.locator("[data-part=lines] li")).to_have_count(1)
    page.locator("[data-sign]").tap()
    expect(page.locator("[data-part=nothing]")).to_be_visible()
    hold(page, SUBMIT)
    expect(page.locator("#day")).to_contain_text("The field is open")


def test_a_phone_that_is_nobodys_starts_and_ends_a_party(hill: Hill, phones: Phones) -> None:
    released(hill)
    page = phones.new(signed_in=False)
    live(page, "/walk-in")
    before = begun(hill)
    hold(page, f"{LOWER} [data-part=start]", 500)
    page.wait_for_timeout(700)
    assert begun(hill) == before
    hold(page, f"{LOWER} [data-part=start]")
    expect(page.locator(LOWER)).to_contain_text("A party is out.")
    hill.until(lambda: len(hill.sending()) == 1)
    expect(page.locator(f"{LOWER} .clock")).to_have_text(re.compile(r"^0:0\d$"))
    expect(page.locator(LOWER)).not_to_contain_text("found")
    hill.do("probe", next(iter(hill.sending())))
    expect(page.locator(LOWER)).to_contain_text("The last party found 1 of 1.")
    expect(page.locator(f"{LOWER} [data-part=start]")).to_be_hidden()
    hill.until(lambda: hill.sending() == set())
    assert begun(hill) == before + 1


def test_what_was_said_of_a_party_goes_with_it(hill: Hill, phones: Phones) -> None:
    released(hill)
    page = phones.new(signed_in=False)
    live(page, "/walk-in")
    said = page.locator(f"{LOWER} [data-part=said]")
    expect(page.locator(f"{LOWER} [data-part=start]")).to_be_visible(timeout=20_000)  # after the last party's pause
    hold(page, f"{LOWER} [data-part=start]")
    expect(said).to_have_text("Started. Switch your units to search.")
    hill.until(lambda: len(hill.sending()) == 1)
    page.wait_for_timeout(3500)
    expect(said).to_have_text("Started. Switch your units to search.")  # as long as the party is out
    hill.do("probe", next(iter(hill.sending())))
    expect(page.locator(LOWER)).to_contain_text("The last party found 1 of 1.")
    expect(said).to_have_text("")
    expect(page.locator(f"{LOWER} [data-part=start]")).to_be_visible(timeout=20_000)  # after the pause
    hold(page, f"{LOWER} [data-part=start]")
    expect(said).to_have_text("Started. Switch your units to search.")
    page.locator(f"{LOWER} [data-part=stop]").tap()
    expect(said).to_have_text("Ended.")


def test_a_child_presses_start_forty_times_at_the_post_and_a_held_press_is_all_off(hill: Hill, phones: Phones) -> None:
    released(hill)
    page = phones.new(signed_in=False)
    live(page, "/walk-in")
    before = begun(hill)
    hill.until(lambda: hill.ask("walkin-status")["zones"][0]["state"] == "free")
    for _ in range(40):
        hill.do("press", GATE)
        time.sleep(0.2)
    assert begun(hill) == before + 1
    expect(page.locator(UPPER)).to_contain_text("A party is out.")
    assert len(hill.sending()) == 1
    hill.do("hold", GATE)
    hill.until(lambda: hill.sending() == set(), 4.0)
    expect(page.locator("fc-alloff-state")).to_contain_text("All off is in force")
    expect(page.locator(UPPER)).to_be_visible()
    expect(page.locator(f"{UPPER} [data-part=start]")).to_be_hidden()
    hill.ask("all-off-release", by="Ansel", reason="a test")
    hill.do("press", GATE)
    page.wait_for_timeout(2500)
    assert begun(hill) == before + 1, "the release of the walk-in ended with all off"
    assert hill.sending() == set()


def test_a_closed_field_refuses_the_page_and_the_post(hill: Hill, phones: Phones) -> None:
    hill.settled()
    if hill.ask("status")["day"]["open"]:
        hill.ask("day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing")
    before = begun(hill)
    page = phones.new(signed_in=False)
    live(page, "/walk-in")
    expect(page.locator("#none")).to_have_text("The field is closed. Nothing can be started.")
    expect(page.locator(f"{UPPER} [data-part=start]")).to_be_hidden()
    hill.do("press", GATE)
    page.wait_for_timeout(2500)
    assert begun(hill) == before
    assert hill.sending() == set()


def test_a_post_on_the_page_of_the_field_has_no_surface_to_be_fresh(hill: Hill, phones: Phones) -> None:
    hill.settled()
    page = phones.new()
    live(page, "/field")
    gate = page.locator("#list li", has_text="Gate")
    expect(gate).to_contain_text("says quiet")
    expect(gate).not_to_contain_text("fresh")
    expect(page.locator("#list li", has_text="Larch 1")).to_contain_text("fresh")
