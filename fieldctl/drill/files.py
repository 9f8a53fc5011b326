"""Reading a drill file, and the frozen copy of a drill that an exercise carries in the ledger.

    read_drill(text, file)      a TOML text -> Drill, or all faults at once
    plan_to_mapping(drill)      plain values for ExerciseStarted; drill_from_plan reads them back, for ever

What a drill says is checked by itself here; whether this field can play it is `fieldctl.drill.pick`'s question.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, cast, get_args

from fieldctl.drill.file_checks import check_after, check_apart
from fieldctl.drill.plan import (
    LEVEL_FULL,
    LEVEL_WEAK,
    USUAL_KEYING,
    AfterFind,
    Apart,
    Burial,
    Cue,
    Drill,
    FindBy,
    Orientation,
    Scene,
    Signal,
    SignalKind,
)
from fieldctl.keying import OFF_MIN_MS, ON_MIN_MS, PERIOD_MAX_MS, PERIOD_MIN_MS, Keying
from fieldctl.tomlfile import Table, is_slug, listed, read_toml
from fieldctl.units import TargetId, target_id

BURIALS_MOST = 8  # the picker looks through all ways to play that many; more than two are rare (facts)
LIMIT_MIN = (1, 240)
FAR_M = 20_000.0
DEEP_M = 10.0
_SENDING_KEYS = ("keying", "level", "drop_on_s", "drop_off_s", "after_find", "sends_at_most_s")
_PLACE_KEYS = ("zone", "depth_m", "orientation")


def read_drill(text: str, file_name: str) -> Drill:
    """The drill of a TOML text, named after its file; FileFaults with everything that is wrong."""
    root = read_toml(text, file_name)
    name = file_name.rsplit("/", 1)[-1].removesuffix(".toml")
    if not is_slug(name):
        root.fault(
            "",
            f"a drill is called after its file, and {name!r} cannot be a name",
            expected="small letters, digits and hyphens, such as close-pair.toml",
            remedy="Give the file another name.",
        )
    limit_s = root.number("limit_min", *LIMIT_MIN, unit="minutes") * 60
    tables = root.tables("burial", most=BURIALS_MOST)
    if not tables and "burial" not in root.values:
        root.fault("burial", "nobody is buried", expected="one [[burial]] or more", remedy="Add a [[burial]] table.")
    burials = tuple(_burial(table, limit_s) for table in tables)
    _check_names(burials, tables)
    check_after(burials, tables)
    check_apart(burials, tables)
    drill = Drill(
        name=name,
        title=root.text("title"),
        limit_s=limit_s,
        burials=burials,
        scene=_scene(root.table("scene"), limit_s / 60),
        assessed=root.flag("assessed", False),
        children=root.flag("children", False),
        notes=root.text("notes", "", longest=2000),
    )
    root.done()
    root.faults.raise_if_any()
    return drill


def _burial(table: Table, limit_s: float) -> Burial:
    signal = _signal(table, limit_s)
    level = _level(table)
    drop_on_s = table.number("drop_on_s", 0, 3600, 0.0, unit="seconds")
    drop_off_s = table.number("drop_off_s", 0, 3600, 0.0, unit="seconds")
    if (drop_on_s > 0) != (drop_off_s > 0):
        table.fault(
            "drop_on_s" if table.has("drop_on_s") else "drop_off_s",
            "a signal that drops out needs both, for how long it is there and for how long away",
            expected="drop_on_s and drop_off_s, both above 0, or neither",
            remedy="Give both.",
        )
    burial = Burial(
        name=table.text("name", longest=20),
        signal=signal,
        target=_target(table),
        zone=table.slug("zone") if table.has("zone") else None,
        depth_m=_depth(table),
        orientation=cast(Orientation, table.choice("orientation", get_args(Orientation), "any")),
        apart=tuple(_apart(t) for t in table.tables("apart", most=BURIALS_MOST)),
        keying=_keying(table),
        level=level,
        drop_on_s=drop_on_s,
        drop_off_s=drop_off_s,
        find=cast(FindBy, table.choice("find", get_args(FindBy), "hit")),
        after_find=cast(AfterFind, table.choice("after_find", get_args(AfterFind), "keeps-sending")),
        sends_at_most_s=table.number("sends_at_most_s", 1, limit_s, None, unit="seconds (the drill's own limit)"),
        dig_place=table.text("dig_place", ""),
    )
    for key in _SENDING_KEYS:
        if signal.kind == "never" and key in table.values:
            table.fault(
                key,
                "this burial never sends, so there is nothing that it could say",
                expected='no such key beside signal = "never"',
                remedy="Take the line out, or give the burial a signal.",
            )
    for key in _PLACE_KEYS:
        if burial.target is not None and key in table.values:
            table.fault(
                key,
                "the target is named outright, so this wish would never be looked at",
                expected="either target, or wishes for the picker",
                remedy="Take one of the two out.",
            )
    table.done()
    return burial


_SIGNAL_KEYS = {"delay_s": ("delay", "after-find"), "after": ("after-find",)}
"""Beside which kinds of signal a key says something."""


def _signal(table: Table, limit_s: float) -> Signal:
    kind = cast(SignalKind, table.choice("signal", get_args(SignalKind), "start"))
    for key, kinds in _SIGNAL_KEYS.items():
        if table.has(key) and kind not in kinds:
            beside = listed(f"signal = {k!r}" for k in kinds)
            table.fault(
                key,
                f"it says nothing beside signal = {kind!r}",
                expected=f"{key} only beside {beside}",
                remedy=f"Write {beside}, or take the line out.",
            )
    limit = "seconds (the drill's own limit)"
    if kind == "delay":
        return Signal(kind, delay_s=table.number("delay_s", 0, limit_s, unit=limit))
    if kind == "after-find":
        after = table.text("after", expected="the name of the burial whose find switches this one on")
        return Signal(kind, table.number("delay_s", 0, limit_s, 0.0, unit=limit), after)
    return Signal(kind)


def _level(table: Table) -> int:
    if table.values.get("level") == "weak":
        table.has("level")
        return LEVEL_WEAK
    return table.whole("level", 1, LEVEL_FULL, LEVEL_FULL, unit='per cent, or "weak"')


def _target(table: Table) -> TargetId | None:
    if not table.has("target"):
        return None
    text = table.text("target", expected="eight hexadecimal digits, such as 5ee00001, in quotes")
    try:
        return target_id(text) if text else None
    except ValueError as error:
        table.fault("target", f"{text!r} is no target id", expected=str(error), remedy="Copy it from target list.")
        return None


def _depth(table: Table) -> tuple[float, float] | None:
    if not table.has("depth_m"):
        return None
    least, most = table.pair("depth_m", 0, DEEP_M)
    if least > most:
        table.fault(
            "depth_m",
            f"the first, {least:g}, is more than the second, {most:g}",
            expected="the least depth first, then the most",
            remedy=f"Write depth_m = [{most:g}, {least:g}].",
        )
    return least, most


def _apart(table: Table) -> Apart:
    wish = Apart(
        other=table.text("other", expected="the name of another burial"),
        least_m=table.number("least_m", 0, FAR_M, 0.0, unit="metres"),
        most_m=table.number("most_m", 0, FAR_M, FAR_M, unit="metres"),
    )
    if wish.least_m > wish.most_m:
        table.fault(
            "least_m",
            f"{wish.least_m:g} is more than most_m, {wish.most_m:g}",
            expected="least_m of at most most_m",
            remedy="Change the two round.",
        )
    table.done()
    return wish


def _keying(table: Table) -> Keying:
    if not table.has("keying"):
        return USUAL_KEYING
    inner = table.table("keying")
    if not inner.values:
        return USUAL_KEYING  # no table at all was said already; an empty one says nothing
    found = len(table.faults.found)
    keying = Keying(
        inner.whole("period_ms", 1, 10_000, USUAL_KEYING.period_ms, unit="milliseconds"),
        inner.whole("on_ms", 1, 10_000, USUAL_KEYING.on_ms, unit="milliseconds"),
    )
    inner.done()
    if len(table.faults.found) == found:
        for wrong in keying.faults():
            table.fault(
                "keying",
                f"{wrong} (EN 300 718-1)",
                expected=f"period {PERIOD_MIN_MS} to {PERIOD_MAX_MS} ms, on ≥ {ON_MIN_MS} ms, off ≥ {OFF_MIN_MS} ms",
                remedy="Change period_ms or on_ms.",
            )
    return keying


def _scene(table: Table, limit_min: float) -> Scene:
    cues = []
    for row in table.tables("cue", most=50):
        cues.append(Cue(row.number("at_min", 0, limit_min, unit="minutes"), row.text("text", longest=500)))
        row.done()
    scene = Scene(
        story=table.text("story", "", longest=2000),
        last_seen_m=table.pair("last_seen_m", -FAR_M, FAR_M) if table.has("last_seen_m") else None,
        outline_m=table.points("outline_m", -FAR_M, FAR_M),
        clue=table.text("clue", "", longest=500),
        cues=tuple(sorted(cues, key=lambda cue: cue.at_min)),
    )
    table.done()
    return scene


def _check_names(burials: tuple[Burial, ...], tables: list[Table]) -> None:
    """Names, and targets named outright, stand once each."""
    for index, (burial, table) in enumerate(zip(burials, tables, strict=True)):
        before = burials[:index]
        if burial.name and burial.name in [b.name for b in before]:
            table.fault(
                "name",
                f"{burial.name!r} stands here a second time",
                expected="a name of its own for each burial",
                remedy="Give one of the two another name.",
            )
        if burial.target is not None and burial.target in [b.target for b in before]:
            table.fault(
                "target",
                f"target {burial.target} plays another burial already",
                expected="a target of its own for each burial",
                remedy="Name another target, or let the picker choose.",
            )


# ---- the frozen copy -----------------------------------------------------------------------------------------


def plan_to_mapping(drill: Drill) -> dict[str, Any]:
    """The drill in plain values that go through JSON unchanged."""
    return cast(dict[str, Any], _plain(asdict(drill)))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value


def drill_from_plan(plan: Mapping[str, Any]) -> Drill:
    """The drill of a frozen copy; what a later version added is left out, what is lacking has its default."""
    scene = plan.get("scene", {})
    return Drill(
        **_only(Drill, plan, without=("burials", "scene")),
        burials=tuple(_burial_from(row) for row in plan["burials"]),
        scene=Scene(
            **_only(Scene, scene, without=("last_seen_m", "outline_m", "cues")),
            last_seen_m=_two(scene.get("last_seen_m")),
            outline_m=tuple((point[0], point[1]) for point in scene.get("outline_m", ())),
            cues=tuple(Cue(**_only(Cue, row)) for row in scene.get("cues", ())),
        ),
    )


def _burial_from(row: Mapping[str, Any]) -> Burial:
    return Burial(
        **_only(Burial, row, without=("signal", "depth_m", "apart", "keying")),
        signal=Signal(**_only(Signal, row.get("signal", {}))),
        depth_m=_two(row.get("depth_m")),
        apart=tuple(Apart(**_only(Apart, wish)) for wish in row.get("apart", ())),
        keying=Keying(**_only(Keying, row.get("keying", {}))),
    )


def _only(cls: type, row: Mapping[str, Any], without: tuple[str, ...] = ()) -> dict[str, Any]:
    known = set(cls.__slots__) - set(without)  # type: ignore[attr-defined]
    return {key: value for key, value in row.items() if key in known}


def _two(value: Any) -> tuple[float, float] | None:
    return None if value is None else (value[0], value[1])
