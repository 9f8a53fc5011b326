from __future__ import annotations

import re

from conftest import Phones
from hill import Hill
from playwright.sync_api import expect

PREVIEW_WITHIN_MS = 60_000  # a machine shared with others; alone it takes a few seconds


def test_how_long_it_may_take_is_estimated_on_the_drills_page(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    page.goto("/drills/three")
    page.locator("#preview summary").tap()
    estimate = page.locator("#preview .estimate")
    expect(estimate).to_contain_text("An estimate by", timeout=PREVIEW_WITHIN_MS)
    rows = estimate.locator("tbody tr")
    expect(rows).to_have_count(3)
    for n, name in enumerate("ABC"):
        cells = rows.nth(n).locator("th, td").all_inner_texts()
        assert cells[0] == name
        assert all(re.fullmatch(r"\d+:\d\d|–", cell) for cell in cells[1:4]), cells
        assert re.fullmatch(r"\d+ %", cells[4])
    # B sends only once A is found: that is why it is hard, and the page says so
    expect(estimate).to_contain_text("B: Its signal comes only when A is found.")
    picture = estimate.locator("img")
    expect(picture).to_have_js_property("complete", True)
    assert page.evaluate("document.querySelector('#preview img').naturalWidth") > 100
    assert "x to the right" in (picture.get_attribute("alt") or "")


def test_the_estimate_says_what_it_takes_for_granted_and_fits_a_narrow_phone(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto("/drills/three")
    page.locator("summary", has_text="Searchers").tap()
    page.locator("#new-searcher").fill("Mira, Tove, Jon")
    page.locator("#preview summary").tap()
    estimate = page.locator("#preview .estimate")
    expect(estimate).to_contain_text("by 3 simulated searchers (trained) in", timeout=PREVIEW_WITHIN_MS)
    expect(estimate).to_contain_text("nobody digs: times end with the hit or the call")
    expect(estimate).to_contain_text("fitted to no trial")
    expect(estimate.locator("img")).to_have_js_property("complete", True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_an_estimate_whose_network_went_says_so_and_comes_when_it_is_back(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    page.goto("/drills/three")
    page.route("**/preview?*", lambda route: route.abort())
    page.locator("#preview summary").tap()
    estimate = page.locator("#preview .estimate")
    expect(estimate).to_contain_text("cannot be reached just now")
    page.unroute("**/preview?*")
    expect(estimate.locator("table")).to_be_visible(timeout=PREVIEW_WITHIN_MS)


def test_less_practised_searchers_are_estimated_slower(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    page.goto("/drills/three")
    page.locator("#preview summary").tap()
    shares = {}
    for skill in ("practised", "novice"):
        page.get_by_label(skill).check()
        expect(page.locator("#preview progress")).to_be_hidden(timeout=PREVIEW_WITHIN_MS)
        expect(page.locator("#preview .estimate table")).to_be_visible(timeout=PREVIEW_WITHIN_MS)
        shares[skill] = [
            int(cell.rstrip(" %")) for cell in page.locator("#preview tbody td:last-child").all_inner_texts()
        ]
    assert sum(shares["practised"]) > sum(shares["novice"])


def test_a_drill_that_cannot_be_staffed_says_which_wish_and_what_would_do(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    drill = hill.folder / "drills" / "deep.toml"
    drill.write_text(
        'title = "Too deep"\nlimit_min = 15\n[[burial]]\nname = "A"\nsignal = "start"\ndepth_m = [4.0, 5.0]\n'
    )
    try:
        page = phones.new()
        page.goto("/drills/deep")
        expect(page.locator("#hindrances .wrong").first).to_contain_text("A")
        expect(page.locator("#hindrances .wrong").first).to_contain_text("deep")
        assert page.locator("#start").get_attribute("aria-disabled") == "true"
        drill.write_text('title = "Too deep"\nlimit_min = 15\n[[burial]]\nname = "A"\nsignal = "start"\ndepth = 4\n')
        page.goto("/drills")
        expect(page.locator("main")).to_contain_text("depth")
        page.goto("/drills/deep")
        expect(page.locator("h1")).to_have_text("That cannot be shown")
        expect(page.locator("main")).to_contain_text("depth")
    finally:
        drill.unlink()
