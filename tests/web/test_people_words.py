"""The sentences of signing in and of people: complete in four languages, each one used, each use there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

import fieldctl.web
from fieldctl.web.rights import GRANTABLE
from fieldctl.web.words import LANGUAGES

WEB = Path(fieldctl.web.__file__).parent
PAGES = {
    "sign": (
        "templates/first.html", "templates/pair.html", "templates/sign_in.html", "templates/sign_out.html",
        "static/signing.js",
    ),
    "people": ("templates/people.html", "static/people.js"),
}  # fmt: skip
MADE_UP = {"people": {f"means_{right}" for right in GRANTABLE}}  # keys that a page puts together


def texts(part: str, language: str) -> dict[str, str]:
    return tomllib.loads((WEB / "texts" / language / f"{part}.toml").read_text(encoding="utf-8"))


def shape(part: str, language: str) -> dict[str, list[str]]:
    return {key: sorted(re.findall(r"\{(\w+)\}", text)) for key, text in texts(part, language).items()}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("part", PAGES)
def test_every_language_says_the_same_things(part: str, language: str) -> None:
    assert shape(part, language) == shape(part, "en")
    assert all(text.strip() for text in texts(part, language).values())


@pytest.mark.parametrize("language", [each for each in LANGUAGES if each != "en"])
@pytest.mark.parametrize("part", PAGES)
def test_nothing_was_left_in_english(part: str, language: str) -> None:
    english, other = texts(part, "en"), texts(part, language)
    long = {key for key in english if len(english[key]) > 12}
    assert {key for key in long if english[key] == other[key]} == set()


@pytest.mark.parametrize("part", PAGES)
def test_every_sentence_is_used_and_every_use_is_there(part: str) -> None:
    source = "".join((WEB / page).read_text(encoding="utf-8") for page in PAGES[part])
    used = set(re.findall(rf'"{part}\.([a-z_]*[a-z])"', source)) | MADE_UP.get(part, set())
    assert used == set(texts(part, "en"))


def test_no_page_of_these_has_script_or_style_inside() -> None:
    """The content security policy forbids both, and a browser would leave them out without a word."""
    for page in (page for pages in PAGES.values() for page in pages if page.endswith(".html")):
        source = (WEB / page).read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*\bsrc=)|\bstyle=|\son\w+=|javascript:", source), page
