"""Every sentence of the pages, in four languages: texts/<language>/<part>.toml, keys `part.key`.

What the controller says is not among them: sayings.toml lies beside the parts and belongs to `sayings`.

A key has the same placeholders in every language; a test compares them. Which language a page speaks: the reader's own
choice (a cookie), else what the browser asks for, else the site's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from importlib import resources

NO_PART = "sayings"
LANGUAGES = ("en", "de", "fr", "it")
COOKIE = "fieldctl_language"

Words = Callable[..., str]


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Every sentence of a language by its key; KeyError for a language that there is not."""
    if language not in LANGUAGES:
        raise KeyError(language)
    found: dict[str, str] = {}
    for file in resources.files("fieldctl.web").joinpath("texts", language).iterdir():
        part, dot, kind = file.name.rpartition(".")
        if dot and kind == "toml" and part != NO_PART:
            for key, text in tomllib.loads(file.read_text(encoding="utf-8")).items():
                found[f"{part}.{key}"] = text
    return found


def words(language: str) -> Words:
    """`t(key, **values)` of a language; of one alone (`key_one`) where `n` is 1; KeyError for an unknown key."""
    texts = catalogue(language)

    def t(key: str, /, **values: object) -> str:
        if values.get("n") == 1 and f"{key}_one" in texts:
            key = f"{key}_one"
        return texts[key].format(**values) if values else texts[key]

    return t


def parts_of(language: str, parts: Iterable[str]) -> dict[str, str]:
    """The sentences of some parts, for a page's scripts."""
    wanted = tuple(f"{part}." for part in parts)
    return {key: text for key, text in catalogue(language).items() if key.startswith(wanted)}


def choose(own: str | None, accept: str, site: str) -> str:
    """The language of a page: the reader's own choice, else the first that the browser names, else the site's."""
    if own in LANGUAGES:
        return own
    asked = [part.partition(";")[0].strip().lower()[:2] for part in accept.split(",")]
    return next((word for word in [*asked, site] if word in LANGUAGES), LANGUAGES[0])
