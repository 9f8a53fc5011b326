"""JSON by its schema, CSV, the sheet that stands alone, both figures, and who may see what."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import jsonschema_rs
import numpy as np
import pytest
from debrief_kit import drill, everything, said, started, told, worked
from exercise_kit import MIRA, Made, Shell, after
from PIL import Image

from fieldctl.debrief.as_json import COLUMNS, as_csv, as_json, schema
from fieldctl.debrief.figures import KINDS, timeline_figure
from fieldctl.debrief.map_figure import map_figure
from fieldctl.debrief.model import Debrief
from fieldctl.debrief.past import Past
from fieldctl.debrief.report import HITS_SHOWN, STRIKES_SHOWN, figures, page_fragment, sheet, style
from fieldctl.debrief.show import AUDIENCES, first_word, for_audience, without_places
from fieldctl.debrief.summary_kept import Then
from fieldctl.debrief.texts import texts_of
from fieldctl.debrief.then_said import then_said
from fieldctl.debrief.words import ENGLISH, in_words, words_of
from fieldctl.debrief.words import said as sentence
from fieldctl.drill.plan import Burial, Signal
from fieldctl.errors import BadInput
from fieldctl.events import Corrected
from fieldctl.site import drawing
from fieldctl.units import PersonId

ONE = drill(Burial("A", find="call"))
THREE = drill(Burial("A"), Burial("B", after("A", 5)), Burial("C", Signal("never")))
EVIL = "<script>alert('B')</script>"


def one(**asked: object) -> Debrief:
    make = Made(ONE)
    return told(ONE, [*worked(make), make.split("airway", 760, "A")], **asked)  # type: ignore[arg-type]


def three() -> Debrief:
    field = Shell(THREE).run(60)
    make = field.make
    field.commit(make.split("signal", 20, "A"))
    false = field.strike("A")
    field.run(80)
    field.correct("void", f"{false.target}-{false.boot}-{false.number}")
    field.run(120)
    field.strike("A")
    field.run(200)
    field.strike("B")
    field.strike("B", "unsure")
    field.run(230)
    field.strike("C")
    return told(THREE, field.run(240).ledger, survival="rauch-2024", digging_s=480)


def bare() -> Debrief:
    return told(THREE, [Made(THREE).started()])


def ugly() -> Debrief:
    """Names, reasons and titles that would be markup."""
    plan = replace(drill(Burial("A", find="call")), title=f"{EVIL} & <b>$x$</b>")
    make = Made(plan)
    facts = worked(make)
    return told(plan, [*facts, make.split(f"{EVIL}", 300, "A")], names={MIRA: EVIL, PersonId("Tove"): "=1+1"})


CASES = {"one": one, "three": three, "bare": bare, "ugly": ugly}


@pytest.fixture(scope="module")
def sheets() -> dict[str, str]:
    return {name: sheet(make()) for name, make in CASES.items()}


# ---- JSON and CSV ------------------------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_the_json_keeps_to_its_schema(case: str) -> None:
    jsonschema_rs.meta.validate(schema())
    row = json.loads(json.dumps(as_json(CASES[case]())))
    jsonschema_rs.Draft202012Validator(schema()).validate(row)


def test_the_schema_refuses_what_is_wrong() -> None:
    row = as_json(three())
    validator = jsonschema_rs.Draft202012Validator(schema())
    for change in ({"schema": 2}, {"state": "over"}, {"burials": [{}]}, {"longest": None}):
        assert not validator.is_valid({**row, **change})
    assert set(schema()["required"]) == set(row)  # no key without a place in the contract
    burial = schema()["$defs"]["burial"]
    assert set(burial["required"]) == set(row["burials"][0])


def test_the_csv_has_every_moment_and_strike_and_no_formula() -> None:
    rows = list(csv.DictReader(io.StringIO("".join(as_csv(three())))))
    assert tuple(rows[0]) == COLUMNS
    strikes = [r for r in rows if r["what"] == "strike"]
    assert [(r["burial"], r["taken_for"], r["became"]) for r in strikes[:2]] == [
        ("A", "probe", "void"),
        ("A", "probe", "counts"),
    ]
    assert len(strikes) == 5
    assert any(r["what"] == "gap: signal" for r in rows) or any(r["what"] == "sent" for r in rows)
    assert [r["became"] for r in rows if r["what"].startswith("correction")] == ["in force"]
    evil = list(csv.reader(io.StringIO("".join(as_csv(ugly())))))
    cells = [cell for row in evil for cell in row]
    assert "'=1+1" in cells
    assert not any(cell.startswith("=") for cell in cells)


def test_a_time_before_the_start_stays_a_number() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.split("ready", -3, "A")])
    rows = list(csv.DictReader(io.StringIO("".join(as_csv(d)))))
    assert [r["at_s"] for r in rows] == ["-3.000"]


# ---- HTML ----------------------------------------------------------------------------


class Page(HTMLParser):
    """Tags as they are nested, and the text."""

    EMPTY = frozenset({"meta", "br", "path", "use", "rect", "img", "line", "circle"})

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("case", CASES)
def test_the_sheet_stands_alone_and_runs_nothing(case: str, sheets: dict[str, str]) -> None:
    html = sheets[case]
    page = Page()
    page.feed(html)
    assert page.open == []
    assert "script" not in page.tags
    assert not re.search(r'(?:href|src)="(?!#)', html)
    assert not re.search(r"url\((?!#)", html)
    assert not re.search(r"\son\w+=", html)
    assert "@import" not in html
    assert html.count("<html") == 1
    ids = re.findall(r'\sid="([^"]+)"', html)
    assert len(ids) == len(set(ids))  # two pictures in one page share no name


def test_what_people_wrote_is_text(sheets: dict[str, str]) -> None:
    assert EVIL not in sheets["ugly"]
    assert "&lt;script&gt;" in sheets["ugly"]


def test_the_sheet_says_what_the_debrief_says(sheets: dict[str, str]) -> None:
    page = Page()
    page.feed(sheets["three"])
    flat = " ".join(page.text.split())
    for line in everything(three()).splitlines():
        assert " ".join(line.split()) in flat
    assert "Published statistics of past accidents" in flat
    assert "Any signal is a person until proved otherwise." in flat


def test_a_fragment_is_no_page_and_its_style_touches_nothing_else() -> None:
    html = page_fragment(one())
    assert html.lstrip().startswith("<article")
    assert "<html" not in html
    assert "<style>" not in re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL)
    selectors = re.findall(r"^\s*([^@{}]+)\{", style(), re.MULTILINE)
    assert selectors
    assert all(part.strip().startswith(".debrief") for s in selectors for part in s.split(","))


def test_a_hundred_strikes_do_not_fill_the_sheet() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.on("A", 0, 1), *(make.strike("A", 100 + i, "step") for i in range(100))])
    html = page_fragment(d)
    assert html.count("no hit") == STRIKES_SHOWN
    assert f"and {100 - STRIKES_SHOWN} more; all of them are in the CSV and the JSON" in html
    assert len(as_json(d)["strikes"]) == 100


def test_a_hundred_hits_do_not_fill_the_sheet_either() -> None:
    make = Made(ONE)
    d = told(ONE, [make.started(), make.on("A", 0, 1), *(make.strike("A", 100 + i) for i in range(100))])
    html = page_fragment(d)
    assert html.count("<tr><td>hit<") == HITS_SHOWN
    assert "1:40.000" in html  # the find is among them
    assert f"and {100 - HITS_SHOWN} more hits; all of them are in the CSV and the JSON" in html
    assert len([m for m in as_json(d)["burials"][0]["moments"] if m["name"] == "hit"]) == 100
    assert "more hits" not in page_fragment(one())


def test_beside_earlier_times_each_line_names_its_burial_and_what_it_is_compared_with() -> None:
    make = Made(THREE)
    past = [Past(f"x{n}", THREE.name, b, True, True, 0.9, 60_000_000) for n in (7, 8) for b in "AB"]
    d = told(THREE, [make.started(), make.on("A", 0, 1), make.strike("A", 250)], others=past)
    lines = re.findall(r"<li>([ABC]: [^<]*(?:compare|usual)[^<]*)</li>", page_fragment(d))
    assert [line[:2] for line in lines] == ["A:", "A:", "B:"]
    assert len(set(lines)) == 3


def test_where_places_are_hidden_no_depth_is_said() -> None:
    make = Made(ONE)
    past = [Past(f"x{n}", "other", "X", True, False, 0.9, 60_000_000) for n in range(2, 12)]
    d = told(ONE, [make.started(), make.on("A", 0, 1), make.strike("A", 250)], others=past)
    assert "0 to 1 m deep" in page_fragment(d)
    hidden = page_fragment(without_places(d), audience="group")
    assert "m deep" not in hidden
    assert "0 to 1 m" not in hidden


def test_another_language_is_a_table_beside() -> None:
    german = words_of({"head.gaps": "Lücken", "state.complete": "vollständig"})
    html = page_fragment(three(), german, language="de")
    assert 'lang="de"' in html
    assert "vollständig" in html
    assert "Burials" in html  # what the other table lacks is said in English


# ---- who may see what -----------------------------------------------------------------


def test_no_survival_on_pages_of_children_and_walk_ins() -> None:
    d = one(survival="rauch-2024")
    assert "Survival" in page_fragment(d, audience="crew")
    for out in (page_fragment(d, audience="public"), json.dumps(as_json(for_audience(d, "public")))):
        assert "alive" not in out.replace('"alive": null', "")
        assert "Survival" not in out
    drawn = figures(d, audience="public")["timeline"]
    assert "alive" not in drawn.text
    assert drawn.svg != figures(d)["timeline"].svg


def test_a_group_sees_no_full_names() -> None:
    names = {MIRA: "Mira Larch", PersonId("Mira"): "Mira Larch", PersonId("Tove"): "Tove Elm Spruce"}
    make = Made(ONE)
    facts = [*worked(make), make.correct("give", "A", "Tove", s=400)]
    crew = told(ONE, facts, names=names)
    assert "Tove Elm Spruce" in page_fragment(crew)
    for audience in ("group", "public"):
        out = page_fragment(crew, audience=audience) + json.dumps(as_json(for_audience(crew, audience)))
        assert "Larch" not in out.replace("Larch Hollow", "").replace("Larch 1", "")
        assert "Spruce" not in out
        assert "Tove" in out
    assert first_word("Mira Larch + Tove Elm") == "Mira + Tove"


def test_a_group_reads_no_reason_since_a_reason_may_name_somebody() -> None:
    make = Made(ONE)
    why = "Tove Spruce leant on it"
    facts = [*worked(make), make.correct("add-hit", "A", 300, s=400), make.correct("give", "A", "Tove", s=401)]
    other = make.call("A", 210)
    facts += [other, make.correct("void", other.call, s=402)]
    facts = [replace(f, why=why) if isinstance(f, Corrected) else f for f in facts]
    crew = told(ONE, facts)
    assert page_fragment(crew).count("Spruce") >= 6  # four corrections, two calls that did not count
    for audience in ("group", "public"):
        shown = for_audience(crew, audience)
        for out in (page_fragment(crew, audience=audience), json.dumps(as_json(shown)), "".join(as_csv(shown))):
            assert "Spruce" not in out
            assert "entered by hand, at" in out


@pytest.mark.parametrize("language", ["en", "de", "fr", "it"])
def test_what_an_earlier_version_said_otherwise_is_on_the_crews_page_in_its_language(language: str) -> None:
    old = Then("0.0.9+1", 4, (("A", "found_s", 99.0, 100.0), ("", "state", "running", "complete")), (), ())
    d = replace(one(), then=then_said([old], {}))
    words = texts_of("debrief", language)
    asked = [in_words(each, words) for each in d.then]
    shown = page_fragment(d, words, language=language)
    assert all(each.replace("'", "&#39;") in shown for each in asked)
    assert in_words(sentence("because.2"), words) in asked
    assert in_words(sentence("state.complete"), words) in asked[0]
    for audience in ("group", "public"):
        assert "0.0.9+1" not in page_fragment(d, words, audience)
        assert as_json(for_audience(d, audience))["then"] == []


def test_an_audience_that_there_is_not() -> None:
    assert AUDIENCES == ("crew", "group", "public")
    with pytest.raises(BadInput, match="no audience"):
        for_audience(one(), "everybody")  # type: ignore[arg-type]


# ---- the figures -----------------------------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_the_figures_are_sound_and_say_in_words_what_they_show(case: str) -> None:
    d = CASES[case]()
    for key, drawn in figures(d).items():
        root = ET.fromstring(drawn.svg)
        assert root.get("role") == "img"
        assert root.get("aria-labelledby") == f"{key}-title {key}-text"
        described = next(e for e in root.iter() if e.get("id") == f"{key}-text")
        assert described.text == drawn.text
        with Image.open(io.BytesIO(drawn.png)) as image:
            assert image.width >= 2 * 400
            assert image.text["Description"] == drawn.text


def test_the_words_of_the_figures_tell_times_places_and_distances() -> None:
    d = three()
    timeline, ground = timeline_figure(d), map_figure(d)
    assert ground is not None
    for part in ("A: signal at 0:20 ±1 s; hit at 2:00.000 ±2 ms", "hit at 3:20", said(d.longest)):
        assert part in timeline.text
    for part in ("A lay at x 20, y 30, 0.9 m deep, coil lying (90° from upright, 20° clockwise from y)", "A to B 31 m"):
        assert part in ground.text


def test_the_same_debrief_gives_the_same_bytes() -> None:
    assert figures(three()) == figures(three())


def test_the_curve_is_drawn_only_where_something_is_said_of_somebodys_time() -> None:
    assert "alive" in timeline_figure(one(survival="rauch-2024")).text
    make = Made(ONE)
    none = told(ONE, worked(make), survival="rauch-2024")
    assert timeline_figure(none).svg == timeline_figure(replace(none, survival=None)).svg


def test_a_map_without_places_is_no_map_and_without_directions_has_no_flux_line() -> None:
    make = Made(ONE)
    facts = worked(make)
    nowhere = replace(told(ONE, facts), burials=tuple(replace(b, where=None) for b in told(ONE, facts).burials))
    assert map_figure(nowhere) is None
    assert list(figures(nowhere)) == ["timeline"]
    places = {"A": {"x_m": 20.0, "y_m": 30.0, "depth_m": 1.1, "azimuth_deg": None, "tilt_deg": None}}
    bare = told(ONE, [started(make, conditions={"places": places}), *facts[1:]])
    drawn = map_figure(bare)
    assert drawn is not None
    assert "the way of its coil was not noted" in drawn.text
    assert "Nobody noted which way the coil of A points" in said(bare.missing)
    assert bare.burial("A").where.depth_m == 1.1  # as it was on that day, not as the site says now


def test_a_distance_that_would_lie_under_arrows_is_in_the_legend() -> None:
    make = Made(THREE)
    facts = [make.started(), make.on("A", 0, 1), make.strike("A", 100), make.on("B", 105, 2), make.strike("B", 200)]
    d = told(THREE, facts)
    assert "31 m" in drawn_words(map_figure(d))
    near = d.burial("A").where
    assert near is not None
    moved = replace(near, x_m=near.x_m + 2.0)
    close = replace(d, burials=tuple(replace(b, where=moved) if b.burial == "B" else b for b in d.burials))
    assert "2 m" not in drawn_words(map_figure(close))
    assert "A to B 2 m" in drawn_words(map_figure(close))


def drawn_words(picture: drawing.Picture | None) -> list[str]:
    """What is written in a picture, word by word as the SVG's comments give it."""
    assert picture is not None
    return re.findall(r"<!-- (.*?) -->", picture.svg)


