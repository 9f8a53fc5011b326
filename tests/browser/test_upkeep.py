"""Upkeep by thumb: what is to be changed is on top, fresh cells by one held press, a history that can be read."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pytest
from conftest import Phones
from hill import Hill, a_hill
from measuring import axe_findings, contrasts, controls, over_the_edge
from playwright.sync_api import Page, expect
from thumbs import hold

from fieldctl.events import BatterySwapped, TargetAdded
from fieldctl.ledger.reader import Reader
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.units import HostTime, PersonId, TargetId

LOW = TargetId("5ee00077")  # which lies out of reach of the bus, and had reported for weeks
DAYS, GAP = 40, range(20, 26)
SITE = """
[battery]
chemistry = "lithium-fr6"
cells = 2
capacity_ah = 3.0
load_a = 0.12
least_v = 2.2

[upkeep]
closing_day = {closing}
expected_c = -10.0

[[target]]
id = "5ee00077"
name = "Lone larch"
zone = "upper"
x_m = 40.0
y_m = 100.0
depth_m = 1.2
"""
SUN, DARK = 7.0, 4.5  # WCAG 2.2, 1.4.6 and 1.4.3
THUMB_PX = 48
HEAD = {"en": "Upkeep", "de": "Unterhalt", "fr": "Entretien", "it": "Manutenzione"}
BAR = ".barring [data-do=target-bar]"
SWAP = f"#t-{LOW} [data-do=swap]"


def season(folder: Path) -> None:
    """Forty invented days of one target, its cells nearly empty at their end; six days in between without a word."""
    now = datetime.datetime.now(datetime.UTC)
    text = (folder / "site.toml").read_text()
    closing = (now.date() + datetime.timedelta(days=60)).isoformat()
    head, tables = text.split("[pages]", 1)
    (folder / "site.toml").write_text(head + "[pages]" + tables + SITE.format(closing=closing))
    rows = []
    for back in range(DAYS, 0, -1):
        used = 2.9 * (1 - back / (DAYS + 1))
        day = (now - datetime.timedelta(days=back)).replace(hour=10, minute=0, second=0, microsecond=0)
        for hour in range(3 if back not in GAP else 0):
            at = day + datetime.timedelta(hours=hour)
            us = int((DAYS + 1 - back) * 86_400e6 + hour * 3_600e6)
            share = 1.0 - used / 3.0
            rest = 2 * (1.55 + 0.23 * share) - (0.0 if share > 0.1 else 4.0 * (0.1 - share))
            label = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
            extra = {"charge_mas": int(used * 3.6e6), "bad_frames": 0}
            rows.append(Telemetry(LOW, HostTime("before", us), label, rest, rest - 0.3, -8.0, 3.0, extra))
    with Ledger.open(folder / "ledger.sqlite", inline=True, who="test") as ledger:
        ledger.put_telemetry(rows)
        ledger.append([TargetAdded(LOW, f"696e7664{LOW}", "bus", 1, PersonId("p-ansel"))], at=HostTime("before", 1))


@pytest.fixture(scope="module")
def upkeep_hill(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hill]:
    folder = tmp_path_factory.mktemp("upkeep") / "site"
    with a_hill(folder, serial=3, mqtt=0) as made:
        season(folder)
        made.start()
        yield made


@pytest.fixture
def hill(upkeep_hill: Hill) -> Hill:
    """A field with a season behind it, instead of everybody's."""
    return upkeep_hill


def live(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("fc-live")).to_have_text("Live")


def swaps(hill: Hill) -> list[BatterySwapped]:
    with Reader.read(hill.folder / "ledger.sqlite") as reader:
        return [fact for fact in reader.facts(kinds=(BatterySwapped,)) if isinstance(fact, BatterySwapped)]


def wrong(page: Page, looks: tuple[tuple[str, float], ...]) -> list[str]:
    """All that is wrong with a page as it stands, everything on it unfolded."""
    page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")
    found = []
    for theme, least in looks:
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        found += [f"{theme} {of:.2f}: {what}" for of, what in contrasts(page) if of < least]
        found += [f"{theme} {finding}" for finding in axe_findings(page)]
    page.emulate_media(color_scheme="light")
    small = [one for one in controls(page) if min(one["width"], one["height"]) < THUMB_PX - 0.5]
    found += [f"{one['what']} is {one['width']:.0f} by {one['height']:.0f} px" for one in small]
    if past := over_the_edge(page):
        found.append(f"{past} px over the edge")
    return [f"{page.url.rpartition(':')[2]}: {line}" for line in found]


