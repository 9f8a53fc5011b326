from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from fieldctl.drill.plan import Burial, Signal
from fieldctl.rehearsal.picture import picture_of
from fieldctl.site import drawing
from fieldctl.site.drawing import COLOURS, FONT_PT, HATCHES, MARKERS

THREE = [(20, 30, 1.0, 20, 90), (45, 12, 1.2, 100, 85), (65, 38, 1.4, 45, 60)]


@pytest.fixture(scope="module")
def three(tools):
    return picture_of(*tools.staffed([Burial("A"), Burial("B"), Burial("C", Signal("never"))], THREE))


def test_the_svg_is_sound_and_says_in_words_what_it_shows(three):
    root = ET.fromstring(three.svg)
    ns = "{http://www.w3.org/2000/svg}"
    assert root.tag == ns + "svg"
    assert root.get("role") == "img"
    titles = [e for e in root.iter() if e.get("id") in root.get("aria-labelledby").split()]
    assert [e.tag for e in titles] == [ns + "title", ns + "desc"]
    assert titles[1].text == three.text
    for part in ("A lies at x 20, y 30, 1.0 m deep; its field is down to 80 nA/m at 21 to 26 m", "sends no signal"):
        assert part in three.text


def test_nothing_in_it_is_fetched_from_elsewhere(three):
    assert not re.search(r'(?:href|src)="(?!#)', three.svg)
    assert not re.search(r"url\((?!#)", three.svg)
    assert "<script" not in three.svg


def test_the_same_scene_gives_the_same_bytes(tools, three):
    again = picture_of(*tools.staffed([Burial("A"), Burial("B"), Burial("C", Signal("never"))], THREE))
    assert again == three


def test_the_png_is_wide_enough_for_a_sharp_phone_and_carries_the_words(three):
    with Image.open(io.BytesIO(three.png)) as image:
        assert image.width >= 2 * 400
        assert image.text["Description"] == three.text
    assert FONT_PT - 0.5 >= 10  # the smallest label: 13 px on a phone that shows the whole width


def test_burials_differ_by_more_than_colour():
    assert len(set(COLOURS)) == len(set(MARKERS)) == len(set(HATCHES)) == 8


def luminance(colour):
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    line = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(line @ [0.2126, 0.7152, 0.0722])


def test_what_is_read_stands_out_from_white():
    """WCAG 2.2: 7:1 for text (1.4.6), 3:1 for what must be told apart (1.4.11); markers have a dark rim besides."""
    assert 1.05 / (luminance(drawing.INK) + 0.05) > 7.0
    assert 1.05 / (luminance(drawing.MUTED) + 0.05) > 7.0
    assert min(1.05 / (luminance(c) + 0.05) for c in COLOURS[:3]) > 3.0


def test_grey_keeps_the_hatchings_apart(tools):
    """Where A and B are strongest, the grey picture has a grain of its own: their spectra differ."""
    whole = picture_of(*tools.staffed([Burial("A"), Burial("B")], [(15, 25, 1.0, 0, 0), (65, 25, 1.0, 0, 0)]))
    with Image.open(io.BytesIO(whole.png)) as image:
        grey = np.asarray(image.convert("L"), dtype=float)
    half = grey.shape[1] // 2
    left, right = grey[150:420, half - 260 : half - 60], grey[150:420, half + 60 : half + 260]
    slopes = []
    for part in (left, right):
        up, across = np.gradient(part)
        slopes.append(float((up * across).sum() / (np.abs(up * across).sum() + 1e-9)))
    assert slopes[0] * slopes[1] < 0.0  # one hatched up to the right, one down


@pytest.mark.parametrize("outline", [((0.0, 0.0), (0.0, 0.0), (0.0, 0.0)), ((-5.0, 0.0), (200.0, 1.0), (200.0, 3.0))])
def test_odd_ground_and_odd_names_are_drawn_without_a_warning(tools, outline):
    names = ("_x$y$", "雪崩", "Burial of 20 letters")
    site, drill, picks = tools.staffed(
        [Burial(n) for n in names], [(40, 30, 1.0, 70, 90), (40, 30, 1.2, 0, 0), (300, 20, 0.0, 0, 0)], outline=outline
    )
    drawn = picture_of(site, replace(drill, title="<A title & a $sign that is far too long for one line>"), picks)
    ET.fromstring(drawn.svg)
    assert "雪崩 lies at" in drawn.text


def test_a_drill_without_any_signal_is_drawn_too(tools):
    drawn = picture_of(*tools.staffed([Burial("A", Signal("never"))], THREE[:1]))
    assert "sends no signal" in drawn.text
    assert "Hatching" not in drawn.text


def test_every_label_and_sentence_is_said_as_the_reader_is_to_have_it(tools):
    asked = []

    def said(text):
        asked.append(text)
        return f"so {text}"

    drawn = picture_of(*tools.staffed([Burial("A"), Burial("B"), Burial("C", Signal("never"))], THREE), said)
    assert drawn.text.count("so ") == 7  # above, debris, searchers, three burials, hatching
    for label in ("start", "outline of the debris", "1.4 m deep, no signal", "hatched: where it is the strongest"):
        assert label in asked
