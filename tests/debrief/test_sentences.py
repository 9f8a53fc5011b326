"""How a debrief speaks: nothing twice, nobody who was not named, no gap of no length, moments as they are known."""

from __future__ import annotations

from html import unescape

import pytest
from debrief_kit import said as spoken
from debrief_kit import told
from exercise_kit import Made, drill

from fieldctl.debrief import season_words
from fieldctl.debrief.as_json import as_json
from fieldctl.debrief.assessment_page import say as sheet_say
from fieldctl.debrief.report import page_fragment
from fieldctl.debrief.texts import texts_of
from fieldctl.debrief.words import ENGLISH, clock, in_words, length, moment, plus_minus, said, words_of
from fieldctl.drill.plan import Burial
from fieldctl.web.paper import clock as clock_of_the_pages

ONE = drill(Burial("A"))
TWO = drill(Burial("A"), Burial("B"))
LANGUAGES = ("en", "de", "fr", "it")


def test_three_things_that_are_told_alike_are_all_named() -> None:
    plan = drill(Burial("A"), Burial("B"), Burial("C"))
    make = Made(plan)
    ons = [make.on(name, 0, n) for n, name in enumerate("ABC", 1)]
    strikes = [make.strike("A", 9.41), make.strike("B", 18.55), make.strike("C", 27.67)]
    text = spoken(told(plan, [make.started(), *ons, *strikes, make.ended("complete", 27.7)]).longest)
    assert text.startswith("Three things took longest, as far as can be told: ")
    assert text.count("(9 s)") == 3
    apart = [make.strike("A", 9.41), make.strike("B", 16.55), make.strike("C", 24.67)]
    text = spoken(told(plan, [make.started(), *ons, *apart, make.ended("complete", 24.7)]).longest)
    assert text.startswith("What took longest")


def test_two_things_that_took_longest_name_each_burial_once() -> None:
    make = Made(TWO)
    facts = [
        make.started(), make.on("A", 0.5, 1), make.on("B", 0.5, 2), make.strike("A", 100), make.call("A", 101),
        make.call("B", 200.5), make.ended("stopped", 202),
    ]  # fmt: skip
    text = spoken(told(TWO, facts).longest)
    assert text.startswith("Two things took longest")
    assert "for B for B" not in text
    assert "to the call for B (" in text


def test_a_call_that_did_not_count_is_not_reproached_a_second_time() -> None:
    make = Made(ONE)
    early = [make.call("A", 20), make.call("A", 30)]
    facts = [
        make.started(), make.on("A", 0.5, 1), *early, make.strike("A", 60), make.call("A", 61),
        make.correct("void", early[0].call), make.correct("void", early[1].call), make.ended("complete", 62),
    ]  # fmt: skip
    touches = told(ONE, facts).burial("A").touches
    texts = [spoken(t.text) for t in touches]
    assert [t.kind for t in touches] == ["early", "early", "noticed"]
    assert sum("Called but not touched" in text for text in texts) == 1
    assert texts[1].startswith("The call at 0:30 did not count either:")
    counted = [f for f in facts if getattr(f, "about", "") != early[1].call]
    texts = [spoken(t.text) for t in told(ONE, counted).burial("A").touches]
    assert texts[0].startswith("The call at 0:20 did not count either:")
    assert texts[1].startswith("Called but not touched: A was called at 0:30")


def test_a_find_of_nobody_names_nobody() -> None:
    make = Made(ONE)
    facts = [make.started(searchers=()), make.on("A", 0.5, 1), make.strike("A", 60.1234), make.ended("complete", 61)]
    for language in LANGUAGES:
        html = page_fragment(told(ONE, facts), words_of(texts_of("debrief", language)), language=language)
        found = unescape(html.split("<h3>A")[1].split("<p>")[1].split("</p>")[0]).split(";")[0]
        assert "1:00.123 ±2 ms" in found
        assert found.endswith("±2 ms")


def test_a_gap_of_no_length_is_in_the_json_and_not_on_the_page() -> None:
    make = Made(ONE)

    def facts(again_s: float) -> list:
        return [
            make.started(), make.on("A", 0.5, 1), make.off("A", 27.0, 1, "lost"), make.on("A", again_s, 2),
            make.strike("A", 60), make.ended("complete", 61),
        ]  # fmt: skip

    short, longer = told(ONE, facts(27.3)), told(ONE, facts(27.6))
    assert len(as_json(short)["gaps"]) == len(as_json(longer)["gaps"]) == 1
    assert "signal was away" not in page_fragment(short)
    assert "signal was away" in page_fragment(longer)


def test_a_moment_is_told_as_well_as_it_is_known() -> None:
    assert moment(332_104_400, 2_000) == "5:32.104"
    assert moment(332_999_600, 999_999) == "5:33.000"
    assert moment(332_999_600, 1_000_000) == "5:32"
    assert moment(-2_500, 2_000) == "-0:00.003"
    assert moment(0, 2_000) == "0:00.000"
    make = Made(ONE)
    facts = [
        make.started(),
        make.on("A", 0.5, 1),
        make.strike("A", 60.25),
        make.call("A", 61.9),
        make.ended("complete", 62),
    ]
    html = page_fragment(told(ONE, facts))
    assert '<td class="n">1:00.250</td><td class="n">±2 ms</td>' in html
    assert '<td class="n">1:01</td><td class="n">±1 s</td>' in html


@pytest.mark.parametrize("us", [0, 1, 999_999, 1_000_000, 59_999_999, 60_000_000, 332_500_000, 3_599_999_999])
def test_the_debrief_and_the_pages_floor_a_clock_alike(us: int) -> None:
    assert clock(us) == clock_of_the_pages(us / 1e6) == season_words.clock(us / 1e6)


def test_a_length_is_of_its_own_rounding_on_both_sides_of_two_minutes() -> None:
    assert in_words(length(119_400_000)) == "119 s"
    assert in_words(length(119_600_000)) == "2:00 min"
    assert in_words(plus_minus(2_000)) == "±2 ms"


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_alone_is_said_in_the_form_of_one(language: str) -> None:
    season, sheet = texts_of("season", language), texts_of("assessment", language)
    for key in ("done.exercises", "apart.corrections"):
        one, two = (season_words.say(key, season, n=n) for n in (1, 2))
        assert one.replace("1", "2") != two
    one, two = (sheet_say("void", sheet, n=n) for n in (1, 2))
    assert one.replace("1", "2") != two
    values = {"target": "upper 3", "burial": "A"}
    words = words_of(texts_of("debrief", language))
    one, two = (in_words(said("odd.dropped", count=n, **values), words) for n in (1, 2))
    assert one.replace("1", "2") != two
    assert season_words.say("done.burials", n=1, found=1) == "1 burial looked for, 1 found"


def test_every_form_of_one_belongs_to_a_form_of_many() -> None:
    for table in (ENGLISH, season_words.ENGLISH):
        ones = [key for key in table if key.endswith(".one") and key != "longest.one" and key != "order.one"]
        assert ones
        assert [key for key in ones if key.removesuffix(".one") not in table] == []


def test_where_nobody_was_found_german_says_from_when_without_a_broken_case() -> None:
    german = words_of(texts_of("debrief", "de"))
    text = in_words(said("longest.open", burial="A", first=said("moment.start"), length=length(332_000_000)), german)
    assert text == "Am längsten dauerte die Suche nach A, ohne Fund: 5:32 min bis zum Ende; davor lag der Start."