def test_fresh_cells_by_a_held_press_are_in_the_log_and_on_the_page(hill: Hill, phones: Phones) -> None:
    page = phones.new()
    live(page, "/upkeep")
    expect(page.locator("[data-coming]")).to_have_count(0, timeout=20_000)  # the first list is worked out
    first = page.locator(".targets > li").first
    expect(first.locator("h2")).to_have_text("Lone larch")
    expect(first.locator(".state").first).to_have_text("change now")
    expect(first).to_contain_text(re.compile(r"60\.2 m from Stake 1, 042° clockwise from the site's y"))
    expect(first.locator(".age time")).to_contain_text(re.compile(r"\((\d+ h|1 days?) ago\)"))
    expect(page.locator("main")).to_contain_text("2 cells primary lithium (FR6), for Lone larch")
    expect(page.locator("main")).to_contain_text("(60 days): ")
    first.locator("summary").tap()
    hold(page, SWAP, 300)
    page.wait_for_timeout(500)
    assert swaps(hill) == []
    with page.expect_navigation():
        hold(page, SWAP)
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    expect(page.locator("#said")).to_have_text(f"Lone larch: fresh cells on {today}, written into the log. Undo")
    (fact,) = swaps(hill)
    assert (fact.target, fact.day, fact.chemistry, fact.cells) == (LOW, today, "lithium-fr6", 2)
    with page.expect_navigation():
        page.locator("#said [data-do=unswap]").tap()
    expect(page.locator("#said")).to_have_text(f"Lone larch: no fresh cells on {today}, taken back in the log.")
    row = page.locator(f"#t-{LOW}")
    expect(page.locator("[data-coming]")).to_have_count(0, timeout=20_000)
    expect(row.locator(".state").first).to_have_text("change now")
    row.locator("summary").tap()
    with page.expect_navigation():
        hold(page, SWAP)
    expect(row.locator(".state").first).to_have_text("not known", timeout=20_000)
    expect(page.locator("#said")).to_contain_text("written into the log")
    expect(row).to_contain_text(f"Fresh cells were put in on {today}; nothing was read of them yet.")
    expect(page.locator("main")).not_to_contain_text("for Lone larch")
    row.locator("h2 a").tap()
    expect(page.locator("h1")).to_have_text("History of Lone larch")
    expect(page.locator(".moments").first).to_contain_text("Fresh cells put in, as Mira said.")
    volts = page.locator("svg.chart").nth(0)
    expect(volts).to_have_attribute("role", "img")
    assert page.locator("svg.chart polyline.line-0").count() > page.locator("svg.chart").count() / 2
    page.locator("figure summary").first.tap()
    expect(page.locator("figure table").first).to_be_visible()


def test_barred_with_a_reason_and_cleared_by_who_dug_it_out(hill: Hill, phones: Phones) -> None:
    page = phones.new()
    live(page, "/upkeep/target/5ee00002")
    hold(page, BAR)
    expect(page.locator(".barring .said")).to_have_text("Say why first: what was seen or heard.")
    assert hill.ask("status")["day"]["barred"] == {}
    page.locator(".barring input").fill("its lid is cracked")
    hold(page, BAR, 300)
    page.wait_for_timeout(500)
    assert hill.ask("status")["day"]["barred"] == {}, "a short press bars nothing"
    with page.expect_navigation():
        hold(page, BAR)
    assert hill.ask("status")["day"]["barred"] == {"5ee00002": "its lid is cracked"}
    expect(page.locator(".barring")).to_contain_text("its lid is cracked")
    expect(page.locator(".states-now")).to_contain_text("barred")
    with page.expect_navigation():
        hold(page, ".barring [data-do=target-clear]")
    assert hill.ask("status")["day"]["barred"] == {}
    expect(page.locator(BAR)).to_be_visible()


@contextmanager
def held_up(hill: Hill) -> Iterator[None]:
    """The process that works lists out stands still: a small field's is there within the moment that a page waits."""
    assert hill.serve is not None
    children = psutil.Process(hill.serve.pid).children()
    (worker,) = (child for child in children if "spawn_main" in " ".join(child.cmdline()))
    worker.suspend()
    try:
        yield
    finally:
        worker.resume()


def test_a_list_that_is_worked_out_shows_itself_and_waits_where_somebody_reads(hill: Hill, phones: Phones) -> None:
    page = phones.new()
    page.goto("/upkeep")
    expect(page.locator("[data-coming]")).to_have_count(0, timeout=20_000)
    for opened in (False, True):
        with held_up(hill):
            hill.ask("battery-swapped", target=LOW, by="Mira", day=f"2026-01-0{1 + opened}")
            page.goto("/upkeep")
            said = page.locator("[data-coming=said]")
            expect(said).to_contain_text("Something was said since that this list does not know yet")
            assert page.locator(".targets > li").count(), "the list of before"
        if not opened:
            expect(said).to_have_count(0, timeout=20_000)
            continue
        page.locator(".targets summary").first.tap()
        expect(said).to_contain_text("The newer list is there.", timeout=20_000)
        expect(page.locator(".targets details[open]")).to_have_count(1)
        said.get_by_role("link", name="Show anew").tap()
        expect(said).to_have_count(0, timeout=20_000)


@pytest.mark.parametrize("language", list(HEAD))
def test_a_phones_width_is_enough_in_every_language(language: str, hill: Hill, phones: Phones) -> None:
    page = phones.new(locale=language)
    looks = (("light", SUN), ("dark", DARK)) if language == "en" else (("light", SUN),)
    found = []
    page.goto("/upkeep")
    expect(page.locator("h1")).to_have_text(HEAD[language])
    expect(page.locator("[data-coming]")).to_have_count(0, timeout=20_000)
    expect(page.locator("fc-live")).to_have_class(re.compile("is-live"))
    found += wrong(page, looks)
    page.goto(f"/upkeep/target/{LOW}")
    expect(page.locator("svg.chart").first).to_be_visible()
    expect(page.locator("fc-live")).to_have_class(re.compile("is-live"))
    found += wrong(page, looks)
    assert not found, "\n".join(found)
    assert "(en)" not in page.locator("main").inner_text()
