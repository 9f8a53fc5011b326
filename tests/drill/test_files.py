"""Drill files: what they say is what is read, whatever is wrong is told at once, and the frozen copy is the drill."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.drill.files import BURIALS_MOST, drill_from_plan, plan_to_mapping, read_drill
from fieldctl.drill.plan import (
    LEVEL_WEAK,
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
from fieldctl.errors import Fault, FileFaults
from fieldctl.keying import Keying
from fieldctl.units import TargetId

FULL = """\
title = "Everything"
limit_min = 20
assessed = true
children = true
notes = "a note"

[scene]
story = "a story"
last_seen_m = [1, 2.5]
outline_m = [[0, 0], [1, 0], [1, 1]]
clue = "a pole"
[[scene.cue]]
at_min = 9
text = "later"
[[scene.cue]]
at_min = 5
text = "sooner"

[[burial]]
name = "A"
signal = "delay"
delay_s = 90
zone = "upper"
depth_m = [0.5, 1.5]
orientation = "lying"
keying = { period_ms = 1100, on_ms = 90 }
level = "weak"
drop_on_s = 20
drop_off_s = 5
find = "call"
after_find = "falls-quiet"
sends_at_most_s = 600
dig_place = "beside the post"

[[burial]]
name = "B"
signal = "after-find"
after = "A"
target = "5EE00002"
level = 60
apart = [
  { other = "A", least_m = 5 },
  { other = "C", most_m = 15 },
]

