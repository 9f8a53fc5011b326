"""What site.toml says for upkeep: its rules, batteries, the base's own supply and the club's kit."""

from __future__ import annotations

from fieldctl.site.model import CHEMISTRIES, KIT_KINDS, Battery, Kit, UpkeepRules
from fieldctl.tomlfile import Table

KIT_MOST = 200  # pieces of loan kit: more is no club


def read_rules(table: Table) -> UpkeepRules:
    """What the forecast and the kit need of the calendar."""
    usual = UpkeepRules()
    rules = UpkeepRules(
        closing_day=table.date("closing_day"),
        open_hours=table.number("open_hours", 0, 24, usual.open_hours, unit="hours a day"),
        exercises=table.number("exercises", 0, 500, usual.exercises, unit="exercises a day"),
        expected_c=table.number("expected_c", -50, 20, None, unit="degrees Celsius"),
        kit_days=table.number("kit_days", 1, 400, usual.kit_days, unit="days"),
        dig_min=table.number("dig_min", 0, 600, usual.dig_min, unit="minutes"),
        probe_m=table.number("probe_m", 1, 6, usual.probe_m, unit="metres"),
    )
    table.done()
    return rules


def read_battery(table: Table) -> Battery:
    """One battery, with the same keys wherever it stands."""
    percent = table.number("change_at", 1, 95, None, unit="percent")
    battery = Battery(
        chemistry=table.choice("chemistry", CHEMISTRIES),
        cells=table.whole("cells", 1, 24),
        capacity_ah=table.number("capacity_ah", 0.1, 300, unit="ampere-hours"),
        load_a=table.number("load_a", 0.005, 10, 0.12, unit="amperes"),
        least_v=table.number("least_v", 0.5, 40, None, unit="volts"),
        change_at=None if percent is None else percent / 100,
    )
    table.done()
    return battery


def read_kit(table: Table) -> Kit:
    """One piece of kit."""
    kit = Kit(
        name=table.text("name"),
        kind=table.choice("kind", KIT_KINDS),
        note=table.text("note", ""),
        battery=read_battery(table.table("battery")) if table.has("battery") else None,
    )
    table.done()
    return kit


def with_base(root: Table, rows: tuple[Kit, ...]) -> tuple[Kit, ...]:
    """The base station where it has a supply of its own, under a name that no kit has, then the rows."""
    if not root.has("base"):
        return rows
    table = root.table("base")
    base = Kit(table.text("name", "base"), "base", table.text("note", ""), read_battery(table.table("battery")))
    if base.name in [row.name for row in rows]:
        table.fault(
            "name",
            f"a [[kit]] is called {base.name!r} too",
            expected="a name of its own for each",
            remedy="Give one of the two another name.",
        )
    table.done()
    return (base, *rows)
