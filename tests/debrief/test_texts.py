"""The sentences of debrief, season and assessment: complete in every language, with the same placeholders."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from typing import get_args

import pytest

from fieldctl.debrief.texts import Part, texts_of
from fieldctl.debrief.words import clock, in_words, length, said, words_of

LANGUAGES = ("de", "fr", "it")
ENGLISH: dict[Part, str] = {
    "debrief": "english.toml",
    "season": "season_english.toml",
    "assessment": "assessment_english.toml",
}
FIELD = re.compile(r"\{([^{}]*)\}")
SENTENCE = re.compile(r"[^\W\d_]{3,}\W+(?:\w+\W+){2,}")  # from four words on nothing reads the same in two languages
CAUTION = {
    "de": "Jedes Signal ist ein Mensch, bis das Gegenteil bewiesen ist.",
    "fr": "Tout signal est une personne jusqu'à preuve du contraire.",
    "it": "Ogni segnale è una persona fino a prova contraria.",
}

both = pytest.mark.parametrize(("part", "language"), [(p, lang) for p in get_args(Part) for lang in LANGUAGES])


def english(part: Part) -> dict[str, str]:
    text = resources.files("fieldctl.debrief").joinpath(ENGLISH[part]).read_text(encoding="utf-8")
    return tomllib.loads(text)


def test_each_part_has_its_english() -> None:
    assert set(ENGLISH) == set(get_args(Part))
    assert all(len(english(part)) > 80 for part in ENGLISH)


@both
def test_a_language_says_everything_and_nothing_besides(part: Part, language: str) -> None:
    assert sorted(set(english(part)) ^ set(texts_of(part, language))) == []


@both
def test_placeholders_are_those_of_the_english_sentence(part: Part, language: str) -> None:
    others = texts_of(part, language)
    for key, text in english(part).items():
        assert sorted(FIELD.findall(others[key])) == sorted(FIELD.findall(text)), key


@both
def test_no_english_sentence_was_left(part: Part, language: str) -> None:
    others = texts_of(part, language)
    left = [key for key, text in english(part).items() if others[key] == text and SENTENCE.search(FIELD.sub("", text))]
    assert left == []


@both
def test_a_text_ends_as_its_english_one_does(part: Part, language: str) -> None:
    others = texts_of(part, language)
    for key, text in english(part).items():
        assert others[key].strip() == others[key] != "", key
        assert (others[key][-1] == ".") == (text[-1] == "."), key


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_caution_stands_under_every_debrief_and_season(language: str) -> None:
    assert CAUTION[language] in texts_of("debrief", language)["foot"]
    assert CAUTION[language] in texts_of("season", language)["training"]


def test_english_and_a_language_that_there_is_not_have_no_texts_of_their_own() -> None:
    assert texts_of("debrief", "en") == texts_of("debrief", "rm") == {}


def test_a_sentence_within_a_sentence_is_said_in_the_language() -> None:
    german = words_of(texts_of("debrief", "de"))
    first = said("moment.start")
    what = said("phase.between", first=first, last=said("moment.hit", burial="B"))
    whole = said("longest.phase", phase=what, burial="B", length=length(82_000_000), whole=length(332_000_000))
    assert in_words(whole, german) == (
        "Am längsten dauerte bei B der Weg zwischen «der Start» und «das Berühren von B mit der Sonde»: "
        "82 s von 5:32 min."
    )
    assert clock(332_000_000) == "5:32"