def test_flux_lines_lead_to_those_who_send_and_whose_coil_is_known() -> None:
    from matplotlib.figure import Figure

    from fieldctl.debrief.map_figure import _flux, _places

    d = three()
    axes = Figure().add_subplot()
    _flux(axes, d, d.burials, _places(d.burials))
    ends = [tuple(line.get_xydata()[-1]) for line in axes.lines if line.get_linestyle() == "-"]
    assert any(np.hypot(x - 45, y - 12) < 2 for x, y in ends)
    assert all(np.hypot(x - 65, y - 38) > 5 for x, y in ends)  # C never sends


def luminance(colour: str) -> float:
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    line = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(line @ [0.2126, 0.7152, 0.0722])


def test_a_hit_entered_by_hand_has_a_mark_and_a_legend_of_its_own() -> None:
    make = Made(ONE)
    plain = [make.started(), make.on("A", 0, 1), make.strike("A", 260), make.ended("complete", 300)]
    by_pad = timeline_figure(told(ONE, plain))
    both = timeline_figure(told(ONE, [*plain, make.correct("add-hit", "A", 250)]))
    alone = timeline_figure(told(ONE, [plain[0], plain[1], make.correct("add-hit", "A", 250), plain[3]]))
    assert "hit at 4:10 ±1 s, entered by hand" in both.text
    assert "entered by hand" not in by_pad.text
    assert [legend(d) for d in (by_pad, both, alone)] == [["pad"], ["pad", "hand"], ["hand"]]


