"""What a real finger does: a hold that wobbles, one tap that stops from every page, codes for other phones' cameras."""

from __future__ import annotations

import re

import pytest
from conftest import Phones
from hill import Hill
from measuring import over_the_edge
from playwright.sync_api import Page, expect
from thumbs import hold, running, start

BIG_PX, GAP_PX = 120, 24
WOBBLE_PX = 14  # more than the browser's own slop (about 10 px): from there on it takes a touch for a pan
PAGES = ("/", "/field", "/drills", "/drills/three", "/day", "/people", "/upkeep", "/walk-in", "/season", "/spectators",
         "/searchers", "/limited", "/sign-out")  # fmt: skip


def live(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("fc-live")).to_have_text("Live")


def finger(page: Page, selector: str, ms: int, wobble_px: float) -> None:
    """A finger on it for so long that goes to and fro by so much, as the browser gets it from a touch screen."""
    at = page.locator(selector)
    at.scroll_into_view_if_needed()
    box = at.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    screen = page.context.new_cdp_session(page)

    def touch(kind: str, *points: dict[str, float]) -> None:
        screen.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(points)})

    touch("touchStart", {"x": x, "y": y})
    for n in range(ms // 50):
        page.wait_for_timeout(50)
        off = wobble_px if n % 2 else -wobble_px
        touch("touchMove", {"x": x + off, "y": y + off})
    touch("touchEnd")


@pytest.mark.parametrize("wobble_px", [0.0, WOBBLE_PX])
def test_a_finger_that_wobbles_starts_what_it_holds(hill: Hill, phones: Phones, wobble_px: float) -> None:
    hill.open_day()
    page = phones.new(is_mobile=True, device_scale_factor=2)
    live(page, "/drills/three")
    finger(page, "#start", 1000, wobble_px)
    page.wait_for_url("**/exercises/*")
    running(page)


def test_every_hold_keeps_its_finger(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new(is_mobile=True)
    for path in ("/drills/three", "/walk-in", "/day"):
        live(page, path)
        kinds = page.locator("fc-hold").evaluate_all("all => all.map((one) => getComputedStyle(one).touchAction)")
        assert kinds
        assert set(kinds) == {"none"}, path


def test_stop_is_one_tap_from_every_page_and_can_be_taken_back(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    live(page, "/")
    expect(page.locator("fc-stop .stop")).to_be_hidden()  # nothing goes on
    name = start(page, "three")
    expect(page.locator("#stop")).to_be_visible()
    expect(page.locator("fc-stop .stop")).to_be_hidden()  # this page has a Stop of its own
    for path in (*PAGES, f"/exercises/{name}/debrief"):
        page.goto(path)
        stop = page.locator("fc-stop .stop")
        expect(stop).to_have_text(f"Stop {name}")
        one, off = stop.bounding_box(), page.locator("#all-off").bounding_box()
        assert one is not None, path
        assert off is not None, path
        assert min(one["height"], off["height"]) >= BIG_PX, path
        assert off["x"] - one["x"] - one["width"] >= GAP_PX, path
        assert off["y"] + off["height"] <= 640, path
        assert over_the_edge(page) == 0, path
    live(page, "/people")
    page.locator("fc-stop .stop").tap()
    hill.until(lambda: hill.exercise(name)["state"] == "stopped", 2.0)
    hill.until(lambda: hill.sending() == set())
    expect(page.locator("fc-stop .stop")).to_be_hidden()
    expect(page.locator("fc-stop .back")).to_contain_text(re.compile(rf"Take back the stop of {name} \(\d+ s\)"))
    live(page, "/field")  # as long as it can be taken back, from wherever
    page.locator("fc-stop .back").tap()
    hill.until(lambda: hill.exercise(name)["state"] == "running")
    expect(page.locator("fc-stop .back")).to_be_hidden()
    page.locator("fc-stop .stop").tap()
    expect(page.locator("fc-stop .back")).to_be_visible()
    expect(page.locator("fc-stop .back")).to_be_hidden(timeout=15_000)  # and no longer


def test_of_several_that_go_on_each_is_stopped_by_its_name(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page, other = phones.new(), phones.new()
    first, second = start(page, "three"), start(other, "pair")
    live(page, "/field")
    page.locator("fc-stop .stop").tap()
    named = page.locator("fc-stop .which button")
    expect(named).to_have_count(2)
    assert hill.exercise(first)["state"] == hill.exercise(second)["state"] == "running"
    for box in (named.nth(0).bounding_box(), named.nth(1).bounding_box()):
        assert box is not None
        assert box["height"] >= 96
    named.filter(has_text=second).tap()
    hill.until(lambda: hill.exercise(second)["state"] == "stopped", 2.0)
    expect(page.locator("fc-stop .stop")).to_have_text(f"Stop {first}")
    assert hill.exercise(first)["state"] == "running"
    expect(other.locator("fc-stop .stop")).to_have_text(f"Stop {first}")  # its own is over: the other one's is here
    other.locator("fc-stop .stop").tap()
    hill.until(lambda: hill.exercise(first)["state"] == "stopped", 2.0)


def test_a_stop_that_had_no_answer_says_so_as_long_as_the_exercise_goes_on(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    live(page, "/field")
    expect(page.locator("fc-stop .stop")).to_be_visible()
    page.route("**/api/v1/exercise-stop", lambda route: route.abort())
    page.locator("fc-stop .stop").tap()
    expect(page.locator("#stop-said")).to_contain_text("No answer.")
    expect(page.locator("fc-stop .stop")).to_have_text(f"Stop {name}")  # to be pressed again
    hill.ask("exercise-stop", exercise=name, by="Ansel")
    expect(page.locator("#stop-said")).to_have_text("")


def test_who_may_not_stop_is_offered_none(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page, guest = phones.new(), phones.new(signed_in=False)
    start(page, "three")
    for path in ("/", "/spectators", "/searchers", "/walk-in"):
        live(guest, path)
        expect(guest.locator("fc-stop")).to_have_count(0)


def test_the_pages_for_other_phones_are_codes_without_a_login(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page, guest = phones.new(), phones.new(signed_in=False)
    start(page, "three")
    live(page, "/")
    page.locator("#others summary").tap()
    drawn = page.locator("#others img")
    expect(drawn).to_have_count(2)
    for n, to in enumerate(("/searchers", "/spectators")):
        drawn.nth(n).scroll_into_view_if_needed()
        page.wait_for_function("(one) => one.complete && one.naturalWidth > 0", arg=drawn.nth(n).element_handle())
        assert drawn.nth(n).get_attribute("src") == f"/qr.svg?to={to}"
        assert page.locator("#others a").nth(n).get_attribute("href") == to
    for to in ("/searchers", "/spectators"):
        live(guest, to)
        expect(guest.locator("#looking .clock")).to_be_visible()
        assert "/sign-in" not in guest.url


def test_the_sign_of_the_sound_is_true(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    page.add_init_script("""
      const Real = window.AudioContext;
      window.AudioContext = class extends Real { constructor() { super(); window.heard = this; } };
    """)
    start(page, "three")
    sign = page.locator("#sound")
    expect(sign).to_have_text("Sound is off: press to arm")
    sign.tap()
    expect(sign).to_have_text("Sound is on")
    page.evaluate("window.heard.suspend()")  # as a call does that comes in
    expect(sign).to_have_text("Sound is off: press to arm")
    sign.tap()
    expect(sign).to_have_text("Sound is on")


def test_the_field_calls_its_zones_as_people_do(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    live(page, "/field")
    expect(page.locator("#summary")).to_contain_text("Upper hollow")
    expect(page.locator("#list li").first).to_contain_text(re.compile("(Upper|Lower) hollow, x "))
    assert re.search(r"\b(upper|lower)\b", page.locator("main").inner_text()) is None


def test_who_goes_next_is_said_before_it_is_held(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    live(page, "/drills/three")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.locator("#new-searcher").fill("Jon, Siv")
    hold(page, "#start")
    page.wait_for_url("**/exercises/*")
    running(page)
    page.locator("#stop").tap()
    expect(page.locator("#again")).to_have_text("Hold: same again, nobody named")


def test_a_hold_goes_on_where_it_began_though_the_page_moves(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new(is_mobile=True)
    live(page, "/field")
    page.locator("#all-off").tap()
    hill.until(lambda: hill.ask("status")["all_off"]["unconfirmed"] == [])
    page.locator("fc-alloff-state input[type=radio]").last.check()
    page.evaluate(
        """() => setTimeout(() => {
            const told = document.createElement("div");
            told.style.height = "260px";
            document.querySelector("fc-alloff-state fc-hold").before(told);
        }, 1500)"""
    )
    finger(page, "fc-alloff-state fc-hold", 3500, 2.0)
    hill.until(lambda: not hill.ask("status")["all_off"]["in_force"])


def test_under_all_off_no_stop_is_taken_back(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    running(page)
    page.goto("/field")
    page.locator("fc-stop .stop").tap()
    expect(page.locator("fc-stop .back")).to_contain_text(name)
    page.locator("#all-off").tap()
    expect(page.locator("fc-alloff-state")).to_contain_text("All off is in force")
    expect(page.locator("fc-stop .back")).to_be_hidden()
    page.goto(f"/exercises/{name}")
    expect(page.locator("fc-live")).to_have_text("Live")
    expect(page.locator("#back")).to_be_hidden()
