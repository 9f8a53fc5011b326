"""The sentences of debrief, season and assessment in the pages' languages: texts/<language>/<part>.toml.

English stands beside the code that uses it (english.toml, season_english.toml, assessment_english.toml); whatever a
language lacks is said in English, so that a new sentence is never missing.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Literal

Part = Literal["debrief", "season", "assessment"]


@cache
def texts_of(part: Part, language: str) -> Mapping[str, str]:
    """A language's sentences of one part by key; none for English and for a language that there is not."""
    file = resources.files("fieldctl.debrief").joinpath("texts", language, f"{part}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8")) if file.is_file() else {}
