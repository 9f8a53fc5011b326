"""Waypoints of a GPX 1.1 file, read with expat alone: no document type, no entities, bounded depth.

A document type declaration is refused outright: GPX needs none, and entities are how a small file becomes a huge one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from xml.parsers import expat

DEPTH_MOST = 32
_WORD = re.compile(r"([a-z_]+)=(\"[^\"]*\"|\S+)")


class NotGpx(ValueError):
    """The text cannot be read as GPX: `line`, what was `wrong`, what was `expected`, the `remedy`."""

    def __init__(self, line: int, wrong: str, *, expected: str, remedy: str) -> None:
        super().__init__(wrong)
        self.line = line
        self.wrong = wrong
        self.expected = expected
        self.remedy = remedy


def waypoints(text: str, ours: Callable[[str], bool]) -> Iterator[tuple[int, dict[str, str]]]:
    """Each waypoint as (line, values): lat, lon, name, and whatever is `ours` in its extensions or description."""
    reader = _Reader(ours)
    try:
        reader.parser.Parse(text, True)
    except expat.ExpatError as error:
        raise NotGpx(
            error.lineno,
            f"this is not XML: {expat.ErrorString(error.code)}",
            expected="a GPX 1.1 file",
            remedy="Export it again.",
        ) from None
    yield from reader.found


class _Reader:
    def __init__(self, ours: Callable[[str], bool]) -> None:
        self.ours = ours
        self.found: list[tuple[int, dict[str, str]]] = []
        self._open: list[str] = []
        self._text: list[str] = []
        self._point: dict[str, str] | None = None
        self._line = 0
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._data

    def _refuse(self, wrong: str, expected: str, remedy: str) -> NotGpx:
        return NotGpx(self.parser.CurrentLineNumber, wrong, expected=expected, remedy=remedy)

    def _doctype(self, *_: object) -> None:
        raise self._refuse(
            "it has a document type declaration",
            "a GPX file without one: entities can blow a small file up",
            "Take the <!DOCTYPE ...> out, or export the file again.",
        )

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rsplit(":", 1)[-1]
        if not self._open and name != "gpx":
            raise self._refuse(f"its outermost element is <{name}>", "<gpx>", "Export the file as GPX 1.1.")
        if len(self._open) >= DEPTH_MOST:
            raise self._refuse("its elements are nested too deeply", f"at most {DEPTH_MOST} deep", "Export it again.")
        self._open.append(name)
        self._text = []
        if name == "wpt" and len(self._open) == 2:
            self._point = {key: attributes[key] for key in ("lat", "lon") if key in attributes}
            self._line = self.parser.CurrentLineNumber

    def _data(self, text: str) -> None:
        self._text.append(text)

    def _end(self, _tag: str) -> None:
        name = self._open.pop()
        text, self._text = "".join(self._text).strip(), []
        if self._point is None:
            return
        if name == "wpt" and len(self._open) == 1:
            self.found.append((self._line, self._point))
            self._point = None
        elif "extensions" in self._open:
            if text and self.ours(name):
                self._point[name] = text
        elif name == "name":
            self._point.setdefault("name", text)
        elif name == "time" and text:
            self._point.setdefault("surveyed_on", text[:10])
        elif name in ("desc", "cmt"):
            for key, value in _WORD.findall(text):
                if self.ours(key):
                    self._point.setdefault(key, value.strip('"'))
