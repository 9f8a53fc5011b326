"""Reading a file that a person wrote: all faults at once, each with its line, key, what was expected and a remedy.

    read_toml(text, file)       -> Table              the root of a TOML text; `.faults` collects what is wrong
    Table.text / number / …     typed values by key; a missing or wrong one becomes a fault and a harmless stand-in
    Table.done()                what nobody asked for is an unknown key, with a suggestion
    Faults.raise_if_any()       FileFaults with everything that was found

Site, drill and survey files all use this module, so that a fault reads the same wherever it is found. `tomllib` tells
no lines; `fieldctl.textlines` finds them. The program never writes such a file.
"""

from __future__ import annotations

import datetime
import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from fieldctl.errors import Fault, FileFaults
from fieldctl.textlines import Path, toml_lines

SIZE_LIMIT = 1_000_000  # characters; a site of 256 targets takes about 60 000
FAULT_LIMIT = 200  # beyond this a person reads none of them; what is left off is counted

_WHERE = re.compile(r"\(at line (\d+), column \d+\)")
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")
_REQUIRED = object()


def shown(path: Path) -> str:
    """A path as a person reads it: target[3].x_m, counted from 1."""
    out = ""
    for part in path:
        if isinstance(part, int):
            out += f"[{part + 1}]"
        else:
            out += ("." if out else "") + part
    return out or "(the file)"


def suggestion(word: str, known: Iterable[str]) -> str:
    """The known word most like this one (a forgotten unit counts as like: depth for depth_m), or an empty text."""
    words = sorted(known)
    close = difflib.get_close_matches(word, words, n=1, cutoff=0.6) or [w for w in words if w.startswith(f"{word}_")]
    return close[0] if close else ""


def listed(words: Iterable[str]) -> str:
    """Words as "a, b or c"."""
    rows = list(words)
    return rows[0] if len(rows) == 1 else ", ".join(rows[:-1]) + f" or {rows[-1]}" if rows else "nothing"