def legend(picture: drawing.Picture) -> list[str]:
    """By whom the hits of a picture's legend are, from its words as they are written into the SVG."""
    known = {ENGLISH["figure.hit"]: "pad", ENGLISH["figure.hit-hand"]: "hand"}
    return [known[text] for text in drawn_words(picture) if text in known]


def test_stretches_differ_by_more_than_colour_and_are_light_enough_for_words() -> None:
    """WCAG 2.2: 7:1 for words on them (1.4.6); no two drawn kinds share a hatching, so grey tells them apart."""
    hatches = [hatch for _, hatch in KINDS.values()]
    assert len(set(hatches)) == len(hatches)
    ink = luminance(drawing.INK)
    assert all((luminance(colour) + 0.05) / (ink + 0.05) > 7 for colour, _ in KINDS.values())


def test_no_two_labels_of_a_band_meet() -> None:
    from fieldctl.debrief.figures import LETTER_IN, _block, first_min, last_min

    d = one()
    first, last = first_min(d), last_min(d)
    per_in = (last - first) / 3.9
    block = _block(d.burials[0], ENGLISH, first, last, per_in)
    assert len(block.labels) == 7
    for level in {label.level for label in block.labels}:
        row = sorted((x for x in block.labels if x.level == level), key=lambda x: x.left)
        assert all(a.left + len(a.text) * LETTER_IN * per_in <= b.left for a, b in pairwise(row))
    assert all(first <= x.left and x.left + len(x.text) * LETTER_IN * per_in <= last for x in block.labels)


# ---- the words ---------------------------------------------------------------------------


def test_every_sentence_that_is_asked_for_is_there() -> None:
    from pathlib import Path

    import fieldctl.debrief as package

    folder = Path(package.__file__).parent
    mine = "account alive corrected gaps oddities past probed stretches touching words figure_words figures map_figure"
    texts = "".join((folder / f"{name}.py").read_text() for name in (*mine.split(), "report"))
    texts += (folder / "templates" / "debrief.html").read_text() + (folder / "templates" / "sheet.html").read_text()
    asked = set(re.findall(r'(?:said|sentence|\bt)\(\s*"([a-z-]+(?:\.[a-z-]+)*)"', texts))
    assert len(asked) > 80
    assert asked <= set(ENGLISH)
    assert {f"legend.{kind}" for kind in KINDS} <= set(ENGLISH)


def test_a_sentence_that_there_is_not_is_refused() -> None:
    with pytest.raises(KeyError):
        sentence("nothing.of-the-sort")
    assert in_words(sentence("list", first="A", last="B"), {"list": "{first} und {last}"}) == "A und B"
