"""How answers are shown: one JSON object, or plain lines; colours only where the terminal and NO_COLOR allow."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

SCHEMA = 1


def as_json(row: Mapping[str, Any]) -> None:
    """One JSON object with its schema number on stdout."""
    print(json.dumps({"schema": SCHEMA, **row}, ensure_ascii=False))


def say(text: str) -> None:
    """A message for people, on stderr."""
    print(text, file=sys.stderr)


def lines(rows: Iterable[str]) -> None:
    """Lines of data on stdout."""
    for row in rows:
        print(row)


def text(rows: Iterable[str]) -> None:
    """Lines of data that end themselves, as they are, on stdout."""
    sys.stdout.writelines(rows)


def table(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """A table with aligned columns on stdout."""
    cells = [[_cell(value) for value in row] for row in rows]
    widths = [max(len(head[i]), *(len(row[i]) for row in cells)) if cells else len(head[i]) for i in range(len(head))]
    for row in ([str(h) for h in head], *cells):
        print("  ".join(value.ljust(width) for value, width in zip(row, widths, strict=True)).rstrip())


def clock(seconds: float | None) -> str:
    """Seconds as m:ss, for people."""
    if seconds is None:
        return "-"
    sign = "-" if seconds < 0 else ""
    whole = int(abs(seconds))
    return f"{sign}{whole // 60}:{whole % 60:02d}"


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)
