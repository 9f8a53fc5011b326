"""What is given out as a table or described by a schema: one way to write a line of CSV, the pieces of a JSON Schema.

csv_line(values)      RFC 4180; nothing that a person wrote becomes a formula in somebody's spreadsheet
object_of, list_of    an object with exactly these properties, a list of such items (draft 2020-12)
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet takes for the begin of one

Schema = dict[str, Any]


def csv_line(values: Iterable[Any]) -> str:
    """One line with its end; None is empty, True 1 and False 0."""
    out = io.StringIO()
    csv.writer(out).writerow([_cell(value) for value in values])
    return out.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str) and value.startswith(FORMULA) and not _is_number(value):
        return "'" + value
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def object_of(**properties: Any) -> Schema:
    """An object that has each of these properties and no other."""
    return {
        "type": "object",
        "properties": properties,
        "required": sorted(properties),
        "additionalProperties": False,
    }


def list_of(items: Schema, **more: Any) -> Schema:
    """A list of such items."""
    return {"type": "array", "items": items, **more}
