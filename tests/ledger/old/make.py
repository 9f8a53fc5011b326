"""Writes the SQL text of a database of the current version, one fact of each kind: run once, before a new version."""

from __future__ import annotations

import sqlite3
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, Union, get_args, get_origin, get_type_hints

from fieldctl.events import KINDS, Fact
from fieldctl.ledger.beside import Kept
from fieldctl.ledger.schema import HEAD
from fieldctl.ledger.standing import Standing
from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.units import HostTime, PersonId, Stamp, TargetId

HERE = Path(__file__).parent
T = HostTime("boot-1", 1_000_000)


def value(hint: Any, name: str) -> Any:
    """Some value of a field's type."""
    hint = getattr(hint, "__supertype__", hint)
    if get_origin(hint) is tuple:
        return (value(get_args(hint)[0], name),)
    if get_origin(hint) in (Mapping, dict) or hint is Mapping:
        return {"A": "0a1b2c3d"}
    if get_origin(hint) in (Union, type(int | None)):
        return value(get_args(hint)[0], name)
    plain = {int: 7, float: 1.5, bool: True, HostTime: T, Stamp: Stamp(T, 900)}
    return plain.get(hint, "0a1b2c3d" if name == "target" else f"{name} é")


def sample(cls: type[Fact]) -> Fact:
    """A fact of a kind, every field filled."""
    hints = get_type_hints(cls)
    return cls(**{each.name: value(hints[each.name], each.name) for each in fields(cls)})


def main() -> int:
    """Write tests/ledger/old/<version>.sql, unless it is there: an old database is never made anew."""
    out = HERE / f"{HEAD}.sql"
    if out.exists():
        print(f"{out.name} is there and stays as it is")
        return 1
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "l.db"
        with Ledger.open(path, inline=True) as ledger:
            for n, kind in enumerate(sorted(KINDS)):
                ledger.append([sample(KINDS[kind])], at=T.plus(n), wall="2030-01-02T10:00:00Z" if n % 2 else None)
            ledger.name_person(PersonId("p-1"), "Mira")
            ledger.see_people({PersonId("p-1"): "2030-01-02"})
            ledger.forget_person(PersonId("p-0"), "2030-01-01")
            ledger.put_summaries([Kept("x1", "0.1.0", 7, "{}")])
            ledger.put_states([Standing(TargetId("0a1b2c3d"), "online", T, "2030-01-02T10:00:00Z")], [])
            ledger.put_settings({"generation": 3, "epoch": 12})
            ledger.put_telemetry([Telemetry(TargetId("0a1b2c3d"), T, volts_rest=3.6, extra={"rssi": -60})])
        raw = sqlite3.connect(path)
        out.write_text("\n".join(raw.iterdump()) + "\n")
        raw.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
