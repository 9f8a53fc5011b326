"""Sentences of the season book and the certificates: keys and English texts in season_english.toml.

say("time.median", words, median="2:48", …) -> str        `words` of another language may lack keys
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from types import MappingProxyType

from fieldctl.debrief.kaplan import FINDS_LEAST, GROUPS_LEAST, Curve, Ratio
from fieldctl.debrief.season import CLOSE_M, DEEP_M, SHALLOW_M
from fieldctl.units import PersonId

Words = Mapping[str, str]
Names = Mapping[PersonId, str]

ENGLISH: Words = MappingProxyType(
    tomllib.loads(resources.files("fieldctl.debrief").joinpath("season_english.toml").read_text(encoding="utf-8"))
)
"""Every sentence in English."""


def say(key: str, words: Words = ENGLISH, /, **values: object) -> str:
    """A sentence in a language, in English where the language lacks it; KeyError for a key that there is not.

    Where its number `n` is 1 and a form of one alone is there, that one.
    """
    if values.get("n") == 1 and f"{key}.one" in ENGLISH:
        key = f"{key}.one"
    return words.get(key, ENGLISH[key]).format(**values)


def clock(seconds: float | None) -> str:
    """Seconds as m:ss, as a running clock shows them: begun seconds do not count."""
    if seconds is None:
        return "-"
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def name_of(who: str, names: Names) -> str:
    """A person's name, the id where there is none or it was forgotten; of several joined by " + ", each."""
    return " + ".join(names.get(PersonId(each), each) for each in who.split(" + "))


def kind_name(key: str, words: Words = ENGLISH) -> str:
    """What a kind of burial is called."""
    return say(f"kind.{key}", words, deep=DEEP_M, shallow=SHALLOW_M, close=f"{CLOSE_M:g}")


def bounds(curve: Curve, words: Words = ENGLISH) -> tuple[str, str, str]:
    """The claimed median and its interval as m:ss; ("-", "-", "-") where nothing is claimed."""
    median = curve.claimed
    if median is None:
        return "-", "-", "-"
    low = say("below", words) if median.low_s is None else clock(median.low_s)
    return clock(median.s), low, say("beyond", words) if median.high_s is None else clock(median.high_s)


def median_of(curve: Curve, words: Words = ENGLISH) -> str:
    """What can be said of a curve's middle, or why nothing."""
    if not curve.claims:
        return say(
            "time.none", words, found=curve.found, looked=curve.looked_for, least=FINDS_LEAST, groups=GROUPS_LEAST
        )
    if curve.median is None:
        return say("time.not-half", words, found=curve.found, looked=curve.looked_for)
    median, low, high = bounds(curve, words)
    return say("time.median", words, median=median, low=low, high=high)


def ratio_words(ratio: Ratio, words: Words = ENGLISH) -> dict[str, str]:
    """A ratio and its bounds as text."""
    return {
        "times": _times(ratio.times),
        "low": say("below", words) if ratio.low is None else _times(ratio.low),
        "high": say("beyond", words) if ratio.high is None else _times(ratio.high),
    }


def _times(value: float) -> str:
    """Two digits, more only where two would say that a bound lies at 1, which decides."""
    digits = next(n for n in (2, 3, 4, 5, 12) if float(f"{value:.{n}g}") != 1 or value == 1)
    return f"{value:.{digits}g}"


def progress_of(ratio: Ratio | None, words: Words = ENGLISH) -> str:
    """Whether somebody became quicker, as far as it can be said."""
    if ratio is None:
        return say("progress.few", words)
    key = "progress.unsure" if not ratio.sure else "progress.quicker" if ratio.times < 1 else "progress.slower"
    return say(key, words, **ratio_words(ratio, words))
