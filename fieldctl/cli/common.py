"""What commands share: their two options, and asking the serving controller."""

from __future__ import annotations

import getpass
import math
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from fieldctl.cli import show
from fieldctl.errors import BadInput

SiteDir = Annotated[Path, typer.Option("--site", help="The site's folder; the current one otherwise.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object on stdout.")]
By = Annotated[str, typer.Option("--by", help="Who does it; the account's name otherwise.")]
HERE = Path()


def who(by: str) -> str:
    """The name given, or the account's, or nobody's where the account has none."""
    try:
        return by or getpass.getuser()
    except (KeyError, OSError):
        return ""


def ask(
    folder: Path,
    verb: str,
    json: bool,
    people: Callable[[dict[str, Any]], None],
    /,
    **arguments: Any,
) -> dict[str, Any]:
    """Ask the serving controller and show its answer, as JSON or as `people` shows it."""
    from fieldctl.controller import socket

    for name, value in arguments.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise BadInput(f"{value} is no {name.replace('_', ' ')}.", expected="a number", remedy="Give one.")
    row = socket.ask(folder, verb, {k: v for k, v in arguments.items() if v is not None})
    if json:
        show.as_json(row)
    else:
        people(row)
    return row
