"""People on a phone: a right given, another phone paired by its camera, rights taken and given back, going out."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page, expect


def live(page: Page) -> None:
    expect(page.locator("fc-live")).to_have_text("Live")


def give(page: Page, name: str, right: str, until: str) -> None:
    page.goto("/people")
    live(page)
    page.locator("#person").fill(name)
    page.locator(f"#give input[value={right}]").check()
    page.locator(f"#give input[value={until}]").check()
    with page.expect_navigation():
        page.locator("#give button[type=submit]").click()
    live(page)


def of(page: Page, name: str) -> Any:
    """The row of somebody else."""
    return page.locator("section li").filter(has=page.locator("h3", has_text=name))


def no_wider_than_the_screen(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def test_from_a_right_to_a_second_phone_and_back(phones: Any, hill: Any) -> None:
    boss, other = phones.new("phone"), phones.new("phone", signed_in=False)
    give(boss, "Tove (invented)", "instruct", "today")
    assert no_wider_than_the_screen(boss)
    row = of(boss, "Tove")
    expect(row).to_contain_text("instruct")
    expect(row).to_contain_text("No phone is paired")

    row.locator("[data-do=code]").click()
    expect(boss.locator("#pairing .left")).to_contain_text("another 9:5")
    image = boss.locator("#pairing img")
    expect(image).to_be_in_viewport()
    boss.wait_for_function("document.querySelector('#pairing img').naturalWidth > 100")
    code = boss.locator("#pairing .letters").inner_text().split()[-1]

    other.goto(f"/pair/{code}")  # what the camera opens
    assert no_wider_than_the_screen(other)
    expect(other.locator("#code")).to_have_value(code)
    other.locator("form[data-ask=pair] button").click()  # the one press
    other.wait_for_url(lambda url: url.rstrip("/") == hill.url.rstrip("/"))
    expect(other.locator("footer")).to_contain_text("Tove (invented)")
    live(other)
    other.goto(f"/pair/{code}")
    other.locator("form[data-ask=pair] button").click()
    expect(other.locator(".said")).to_contain_text("not good, or not any more")

    boss.locator("#pairing button").click()
    live(boss)
    with boss.expect_navigation():
        of(boss, "Tove").locator("[data-do=take]").click()
    expect(of(boss, "Tove")).to_contain_text("Holds no right")
    other.goto("/field")
    expect(other.locator("h1")).to_have_text("Not yours to do")
    live(boss)
    with boss.expect_navigation():
        boss.locator("#undo button").click()
    expect(of(boss, "Tove")).to_contain_text("instruct, until")
    other.goto("/field")
    live(other)

    live(boss)
    with boss.expect_navigation():
        of(boss, "Tove").locator("[data-do=end]").click()
    other.wait_for_url("**/sign-in?next=/field")  # by itself: its stream ends with its right to see


def test_password_then_out_then_in_again(phones: Any, hill: Any) -> None:
    page = phones.new("tall")
    page.goto("/people")
    live(page)
    page.locator("details summary").first.click()
    page.locator("#new").fill("four larches in a row")
    with page.expect_navigation():
        page.locator("#password button").click()
    expect(page.locator("details summary").first).to_contain_text("Change the password")
    mine = page.locator("section").filter(has=page.locator("h2", has_text="Mira (you)"))
    live(page)
    mine.locator("[data-do=take]").click()
    expect(page.locator("#said")).to_contain_text("Nobody would be in charge any more")
    page.goto("/sign-out")
    page.locator("form[data-ask=sign-out] button").click()
    page.wait_for_url(lambda url: "/sign-out" not in url)
    expect(page.locator("footer")).to_contain_text("Sign in")
    page.goto("/people")
    page.wait_for_url("**/sign-in?next=/people")
    page.locator("#name").fill("mira")
    page.locator("#password").fill("four larches in a rov")
    page.locator("form[data-ask=sign-in] button").click()
    expect(page.locator(".said")).to_contain_text("do not belong together")
    page.locator("#password").fill("four larches in a row")
    page.locator("form[data-ask=sign-in] button").click()
    page.wait_for_url("**/people")
    expect(page.locator("h2", has_text="Mira (you)")).to_be_visible()
    hill.cookies = page.context.cookies()  # the session that all phones shared ended with the sign-out
