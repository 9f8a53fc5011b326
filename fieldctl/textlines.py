"""On which line of a text each key stands: TOML and JSON, whose readers in the standard library tell no lines.

The text was read by `tomllib` or `json` before, so that the walk only meets what is well formed. Both share strings,
arrays and tables in braces; what TOML has more (comments, dotted keys, headers, strings over several lines) the walk
knows too.
"""

from __future__ import annotations

import json
import re
import tomllib

Path = tuple[str | int, ...]
"""Where a value stands: keys, and places in arrays counted from 0."""

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


class _Walk:
    """One walk over a well-formed TOML or JSON text; `lines` maps the path of each key and element to its line."""

    def __init__(self, text: str, between: str) -> None:
        self.text = text
        self.at = 0
        self.between = between  # what stands between a key and its value
        self.lines: dict[Path, int] = {}
        self._counted_to = 0
        self._line = 1

    def line(self) -> int:
        """The line of where the walk is; the walk only goes forward."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        return self._line

    def skip(self, what: str) -> None:
        """Step over blanks among `what`, and over comments where line ends are among them."""
        while self.at < len(self.text):
            char = self.text[self.at]
            if char in what:
                self.at += 1
            elif char == "#" and "\n" in what:
                self.at = self._find("\n")
            else:
                return

    def _find(self, what: str) -> int:
        found = self.text.find(what, self.at)
        return len(self.text) if found < 0 else found

    def key(self) -> tuple[str, ...]:
        """A key, dotted or not."""
        parts = []
        while True:
            self.skip(" \t")
            if self.text[self.at] in "\"'":
                begin = self.at
                self._string()
                quoted = self.text[begin : self.at]
                parts.append(tomllib.loads("k = " + quoted)["k"] if self.between == "=" else json.loads(quoted))
            else:
                match = _BARE_KEY.match(self.text, self.at)
                assert match, "a walk goes over well-formed text only"
                parts.append(match.group())
                self.at = match.end()
            self.skip(" \t")
            if self.between != "=" or not self.text.startswith(".", self.at):
                return tuple(parts)
            self.at += 1

    def _string(self) -> None:
        quote = self.text[self.at]
        end = quote * 3 if self.text.startswith(quote * 3, self.at) and self.between == "=" else quote
        self.at += len(end)
        while not self.text.startswith(end, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(end)
        if len(end) == 3:  # up to two quotes may stand right before the closing three
            while self.text.startswith(quote, self.at):
                self.at += 1

    def pair(self, under: Path, blanks: str) -> None:
        """One key with its value."""
        line = self.line()
        path = under
        for part in self.key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self.skip(blanks)
        assert self.text[self.at] == self.between, "a walk goes over well-formed text only"
        self.at += 1
        self.value(path, blanks)

    def value(self, path: Path, blanks: str) -> None:
        """One value, with the lines of what it holds."""
        self.skip(blanks)
        char = self.text[self.at]
        if char in "\"'":
            self._string()
        elif char in "[{":
            self._many(path, "]" if char == "[" else "}")
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1

    def _many(self, path: Path, end: str) -> None:
        blanks = " \t\r\n"
        count = 0
        self.at += 1
        while True:
            self.skip(blanks)
            if self.text[self.at] == end:
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            if end == "]":
                self.lines[(*path, count)] = self.line()
                self.value((*path, count), blanks)
                count += 1
            else:
                self.pair(path, blanks)


def toml_lines(text: str) -> dict[Path, int]:
    """The line (from 1) of every key, table and array element of a well-formed TOML text."""
    walk = _Walk(text, "=")
    under: Path = ()
    counts: dict[Path, int] = {}
    while True:
        walk.skip(" \t\r\n")
        if walk.at >= len(text):
            return walk.lines
        if text[walk.at] != "[":
            walk.pair(under, " \t")
            continue
        line = walk.line()
        many = text.startswith("[[", walk.at)
        walk.at += 2 if many else 1
        parts = walk.key()
        walk.at += 2 if many else 1
        under = ()
        for index, part in enumerate(parts):
            under = (*under, part)
            if many and index == len(parts) - 1:
                counts[under] = counts.get(under, 0) + 1
            walk.lines.setdefault(under, line)
            if under in counts:
                under = (*under, counts[under] - 1)
                walk.lines.setdefault(under, line)


def json_lines(text: str) -> dict[Path, int]:
    """The line (from 1) of every key and array element of a well-formed JSON text."""
    walk = _Walk(text, ":")
    walk.value((), " \t\r\n")
    return walk.lines
