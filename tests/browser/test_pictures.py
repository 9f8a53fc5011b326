"""The two pictures of the README, made anew at every run and held against those that are committed.

    FIELDCTL_PICTURES=write .venv-test/bin/python -m pytest tests/browser/test_pictures.py      writes them

Two pictures show the same page if they are of one size and their coarse greys agree: squares of 10 CSS pixels, wide
enough for other letters of another machine and for a clock that is some seconds on. Another page is noticed: the tests
hold the committed pictures against a page that has changed as well.
"""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import pytest
from conftest import Phones
from hill import Hill
from PIL import Image, ImageChops
from playwright.sync_api import Page, expect
from thumbs import running

PICTURES = Path(__file__).parent / "pictures"
WRITE = os.environ.get("FIELDCTL_PICTURES") == "write"
A, B, C, LAST = "5ee00001", "5ee00002", "5ee00003", "5ee00006"
PAUSE_MS = 35_000 if WRITE else 0  # so that there is something to see on the time line
SHARP = 2  # pixels of the picture for one of CSS
SQUARE = 10  # CSS pixels
UNLIKE = 48  # of 255
SAME_SHARE = 0.06  # of all squares may be unlike
COLOURS = 64
DRILL = """
title = "Three burials (invented)"
limit_min = 15
[[burial]]
name = "A"
signal = "start"
target = "5ee00001"
after_find = "falls-quiet"
[[burial]]
name = "B"
signal = "after-find"
after = "A"
target = "5ee00002"
[[burial]]
name = "C"
signal = "start"
target = "5ee00003"
"""


def picture(page: Page) -> Image.Image:
    """What the screen shows, in few colours."""
    page.evaluate("Promise.allSettled(document.getAnimations().map((one) => one.finished))")
    shot = Image.open(BytesIO(page.screenshot()))
    return shot.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)


def coarse(one: Image.Image) -> Image.Image:
    side = SQUARE * SHARP
    return one.convert("L").resize((one.width // side, one.height // side), Image.Resampling.BOX)


def unlike(one: Image.Image, other: Image.Image) -> float:
    """The share of squares that are clearly unlike; 1 for pictures of different sizes."""
    if one.size != other.size:
        return 1.0
    apart = ImageChops.difference(coarse(one), coarse(other)).tobytes()
    return sum(value > UNLIKE for value in apart) / len(apart)


def held(name: str, made: Image.Image) -> None:
    """Write the picture, or hold it against the one that is committed."""
    path = PICTURES / f"{name}.png"
    if WRITE:
        made.save(path, optimize=True)
    with Image.open(path) as kept:
        share = unlike(made, kept)
    assert share < SAME_SHARE, f"{path.name} shows another page: {share:.0%} of it; {__doc__.splitlines()[2].strip()}"


def running_exercise(hill: Hill, phones: Phones) -> str:
    """Three burials, the first found; a target that is not heard any more."""
    (hill.folder / "drills" / "three.toml").write_text(DRILL)
    hill.open_day()
    hill.do("cut", LAST)
    asked = {"drill": "three", "searchers": ("Tove", "Jon"), "by": "Mira"}
    name: str = hill.ask("exercise-start", **asked)["exercise"]
    page = phones.new()
    page.goto(f"/exercises/{name}")
    running(page)
    hill.until(lambda: hill.sending() == {A, C})
    page.wait_for_timeout(PAUSE_MS)
    hill.do("probe", A)
    hill.until(lambda: hill.sending() == {B, C})
    page.wait_for_timeout(PAUSE_MS)
    page.close()
    return name


def test_the_pictures_of_the_readme(hill: Hill, phones: Phones) -> None:
    name = running_exercise(hill, phones)
    phone = phones.new(device_scale_factor=SHARP)
    phone.goto(f"/exercises/{name}")
    expect(phone.locator("#words li").nth(1)).to_contain_text("sending, confirmed by the target")
    expect(phone.locator("#words li").nth(0)).to_contain_text("found")
    tablet = phones.new(viewport={"width": 820, "height": 900}, device_scale_factor=SHARP)
    tablet.goto("/field")
    expect(tablet.locator("#list")).to_contain_text("not heard", timeout=20_000)
    expect(tablet.locator("#list li").first).to_contain_text("sending")
    expect(phone.locator("#call")).to_be_enabled()
    exercise, field = picture(phone), picture(tablet)
    held("exercise", exercise)
    held("field", field)
    # a page that has changed is noticed
    phone.locator("#stop").tap()
    expect(phone.locator("#again")).to_be_visible()
    assert unlike(picture(phone), exercise) > SAME_SHARE
    tablet.emulate_media(color_scheme="dark")
    assert unlike(picture(tablet), field) > SAME_SHARE
    tablet.emulate_media(color_scheme="light")
    tablet.goto("/drills")
    assert unlike(picture(tablet), field) > SAME_SHARE


@pytest.mark.parametrize("name", ["exercise", "field"])
def test_the_pictures_are_small(name: str) -> None:
    path = PICTURES / f"{name}.png"
    assert path.stat().st_size < 100_000
    with Image.open(path) as kept:
        assert kept.width % SHARP == 0
        assert kept.info.keys() <= {"transparency", "gamma", "dpi"}  # no note of when and where it was made