class Faults:
    """The faults found so far in one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Fault] = []
        self.left_off = 0

    def add(self, line: int, key: str, wrong: str, *, expected: str, remedy: str) -> None:
        """Note a fault."""
        if len(self.found) < FAULT_LIMIT:
            self.found.append(Fault(self.file, line, key, wrong, expected, remedy))
        else:
            self.left_off += 1

    def all(self) -> tuple[Fault, ...]:
        """Every fault by line; a last one counts what was left off."""
        rows = sorted(self.found, key=lambda fault: fault.line)
        if self.left_off:
            rows.append(
                Fault(
                    self.file,
                    0,
                    "(the file)",
                    f"{self.left_off} more faults are left off",
                    f"at most {FAULT_LIMIT}",
                    "Mend the others first; many faults often have one cause.",
                )
            )
        return tuple(rows)

    def raise_if_any(self) -> None:
        """FileFaults with everything that was found, if anything was."""
        if self.found:
            raise FileFaults(self.all())


def _kind(value: object) -> str:
    kinds: tuple[tuple[type, str], ...] = (
        (bool, "true or false"),
        (str, "text"),
        (int, "a number"),
        (float, "a number"),
        (datetime.date, "a date"),
        (datetime.time, "a time"),
        (Mapping, "a table"),
        (list, "a list"),
    )
    for kind, name in kinds:
        if isinstance(value, kind):
            return name
    return type(value).__name__


def _short(value: object) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


class Table:
    """One table of a file: typed values by key. Whatever is wrong becomes a fault, and a stand-in is returned."""

    def __init__(
        self,
        values: Mapping[str, Any],
        lines: Mapping[Path, int],
        faults: Faults,
        path: Path = (),
        told: frozenset[str] = frozenset(),
    ) -> None:
        self.values = values
        self.told = told  # keys whose fault was told already: a stand-in comes without a second one
        self.path = path
        self.faults = faults
        self._lines = lines
        self._asked: set[str] = set()

    def line(self, key: str = "") -> int:
        """The line of a key of this table, of the table itself, or of the nearest thing around it."""
        path: Path = (*self.path, key) if key else self.path
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 1)

    def fault(self, key: str, wrong: str, *, expected: str, remedy: str) -> None:
        """Note a fault of a key of this table ("" for the table itself)."""
        path: Path = (*self.path, key) if key else self.path
        self.faults.add(self.line(key), shown(path), wrong, expected=expected, remedy=remedy)

    def has(self, key: str) -> bool:
        """Whether the key is given; asking makes it a known one."""
        self._asked.add(key)
        return key in self.values

    def _get(self, key: str, default: Any, stand_in: Any, expected: str, read: Callable[[Any], Any]) -> Any:
        """The value that `read` makes of what is given; `read` raises ValueError with what is wrong."""
        if key in self.told:
            return stand_in
        if not self.has(key):
            if default is not _REQUIRED:
                return default
            self.fault(key, "it is missing", expected=expected, remedy=f"Add a line that begins with {key} = .")
            return stand_in
        try:
            return read(self.values[key])
        except ValueError as error:
            self.fault(key, str(error), expected=expected, remedy=f"Give {key} {expected}.")
            return stand_in if default is _REQUIRED else default

    def text(self, key: str, default: Any = _REQUIRED, *, longest: int = 200, expected: str = "a text") -> str:
        """A text that is not empty (unless it is left out and a default stands in)."""

        def read(value: Any) -> str:
            if not isinstance(value, str):
                raise ValueError(f"it is {_kind(value)}, not text")
            if not value.strip() and default is _REQUIRED:
                raise ValueError("it is empty")
            if len(value) > longest:
                raise ValueError(f"it has {len(value)} characters, more than {longest}")
            return value.strip()

        value: str = self._get(key, default, "", expected, read)
        return value

    def slug(self, key: str, default: Any = _REQUIRED) -> str:
        """A short name of small letters, digits and hyphens, such as can be typed anywhere."""
        expected = "a short name of small letters, digits and hyphens, such as upper-bowl"

        def read(value: Any) -> str:
            if not isinstance(value, str):
                raise ValueError(f"it is {_kind(value)}, not text")
            if not is_slug(value):
                raise ValueError(f"{_short(value)} cannot be used as a name")
            return value

        value: str = self._get(key, default, "", expected, read)
        return value

    def choice(self, key: str, choices: Sequence[str], default: Any = _REQUIRED) -> str:
        """One of a few words."""

        def read(value: Any) -> str:
            if value not in choices:
                near = suggestion(value, choices) if isinstance(value, str) else ""
                raise ValueError(f"{_short(value)} is none of these" + (f"; did you mean {near!r}?" if near else ""))
            assert isinstance(value, str)
            return value

        stand_in = choices[0]
        value: str = self._get(key, default, stand_in, listed(repr(c) for c in choices), read)
        return value

    def number(self, key: str, least: float, most: float, default: Any = _REQUIRED, *, unit: str = "") -> float:
        """A number from `least` to `most`."""
        unit = f" {unit}" if unit else ""

        def read(value: Any) -> float:
            return _number(value, least, most)

        value: float = self._get(key, default, least, f"a number from {least:g} to {most:g}{unit}", read)
        return value

    def whole(self, key: str, least: int, most: int, default: Any = _REQUIRED, *, unit: str = "") -> int:
        """A whole number from `least` to `most`."""
        unit = f" {unit}" if unit else ""

        def read(value: Any) -> int:
            number = _number(value, least, most)
            if number != int(number):
                raise ValueError(f"{_short(value)} is not whole")
            return int(number)

        value: int = self._get(key, default, least, f"a whole number from {least} to {most}{unit}", read)
        return value

    def flag(self, key: str, default: Any = _REQUIRED) -> bool:
        """True or false."""

        def read(value: Any) -> bool:
            if not isinstance(value, bool):
                raise ValueError(f"it is {_kind(value)}: {_short(value)}")
            return value

        value: bool = self._get(key, default, False, "true or false, without quotes", read)
        return value

    def date(self, key: str) -> datetime.date | None:
        """A date, or None where it is left out."""

        def read(value: Any) -> datetime.date:
            if isinstance(value, datetime.datetime):
                return value.date()
            if isinstance(value, datetime.date):
                return value
            if isinstance(value, str):
                return datetime.date.fromisoformat(value[:10])
            raise ValueError(f"it is {_kind(value)}, not a date")

        value: datetime.date | None = self._get(key, None, None, "a date such as 2026-01-31", read)
        return value

    def pair(self, key: str, least: float, most: float, default: Any = _REQUIRED) -> tuple[float, float]:
        """Two numbers from `least` to `most`."""

        def read(value: Any) -> tuple[float, float]:
            return _pair(value, least, most)

        expected = f"two numbers from {least:g} to {most:g} in brackets, such as [1.0, 2.5]"
        value: tuple[float, float] = self._get(key, default, (least, most), expected, read)
        return value

    def points(self, key: str, least: float, most: float) -> tuple[tuple[float, float], ...]:
        """An outline of three points or more, or nothing where it is left out."""

        def read(value: Any) -> tuple[tuple[float, float], ...]:
            if not isinstance(value, list):
                raise ValueError(f"it is {_kind(value)}, not a list of points")
            if not 3 <= len(value) <= 500:
                raise ValueError(f"it has {len(value)} points")
            return tuple(_pair(point, least, most) for point in value)

        expected = "three points or more in metres, such as [[0, 0], [60, 0], [60, 40]]"
        value: tuple[tuple[float, float], ...] = self._get(key, (), (), expected, read)
        return value

    def table(self, key: str) -> Table:
        """A table in this one; an empty one where it is left out."""

        def read(value: Any) -> Mapping[str, Any]:
            if not isinstance(value, Mapping):
                raise ValueError(f"it is {_kind(value)}, not a table")
            return value

        found: Mapping[str, Any] = self._get(key, {}, {}, f"a table: a line [{key}] with its keys below", read)
        return Table(found, self._lines, self.faults, (*self.path, key))

    def tables(self, key: str, *, most: int) -> list[Table]:
        """The tables of a list of tables, none where it is left out."""

        def read(value: Any) -> list[Mapping[str, Any]]:
            if not isinstance(value, list) or not all(isinstance(row, Mapping) for row in value):
                raise ValueError(f"it is {_kind(value)}, not a list of tables")
            if len(value) > most:
                raise ValueError(f"there are {len(value)} of them")
            return value

        expected = f"at most {most} tables, each with a line [[{key}]] and its keys below"
        rows: list[Mapping[str, Any]] = self._get(key, [], [], expected, read)
        return [Table(row, self._lines, self.faults, (*self.path, key, i)) for i, row in enumerate(rows)]

    def done(self) -> None:
        """Every key that was not asked for is unknown: a fault, with the known one most like it."""
        for key in self.values:
            if key in self._asked:
                continue
            near = suggestion(key, self._asked - set(self.values)) or suggestion(key, self._asked)
            self.fault(
                key,
                "nothing here has this name" + (f"; did you mean {near}?" if near else ""),
                expected="one of " + ", ".join(sorted(self._asked)),
                remedy=f"Call it {near}, or take the line out." if near else "Take the line out.",
            )


def is_slug(text: str) -> bool:
    """Whether a text can be a short name: small letters, digits and hyphens, at most 40."""
    return len(text) <= 40 and _SLUG.match(text) is not None


def _number(value: Any, least: float, most: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"it is {_kind(value)}: {_short(value)}")
    if not least <= value <= most:  # nan is never within
        raise ValueError(f"{_short(value)} is outside {least:g} to {most:g}")
    return float(value)


def _pair(value: Any, least: float, most: float) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f"{_short(value)} is not two numbers")
    return _number(value[0], least, most), _number(value[1], least, most)


def read_toml(text: str, file: str) -> Table:
    """The root table of a TOML text; FileFaults at once where it is no TOML at all."""
    faults = Faults(file)
    if len(text) > SIZE_LIMIT:
        faults.add(
            0,
            "(the file)",
            f"it has {len(text)} characters",
            expected=f"at most {SIZE_LIMIT}",
            remedy="Check that this is the right file.",
        )
        faults.raise_if_any()
    try:
        values = tomllib.loads(text)
        return Table(values, toml_lines(text.replace("\r\n", "\n")), faults)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        match = _WHERE.search(message)
        line = int(match.group(1)) if match else text.count("\n") + 1
        wrong = _WHERE.sub("", message).strip()
    except RecursionError:
        line, wrong = 0, "lists or tables are nested too deeply"
    faults.add(
        line,
        "(the file)",
        f"this is not TOML: {wrong}",
        expected='lines such as key = 1.5 or key = "text", and headers such as [zone] or [[target]]',
        remedy="Mend this line; until then the rest of the file cannot be checked.",
    )
    raise FileFaults(faults.all())
