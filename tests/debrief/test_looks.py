"""The sheet in a browser: on a phone held upright, on paper, on a screen that a group looks at from afar."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from debrief_kit import drill, told, worked
from exercise_kit import Made, after
from playwright.sync_api import Browser, Page, sync_playwright

from fieldctl.debrief.model import Debrief
from fieldctl.debrief.report import figures, page_fragment, sheet, style
from fieldctl.debrief.texts import texts_of
from fieldctl.drill.plan import Burial, Signal

CHROMIUM = "/usr/bin/chromium"
LEAST_ON_A_PHONE_PX = 11.0  # what stands in a picture, in CSS pixels: the size of a footnote
SCREEN_PX = 30.0  # of 1920: 16 mm on a screen 1 m wide, 11 minutes of arc from 5 m, twice what a sharp eye needs


def one() -> Debrief:
    plan = drill(Burial("A", find="call"))
    make = Made(plan)
    return told(plan, [*worked(make), make.split("airway", 760, "A")], survival="rauch-2024")


def full() -> Debrief:
    """Three burials, a technical gap, corrections, a probe line: about as much as one exercise brings."""
    plan = drill(Burial("A"), Burial("B", after("A", 5)), Burial("C", Signal("never")))
    m = Made(plan)
    facts = [
        m.started(), m.on("A", 0, 1), m.split("signal", 40, "A"), m.split("coarse", 95, "A"), m.split("fine", 140, "A"),
        m.strike("A", 150, "step"), m.strike("A", 171), m.call("A", 174), m.on("B", 176, 2),
        m.split("signal", 200, "B"), m.split("coarse", 260, "B"), m.call("B", 300), m.strike("B", 330),
        m.call("B", 350), m.split("airway", 560, "B"),
        m.off("A", 400, 1, "ran-out"), m.interrupted(m.at(390), m.at(570)), m.resumed(m.at(590), 200_000_000),
        m.on("A", 592, 3), m.strike("C", 700), m.off("A", 702, 3, "stopped"), m.off("B", 702, 2, "stopped"),
        m.ended("complete", 702), m.correct("give", "A", "Tove", s=800),
    ]  # fmt: skip
    return told(plan, facts, survival="rauch-2024", digging_s=480)


def hits() -> Debrief:
    """A hundred hits on one pad, a strike of each kind, and more corrections than anybody makes."""
    plan = drill(Burial("A", find="call"))
    m = Made(plan)
    facts = [*worked(m), *(m.strike("A", 251 + i / 10) for i in range(99))]
    facts += [m.correct("give", "A", "Tove", s=400 + i, nth=i) for i in range(30)]
    return told(plan, facts, survival="rauch-2024", digging_s=480)


CASES = {"one": one, "full": full, "hits": hits}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


def shown(browser: Browser, html: str, folder: Path, wide: int, high: int) -> Page:
    file = folder / "page.html"
    file.write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": wide, "height": high})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: asked.append(f"console: {message.text}"))
    page.goto(file.as_uri())
    assert asked == [file.as_uri()]  # nothing else is fetched, and nothing is refused
    return page


def smallest_letter_px(page: Page, key: str, svg: str) -> float:
    """The smallest letter of a picture as shown, by its glyphs' scale: paths of 100 units and so many points."""
    box = page.locator(f"figure.{key} > :is(svg, img)").first.bounding_box()
    viewed = re.search(r'viewBox="0 0 ([\d.]+) ', svg)
    assert box is not None
    assert viewed is not None
    scales = re.findall(r"scale\((0\.\d+) -0\.\d+\)", svg)
    return min(map(float, scales)) * 100 * box["width"] / float(viewed[1])


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("wide", [360, 390])
def test_on_a_phone_nothing_runs_over_the_edge(browser: Browser, tmp_path: Path, case: str, wide: int) -> None:
    page = shown(browser, sheet(CASES[case]()), tmp_path, wide, 800)
    assert page.evaluate("document.documentElement.scrollWidth") == wide
    for key, drawn in figures(CASES[case]()).items():
        assert smallest_letter_px(page, key, drawn.svg) > LEAST_ON_A_PHONE_PX
    tops = page.evaluate(
        "['.touches', 'figure.timeline', '.burials'].map(s => document.querySelector(s).getBoundingClientRect().top)"
    )
    assert tops == sorted(tops)
    heights = page.evaluate("[...document.querySelectorAll('summary')].map(e => e.getBoundingClientRect().height)")
    assert heights == [44, 44]  # a thumb's width (WCAG 2.2, 2.5.5)
    page.close()


@pytest.mark.parametrize("language", ["en", "de", "fr", "it"])
def test_on_a_phone_no_usual_word_is_broken(browser: Browser, tmp_path: Path, language: str) -> None:
    page = shown(browser, sheet(full(), texts_of("debrief", language), language=language), tmp_path, 360, 640)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    broken = page.evaluate(
        """() => [...document.querySelectorAll('.burials :is(th, td)')].flatMap(cell => {
            const words = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), found = [];
            for (let text; (text = words.nextNode());) for (const word of text.data.matchAll(/\\p{L}+/gu)) {
                const range = document.createRange();
                range.setStart(text, word.index); range.setEnd(text, word.index + word[0].length);
                if (range.getClientRects().length > 1) found.push(word[0]);
            }
            return found;
        })"""
    )
    assert broken == []
    shown_by = page.evaluate("getComputedStyle(document.querySelector('.burials td small.by')).display")
    assert shown_by == "block"  # whose moment it is stands under its name
    page.close()


@pytest.mark.parametrize("case", CASES)
def test_on_paper_it_is_one_sheet(browser: Browser, tmp_path: Path, case: str) -> None:
    page = shown(browser, sheet(CASES[case]()), tmp_path, 800, 1100)
    paper = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    size = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", paper)
    assert size is not None
    assert [round(float(part)) for part in size.groups()] in ([595, 842], [596, 842])  # A4
    page.close()


def drawn_inside(fragment: str) -> str:
    """The same with each figure as a drawing of the page itself, so that its letters can be measured."""
    images = re.compile(r'<img alt="[^"]*" src="data:image/svg\+xml;base64,([^"]+)">')
    assert len(images.findall(fragment)) == 2
    return images.sub(lambda found: base64.b64decode(found.group(1)).decode(), fragment)


def test_from_five_metres(browser: Browser, tmp_path: Path) -> None:
    html = drawn_inside(page_fragment(full(), screen=True))
    page = shown(browser, f"<!doctype html><style>{style()}</style>{html}", tmp_path, 1920, 1080)
    sizes = page.evaluate(
        "['.longest', '.touches li', 'h2', 'td']"
        ".map(s => parseFloat(getComputedStyle(document.querySelector(s)).fontSize))"
    )
    assert min(sizes) >= SCREEN_PX
    drawn = figures(full(), screen=True)["timeline"]
    assert smallest_letter_px(page, "timeline", drawn.svg) >= SCREEN_PX
    top = page.evaluate("document.querySelector('figure.timeline').getBoundingClientRect().top")
    assert top < page.evaluate("document.querySelector('.burials').getBoundingClientRect().top")
    assert not page.locator(".strikes").is_visible()
    page.close()
