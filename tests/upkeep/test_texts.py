"""The account's sentences: complete in every language, with the same placeholders, no gap hidden."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from string import Formatter

import pytest

from fieldctl.upkeep import words
from fieldctl.upkeep.curves import CHEMISTRIES
from fieldctl.upkeep.words import ENGLISH, LANGUAGES, chemistry_words, say, words_of

OTHERS = tuple(language for language in LANGUAGES if language != "en")
SENTENCE = re.compile(r"[^\W\d_]{3,}\W+(?:\w+\W+){2,}")  # from four words on nothing reads the same in two languages

each = pytest.mark.parametrize("language", OTHERS)


def on_file(language: str) -> dict[str, str]:
    text = resources.files("fieldctl.upkeep").joinpath("texts", f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def placeholders(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in Formatter().parse(text) if name is not None)


@each
def test_a_language_says_everything_and_nothing_besides(language: str) -> None:
    assert sorted(set(ENGLISH) ^ set(on_file(language))) == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_one_cell_is_not_said_as_many(language: str) -> None:
    said = words_of(language)
    for key in ("finding.too-many-volts", "finding.kit-too-many-volts", "finding.kit-charging"):
        assert "{cells} × {chemistry}" in said[key], key


@each
def test_placeholders_are_those_of_the_english_sentence(language: str) -> None:
    said = on_file(language)
    for key, text in ENGLISH.items():
        assert set(placeholders(said[key])) == set(placeholders(text)), key


@each
def test_no_english_sentence_was_left(language: str) -> None:
    said = on_file(language)
    bare = re.compile(r"\{[^{}]*\}")
    assert [key for key, text in ENGLISH.items() if said[key] == text and SENTENCE.search(bare.sub("", text))] == []


@each
def test_a_text_ends_as_its_english_one_does(language: str) -> None:
    said = on_file(language)
    for key, text in ENGLISH.items():
        assert said[key].strip() == said[key] != "", key
        assert (said[key][-1] == ".") == (text[-1] == "."), key


@each
def test_commands_and_the_words_of_files_stay_as_they_are(language: str) -> None:
    """What is typed is typed the same in every language."""
    typed = re.compile(r"(?<=: )fieldctl [a-z …-]+[a-z]|fieldctl [a-z-]+|--[a-z-]+|\[[a-z.]+\]|\b[a-z]+_[a-z_]+\b")
    said = on_file(language)
    for key, text in ENGLISH.items():
        bare = re.compile(r"\{[^{}]*\}")
        for word in typed.findall(bare.sub("…", text)):
            assert word in bare.sub("…", said[key]), (key, word)


def test_a_gap_is_said_in_english_and_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    longer = {**ENGLISH, "a-new-one": "It is {what}."}
    monkeypatch.setattr(words, "ENGLISH", longer)
    words_of.cache_clear()
    try:
        for language in OTHERS:
            assert say("a-new-one", words_of(language), what="deep") == "(en) It is deep."
            assert say("state.now", words_of(language)) == on_file(language)["state.now"]
    finally:
        words_of.cache_clear()


def test_a_language_and_a_key_that_there_are_not() -> None:
    with pytest.raises(KeyError):
        words_of("rm")
    with pytest.raises(KeyError):
        say("no-such-key", words_of("de"))


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_chemistry_has_a_name(language: str) -> None:
    names = [chemistry_words(chemistry, words_of(language)) for chemistry in CHEMISTRIES]
    assert len(set(names)) == len(CHEMISTRIES)
