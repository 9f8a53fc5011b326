"""Every sentence of a debrief, and how one is made: keys with English texts (english.toml), others beside them.

    said(key, **values) -> Said        a sentence not yet in any language; values are names, numbers in words, or Said
    in_words(said, words) -> str       … in a language: `words` maps each key to a text with {placeholders}
    words_of(others) -> Words          another language's texts, English where one is missing

Names of splits that people made up are passed on as they are.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType

from fieldctl.units import US_PER_S

Words = Mapping[str, str]

ENGLISH: Words = MappingProxyType(
    tomllib.loads(resources.files("fieldctl.debrief").joinpath("english.toml").read_text(encoding="utf-8"))
)
"""Every sentence in English."""


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence by its key and what stands in it."""

    key: str
    values: tuple[tuple[str, str | Said], ...] = ()


def said(key: str, /, **values: object) -> Said:
    """A sentence; whatever is no `Said` is written as text; of one alone where `count` is 1 and that has a form.

    KeyError for a key that there is not.
    """
    if key not in ENGLISH:
        raise KeyError(key)
    if str(values.get("count")) == "1" and f"{key}.one" in ENGLISH:
        key = f"{key}.one"
    return Said(key, tuple((name, v if isinstance(v, Said) else str(v)) for name, v in values.items()))


def in_words(what: Said, words: Words = ENGLISH) -> str:
    """The sentence in a language; a key that the language lacks is said in English."""
    values = {name: in_words(v, words) if isinstance(v, Said) else v for name, v in what.values}
    return words.get(what.key, ENGLISH[what.key]).format(**values)


def words_of(others: Words) -> Words:
    """A language's texts with English ones where it has none."""
    return {**ENGLISH, **others}


def name_of_split(name: str) -> Said:
    """A split's name: one of the usual ones can be said in every language, a free one is passed on."""
    return said(f"split.{name}") if f"split.{name}" in ENGLISH else said("as-it-is", text=name)


def clock(us: int) -> str:
    """Microseconds as m:ss, as a running clock shows them: begun seconds do not count; the same in every language."""
    whole = abs(us) // US_PER_S
    return f"{'-' if us < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"


def moment(us: int, plus_minus_us: int) -> str:
    """A moment as m:ss; with its milliseconds where it is known to better than a second: 5:32.104."""
    if plus_minus_us >= US_PER_S:
        return clock(us)
    ms = (abs(us) + 500) // 1000
    return f"{'-' if us < 0 and ms else ''}{ms // 60_000}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


def length(us: int) -> Said:
    """How long something lasted, as people say it: 82 s, or 4:10 min from two minutes on."""
    whole = (abs(us) + US_PER_S // 2) // US_PER_S
    return said("length.s", s=whole) if whole < 120 else said("length.min", clock=clock(whole * US_PER_S))


def plus_minus(us: int) -> Said:
    """A ±, as people say it: ±1 s, ±2 ms."""
    if us >= US_PER_S:
        return said("pm.s", s=f"{us / US_PER_S:.3g}")
    return said("pm.ms", ms=-(-us // 1000))


def listed(names: list[str] | tuple[str, ...]) -> Said:
    """Names as "A, B and C"."""
    if len(names) < 2:
        return said("as-it-is", text=names[0] if names else "")
    return said("list", first=", ".join(names[:-1]), last=names[-1])
