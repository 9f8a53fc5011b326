"""Measured in a browser: contrast, sizes and gaps of what a glove presses, axe-core, edges, greys, no scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from io import BytesIO
from itertools import combinations

import pytest
from conftest import Phones
from hill import Hill
from measuring import axe_findings, contrasts, controls, luminance, narrowest, over_the_edge, ratio
from PIL import Image
from playwright.sync_api import Page, expect
from thumbs import hold, running, start

from fieldctl.web.words import catalogue

A, B, C = "5ee00001", "5ee00002", "5ee00003"
LANGUAGES = ("en", "de", "fr", "it")
SUN, DARK = 7.0, 4.5  # WCAG 2.2, 1.4.6 and 1.4.3; for large text too
LIVE_PX, BIG_PX, GAP_PX = 96, 120, 24
MOST_LIVE = 6


def live(page: Page, path: str) -> None:
    page.goto(path)
    expect(page.locator("fc-live")).to_have_text("Live")


def still(page: Page) -> None:
    """Wait until nothing flashes: a time line that has just told of a find."""
    page.evaluate("Promise.allSettled(document.getAnimations().map((one) => one.finished))")


def judged(page: Page, contrast_only: bool = False) -> list[str]:
    """All that is wrong with a page as it stands: contrast in both themes, the edge, axe's findings in both."""
    wrong = []
    still(page)
    for theme, least in (("light", SUN), ("dark", DARK)):
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        rows = contrasts(page)
        assert rows, "no text was found"
        wrong += [f"{theme} {of:.2f}: {what}" for of, what in rows if of < least]
        if not contrast_only:
            wrong += [f"{theme} {finding}" for finding in axe_findings(page)]
    page.emulate_media(color_scheme="light")
    if past := over_the_edge(page):
        wrong.append(f"{past} px over the edge")
    return [f"{page.url.partition('//')[2].partition('/')[2]}: {line}" for line in wrong]


# Published worked values: black on white is 21:1; #767676 is the lightest grey with 4.5:1 on white, #595959 with 7:1.
@pytest.mark.parametrize(
    ("ink", "least", "lighter"), [((0x76,) * 3, 4.5, (0x77,) * 3), ((0x59,) * 3, 7.0, (0x5A,) * 3)]
)
def test_the_formula(ink: tuple[int, ...], least: float, lighter: tuple[int, ...]) -> None:
    white = (255, 255, 255)
    assert ratio((0, 0, 0), white) == pytest.approx(21.0)
    assert ratio(white, ink) == ratio(ink, white) >= least > ratio(lighter, white)


def test_a_page_that_is_hard_to_read_is_noticed(phones: Phones) -> None:
    page = phones.new()
    live(page, "/limited")
    assert judged(page) == []
    page.evaluate("document.querySelector('main p').style.color = '#6a6a6a'")
    assert [line for line in judged(page, contrast_only=True) if "light 5." in line]
    page.evaluate("document.querySelector('main').append(document.createElement('button'))")
    page.evaluate("document.querySelector('main').style.width = '500px'")
    found = " ".join(judged(page))
    assert "button-name" in found
    assert "over the edge" in found


