"""An assessment on two phones: who is to be assessed, what was seen, the verdict, two signatures by two people."""

from __future__ import annotations

import re

from conftest import Phones
from hill import Hill
from playwright.sync_api import Page, expect
from thumbs import hold, running

A = "5ee00001"
ENTRANCE = f"""
title = "Entrance, invented"
limit_min = 5
assessed = true
[[burial]]
name = "A"
signal = "start"
target = "{A}"
"""
PATROL = "Ansel (invented)"
SHORT_MS = 300


def live(page: Page) -> None:
    expect(page.locator("fc-live")).to_have_text("Live")


def second_person(boss: Page, other: Page) -> None:
    """Give somebody the right to instruct, and pair their phone."""
    boss.goto("/people")
    live(boss)
    boss.locator("#person").fill(PATROL)
    boss.locator("#give input[value=instruct]").check()
    with boss.expect_navigation():
        boss.locator("#give button[type=submit]").click()
    live(boss)
    boss.locator("section li").filter(has=boss.locator("h3", has_text=PATROL)).locator("[data-do=code]").click()
    expect(boss.locator("#pairing .left")).to_contain_text("another 9:5")
    other.goto(f"/pair/{boss.locator('#pairing .letters').inner_text().split()[-1]}")
    other.locator("form[data-ask=pair] button").click()
    expect(other.locator("footer")).to_contain_text(PATROL)


def named(boss: Page) -> None:
    """Name the candidates on the page of the drill."""
    boss.goto("/drills/entrance")
    live(boss)
    boss.locator("details:has(#candidates) > summary").tap()
    boss.locator("#candidates input").fill("Jon, Tove, jon")
    boss.locator("#candidates button").tap()
    expect(boss.locator("#candidates .said")).to_have_text("Kept: Jon, Tove")
    boss.reload()
    expect(boss.locator("details:has(#candidates) > summary")).to_contain_text("Jon, Tove")


def test_ticks_verdict_and_two_signatures_on_two_phones(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    drill = hill.folder / "drills" / "entrance.toml"
    drill.write_text(ENTRANCE)
    try:
        boss, other = phones.new("phone"), phones.new("phone", signed_in=False)
        second_person(boss, other)
        named(boss)
        name = hill.ask("exercise-start", drill="entrance", by="Mira", searchers=["Jon", "Tove"])["exercise"]
        hill.until(lambda: A in hill.sending())
        boss.goto(f"/exercises/{name}")
        running(boss)
        boss.goto(f"/exercises/{name}/assessment?candidate=Jon")
        expect(boss.locator("#assess")).to_contain_text("still goes on")
        assert boss.locator("[data-do]").count() == 0
        hill.do("probe", A)
        hill.until(lambda: hill.exercise(name)["burials"][0]["find"] is not None)
        hill.until(lambda: hill.exercise(name)["state"] != "running")
    finally:
        drill.unlink()

    boss.goto(f"/exercises/{name}/assessment")  # of several, one is chosen first
    assert boss.locator("#sheet").count() == 0
    boss.locator(".whom a", has_text="Jon").tap()
    expect(boss.locator("#sheet h1")).to_have_text("Assessment: Jon")
    live(boss)
    assert boss.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert boss.locator("[id^=sign-]").count() == 0
    for button in boss.locator("#probing-1, #airway-2, #verdict-passed").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 96

    boss.locator("#probing-1").tap()
    expect(boss.locator("#probing-1")).to_have_attribute("aria-pressed", "true")
    boss.locator("#airway-1").tap()
    expect(boss.locator("#airway-1")).to_have_attribute("aria-pressed", "true")
    boss.locator("#airway-2").tap()
    expect(boss.locator("#airway-2")).to_have_attribute("aria-pressed", "true")
    expect(boss.locator("#airway-1")).to_have_attribute("aria-pressed", "false")
    expect(boss.locator("#sheet tr", has_text="Airway first")).to_contain_text("no")
    expect(boss.locator("#sheet tr", has_text="Probing in order")).to_contain_text("yes")

    boss.locator("details:has(#by-hand) > summary").tap()
    for field, text in (("item", "time on the surface"), ("value", "62 s"), ("why", "own watch")):
        boss.locator(f"#hand-{field}").fill(text)
    boss.locator("#by-hand button").tap()
    expect(boss.locator("#sheet tr", has_text="time on the surface")).to_contain_text("62 s (by hand)")

    # otherwise than the field says, only with a reason
    expect(boss.locator("#assess")).to_contain_text("every burial was found in time")
    boss.locator("#verdict-failed").tap()
    expect(boss.locator("#said")).to_contain_text("another verdict needs a reason")
    boss.locator("#own-reason").fill("the airway came last")
    boss.locator("#own-reason").press("Enter")  # decides nothing
    boss.locator("#reason").select_option("Seen by the assessor, not measured by the field")
    assert boss.locator("#sheet .verdict").inner_text().startswith("Not decided yet")
    boss.locator("#verdict-failed").tap()
    expect(boss.locator("#sheet .verdict")).to_have_text("Decided: not passed")
    expect(boss.locator("#assess [aria-current]")).to_have_text("not passed")
    expect(boss.locator("#sheet")).to_contain_text("not measured by the field: the airway came last")

    hold(boss, "#sign-assessor", SHORT_MS)
    expect(boss.locator("#sheet .sign").first).to_contain_text("not signed")
    hold(boss, "#sign-assessor")
    expect(boss.locator("#sheet .sign").first).to_have_text("Assessor: signed by Mira")
    expect(boss.locator("#assess")).to_contain_text("somebody else signs here")
    assert boss.locator("#sign-second").count() == 0

    other.goto(f"/exercises/{name}/assessment?candidate=Jon")
    live(other)
    # decided anew meanwhile: nobody signs a sheet that they have not seen
    jon = {"exercise": name, "candidate": "Jon", "by": "Mira"}
    hill.ask("assessment-tick", **jon, item="lead", value="not seen")
    hill.ask("assessment-decide", **jon, verdict="failed", why="the airway came last")
    hold(other, "#sign-second")
    expect(other.locator("#said")).to_contain_text("Nothing is signed")
    expect(other.locator("#sheet")).to_contain_text("under an earlier sheet")
    boss.reload()
    live(boss)
    hold(boss, "#sign-assessor")
    expect(boss.locator("#sheet .sign").first).to_have_text("Assessor: signed by Mira")
    hold(other, "#sign-second")
    expect(other.locator("#sheet .sign").last).to_have_text(f"Second signature: signed by {PATROL}")
    expect(other.locator("#assess")).to_contain_text("This sheet is closed")
    assert other.locator("[data-do]").count() == 0

    # the first phone still shows its presses: what it asks for now is refused, and says so
    boss.locator("#verdict-passed").tap()
    expect(boss.locator("#said")).to_contain_text("signed twice and does not change any more")
    boss.reload()
    signed = boss.locator("#sheet .sign")
    expect(signed).to_have_text([re.compile("signed by Mira"), re.compile(re.escape(f"signed by {PATROL}"))])
    row = hill.ask("assessment-show", exercise=name, candidate="Jon")
    assert (row["final"], row["decided"]["verdict"]) == (True, "failed")
    ticks = {tick["item"]: tick["value"] for tick in row["sheet"]["ticks"]}
    assert ticks == {"probing": "yes", "airway": "no", "lead": "not seen", "time on the surface": "62 s"}
