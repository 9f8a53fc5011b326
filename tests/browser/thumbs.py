"""What thumbs do on a page, and what eyes wait for."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

HELD_MS = 800  # a start is a press of 0.7 s


def hold(page: Page, selector: str, ms: int = HELD_MS) -> None:
    """A thumb on it for so long."""
    page.locator(selector).scroll_into_view_if_needed()
    box = page.locator(selector).bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.wait_for_timeout(ms)
    page.mouse.up()


def start(page: Page, drill: str) -> str:
    """Start a drill from its page; the exercise's name."""
    page.goto(f"/drills/{drill}")
    expect(page.locator("fc-live")).to_have_text("Live")
    hold(page, "#start")
    page.wait_for_url("**/exercises/*")
    return page.url.rpartition("/")[2]


def running(page: Page) -> None:
    """The clock has passed the ± of a thumb: a call now is surely one after the start."""
    expect(page.locator("#call")).to_be_enabled()
    expect(page.locator("#clock")).not_to_have_text(re.compile(r"^(−.*|0:00|0:01|–)$"))
