"""The catalogues of the pages: four languages, the same parts, keys and placeholders, nothing left in English."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

import pytest

from fieldctl.web import words

OTHERS = tuple(language for language in words.LANGUAGES if language != "en")
FIELD = re.compile(r"\{([^{}]*)\}")
WORD = re.compile(r"[^\W\d_]{2,}")
SENTENCE = 3  # words from which on a text that reads the same in two languages was forgotten
CAUTION = {
    "en": ("Any signal is a person until proved otherwise", "any signal is a person until proved otherwise"),
    "de": ("Jedes Signal ist ein Mensch, bis das Gegenteil bewiesen ist",),
    "fr": ("Tout signal est une personne jusqu'à preuve du contraire", "tout signal est une personne jusqu'à preuve"),
    "it": ("Ogni segnale è una persona fino a prova contraria", "ogni segnale è una persona fino a prova contraria"),
}


def parts(language: str) -> dict[str, dict[str, str]]:
    """Each file of a language with its sentences; the controller's sayings are tested by themselves."""
    folder = resources.files("fieldctl.web").joinpath("texts", language)
    found = {}
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        assert file.name.endswith(".toml"), f"{file.name} is no catalogue"
        found[file.name.removesuffix(".toml")] = tomllib.loads(file.read_text(encoding="utf-8"))
    found.pop(words.NO_PART, None)
    return found


def test_there_are_four_languages_and_no_others() -> None:
    folder = resources.files("fieldctl.web").joinpath("texts")
    assert {f.name for f in folder.iterdir()} == set(words.LANGUAGES)
    assert words.LANGUAGES[0] == "en"


@pytest.mark.parametrize("language", OTHERS)
def test_each_language_has_the_parts_and_keys_of_english(language: str) -> None:
    english, other = parts("en"), parts(language)
    assert list(other) == list(english)
    for part, texts in english.items():
        assert sorted(set(texts) ^ set(other[part])) == [], part


@pytest.mark.parametrize("language", OTHERS)
def test_each_sentence_has_the_placeholders_of_the_english_one(language: str) -> None:
    other = words.catalogue(language)
    for key, text in words.catalogue("en").items():
        assert set(FIELD.findall(other[key])) == set(FIELD.findall(text)), key


@pytest.mark.parametrize("language", OTHERS)
def test_a_list_in_one_sentence_has_as_many_parts_in_each_language(language: str) -> None:
    other = words.catalogue(language)
    for key, text in words.catalogue("en").items():
        assert other[key].count("|") == text.count("|"), key


@pytest.mark.parametrize("language", OTHERS)
def test_no_sentence_was_left_in_english(language: str) -> None:
    other = words.catalogue(language)
    left = [
        key
        for key, text in words.catalogue("en").items()
        if other[key] == text and len(WORD.findall(FIELD.sub("", text))) >= SENTENCE
    ]
    assert left == []


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_text_is_a_text(language: str) -> None:
    for key, text in words.catalogue(language).items():
        assert isinstance(text, str), key
        assert text.strip() == text != "", key
        assert "  " not in text, key
        text.format(**dict.fromkeys(FIELD.findall(text), "x"))


@pytest.mark.parametrize("language", OTHERS)
def test_the_caution_is_in_a_text_wherever_it_is_in_the_english_one(language: str) -> None:
    other = words.catalogue(language)
    cautions = [key for key, text in words.catalogue("en").items() if any(said in text for said in CAUTION["en"])]
    assert len(cautions) > 8
    assert [key for key in cautions if not any(said in other[key] for said in CAUTION[language])] == []


def test_german_is_written_in_one_way() -> None:
    assert [key for key, text in words.catalogue("de").items() if "ß" in text] == []


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_what_the_controller_says_is_no_part_of_a_page(language: str) -> None:
    assert not any(key.startswith(words.NO_PART) for key in words.catalogue(language))
    assert words.parts_of(language, [words.NO_PART]) == {}


def test_a_page_is_given_the_parts_that_it_names_and_no_others() -> None:
    given = words.parts_of("it", ("now", "looking"))
    assert {key.partition(".")[0] for key in given} == {"now", "looking"}
    assert given["now.title"] == words.catalogue("it")["now.title"]


def test_words_fill_placeholders_and_refuse_unknown_keys() -> None:
    t = words.words("de")
    assert t("base.seconds", n=3) == "3 s"
    assert t("base.seconds") == "{n} s"
    with pytest.raises(KeyError):
        t("base.nothing_of_that_name")
    with pytest.raises(KeyError):
        words.catalogue("rm")


@pytest.mark.parametrize(
    ("own", "accept", "site", "chosen"),
    [
        ("it", "de", "fr", "it"),
        (None, "de-CH,de;q=0.9,en;q=0.8", "fr", "de"),
        ("rm", "rm, FR-ch;q=0.5", "en", "fr"),
        (None, "ja", "it", "it"),
        (None, "", "rm", "en"),
        ("", "*;q=0.1", "de", "de"),
    ],
)
def test_the_readers_choice_comes_before_the_browsers_and_the_sites(
    own: str | None, accept: str, site: str, chosen: str
) -> None:
    assert words.choose(own, accept, site) == chosen


def test_every_key_that_pages_and_scripts_name_is_there() -> None:
    named = re.compile(r"\bt\(\s*[\"'`]([a-z]+\.[A-Za-z0-9_-]+)[\"'`]\s*[,)]")
    used: set[str] = set()
    for folder, kinds in (("templates", (".html",)), ("static", (".js",))):
        for file in resources.files("fieldctl.web").joinpath(folder).iterdir():
            if file.name.endswith(kinds):
                used |= set(named.findall(file.read_text(encoding="utf-8")))
    assert len(used) > 150
    assert sorted(used - set(words.catalogue("en"))) == []


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_one_alone_has_a_form_of_its_own(language: str) -> None:
    t = words.words(language)
    known = words.catalogue(language)
    forms = [key for key in known if key.endswith("_one") and key.removesuffix("_one") in known]
    assert len(forms) >= 4
    for one in forms:
        key, values = one.removesuffix("_one"), dict.fromkeys(FIELD.findall(words.catalogue(language)[one]), 7)
        assert t(key, **{**values, "n": 1}) == t(one, **{**values, "n": 1})
        assert t(key, **{**values, "n": 2}) == words.catalogue(language)[key].format(**{**values, "n": 2})
    assert "1 burial," in words.words("en")("drills.asks", n=1, minutes=10)