[[burial]]
name = "C"
signal = "never"
"""

EXPECTED = Drill(
    name="everything",
    title="Everything",
    limit_s=1200.0,
    burials=(
        Burial(
            "A",
            Signal("delay", delay_s=90.0),
            zone="upper",
            depth_m=(0.5, 1.5),
            orientation="lying",
            keying=Keying(1100, 90),
            level=LEVEL_WEAK,
            drop_on_s=20.0,
            drop_off_s=5.0,
            find="call",
            after_find="falls-quiet",
            sends_at_most_s=600.0,
            dig_place="beside the post",
        ),
        Burial(
            "B",
            Signal("after-find", after="A"),
            target=TargetId("5ee00002"),
            level=60,
            apart=(Apart("A", 5.0, 20_000.0), Apart("C", 0.0, 15.0)),
        ),
        Burial("C", Signal("never")),
    ),
    scene=Scene(
        "a story", (1.0, 2.5), ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)), "a pole", (Cue(5.0, "sooner"), Cue(9.0, "later"))
    ),
    assessed=True,
    children=True,
    notes="a note",
)


def faults(text: str, name: str = "drills/everything.toml") -> list[Fault]:
    with pytest.raises(FileFaults) as caught:
        read_drill(text, name)
    return list(caught.value.faults)


def test_everything_a_drill_can_say() -> None:
    assert read_drill(FULL, "drills/everything.toml") == EXPECTED


def test_little_is_enough_and_a_burial_keeps_sending() -> None:
    drill = read_drill('title = "t"\nlimit_min = 5\n[[burial]]\nname = "A"\n', "small.toml")
    assert drill.burials == (Burial("A"),)
    assert drill.burials[0].after_find == "keeps-sending"
    assert drill.burials[0].find == "hit"


APART = "burial[2].apart[2]."

ONE_FAULT = [
    ('title = "Everything"', "", "title", "missing", 1),
    ("limit_min = 20", "limit_min = 0", "limit_min", "outside 1 to 240", None),
    ("limit_min = 20", "limit_min = 241", "limit_min", "outside 1 to 240", None),
    ("assessed = true", "assesed = true", "assesed", "did you mean assessed", None),
    ("assessed = true", 'assessed = "yes"', "assessed", "text", None),
    ("last_seen_m = [1, 2.5]", "last_seen_m = [1]", "scene.last_seen_m", "not two numbers", None),
    ("outline_m = [[0, 0], [1, 0], [1, 1]]", "outline_m = [[0, 0]]", "scene.outline_m", "1 points", None),
    ("at_min = 9", "at_min = 21", "scene.cue[1].at_min", "outside 0 to 20", None),
    ('text = "later"', "txt = 1", "scene.cue[1].text", "missing", 12),
    ("delay_s = 90", "", "burial[1].delay_s", "missing", 19),
    ("delay_s = 90", "delay_s = 1300", "burial[1].delay_s", "outside 0 to 1200", None),
    ("delay_s = 90", 'delay_s = 90\nafter = "C"', "burial[1].after", "says nothing", 23),
    ('signal = "never"', 'signal = "start"\ndelay_s = 5', "burial[3].delay_s", "says nothing", 49),
    ('signal = "never"', 'signal = "nver"', "burial[3].signal", "did you mean 'never'", None),
    ('signal = "never"', "signal = 5", "burial[3].signal", "5 is none of these", None),
    ('signal = "never"', 'signal = "never"\nlevel = 50', "burial[3].level", "never sends", 49),
    ('signal = "never"', 'signal = "never"\nkeying = { on_ms = 90 }', "burial[3].keying", "never sends", 49),
    ('signal = "never"', 'signal = "never"\nafter_find = "falls-quiet"', "burial[3].after_find", "never sends", 49),
    ('signal = "never"', 'signal = "never"\nsends_at_most_s = 9', "burial[3].sends_at_most_s", "never sends", 49),
    ("depth_m = [0.5, 1.5]", "depth_m = [1.5, 0.5]", "burial[1].depth_m", "more than the second", None),
    ("depth_m = [0.5, 1.5]", "depth_m = 1.5", "burial[1].depth_m", "not two numbers", None),
    ("depth_m = [0.5, 1.5]", "depth_m = [0.5, 99]", "burial[1].depth_m", "outside 0 to 10", None),
    ('orientation = "lying"', 'orientation = "laying"', "burial[1].orientation", "did you mean 'lying'", None),
    ('zone = "upper"', 'zone = "Upper hollow"', "burial[1].zone", "cannot be used as a name", None),
    ("period_ms = 1100", "period_ms = 1400", "burial[1].keying", "period 1400 ms is outside", None),
    ("on_ms = 90 }", "on_ms = 60 }", "burial[1].keying", "on-time 60 ms is under 70", None),
    ("on_ms = 90 }", "on_ms = 800 }", "burial[1].keying", "off-time 300 ms is under 400", None),
    ("on_ms = 90 }", "on = 90 }", "burial[1].keying.on", "did you mean on_ms", None),
    ("on_ms = 90 }", "on_ms = 90.5 }", "burial[1].keying.on_ms", "not whole", None),
    ("keying = { period_ms = 1100, on_ms = 90 }", "keying = 5", "burial[1].keying", "not a table", None),
    ('level = "weak"', "level = 0", "burial[1].level", "outside 1 to 100", None),
    ('level = "weak"', 'level = "loud"', "burial[1].level", "text", None),
    ("drop_off_s = 5", "", "burial[1].drop_on_s", "needs both", 28),
    ("drop_on_s = 20", "", "burial[1].drop_off_s", "needs both", 29),
    ('find = "call"', 'find = "dig"', "burial[1].find", "none of these", None),
    ("sends_at_most_s = 600", "sends_at_most_s = 1201", "burial[1].sends_at_most_s", "outside 1 to 1200", None),
    ('target = "5EE00002"', 'target = "5EE0002"', "burial[2].target", "no target id", None),
    ('target = "5EE00002"', 'target = "5EE00002"\nzone = "upper"', "burial[2].zone", "never be looked at", 40),
    ('target = "5EE00002"', 'target = "5EE00002"\ndepth_m = [0, 1]', "burial[2].depth_m", "never be looked at", 40),
    ('after = "A"', "", "burial[2].after", "missing", 35),
    ('after = "A"', 'after = "D"', "burial[2].after", "no burial is called 'D'", None),
    ('after = "A"', 'after = "B"', "burial[2].after", "B waits for B", None),
    ('other = "C", most_m = 15', 'other = "B", most_m = 15', APART + "other", "this burial itself", None),
    ('other = "C", most_m = 15', 'other = "D", most_m = 15', APART + "other", "no burial is called 'D'", None),
    ('other = "C", most_m = 15', 'othr = "C", most_m = 15', APART + "other", "missing", None),
    ('other = "C", most_m = 15', 'other = "C", least_m = 5, most_m = 4', APART + "least_m", "more than most_m", None),
    ('name = "B"', 'name = "A"', "burial[2].name", "second time", None),
    ('name = "B"', "", "burial[2].name", "missing", 35),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "wrong", "line"), ONE_FAULT)
def test_each_kind_of_fault_names_line_and_key(old: str, new: str, key: str, wrong: str, line: int | None) -> None:
    at = FULL.index(old)
    text = FULL[:at] + new + FULL[at + len(old) :]
    found = [f for f in faults(text) if f.key == key]
    assert len(found) == 1, "\n".join(map(str, faults(text)))
    assert wrong in found[0].wrong
    assert found[0].line == (line or FULL[:at].count("\n") + 1)
    assert found[0].expected
    assert found[0].remedy


def test_a_find_may_switch_on_after_a_while() -> None:
    text = FULL.replace('after = "A"', 'after = "A"\ndelay_s = 30')
    assert read_drill(text, "late.toml").burial("B").signal == Signal("after-find", 30.0, "A")


def burials(*rows: str) -> str:
    return 'title = "t"\nlimit_min = 5\n' + "".join(f"[[burial]]\n{row}\n" for row in rows)


def test_a_ring_of_finds_is_told_once_with_its_way() -> None:
    after = 'signal = "after-find"\nafter = '
    (fault,) = faults(burials(f'name = "A"\n{after}"C"', f'name = "B"\n{after}"A"', f'name = "C"\n{after}"B"'))
    assert fault.key == "burial[1].after"
    assert "A waits for C waits for B waits for A" in fault.wrong
    assert fault.line == 6


def test_a_tail_that_leads_into_a_ring_is_not_the_ring() -> None:
    after = 'signal = "after-find"\nafter = '
    (fault,) = faults(burials(f'name = "T"\n{after}"A"', f'name = "A"\n{after}"B"', f'name = "B"\n{after}"A"'))
    assert fault.key == "burial[2].after"


def test_wishes_that_contradict_each_other() -> None:
    a, b = 'name = "A"', 'name = "B"\napart = [{ other = "A", most_m = 10 }]'
    c = 'name = "C"\napart = [{ other = "A", most_m = 5 }, { other = "B", least_m = 16 }]'
    assert [f.key for f in faults(burials(a, b, c))] == ["burial[3].apart[2].least_m"]
    (fault,) = faults(burials('name = "A"\napart = [{ other = "B", least_m = 20 }]', b))
    assert "within 10 m" in fault.wrong
    just = burials('name = "A"\napart = [{ other = "B", least_m = 10 }]', b)
    assert len(read_drill(just, "just.toml").burials) == 2


def test_one_target_cannot_play_twice() -> None:
    row = 'target = "5ee00001"'
    (fault,) = faults(burials(f'name = "A"\n{row}', f'name = "B"\n{row}'))
    assert (fault.key, fault.line) == ("burial[2].target", 8)


def test_nobody_and_too_many() -> None:
    assert faults('title = "t"\nlimit_min = 5\n')[0].wrong == "nobody is buried"
    many = burials(*[f'name = "{n}"' for n in range(BURIALS_MOST + 1)])
    assert [f.key for f in faults(many)] == ["burial"]
    assert faults('title = "t"\nlimit_min = 5\nburial = 1\n')[0].key == "burial"


@pytest.mark.parametrize("name", ["My Drill.toml", "drills/-x.toml", ".toml", "x" * 41 + ".toml"])
def test_a_drill_is_called_after_its_file(name: str) -> None:
    (fault,) = faults(burials('name = "A"'), name)
    assert "called after its file" in fault.wrong


def test_all_faults_come_at_once() -> None:
    text = (
        FULL.replace('after = "A"', 'after = "Z"')
        .replace("at_min = 9", "at_min = -1")
        .replace('find = "call"', "find = 1")
    )
    assert [(f.line, f.key) for f in faults(text)] == [
        (13, "scene.cue[1].at_min"),
        (30, "burial[1].find"),
        (38, "burial[2].after"),
    ]


def test_a_wrong_apart_is_told_once() -> None:
    assert [f.key for f in faults(burials('name = "A"\napart = "far"'))] == ["burial[1].apart"]


# ---- the frozen copy -----------------------------------------------------------------------------------------

METRES = st.floats(0, 100)
NAMES = st.sampled_from("ABCDEFGH")
BURIALS = st.builds(
    Burial,
    name=NAMES,
    signal=st.builds(
        Signal,
        kind=st.sampled_from(SignalKind.__args__),
        delay_s=METRES,
        after=st.none() | NAMES,
    ),
    target=st.none() | st.sampled_from([TargetId("5ee00001"), TargetId("5ee00002")]),
    zone=st.none() | st.just("upper"),
    depth_m=st.none() | st.tuples(METRES, METRES),
    orientation=st.sampled_from(Orientation.__args__),
    apart=st.lists(st.builds(Apart, NAMES, METRES, METRES), max_size=2).map(tuple),
    keying=st.builds(Keying, st.integers(700, 1300), st.integers(70, 300)),
    level=st.integers(1, 100),
    drop_on_s=METRES,
    drop_off_s=METRES,
    find=st.sampled_from(FindBy.__args__),
    after_find=st.sampled_from(AfterFind.__args__),
    sends_at_most_s=st.none() | METRES,
    dig_place=st.text(max_size=5),
)
POINTS = st.tuples(METRES, METRES)
DRILLS = st.builds(
    Drill,
    name=st.just("d"),
    title=st.text(max_size=5),
    limit_s=METRES,
    burials=st.lists(BURIALS, max_size=3).map(tuple),
    scene=st.builds(
        Scene,
        story=st.text(max_size=5),
        last_seen_m=st.none() | POINTS,
        outline_m=st.lists(POINTS, max_size=3).map(tuple),
        clue=st.text(max_size=5),
        cues=st.lists(st.builds(Cue, METRES, st.text(max_size=5)), max_size=2).map(tuple),
    ),
    assessed=st.booleans(),
    children=st.booleans(),
    notes=st.text(max_size=5),
)


@given(DRILLS)
def test_the_frozen_copy_is_the_drill_through_json_too(drill: Drill) -> None:
    plan = plan_to_mapping(drill)
    through = json.loads(json.dumps(plan))
    assert through == plan
    assert drill_from_plan(through) == drill


def test_a_copy_of_another_version_opens() -> None:
    plan = plan_to_mapping(EXPECTED)
    later = {**plan, "new": 1, "burials": [{**row, "newer": {"x": 1}} for row in plan["burials"]]}
    assert drill_from_plan(later) == EXPECTED
    earlier = {"name": "d", "title": "t", "limit_s": 5.0, "burials": [{"name": "A"}]}
    assert drill_from_plan(earlier) == Drill("d", "t", 5.0, (Burial("A"),))