def test_pages_of_everybody(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new(signed_in=False)
    wrong = []
    paths = ("/", "/walk-in", "/sign-in", "/first", "/pair", "/spectators", "/searchers", "/limited")
    for path in paths:
        live(page, path)
        wrong += judged(page)
    assert not wrong, "\n".join(wrong)


def test_pages_of_the_field(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    wrong = []
    for path in ("/", "/field", "/drills", "/drills/three", "/day", "/people", "/walk-in", "/sign-out", "/season"):
        page.goto(path)
        if page.locator("fc-live").count():
            expect(page.locator("fc-live")).to_have_text("Live")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        wrong += judged(page)
    for path in ("/drills/none", "/exercises/none", "/group/E1/1/none"):
        page.goto(path)
        expect(page.locator(".wrong")).to_be_visible()
        wrong += judged(page)
    assert not wrong, "\n".join(wrong)


def test_a_right_that_is_missing(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    boss, other = phones.new(), phones.new(signed_in=False)
    wrong = []
    live(boss, "/people")
    boss.locator("#person").fill("Siv (invented)")
    boss.locator("#give input[value=watch]").check()
    with boss.expect_navigation():
        boss.locator("#give button[type=submit]").click()
    expect(boss.locator("fc-live")).to_have_text("Live")
    wrong += judged(boss)
    row = boss.locator("section li").filter(has=boss.locator("h3", has_text="Siv"))
    row.locator("[data-do=code]").click()
    expect(boss.locator("#pairing .letters")).to_be_visible()
    code = boss.locator("#pairing .letters").inner_text().split()[-1]
    wrong += judged(boss)
    other.goto(f"/pair/{code}")
    wrong += judged(other)
    other.locator("form[data-ask=pair] button").click()
    other.wait_for_url(lambda url: "/pair" not in url)
    live(other, "/drills/three")
    wrong += judged(other)
    boss.locator("#pairing button").click()
    with boss.expect_navigation():
        row.locator("[data-do=take]").click()
    other.goto("/field")
    expect(other.locator("h1")).to_have_text("Not yours to do")
    wrong += judged(other)
    assert not wrong, "\n".join(wrong)


def test_a_closed_field_and_a_field_that_is_off(hill: Hill, phones: Phones) -> None:
    hill.settled()
    if hill.ask("status")["day"]["open"]:
        hill.ask("day-close", by="Ansel", signed="Ansel", own_units_back=True, listening_walk="Tove, nothing")
    page = phones.new()
    wrong = []
    for path in ("/", "/day", "/drills/three", "/walk-in"):
        live(page, path)
        wrong += judged(page)
    hill.open_day()
    hill.do("cut", C)
    page.locator("#all-off").tap()
    expect(page.locator("fc-alloff-state")).to_contain_text("All off is in force")
    for path in ("/", "/field", "/walk-in"):
        live(page, path)
        expect(page.locator("fc-alloff-state fc-hold")).to_be_visible()
        wrong += judged(page)
    assert not wrong, "\n".join(wrong)
    rows = controls(page)
    assert {row["what"]: row["height"] for row in rows}["all-off"] >= BIG_PX
    assert [row for row in rows if row["tag"] == "fc-hold" and row["height"] < BIG_PX] == []


# ---- the exercise, in each of its states ---------------------------------------------------------------------------


def glove(page: Page, state: str) -> list[str]:
    """What a glove would not like about the live controls of this page."""
    page.evaluate("scrollTo(0, 0)")
    rows = [row for row in controls(page) if row["live"]]
    wrong = [f"{row['what']} is {row['height']:g} px high" for row in rows if row["height"] < LIVE_PX]
    big = [row for row in rows if row["what"] in ("stop", "all-off") or row["tag"] == "fc-hold"]
    assert big
    wrong += [f"{row['what']} is only {row['height']:g} px high" for row in big if row["height"] < BIG_PX]
    for where in ({"bar"}, {"ask", "main", "top", "list"}):  # the bar lies over what can be scrolled from under it
        apart, which = narrowest([row for row in rows if row["where"] in where])
        if apart < GAP_PX:
            wrong.append(f"{apart} px between {which}")
    bar = page.locator("#bar").bounding_box()
    assert bar is not None
    for row in rows:
        if row["where"] == "ask" and row["bottom"] > bar["y"]:
            wrong.append(f"{row['what']} is {row['bottom'] - bar['y']:g} px under the bar")
    # Below these come the sign of sound and the list of what was entered, opened when it is asked for.
    orders = [row["what"] for row in rows if row["what"] != "sound" and row["where"] != "list"]
    if "running" in state and len(orders) > MOST_LIVE:
        wrong.append(f"{len(orders)} live buttons: {', '.join(orders)}")
    wrong += unreachable(page)
    if past := over_the_edge(page):
        wrong.append(f"{past} px over the edge")
    size = page.viewport_size
    assert size is not None
    return [f"{state}, {size['width']}x{size['height']}: {line}" for line in wrong]


def unreachable(page: Page) -> list[str]:
    """Live controls that something else lies over when they are scrolled to."""
    covered: list[str] = page.evaluate("""
      () => [...document.querySelectorAll(
          "main :is(button, fc-hold, summary, a, [role=button]), footer a, nav a, #bar button")]
        .filter((one) => one.checkVisibility({ visibilityProperty: true }))
        .filter((one) => {
          one.scrollIntoView({ block: "center" });
          const box = one.getBoundingClientRect();
          const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
          return !(one === top || one.contains(top) || (top && top.contains(one)));
        }).map((one) => `${one.id || one.textContent} is covered`)""")
    page.evaluate("scrollTo(0, 0)")
    return covered


def states(hill: Hill, page: Page) -> Iterator[str]:
    """One exercise from its start to its end, in each state that shows other buttons."""
    start(page, "three")
    running(page)
    expect(page.locator("#words")).to_contain_text("sending, confirmed by the target")
    yield "running"
    page.locator("#split").tap()
    expect(page.locator("#ask button")).to_have_count(1)
    yield "running, undo"
    hill.do("probe", A)
    hill.until(lambda: hill.exercise()["burials"][0]["find"])
    hill.do("probe", A)
    hill.do("steps", C)
    expect(page.locator("#words")).to_contain_text("found")
    page.locator("#entries summary").tap()
    expect(page.locator("#entries [data-void]").first).to_be_visible()
    yield "running, what was entered"
    page.locator("#stop").tap()
    expect(page.locator("#again")).to_be_visible()
    yield "stopped"


def in_every_size(page: Page, then: Callable[[], list[str]]) -> list[str]:
    wrong = []
    for width, height in ((412, 915), (820, 1180), (360, 640)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(60)
        wrong += then()
    return wrong


def test_an_exercise_is_for_gloves_and_can_be_read(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    wrong: list[str] = []
    for state in states(hill, page):
        wrong += in_every_size(page, lambda state=state: glove(page, state))  # type: ignore[misc]
        wrong += judged(page)
    assert not wrong, "\n".join(wrong)


def in_each_language(page: Page, then: Callable[[str], list[str]]) -> list[str]:
    wrong = []
    path = page.url
    for language in LANGUAGES:
        page.goto(f"/language/{language}?to=/limited")
        page.goto(path)
        expect(page.locator("fc-live.is-live")).to_be_visible()
        wrong += then(language)
    page.goto("/language/en?to=/limited")
    return wrong


def test_what_is_judged_is_for_gloves_in_four_languages(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    name = start(page, "three")
    expect(page.locator("#call")).to_be_enabled()
    page.locator("#call").tap()  # inside the ± of a thumb at the start
    hill.until(lambda: hill.exercise(name)["to_judge"])

    def asked(language: str) -> list[str]:
        expect(page.locator("#ask button")).to_have_count(2)
        return glove(page, f"running, judged, {language}")

    wrong = in_each_language(page, asked)
    page.goto(f"/exercises/{name}")
    expect(page.locator("#ask button")).to_have_count(2)
    wrong += judged(page)
    assert page.locator("#bands").get_attribute("role") == "img"
    page.locator("#ask button").first.tap()
    expect(page.locator("#ask button")).to_have_count(1)
    expect(page.locator("#bands")).to_have_attribute("role", "button")
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    assert not wrong, "\n".join(wrong)


def test_the_time_line_chooses_the_next_burial(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tall")
    start(page, "three")
    running(page)
    for name in ("B", "C", "A"):
        page.locator("#bands").tap()
        expect(page.locator("#call")).to_have_text(f"Here! {name}")
    page.locator("#bands").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#call")).to_have_text("Here! B")
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")


def test_interrupted_debrief_and_those_who_look_on(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page, looking = phones.new(), phones.new(signed_in=False)
    name = start(page, "three")
    running(page)
    live(looking, "/spectators")
    page.locator("#call").tap()
    expect(looking.locator("#looking li")).to_have_count(1)
    wrong = judged(looking) + [f"looking on: {line}" for line in glove(looking, "looking on")]
    live(looking, "/")
    wrong += judged(looking) + glove(looking, "now")
    live(page, "/")
    wrong += judged(page)
    page.goto(f"/exercises/{name}")
    page.locator("#stop").tap()
    expect(page.locator("#state")).to_have_text("stopped")
    for path in (f"/exercises/{name}/debrief", f"/exercises/{name}/screen"):
        live(page, path)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        wrong += judged(page)
    live(page, f"/exercises/{name}/debrief")
    page.locator("#group summary").tap()
    page.locator("#group button").tap()
    expect(page.locator("#group .code img, #group .code svg")).to_be_visible()
    wrong += judged(page)
    assert not wrong, "\n".join(wrong)


def start_again(hill: Hill) -> None:
    """On the same port, so that its pages find it again."""
    port = hill.url.rpartition(":")[2]
    site = (hill.folder / "site.toml").read_text()
    (hill.folder / "site.toml").write_text(site.replace("port = 0", f"port = {port}", 1))
    hill.start()


def test_not_live_and_interrupted(own_hill: Hill, phones: Phones) -> None:
    own_hill.open_day()
    page = phones.new()
    start(page, "three")
    running(page)
    own_hill.until(lambda: own_hill.sending() == {A, C})
    own_hill.kill()
    expect(page.locator("fc-live")).to_contain_text("Not live since", timeout=12_000)
    wrong = judged(page) + glove(page, "running, not live")
    hatched = "[...document.querySelectorAll('[data-live]')].map((one) => getComputedStyle(one).backgroundImage)"
    assert all("repeating-linear-gradient" in image for image in page.evaluate(hatched))
    assert [row["what"] for row in controls(page) if row["live"] and row["where"] == "bar"] == ["stop", "all-off"]
    own_hill.until(lambda: own_hill.sending() == set(), 15)
    start_again(own_hill)
    expect(page.locator("#ask button")).to_have_text("Go on", timeout=15_000)
    wrong += judged(page) + in_every_size(page, lambda: glove(page, "interrupted"))
    live(page, "/")
    wrong += judged(page)
    assert not wrong, "\n".join(wrong)


def test_a_walk_in_is_for_gloves(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page, boss = phones.new(signed_in=False), phones.new()
    release = hill.ask("walkin-release", drill="short", zones=("upper",), ends_in_min=60.0, pause_s=10.0, by="Ansel")
    start_it, stop_it = ("section[data-zone=upper] [data-part=" + part for part in ("start]", "stop]"))
    live(page, "/walk-in")
    expect(page.locator(start_it)).to_be_visible()
    wrong = judged(page) + in_every_size(page, lambda: glove(page, "walk-in, free"))
    hold(page, start_it)
    expect(page.locator(stop_it)).to_be_visible()
    expect(page.locator("section[data-zone=upper] .clock")).to_be_visible()
    wrong += judged(page) + in_every_size(page, lambda: glove(page, "walk-in, running"))
    live(boss, "/walk-in")
    wrong += judged(boss)
    page.locator(stop_it).tap()
    expect(page.locator(stop_it)).to_be_hidden()
    wrong += judged(page)
    hill.ask("walkin-end", release=release["release"], by="Ansel")
    assert not wrong, "\n".join(wrong)


# ---- on every page -------------------------------------------------------------------------------------------------

PUBLIC = ("/", "/walk-in", "/sign-in", "/first", "/pair", "/spectators", "/searchers", "/limited")
INSIDE = ("/", "/field", "/drills", "/drills/three", "/day", "/people", "/walk-in", "/sign-out", "/drills/none")


# Words that do not fit into their button, 4 px from its edge.
TOO_LONG = r"""
() => [...document.querySelectorAll("button, fc-hold, a.big, summary.big, .ways a")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }))
  .filter((one) => {
    const range = document.createRange();
    range.selectNodeContents(one);
    const [words, box] = [range.getBoundingClientRect(), one.getBoundingClientRect()];
    return words.left < box.left + 4 || words.right > box.right - 4 || words.top < box.top || words.bottom > box.bottom;
  }).map((one) => `${one.textContent.trim()} does not fit into its button`)
"""


def test_no_page_is_wider_than_its_screen_in_any_language_and_all_off_is_on_each(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    boss, guest = phones.new(), phones.new(signed_in=False)
    start(boss, "three")
    ran = boss.url
    wrong = []
    for language in LANGUAGES:
        for page, paths in ((boss, (*INSIDE, ran)), (guest, PUBLIC)):
            page.goto(f"/language/{language}?to=/limited")
            for path in paths:
                page.goto(path, wait_until="load")
                page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
                if past := over_the_edge(page):
                    wrong.append(f"{language} {path}: {past} px over the edge")
                wrong += [f"{language} {path}: {line}" for line in page.evaluate(TOO_LONG)]
                box = page.locator("#all-off").bounding_box()
                if box is None or box["height"] < BIG_PX or box["y"] + box["height"] > 640:
                    wrong.append(f"{language} {path}: all off at {box}")
                if page.locator("html").get_attribute("lang") != language:
                    wrong.append(f"{path} is not in {language}")
    assert not wrong, "\n".join(wrong)


def test_forced_colours_are_honoured(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    start(page, "three")
    running(page)
    ran = page.url
    wrong = []
    for path in ("/", "/field", "/drills/three", "/day", ran):
        live(page, path)
        for theme in ("light", "dark"):
            still(page)
            page.emulate_media(forced_colors="active", color_scheme=theme)
            assert page.evaluate("matchMedia('(forced-colors: active)').matches")
            where = f"{path}, {theme}, forced"
            wrong += [f"{where} {of:.2f}: {what}" for of, what in contrasts(page) if of < SUN]
            wrong += [f"{where}: {line}" for line in page.evaluate(UNSEEN)]
        page.emulate_media(forced_colors="none", color_scheme="light")
    assert not wrong, "\n".join(wrong)


def test_what_is_read_in_forced_colours_is_on_the_pixels(hill: Hill, phones: Phones) -> None:
    """The browser paints a ground of its own behind letters then, which no computed style tells."""
    hill.open_day()
    page = phones.new()
    start(page, "three")
    running(page)
    ran = page.url
    wrong = []
    for path in (*INSIDE, ran):
        page.set_viewport_size({"width": 360, "height": 640})
        live(page, path)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        for theme in ("light", "dark"):
            page.emulate_media(forced_colors="active", color_scheme=theme)
            page.set_viewport_size({"width": 360, "height": 640 + page.evaluate("document.body.scrollHeight")})
            still(page)
            wrong += [f"{path}, {theme}, forced {of:.2f}: {what}" for of, what in painted(page) if of < SUN]
        page.emulate_media(forced_colors="none", color_scheme="light")
    assert not wrong, "\n".join(wrong)


def test_a_label_that_the_browsers_own_ground_hides_is_noticed(phones: Phones) -> None:
    page = phones.new(signed_in=False)
    live(page, "/limited")
    page.emulate_media(forced_colors="active")
    assert [line for line in painted(page) if line[0] < SUN] == []
    page.evaluate("""
      for (const sheet of document.styleSheets) {
        if (!sheet.href?.endsWith("field.css")) continue;
        const swapped = "#all-off { background: ButtonText !important; color: ButtonFace !important; }";
        sheet.insertRule(swapped, sheet.cssRules.length);
      }
    """)
    assert [what for of, what in painted(page) if of < SUN] == ["All off"]


def painted(page: Page) -> list[tuple[float, str]]:
    """Contrast of the lightest to the darkest pixel within each line of letters that stays where it is, as painted."""
    page.wait_for_timeout(300)  # for what the last change of sizes moves
    before = page.evaluate(LETTERS)
    whole = Image.open(BytesIO(page.screenshot())).convert("RGB")
    stayed = [one for one in page.evaluate(LETTERS) if one in before]
    assert len(stayed) > 5
    rows = []
    for words, left, top, right, bottom in stayed:
        part = whole.crop((int(left) + 1, int(top) + 1, int(right) - 1, int(bottom) - 1))
        raw = part.tobytes()
        colours = {(raw[n], raw[n + 1], raw[n + 2]) for n in range(0, len(raw), 3)}
        rows.append((ratio(min(colours, key=luminance), max(colours, key=luminance)), words))
    return rows


# The first line of each text that lies bare: its words and their box.
LETTERS = r"""
() => {
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.data.trim() || element.closest("script, style, select, .skip, svg")) continue;
    if (!element.checkVisibility({ visibilityProperty: true })) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const box = range.getClientRects()[0];
    if (!box || box.width < 6 || box.height < 6 || box.bottom > innerHeight) continue;
    const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
    if (!top || !(top.contains(element) || element.contains(top))) continue;
    found.push([node.data.trim().slice(0, 60), box.left, box.top, box.right, box.bottom]);
  }
  return found;
}
"""


def test_the_marks_of_the_time_line_are_seen_and_their_words_lie_apart(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    try:
        for minutes in (10, 15, 20, 40, 60, 120):
            long = f'title = "Long"\nlimit_min = {minutes}\n[[burial]]\nname = "A"\nsignal = "start"\n'
            (hill.folder / "drills" / "long.toml").write_text(long)
            start(page, "long")
            expect(page.locator(".bands .mark-word")).to_have_count(2)
            first, second = (page.locator(".bands .mark-word").nth(n).bounding_box() for n in (0, 1))
            picture = page.locator(".bands").bounding_box()
            assert first is not None
            assert second is not None
            assert picture is not None
            assert first["x"] + first["width"] < second["x"], minutes
            assert second["x"] + second["width"] <= picture["x"] + picture["width"] + 0.5, minutes
            hidden = """() => [...document.querySelectorAll(".bands .mark")].filter((mark) =>
              [...document.querySelectorAll(".bands .ground")].some((ground) =>
                mark.compareDocumentPosition(ground) & Node.DOCUMENT_POSITION_FOLLOWING)).length"""
            assert page.evaluate(hidden) == 0, minutes  # what is drawn later lies over it
            page.locator("#stop").tap()
            expect(page.locator("#again")).to_be_visible()
    finally:
        (hill.folder / "drills" / "long.toml").unlink(missing_ok=True)


# With forced colours a button is known by its edge, a shape by its lines: both unlike what they stand on.
UNSEEN = r"""
() => {
  const canvas = getComputedStyle(document.body).backgroundColor;
  const shown = (one) => one.checkVisibility({ visibilityProperty: true });
  const edges = [...document.querySelectorAll("button, fc-hold, a.big")].filter(shown)
    .filter((one) => ((s) => s.borderTopStyle === "none" || parseFloat(s.borderTopWidth) < 2 || s.borderTopColor === canvas)(getComputedStyle(one)))
    .map((one) => `${one.id || one.textContent} has no edge`);
  const shapes = [...document.querySelectorAll(".shape, .map g[class]")].filter(shown)
    .filter((one) => getComputedStyle(one).color === canvas).map((one) => `${one.outerHTML.slice(0, 60)} is not seen`);
  const drawn = [...document.querySelectorAll(".bands .signal, .bands .hit, .bands .now")]
    .filter((one) => ((s) => [s.fill, s.stroke].every((c) => c === "none" || c === canvas))(getComputedStyle(one)))
    .map((one) => `${one.outerHTML.slice(0, 60)} is not seen`);
  return [...edges, ...shapes, ...drawn];
}
"""  # noqa: E501


def test_reduced_motion_is_honoured(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    start(page, "three")
    running(page)
    moves = """() => {
      const bands = document.getElementById("bands");
      bands.classList.add("flash");
      const found = bands.getAnimations().length;
      bands.classList.remove("flash");
      return found;
    }"""
    assert page.evaluate(moves) == 1
    page.emulate_media(reduced_motion="reduce")
    assert page.evaluate(moves) == 0
    page.locator("#stop").tap()
    expect(page.locator("#again")).to_be_visible()
    fills = "getComputedStyle(document.getElementById('again'), '::after').transitionTimingFunction"
    page.evaluate("document.getElementById('again').classList.add('holding')")
    assert page.evaluate(fills) == "steps(6)"  # how long it is held still shows, step by step
    page.emulate_media(reduced_motion="no-preference")
    assert page.evaluate(fills) == "linear"


# ---- without colours -----------------------------------------------------------------------------------------------

STATES = ("sending", "quiet", "found", "not-heard", "asleep", "weak", "faulty", "barred")
UNLIKE = 0.12  # of the area of a shape, between any two


def test_states_are_told_apart_without_colours(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tablet")
    live(page, "/field")
    drawn = {}
    for state in STATES:
        page.evaluate(ONE_SHAPE, state)
        picture = Image.open(BytesIO(page.locator("#one-shape").screenshot())).convert("L")
        drawn[state] = [255 - grey for grey in picture.resize((48, 48)).tobytes()]
    page.evaluate("document.getElementById('one-shape').remove()")
    for one, other in combinations(STATES, 2):
        apart = sum(abs(a - b) for a, b in zip(drawn[one], drawn[other], strict=True)) / (255 * len(drawn[one]))
        assert apart > UNLIKE, f"{one} and {other} look alike: {apart:.3f}"
    for language in LANGUAGES:
        said = [catalogue(language)[f"base.state_{state}"] for state in STATES]
        assert len({word.casefold() for word in said}) == len(STATES), said


# One shape alone, in one grey, as large as a finger's nail.
ONE_SHAPE = r"""
(state) => {
  document.getElementById("one-shape")?.remove();
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.id = "one-shape";
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.append(document.createElementNS("http://www.w3.org/2000/svg", "use"));
  svg.firstChild.setAttribute("href", `#s-${state}`);
  for (const [name, value] of Object.entries({ position: "fixed", top: "0", left: "0", width: "48px", height: "48px", background: "#fff", color: "#444", "z-index": "99" }))
    svg.style.setProperty(name, value);
  document.body.append(svg);
}
"""  # noqa: E501


def test_the_field_in_greys_says_the_same(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new("tablet")
    hill.do("cut", "5ee00006")
    name = start(page, "three")
    running(page)
    hill.do("probe", A)
    hill.until(lambda: hill.exercise(name)["burials"][0]["find"])
    live(page, "/field")
    expect(page.locator("#list")).to_contain_text("not heard", timeout=20_000)
    page.evaluate("document.documentElement.style.setProperty('filter', 'grayscale(1)')")
    seen: dict[str, set[str]] = {}
    shapes = "all => all.map((one) => [one.textContent.trim(), one.querySelector('use').getAttribute('href')])"
    for word, shape in page.locator("#list .state").evaluate_all(shapes):
        seen.setdefault(word, set()).add(shape)
    assert seen["sending"] == {"#s-sending"}
    assert seen["says quiet"] == {"#s-quiet"}
    assert seen["not heard"] == {"#s-not-heard"}
    assert len(set().union(*seen.values())) == len(seen)  # no two words with one shape
    drawn = "all => all.map((one) => one.querySelector('use').getAttribute('href'))"
    in_list = page.locator("#list li:has(.state)").evaluate_all(drawn)
    on_map = page.locator("#map use").evaluate_all("all => all.map((one) => one.getAttribute('href'))")
    assert len(on_map) == 7
    assert sorted(on_map) == sorted(in_list)
    whole = Image.open(BytesIO(page.screenshot()))
    assert all(max(pixel) - min(pixel) <= 2 for _, pixel in whole.convert("RGB").getcolors(1 << 20))  # type: ignore[union-attr, arg-type]
    assert [line for line in contrasts(page) if line[0] < SUN] == []  # luminance alone: what a grey picture keeps


# ---- without scripts -----------------------------------------------------------------------------------------------


def test_all_off_works_without_scripts(hill: Hill, phones: Phones) -> None:
    hill.open_day()
    page = phones.new()
    start(page, "three")
    hill.until(lambda: hill.sending() == {A, C})
    plain = phones.new(signed_in=False, java_script_enabled=False)
    plain.goto("/")
    expect(plain.locator("#day")).to_contain_text("open")
    expect(plain.locator("#all-off")).to_be_visible()
    expect(plain.locator("fc-alloff-state")).to_be_hidden()
    plain.locator("#all-off").tap()
    hill.until(lambda: hill.sending() == set(), 2.0)
    assert hill.ask("status")["all_off"]["in_force"]
    assert plain.url.rstrip("/") == hill.url.rstrip("/")
    expect(plain.locator("fc-alloff-state")).to_contain_text("All off is in force")  # the page itself says so
    expect(page.locator("#state")).to_have_text("ended by all off")
