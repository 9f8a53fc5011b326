"""Sentences of the account: keys and English texts in english.toml, other languages in texts/<language>.toml.

`words_of(language)` is what every function here takes as `words`.
"""

from __future__ import annotations

import shlex
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from fieldctl.upkeep.account import Finding, Row, Upkeep
from fieldctl.upkeep.forecast import AHEAD
from fieldctl.upkeep.readings import date_of

Words = Mapping[str, str]

ENGLISH: Words = MappingProxyType(
    tomllib.loads(resources.files("fieldctl.upkeep").joinpath("english.toml").read_text(encoding="utf-8"))
)
"""Every sentence in English."""


LANGUAGES = ("en", "de", "fr", "it")


@cache
def words_of(language: str) -> Words:
    """Every sentence in a language; KeyError for a language that there is not.

    What a language lacks is said in English and marked so: nobody is to take a gap for how it is said.
    """
    if language == "en":
        return ENGLISH
    if language not in LANGUAGES:
        raise KeyError(language)
    file = resources.files("fieldctl.upkeep").joinpath("texts", f"{language}.toml")
    said = tomllib.loads(file.read_text(encoding="utf-8"))
    return MappingProxyType({key: said.get(key, f"(en) {text}") for key, text in ENGLISH.items()})


def say(key: str, words: Words = ENGLISH, /, **values: object) -> str:
    """A sentence in a language; KeyError for a key that there is not."""
    return words[key].format(**values)


def chemistry_words(chemistry: str, words: Words = ENGLISH) -> str:
    """What a kind of battery is called."""
    return say(f"chemistry.{chemistry}", words)


def day_of(number: float | None) -> str:
    """A day number as a date; "-" where there is none."""
    return "-" if number is None else date_of(number).isoformat()


def percent(share: float) -> int:
    """A share as whole percent."""
    return round(share * 100)


def finding_words(finding: Finding, row: Row, words: Words = ENGLISH) -> tuple[str, str]:
    """What was found and what to do, as two sentences."""
    return words_about(finding, row.place.name, words)


def words_about(finding: Finding, target: str, words: Words = ENGLISH) -> tuple[str, str]:
    """The same of a target by its name."""
    values = {name: plain(name, value, words) for name, value in finding.values.items()}
    values |= {"day": day_of(finding.since), "target": target, "typed": shlex.quote(target)}
    if "other" in values:
        values["other_typed"] = shlex.quote(str(values["other"]))
    return (
        say(f"finding.{finding.key}", words, **values),
        say(f"remedy.{finding.remedy or finding.key}", words, **values),
    )


def plain(name: str, value: object, words: Words) -> object:
    """A value of a finding as it stands in its sentence."""
    if name == "chemistry":
        return chemistry_words(str(value), words)
    return f"{value:.3g}" if isinstance(value, float) else value


def advice_words(row: Row, upkeep: Upkeep, words: Words = ENGLISH) -> str:
    """What to do with this battery, as one sentence."""
    lasts = None if row.forecast is None else row.forecast.lasts
    change_at = None if row.battery is None else row.battery.change_at
    share = None if row.estimate is None else row.estimate.share
    threshold = row.advice == "threshold"
    return say(
        f"advice.{row.advice}",
        words,
        by=day_of(row.began if row.advice == "unread" else row.by),
        closing=upkeep.closing,
        percent=percent((change_at if threshold else lasts) or 0.0),
        share=percent(share or 0.0),
    )


def left_words(row: Row, words: Words = ENGLISH) -> str:
    """The charge left as an interval; "-" where nothing is claimed."""
    said = row.estimate
    if said is None or said.low is None or said.high is None:
        return "-"
    return say("percent", words, low=percent(said.low), high=percent(said.high))


def basis_words(row: Row, words: Words = ENGLISH) -> str:
    """What the charge rests on."""
    if row.estimate is None or row.battery is None:
        return say("basis.no-readings", words)
    key = row.estimate.basis
    if key == "nothing" and row.volts_rest is None:
        key_text = "basis.no-readings"
    else:
        key_text = f"basis.{key}"
    return say(key_text, words, chemistry=chemistry_words(row.battery.chemistry, words))


def last_words(row: Row, words: Words = ENGLISH) -> str:
    """The last day with its band, as one sentence."""
    ahead = row.forecast
    if ahead is None or ahead.low_90 is None:
        return say("last.beyond", words, days=int(AHEAD[-1]))
    if ahead.last is None or ahead.high_90 is None:
        return say("last.from", words, low=day_of(ahead.low_90))
    return say("last.band", words, last=day_of(ahead.last), low=day_of(ahead.low_90), high=day_of(ahead.high_90))


def band_words(row: Row) -> str:
    """The 90 % band as two dates, short."""
    ahead = row.forecast
    if ahead is None or ahead.low_90 is None:
        return "-"
    return f"{day_of(ahead.low_90)} … {'' if ahead.high_90 is None else day_of(ahead.high_90)}".strip()


def summary_words(upkeep: Upkeep, words: Words = ENGLISH) -> str:
    """How many of each state, as one sentence."""
    states = [row.state for row in upkeep.rows]
    names = ("now", "soon", "later", "holds", "unknown")
    return say("summary", words, **{name: states.count(name) for name in names})  # type: ignore[arg-type]
