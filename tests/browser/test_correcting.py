"""What was entered, put right from a phone: each correction is an entry of the log, with its undo in the list."""

from __future__ import annotations

from typing import Any

from conftest import Phones
from hill import Hill
from playwright.sync_api import Page, expect
from thumbs import running, start

A = "5ee00001"


def burial(hill: Hill, exercise: str, name: str = "A") -> dict[str, Any]:
    return next(b for b in hill.exercise(exercise)["burials"] if b["burial"] == name)


def begin(page: Page, change: str) -> None:
    """The list, the section below it, one of its changes."""
    if not page.locator("#entries").evaluate("one => one.open"):
        page.locator("#entries > summary").tap()
    if not page.locator("#correcting").evaluate("one => one.open"):
        page.locator("#correcting > summary").tap()
    page.locator(f"#correcting [data-change={change}]").tap()


def press(page: Page, field: str, value: str) -> None:
    page.locator(f'#correcting [data-field={field}][data-value="{value}"]').tap()


def enter(page: Page) -> None:
    """Send it: it is told above, and the section folds up."""
    page.locator("#correcting [data-send]").tap()
    expect(page.locator("#orders")).to_contain_text("Corrected")
    expect(page.locator("#correcting")).not_to_have_attribute("open", "")


def found_by(hill: Hill, exercise: str, searcher: str) -> bool:
    find = burial(hill, exercise)["find"]
    return find is not None and find["searcher"] == searcher


def test_a_find_by_hand_given_to_tove_under_another_start_and_one_undone(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    page.goto("/drills/three")
    page.get_by_text("Searchers").first.tap()
    page.locator("#new-searcher").fill("Jon, Tove")
    name = start(page, "three")  # the page keeps who was typed
    running(page)

    begin(page, "add-hit")
    send = page.locator("#correcting [data-send]")
    expect(send).to_be_disabled()  # no burial yet, and no reason
    for step in ("60", "10", "-1"):
        page.locator(f'#correcting [data-step="{step}"]').tap()
    press(page, "about", "A")
    expect(send).to_be_disabled()  # a correction needs a reason
    press(page, "why", "the pad reported nothing")
    shown = page.locator("#correcting output").inner_text()
    enter(page)
    find = hill.until(lambda: burial(hill, name)["find"])
    minutes, seconds = shown.split(":")
    assert (find["kind"], find["at_s"]) == ("by-hand", 60 * int(minutes) + int(seconds))
    assert find["at_s"] >= 69
    expect(page.locator("#words li").first).to_contain_text("found")  # by the stream

    begin(page, "give")
    assert page.locator("#correcting [data-field=about]").all_inner_texts() == ["A"]  # only what is found
    press(page, "about", "A")
    press(page, "value", "Tove")
    press(page, "why", "somebody else found it")
    enter(page)
    hill.until(lambda: found_by(hill, name, "Tove"))

    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")  # what follows is after the end
    before = hill.exercise(name)["clock_s"]
    begin(page, "shift-start")
    for _ in range(5):
        page.locator('#correcting [data-step="1"]').tap()
    expect(page.locator("#correcting output")).to_have_text("5 s later")
    page.get_by_label("Another reason").fill("they waited for Tove")
    enter(page)
    hill.until(lambda: hill.exercise(name)["clock_s"] == round(before - 5, 3))
    rows = hill.exercise(name)["corrections"]
    assert [(r["change"], r["about"], r["value"], r["why"]) for r in rows] == [
        ("add-hit", "A", find["at_s"], "the pad reported nothing"),
        ("give", "A", "Tove", "somebody else found it"),
        ("shift-start", name, 5, "they waited for Tove"),
    ]

    given = page.locator("#entries > div li", has_text="given to another")
    given.get_by_role("button", name="Undo").tap()
    hill.until(lambda: found_by(hill, name, "Jon + Tove"))
    assert hill.exercise(name)["clock_s"] == round(before - 5, 3)
    assert [r["undone"] for r in hill.exercise(name)["corrections"][:3]] == [False, True, False]


def hits(hill: Hill, exercise: str) -> list[str]:
    return [m["source"] for m in burial(hill, exercise)["hits"]]


def test_two_entries_made_one_a_hit_judged_and_a_call_placed_once_though_no_answer_came(
    hill: Hill, phones: Phones
) -> None:
    hill.open_day()
    page = phones.new("tall")
    name = start(page, "three")
    running(page)
    page.locator("#call").tap()  # for A
    hill.until(lambda: burial(hill, name)["calls"])
    hill.do("probe", A)
    hill.until(lambda: len(hits(hill, name)) == 1)
    hill.do("probe", A)
    hill.until(lambda: len(hits(hill, name)) == 2)
    first, second = hits(hill, name)

    begin(page, "merge")
    press(page, "about", second)
    assert page.locator("#correcting [data-field=value]").count() == 1  # itself is not offered
    press(page, "value", first)
    press(page, "why", "one push of one probe")
    enter(page)
    hill.until(lambda: hits(hill, name) == [first])

    begin(page, "judge")
    press(page, "about", first)
    press(page, "value", "step")
    press(page, "why", "seen on the spot")
    enter(page)
    hill.until(lambda: hits(hill, name) == [])
    assert burial(hill, name)["find"] is None

    call = burial(hill, name)["calls"][0]["source"]
    begin(page, "place-call")
    press(page, "about", call)
    assert page.locator("#correcting [data-field=value]").all_inner_texts() == ["B", "C"]
    press(page, "value", "C")
    press(page, "why", "tapped for the wrong burial")

    def lost(route: Any) -> None:
        route.fetch()  # it arrives; its answer does not
        route.abort()

    page.route("**/api/v1/exercise-correct", lost)
    page.locator("#correcting [data-send]").tap()
    expect(page.locator("#orders")).to_contain_text("No answer")
    page.unroute("**/api/v1/exercise-correct")
    enter(page)
    hill.until(lambda: [m["source"] for m in burial(hill, name, "C")["calls"]] == [call])
    assert [r["change"] for r in hill.exercise(name)["corrections"]] == ["merge", "judge", "place-call"]
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
