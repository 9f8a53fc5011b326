"""What the controller says in English, said in the reader's language: texts/<language>/sayings.toml.

    say(language, text)        a sentence, several in a row, or lines of them
    speaker(language)          the same, for one language
    say_rows, say_preview, ANSWERS      the sentences inside the live stream's rows, a preview, a verb's answer

A saying maps an English template to a translation with the same {placeholders}: `"There is no drill {name}."`. The
controller goes on speaking English, in the log and on the command line; only what is shown to a reader passes through
here, and there it names pages instead of commands (`on_page`). Whatever no saying matches stays as it is: an English
sentence is better than none. A fault of a file keeps its place and key, and what is wrong, expected and to be done is
said each by itself.

A template is found by the longest word that is its own and by nothing else; of several that match, the one counts that
explains most of the text. What stands in a placeholder is passed on as it is, save in the few placeholders (SAID)
that hold a sentence or a word of the controller, which are said too.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from importlib import resources
from typing import Any

from fieldctl.web.on_page import on_page

ENGLISH = "en"
KEPT = 8192  # sentences, of all languages together: a busy field's and its refusals'
OR = " or "
SHORT = 12  # letters and signs: a template with fewer of its own would fit too much, if any word could stand in it

SAID = frozenset(
    (
        *("CHANGES", "STRIKE_KINDS", "expected", "fault", "finding", "label", "life", "lines", "missed", "missing"),
        *("orientation", "remedy", "right", "rule", "status", "verdict", "what", "which", "why", "why_not", "wish"),
        *("nearest", "words"),
    )
)
"""Placeholders that hold what the controller says, not a name or a number."""

_FIELD = re.compile(r"\{(\w+)\}")
_WORD = re.compile(r"[^\W\d_]+")
_SENTENCE = re.compile(r"(?<=[.?!])\s+(?=[^\W\d_a-z])")  # between two sentences, as far as one can tell
_TOKEN = re.compile(r"\A(?=\S*[\d'\"/])\S+\Z")  # a number, an id, a path, something quoted
_QUOTED = re.compile(r"'[^']*'(?:, '[^']*')*")  # values of a file or a request: the same in every language
# as errors.Fault writes it
_FAULT = re.compile(r"(\S+:\d+: [^:]+: )(.+?)(\. |(?<=\?) )(Expected: .+?\.) (To do: .+)", re.DOTALL)
_KEY = re.compile(r"(?<=[.?!]) +\[[^\[\]\n]+\]$", re.MULTILINE)  # a line of a check ends with its key, for a terminal

Row = dict[str, Any]
Rows = dict[str, Row]


@dataclass(frozen=True)
class _Saying:
    """One template that has placeholders: how it is recognised, and what is said."""

    template: str
    said: str
    letters: int

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """Made when it is first looked for: all of them at once would hold up whoever asks first."""
        parts = _FIELD.split(self.template)  # text, name, text, name, … text
        pattern = "".join(f"(?P<{part}>.+?)" if nth % 2 else re.escape(part) for nth, part in enumerate(parts))
        return re.compile(pattern, re.DOTALL)


class _Speaker:
    """All sayings of one language, ready to be found."""

    def __init__(self, sayings: Mapping[str, str], words: Mapping[str, str]) -> None:
        self._plain = {text: said for text, said in sayings.items() if not _FIELD.search(text)}
        self._words = words
        self._by_word: dict[str, list[_Saying]] = {}
        for text, said in sayings.items():
            if text not in self._plain:
                self._by_word.setdefault(_rarest(text), []).append(_saying(text, said))

    def say(self, text: str) -> str:
        """A text of one or several sentences or lines."""
        if (fault := _FAULT.fullmatch(text)) is not None:
            where, wrong, end, expected, remedy = fault.groups()
            return f"{where}{self.say(wrong)}{end}{self.say(expected)} {self.say(remedy)}"
        found = self._one(text)
        if found is not None:
            return found
        if "\n" in text:
            return "\n".join(self.say(line) for line in text.split("\n"))
        bare = text.strip()
        if bare != text:
            return text.replace(bare, self.say(bare), 1) if bare else text
        return self._row_of(text, "; ") or self._row_of(text, OR) or self._several(_SENTENCE.split(text)) or text

    def _row_of(self, text: str, between: str) -> str | None:
        """Several sayings or words in a row; None where one of the parts is neither."""
        parts = text.split(between)
        said = [self._words.get(part) or self._one(part) or (_QUOTED.fullmatch(part) and part) for part in parts]
        if len(parts) < 2 or not all(said):
            return None
        return f" {self._words['or']} ".join(filter(None, said)) if between == OR else between.join(filter(None, said))

    def _several(self, pieces: list[str]) -> str | None:
        """Sentences one after the other, as many as possible taken for one saying; None where none of them is any."""
        out: list[str] = []
        known = False
        while pieces:
            for end in range(len(pieces), 0, -1):
                found = self._one(" ".join(pieces[:end])) or (self._named(pieces[0]) if end == 1 else None)
                if found is not None or end == 1:
                    out.append(pieces[0] if found is None else found)
                    known |= found is not None
                    pieces = pieces[end:]
                    break
        return " ".join(out) if known else None

    def _named(self, text: str) -> str | None:
        """A saying after the name of what it is about: "A: no target that fits is lying."; None for every other."""
        name, colon, rest = text.partition(": ")
        if not colon or len(rest) < SHORT:
            return None
        bare = self._one(rest.removesuffix("."))  # a fragment that was made a sentence
        found = bare + "." * rest.endswith(".") if bare else self._one(rest)
        return found and f"{name}: {found}"

    def _one(self, text: str) -> str | None:
        """A text that is one saying; None for every other."""
        plain = self._plain.get(text)
        if plain is not None:
            return plain
        best: tuple[int, str, dict[str, str]] | None = None
        for word in dict.fromkeys(_WORD.findall(text)):
            for saying in self._by_word.get(word, ()):
                match = saying.pattern.fullmatch(text)
                if match is None or not _fits(saying, values := match.groupdict()):
                    continue
                inside = {name: self._inside(name, value) for name, value in values.items()}
                worth = saying.letters + sum(len(value) for name, value in values.items() if inside[name] != value)
                if best is None or worth > best[0]:
                    best = worth, saying.said, inside
        return None if best is None else best[1].format(**best[2])

    def _inside(self, name: str, value: str) -> str:
        """What stands in a placeholder."""
        if not _is_said(name):
            return value
        if value in self._words:
            return self._words[value]
        return self._row_of(value, ", ") or self.say(value)


def _is_said(name: str) -> bool:
    return name.rstrip("0123456789") in SAID


def _rarest(template: str) -> str:
    """The longest word of a template, by which it is looked for."""
    words: list[str] = _WORD.findall(_FIELD.sub(" ", template))
    return max(words, key=len)


def _saying(template: str, said: str) -> _Saying:
    return _Saying(template, said, len("".join(_FIELD.sub("", template).split())))


def _fits(saying: _Saying, values: Mapping[str, str]) -> bool:
    """Whether values are what a template means: a name or a number is never another sentence."""
    for name, value in values.items():
        if name in ("lines", "remedy"):  # several of them
            continue
        if "\n" in value or ("; " in value and not _is_said(name)) or _SENTENCE.search(value):
            return False
        if saying.letters < SHORT and not _is_said(name) and not _TOKEN.search(value):
            return False
    return True


@cache
def sayings_of(language: str) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """(sayings, words inside them) of a language; none of English, and of a language that there is not."""
    file = resources.files("fieldctl.web").joinpath("texts", language, "sayings.toml")
    if not file.is_file():
        return {}, {}
    found = tomllib.loads(file.read_text(encoding="utf-8"))
    words = found.pop("words")
    return found, words


@cache
def _speaker(language: str) -> _Speaker:
    return _Speaker(*sayings_of(language))


@lru_cache(maxsize=KEPT)
def say(language: str, text: str) -> str:
    """What the controller says, in a language and as a page shows it; English where no saying fits."""
    bare = _KEY.sub("", text)
    return on_page(language, bare if language == ENGLISH else _speaker(language).say(bare))


def speaker(language: str) -> Callable[[str], str]:
    """`say` of one language."""
    return lambda text: say(language, text)


# ---- sentences inside rows -----------------------------------------------------------------------------------

Saying = Callable[[str], str]


def say_rows(language: str, rows: Rows) -> Rows:
    """The rows of a view with their sentences in a language; a row without any stays the same object."""
    said, found = speaker(language), dict(rows)
    for key, row in rows.items():
        if (of := _ROWS.get(key.partition(":")[0])) is not None:
            found[key] = of(said, row)
        elif key == "alarms":
            found[key] = say_alarms(language, row)
    return found


def say_alarms(language: str, row: Row) -> Row:
    """Alarms in a language; what the upkeep account found is said from its own texts."""
    return {**row, "alarms": [_alarm(language, one) for one in row["alarms"]]}


def _alarm(language: str, one: Row) -> Row:
    finding = one["what"].partition(":")[2]
    if not finding or language == ENGLISH:
        return {**one, "says": say(language, one["says"]), "remedy": say(language, one["remedy"])}
    from fieldctl.upkeep.words import plain, words_of

    words = words_of(language)
    values = {name: plain(name, value, words) for name, value in one["values"].items()}
    try:
        says = words[f"finding.{finding}"].format(**values)
        remedy = words[f"remedy.{values['remedy'] or finding}"].format(**values)
    except KeyError:
        return one  # of another version of the program: as it was said then
    return {**one, "says": f"{one['name']}: {says}", "remedy": on_page(language, remedy)}


def _exercise(said: Saying, row: Row) -> Row:
    if "to_judge" not in row:
        return row  # those who search, and who look on, are told nothing of it
    return {
        **row,
        "to_judge": [{**one, "why": said(one["why"])} for one in row["to_judge"]],
        "questions": [{**one, "what": said(one["what"])} for one in row["questions"]],
        "anomalies": [said(one) for one in row["anomalies"]],
    }


def _target(said: Saying, row: Row) -> Row:
    return {**row, "place": said(row["place"]), "odd": {what: said(detail) for what, detail in row["odd"].items()}}


def _field(said: Saying, row: Row) -> Row:
    off = row["all_off"]
    if off["in_force"]:
        off = {**off, "unconfirmed": [{**one, "place": said(one["place"])} for one in off["unconfirmed"]]}
    return {**row, "all_off": off, "failed": row["failed"] and said(row["failed"])}


_ROWS: Mapping[str, Callable[[Saying, Row], Row]] = {"exercise": _exercise, "target": _target, "field": _field}


def _hindrances(said: Saying, row: Row) -> Row:
    lines = [{**one, "wrong": said(one["wrong"]), "remedy": said(one["remedy"])} for one in row["hindrances"]]
    return {**row, "hindrances": lines, "notes": [said(note) for note in row["notes"]]}


def _warnings(said: Saying, row: Row) -> Row:
    lines = [{**one, "wrong": said(one["wrong"]), "remedy": said(one["remedy"])} for one in row["warnings"]]
    return {**row, "warnings": lines}


def _in_the_way(said: Saying, row: Row) -> Row:
    ways = {zone: [said(line) for line in lines] for zone, lines in row["in_the_way_now"].items()}
    return {**row, "in_the_way_now": ways}


ANSWERS: Mapping[str, Callable[[Saying, Row], Row]] = {
    "exercise-check": _hindrances,
    "exercise-start": _warnings,
    "walkin-release": _in_the_way,
}
"""Verbs whose answer, though nothing was refused, says what is in the way."""


def say_preview(said: Saying, row: Row) -> Row:
    """A preview as JSON with what makes it hard, and what was assumed, in words."""
    burials = [
        {**burial, "hard": [{**one, "text": said(one["text"])} for one in burial["hard"]]} for burial in row["burials"]
    ]
    assumed = [{**one, "what": said(one["what"]), "taken": said(one["taken"])} for one in row["assumed"]]
    return {**row, "burials": burials, "assumed": assumed, "assumptions": [said(one) for one in row["assumptions"]]}
